"""Whether an instrument can tell two halves apart by one dimension.

A reading of a half scatters around its dimension by the process (rectangular: parts of one type differ) and by the
instrument's standard uncertainty. The share of readings that point to the right one of two halves,
each as likely before, is ½∫max(p, q): one half where nothing differs, one where their readings never overlap.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from catalog.evidence.agreement import Stated, spanned, stated
from catalog.records.read_models import HalfRecord
from matcher.columns.columns import Dim
from matcher.columns.process_tolerance import broad_half_width
from matcher.features import DIMENSIONS, FEATURES
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import W_MIN
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reading_budget import length_u

SURE, MOSTLY, HINT = 0.99, 0.90, 0.65
"""Shares of readings that point to the right half from which they tell apart, mostly do, or give a hint. Common
practice, no source."""

SAME_MM = 0.0005
"""Figures that differ by less are equal: half of the last one that drawings print, mm."""

STEPS = 2001
"""Points at which densities are compared: 1/2000 of a range that is some ten standard deviations wide."""

TAILS = 6.0
"""Standard deviations beyond both tolerances up to which readings are looked at: the rest is below 1e-8 of them."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """Where readings of a half's dimension lie, mm: around ``centre`` by the process, then by ``u`` of the instrument
    and of the entry together."""

    centre: float
    deviation: PartDeviation
    u: float

    @property
    def reach(self) -> float:
        """Largest deviation of a part from the centre, mm."""
        return float(self.deviation.reach[0])


@dataclass(frozen=True, kw_only=True)
class Told:
    """Two halves by one dimension: places of both, their difference, the share of readings that point right."""

    first: int
    second: int
    difference: float
    share: float

    @property
    def mark(self) -> str:
        """sure, mostly, hint or no."""
        steps = ((SURE, "sure"), (MOSTLY, "mostly"), (HINT, "hint"))
        return next((word for least, word in steps if self.share >= least), "no")


@dataclass(frozen=True, kw_only=True)
class Apart:
    """One dimension of several halves: the readings (None: not stated) and every pair of those that state it.

    ``can`` False: the instrument does not reach it well, so that nothing is said.
    """

    feature: str
    readings: tuple[Reading | None, ...]
    pairs: tuple[Told, ...]
    can: bool
    spans: int

    @property
    def differs(self) -> bool:
        """Whether any two of the halves have different figures."""
        return any(abs(pair.difference) > SAME_MM for pair in self.pairs)

    @property
    def weakest(self) -> float:
        """The share of the pair that is hardest to tell apart."""
        return min((pair.share for pair in self.pairs), default=0.0)


def apart(records: Sequence[HalfRecord], instrument: Instrument) -> tuple[Apart, ...]:
    """Every dimension that two of the halves state, in the order in which a person would measure."""
    figures = [_best_known(record) for record in records]
    found = []
    for feature in DIMENSIONS:
        if sum(feature in each.dimensions for each in figures) > 1:
            spans = min(_gaps(record) for record in records) if FEATURES[feature].is_pitch else 1
            readings = tuple(_reading(feature, each, instrument, spans) for each in figures)
            pairs = tuple(_pairs(readings))
            found.append(
                Apart(feature=feature, readings=readings, pairs=pairs, can=feature in instrument.can, spans=spans)
            )
    return tuple(found)


def _gaps(record: HalfRecord) -> int:
    """Gaps between contacts of one group along a row, at least one."""
    return max(record.half.contacts_per_row // record.half.counts.get("bank_count", 1) - 1, 1)


def _best_known(record: HalfRecord) -> Stated:
    """The half's dimensions as identification uses them: a measured one where it is known better than the stated."""
    own = stated(record.half)
    better = {
        name: Dim(value=known.value, tolerance=known.tolerance, extra_u=known.u)
        for name, known in record.better_known.items()
    }
    return Stated(dimensions={**own.dimensions, **better}, counts=own.counts, categories=own.categories)


def _reading(feature: str, figures: Stated, instrument: Instrument, spans: int) -> Reading | None:
    if feature not in figures.dimensions:
        return None
    centre, half_width = figures.process(feature)
    instrument = instrument.taking(FEATURES[feature])
    by_instrument = math.hypot(length_u(FEATURES[feature], instrument) / spans, instrument.scale_rel * centre)
    u = max(math.hypot(by_instrument, figures.dimensions[feature].extra_u), W_MIN)
    return Reading(centre=centre, deviation=_deviation(feature, half_width, figures, spans), u=u)


def _deviation(feature: str, half_width: float, figures: Stated, spans: int) -> PartDeviation:
    broad = broad_half_width(feature, figures.dimensions[feature])
    share = FEATURES[feature].process.broad_share if broad else 0.0
    usual, broad = (spanned(feature, each, spans) for each in (half_width, broad))
    return PartDeviation(half_width=np.array([usual]), broad=np.array([broad]), share=np.array([share]))


def _pairs(readings: tuple[Reading | None, ...]) -> Iterator[Told]:
    known = [(place, reading) for place, reading in enumerate(readings) if reading is not None]
    for (i, one), (j, other) in combinations(known, 2):
        yield Told(first=i, second=j, difference=other.centre - one.centre, share=share_right(one, other))


def share_right(one: Reading, other: Reading) -> float:
    """Share of readings that point to the half they were taken of, each half as likely: ½∫max(p, q)."""
    between = abs(one.centre - other.centre) - one.reach - other.reach
    if between > TAILS * (one.u + other.u):  # they never meet, however far apart they are
        return 1.0
    low = min(each.centre - each.reach - TAILS * each.u for each in (one, other))
    high = max(each.centre + each.reach + TAILS * each.u for each in (one, other))
    at = np.linspace(low, high, STEPS)
    densities = [each.deviation.density(at - each.centre, np.asarray(each.u)) for each in (one, other)]
    share = float(np.trapezoid(np.maximum(*densities), at)) / 2.0
    return min(max(share, 0.5), 1.0)
