"""An invented case: a receptacle of the recorders' workshop, and answers to it."""

from __future__ import annotations

from typing import Any

from catalog.cases.specimens import Led, Specimen, Summary

OBSERVED: list[dict[str, Any]] = [
    {"feature": "contact_count", "value": 20},
    {"feature": "pitch", "value": 4.51, "spans": 9, "instrument": "caliper"},
    {"feature": "body_length", "value": 6.5, "plus_minus": 0.03},
    {"feature": "half_kind", "value": ["receptacle"]},
    {"feature": "height", "max": 1.0},
]


def specimen(**changes: Any) -> Specimen:
    """The observations of the receptacle."""
    described = {"title": "reed bed recorder", "observations": OBSERVED, "prior_absent": 0.1}
    return Specimen.model_validate(described | changes)


def summary(*keys: str, **changes: Any) -> Summary:
    """An answer led by these halves."""
    described: dict[str, Any] = {
        "verdict": "shortlist",
        "probability_absent": 0.1,
        "catalogue_version": 1,
        "halves": [Led(key=key, part_number=key.upper(), revision=1) for key in keys],
        "alike": len(keys),
        "probability": 0.6 if keys else None,
    }
    return Summary.model_validate(described | changes)


NONE = summary(verdict="no_match", probability_absent=0.99)
"""An answer for a specimen unlike anything in the catalogue."""
