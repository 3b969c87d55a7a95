"""Examples of requests for the interface's documentation. The parts in them are invented."""

from __future__ import annotations

import math
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
"""The first one, with a half to explain."""

MEASURE_EXAMPLES: list[dict[str, Any]] = [
    {
        "pictures": [
            {
                "name": "plug from above",
                "scale": {"start": [102.0, 880.5], "end": [1376.0, 881.0], "length_mm": 10.0, "u_mm": 0.02},
                "rows": [
                    {"points": [[310.5, 402.0], [361.0, 402.5], [412.5, 402.0], [463.0, 402.5], [564.5, 403.0]]},
                    {"points": [[310.0, 530.5], [361.5, 531.0], [412.0, 531.0], [514.0, 531.5]]},
                ],
                "outlines": [
                    {
                        "corners": [[232.0, 340.0], [1072.0, 343.0], [1071.0, 596.0], [231.0, 593.0]],
                        "along": "body_length",
                        "across": "body_width",
                        "plane": "mating_face",
                    }
                ],
            }
        ]
    },
    {
        "readings": [
            {"feature": "body_length", "readings": [6.54, 6.53, 6.54], "instrument": "caliper"},
            {"feature": "body_length", "value": 6.5, "instrument": "vernier"},
            {"feature": "pitch", "value": 4.62, "less": 0.21, "spans": 11, "instrument": "caliper"},
        ],
        "closed_jaws": {"caliper": [0.01, 0.01, 0.02]},
    },
]

_PROFILE = [round(0.5 - 0.3 * math.cos(2 * math.pi * place / 12.5), 3) for place in range(126)]
"""Ten bright contacts on dark plastic, 12.5 px from centre to centre."""

ROW_EXAMPLES: list[dict[str, Any]] = [{"profile": _PROFILE, "row_count": 2}]

_TITLES = (
    "Both halves at hand, caliper",
    "A picture without a scale: only ratios count",
    "A bare board, readings in inches",
)

MEASURE_TITLES = ("Points clicked in a picture with a scale", "Readings of two tools, closed jaws, outer edges")
ROW_TITLES = ("A profile of grey levels",)


def described(examples: list[dict[str, Any]], titles: tuple[str, ...] = _TITLES) -> dict[str, Example]:
    """Examples with their titles, for the documentation page."""
    return {
        f"example-{place}": Example(summary=title, value=example)
        for place, (title, example) in enumerate(zip(titles, examples, strict=False), start=1)
    }
