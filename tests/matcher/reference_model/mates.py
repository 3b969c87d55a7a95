"""Readings of the pair and of the other half: a mixture over the listed matings and an unlisted mate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matcher.columns.columns import Columns
from matcher.features import FEATURES, Kind, Subject
from matcher.observations import Of, Reduced
from tests.matcher.reference_model.bodies import Body, ListedHalf, UnlistedMate, interval_of, matings_of
from tests.matcher.reference_model.counts import count
from tests.matcher.reference_model.intervals import Interval
from tests.matcher.reference_model.readings import bound, lone_reading
from tests.matcher.reference_model.signs import category, marking, trial_fit

UNLISTED_MATE = 0.1
FITS_UNLISTED = 0.1


@dataclass(frozen=True)
class Pair:
    """The dimensions of a pair: of a listed mating, or (``mating`` None) with an unlisted mate."""

    columns: Columns
    half: int
    mating: int | None

    def interval(self, feature: str) -> Interval:
        """Return the mating's dimension; where it states none, the value expected with an unlisted mate."""
        if self.mating is not None:
            listed = interval_of(self.columns.matings.dimensions, feature, self.mating)
            if listed.known:
                return listed
        return interval_of(self.columns.unlisted_mate, feature, self.half)

    def stack_heights(self) -> list[Interval]:
        """No feature of the pair is mistaken for a stack height."""
        return []

    def possible_counts(self, feature: str) -> dict[int, float]:
        """Refuse: a pair has no counts."""
        raise LookupError(feature)

    def known_count(self, feature: str) -> int:
        """Refuse: a pair has no counts."""
        raise LookupError(feature)

    def category(self, feature: str) -> list[float]:
        """Refuse: a pair has no categories."""
        raise LookupError(feature)


def observed_of_body(reduced: Reduced, body: Body) -> float:
    """Return the probability of a single dimension, bound, count or category of one body."""
    kind = FEATURES[reduced.feature].kind
    if kind is Kind.COUNT:
        return count(reduced, body)
    if kind in (Kind.CATEGORY, Kind.LABELS):
        return category(reduced, body)
    return lone_reading(reduced, body) if reduced.value is not None else bound(reduced, body)


def observed_of_half(reduced: Reduced, columns: Columns, half: int) -> float:
    """Return the probability of any single observation of a half of the catalogue."""
    if reduced.text is not None:
        return marking(reduced.text, columns.texts[half])
    if reduced.fit is not None:
        return trial_fit(columns, half, reduced.fit)
    return observed_of_body(reduced, ListedHalf(columns, half))


def _with_mating(reduced: Reduced, columns: Columns, half: int, mating: int) -> float:
    if reduced.of is Of.PAIR or FEATURES[reduced.feature].subject is Subject.PAIR:
        return _of_pair(reduced, columns, half, mating)
    return observed_of_half(reduced, columns, int(columns.matings.other[mating]))


def _with_unlisted(reduced: Reduced, columns: Columns, half: int) -> float:
    if reduced.of is Of.PAIR or FEATURES[reduced.feature].subject is Subject.PAIR:
        return _of_pair(reduced, columns, half, None)
    if reduced.text is not None:
        return 1.0
    if reduced.fit is not None:
        return FITS_UNLISTED if reduced.fit.mates else 1.0 - FITS_UNLISTED
    return observed_of_body(reduced, UnlistedMate(columns, half))


def _of_pair(reduced: Reduced, columns: Columns, half: int, mating: int | None) -> float:
    pair = Pair(columns, half, mating)
    if reduced.value is None:
        return bound(reduced, pair)
    return lone_reading(reduced, pair, this=ListedHalf(columns, half))


def mate_likelihood(columns: Columns, half: int, observations: Sequence[Reduced]) -> float:
    """Return p(all readings of the pair and the other half | half)."""
    unlisted = math.prod(_with_unlisted(reduced, columns, half) for reduced in observations)
    matings = matings_of(columns, half)
    if not matings:
        return unlisted
    listed = [math.prod(_with_mating(reduced, columns, half, m) for reduced in observations) for m in matings]
    return (1.0 - UNLISTED_MATE) * math.fsum(listed) / len(listed) + UNLISTED_MATE * unlisted
