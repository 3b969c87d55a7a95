"""Examples of requests that the interface's documentation shows. The parts in them are invented."""

from __future__ import annotations

from typing import Any

from fastapi.openapi.models import Example

IDENTIFY_EXAMPLES: list[dict[str, Any]] = [
    {
        "observations": [
            {"feature": "contact_count", "value": 24},
            {"feature": "pitch", "readings": [4.41, 4.40, 4.42], "unit": "mm", "spans": 11, "instrument": "caliper"},
            {"feature": "body_length", "value": 6.52, "unit": "mm", "u": 0.03},
            {"feature": "stack_height", "max": 0.9, "unit": "mm", "of": "pair"},
            {"feature": "body_width", "value": 2.5, "unit": "mm", "of": "other"},
            {"feature": "latch_style", "value": ["none_visible", "click_felt"]},
        ],
        "prior_absent": 0.1,
        "limit": 10,
    },
    {
        "observations": [
            {"feature": "contact_count", "value": 30},
            {"feature": "pitch", "value": 612, "unit": "px", "spans": 14, "instrument": "unscaled_photo"},
            {"feature": "body_length", "value": 781, "unit": "px", "instrument": "unscaled_photo"},
            {"feature": "body_width", "value": 219, "unit": "px", "instrument": "unscaled_photo"},
        ]
    },
    {
        "observations": [
            {"feature": "land_span", "value": 3.9, "unit": "mm", "instrument": "microscope"},
            {"feature": "pitch", "value": 0.2165, "unit": "in", "spans": 11, "instrument": "caliper_on_board"},
            {"feature": "contact_count", "min": 20, "max": 24},
            {"feature": "marking", "value": "T2"},
        ]
    },
]

EXPLAIN_EXAMPLES: list[dict[str, Any]] = [{**IDENTIFY_EXAMPLES[0], "half": "maker:part-number"}]
"""The first of them, with the half to be explained."""

_TITLES = (
    "Both halves at hand, caliper",
    "A picture without a scale: only ratios count",
    "A bare board, readings in inches",
)


def described(examples: list[dict[str, Any]]) -> dict[str, Example]:
    """Examples with their titles, as the documentation page lists them."""
    return {
        f"example-{place}": Example(summary=title, value=example)
        for place, (title, example) in enumerate(zip(_TITLES, examples, strict=False), start=1)
    }
