"""Contributions of honest and careless people to the simulated catalogue: entries with mistakes, and readings."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

from catalog.evidence.agreement import stated
from catalog.model.entries import Half, Series
from catalog.review.slips import swapped_figures
from matcher.features import FEATURES
from matcher.uncertainty.instruments import BUILT_IN, Instrument
from matcher.vocabulary import MM_PER_UNIT
from tests.functional.crowd_parts import LENGTHS, Type, with_length

MISTAKEN = 0.2
"""Share of the entries of honest people that are wrong as first reported."""

SLIPS = 0.15
"""Share of a careless person's entries and measurements with a unit slip."""

LEAST_OFF = 2.0
"""A mistaken figure is off by at least this many tolerances (the drawing's, else the process's); less is no mistake."""

TAKEN = 0.8
"""Chance that a person who measures a part measures one of its lengths too."""

MISCOUNTED = 0.01
READINGS = 3
OLD_REVISION = 5.0
"""An old revision of a drawing is off by at most this many tolerances."""


def half_width(half: Half, feature: str) -> float:
    """The half-width that the entry states for a dimension: the drawing's, else the process's, mm."""
    own = half.dimensions[feature].tolerance
    return own if own is not None else stated(half).process(feature)[1]


def mistaken(half: Half, rng: np.random.Generator) -> Half:
    """The half with one realistic mistake: another column, two digits swapped, one wrong digit, or an old revision."""
    feature = str(rng.choice([name for name in LENGTHS if name != "pitch"]))
    value = half.dimensions[feature].value
    least = LEAST_OFF * half_width(half, feature)
    candidates = {
        "column": [other.value for name, other in half.dimensions.items() if name not in (feature, "pitch")],
        "size": [value + step * half.dimensions["pitch"].value for step in (-2, -1, 1, 2)],
        "swapped": list(swapped_figures(value)),
        "figure": [value + sign * digit * 0.1 for digit in range(2, 10) for sign in (-1, 1)],
        "old": [value + sign * least * float(rng.uniform(1.0, OLD_REVISION / LEAST_OFF)) for sign in (-1, 1)],
    }
    way = str(rng.choice([name for name in candidates if feature == "body_length" or name != "size"]))
    fitting = [each for each in candidates[way] if abs(each - value) > least and each > 0.2]
    return with_length(half, feature, float(rng.choice(fitting or candidates["old"][1:])))


def mistaken_laws(series: Series, rng: np.random.Generator) -> Series:
    """The series with one law from an old revision of the drawing: all halves of one kind are off by one amount."""
    laws = series.model_dump(mode="json", exclude_defaults=True)
    kind = laws["kinds"][int(rng.integers(len(laws["kinds"])))]
    law = kind["dimensions"][str(rng.choice(["body_length", "body_width", "tail_span"]))]
    off = float(rng.uniform(LEAST_OFF, OLD_REVISION)) * law.get("tolerance", 0.25)
    law["intercept"] = round(law["intercept"] + float(rng.choice([-off, off])), 2)
    return Series.model_validate(laws)


def slipped(half: Half, rng: np.random.Generator) -> Half:
    """The half with one figure in inches entered as millimetres, or millimetres said to be inches."""
    feature = str(rng.choice(LENGTHS))
    value = half.dimensions[feature].value
    if rng.random() < 0.5:
        return with_length(half, feature, value / MM_PER_UNIT["in"])
    return with_length(half, feature, value, unit="in", tolerance=None)


class Person:
    """A person with a caliper, whose zero error is the same in all their measurements and within its limit.

    Errors follow `matcher.uncertainty.instruments`: a rectangular zero error within the limit, a normal
    feel of the edge, and the display's step; a rectangular deviation of each part within its process, and a
    rectangular gap under a half on its board.
    """

    def __init__(self, name: str, rng: np.random.Generator, *, careless: bool = False) -> None:
        self.name, self.careless = name, careless
        self._rng, self._gaps = rng, np.random.default_rng(zlib.crc32(name.encode()))
        self._tool: Instrument = BUILT_IN["caliper" if rng.random() < 0.5 else "caliper_on_board"]
        self._zero = float(rng.uniform(-self._tool.limit_mm, self._tool.limit_mm))

    def values(self, measured: Type) -> list[dict[str, Any]]:
        """Values of a confirmation for one part of the type."""
        half, rng = measured.drawing, self._rng
        inches = self.careless and rng.random() < SLIPS
        taken = [name for name in LENGTHS if rng.random() < TAKEN] or ["body_length"]
        values: list[dict[str, Any]] = [self._length(measured, name, inches=inches) for name in taken]
        wrong = int(rng.random() < MISCOUNTED) * int(rng.choice([-2, -1, 1, 2]))
        return [*values, {"feature": "contact_count", "value": half.contact_count + wrong}]

    def _length(self, measured: Type, feature: str, *, inches: bool) -> dict[str, Any]:
        spans = measured.drawing.contacts_per_row - 1 if feature == "pitch" else 1
        true = measured.part(feature, spans, self._rng) * spans
        if FEATURES[feature].seated:
            true += self._tool.seating_mm + float(self._gaps.uniform(-1, 1)) * self._tool.seating_limit_mm
        readings = [self._reading(true) for _ in range(READINGS)]
        if inches:  # the display showed inches, and the figures were noted unchanged
            readings = [round(reading / MM_PER_UNIT["in"], 3) for reading in readings]
        return {"feature": feature, "readings": readings, "spans": spans, "instrument": self._tool.name}

    def _reading(self, true: float) -> float:
        step = self._tool.step_mm
        shown = true + self._zero + float(self._rng.normal(0.0, self._tool.feel_mm))
        return round(round(shown / step) * step, 3)
