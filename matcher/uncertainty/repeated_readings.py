"""Several readings of one size, by one instrument or by different ones, are combined where they agree.

All of them measure the same part. Given the half, they share the part's own deviation, so they are not independent
evidence.

* Readings by one tool and method are repeats of one reading: their scatter counts, the error of the edge is common.
* Readings by different tools are combined by their weighted mean (1/u²; least squares where they share an error). An
  error that one instrument repeats (the position of the edge) does not become smaller.
* A picture's reading that weighs little beside a better tool's stays separate where further readings share its scale:
  it adds little to the mean, but compared with the better reading it tells the likelihood the picture's scale.
* Readings that contradict each other (χ², `matcher.uncertainty.weighted_mean.DISAGREEMENT_LEVEL`) stay separate.

Bounds, readings of pictures without a scale, and readings over different numbers of gaps (whose deviations differ) are
never combined.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.features import FEATURES
from matcher.observations import TYPE_A, BudgetLine, Of, Reduced, SharedError, SharedKind
from matcher.uncertainty.gum import combine
from matcher.uncertainty.reading_budget import MeasuredLength, dimension, pooled
from matcher.uncertainty.weighted_mean import (
    SMALLEST_U,
    AgreeingGroup,
    Floats,
    WeightedMean,
    agreeing_groups,
    weighted_mean,
)

LITTLE_WEIGHT = 0.1
"""Weight in a mean below which a reading is worth more for its picture's scale. The part's own deviation then counts
twice, which narrows the size by a few per cent of its uncertainty."""

ALONE = 1e-9
"""Largest rounding error of weights that add up to 1."""


@dataclass(frozen=True, kw_only=True)
class ReducedReading:
    """One reading: the length as measured, and its reduction."""

    length: MeasuredLength
    reduced: Reduced

    @property
    def instrument(self) -> str | None:
        """Name of the instrument; None where the person's own uncertainty replaces it."""
        return None if self.length.instrument is None else self.length.instrument.name

    @property
    def scale(self) -> str | None:
        """Group of readings that share the scale of its picture; None without a picture, or without a scale."""
        shared = self.reduced.shared
        known = shared is not None and shared.kind is SharedKind.SCALE and not shared.unscaled
        return shared.group if shared is not None and known else None

    @property
    def size(self) -> tuple[object, ...]:
        """Key that readings of one size have in common; each reading of a picture without scale has its own."""
        reduced = self.reduced
        return reduced.feature, reduced.of, reduced.spans, reduced.index if reduced.unscaled else None

    @property
    def label(self) -> str:
        """The instrument in bench words."""
        return "as stated" if self.length.instrument is None else self.length.instrument.label


@dataclass(frozen=True, kw_only=True)
class Joined:
    """Readings combined into one, and their weighted mean before repeats were pooled."""

    reduced: Reduced
    mean: WeightedMean


@dataclass(frozen=True, kw_only=True)
class Combination:
    """All readings of one feature of one body over equally many gaps.

    ``whole`` is their weighted mean, ``groups`` are the readings that agree (by position among all observations), and
    ``joined`` are the results.
    """

    feature: str
    of: Of
    whole: WeightedMean
    groups: tuple[AgreeingGroup, ...]
    joined: tuple[Joined, ...]

    @property
    def contradiction(self) -> Contradiction | None:
        """The readings that cannot all be right, with a sentence that names them; None where all agree."""
        if len(self.groups) == 1:
            return None
        values = tuple(group.mean.value for group in self.groups)
        named = [
            f"{' and '.join(f'observations[{i}]' for i in group.positions)}: {group.mean.value:.6g} mm"
            for group in self.groups
        ]
        return Contradiction(
            feature=self.feature,
            of=self.of,
            groups=tuple(group.positions for group in self.groups),
            values=values,
            chi2=self.whole.chi2,
            degrees_of_freedom=self.whole.degrees_of_freedom,
            p=self.whole.p,
            message=f"Readings of the {FEATURES[self.feature].label} contradict each other ({'; '.join(named)}): "
            f"they differ this much by chance only once in {1.0 / max(self.whole.p, 1e-12):.2g} times. "
            "Measure it again.",
        )


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Readings of one size that cannot all be right; ``groups`` are positions that agree among themselves."""

    feature: str
    of: Of
    groups: tuple[tuple[int, ...], ...]
    values: tuple[float, ...]
    chi2: float
    degrees_of_freedom: int
    p: float
    message: str


def combinations(readings: Sequence[ReducedReading]) -> tuple[Combination, ...]:
    """The readings grouped by size, in order of first position. There are no bounds among them."""
    by_size: dict[tuple[object, ...], list[ReducedReading]] = {}
    pictures: dict[str, set[tuple[object, ...]]] = {}
    for one in readings:
        by_size.setdefault(one.size, []).append(one)
        if one.scale is not None:
            pictures.setdefault(one.scale, set()).add(one.size)
    wanted = frozenset(picture for picture, sizes in pictures.items() if len(sizes) > 1)
    return tuple(_combination(alike, wanted) for alike in by_size.values())


def _combination(readings: Sequence[ReducedReading], wanted: frozenset[str]) -> Combination:
    """``wanted`` names the scales that readings of other sizes share."""
    first, reduced = readings[0].reduced, [one.reduced for one in readings]
    found = agreeing_groups([one.number for one in reduced], covariance(reduced))
    return Combination(
        feature=first.feature,
        of=first.of,
        whole=found[0].mean if len(found) == 1 else _mean_of(reduced),
        groups=tuple(
            AgreeingGroup(positions=tuple(reduced[i].index for i in group.positions), mean=group.mean)
            for group in found
        ),
        joined=tuple(
            joined for group in found for joined in _joins([readings[i] for i in group.positions], group.mean, wanted)
        ),
    )


def _parts(
    readings: Sequence[ReducedReading], mean: WeightedMean, wanted: frozenset[str]
) -> list[list[ReducedReading]]:
    """Readings that agree; one that weighs little is kept separate where others share its scale."""
    parts: dict[str | None, list[ReducedReading]] = {}
    for one, weight in zip(readings, mean.weights, strict=True):
        apart = one.scale if one.scale in wanted and weight < LITTLE_WEIGHT else None
        parts.setdefault(apart, []).append(one)
    return list(parts.values())


def _joins(readings: Sequence[ReducedReading], mean: WeightedMean, wanted: frozenset[str]) -> list[Joined]:
    parts = _parts(readings, mean, wanted)
    if len(parts) == 1:
        return [Joined(reduced=_joined(readings, mean), mean=mean)]
    return [joined for part in parts for joined in _joins(part, _mean_of([one.reduced for one in part]), frozenset())]


def _mean_of(reduced: Sequence[Reduced]) -> WeightedMean:
    return weighted_mean([one.number for one in reduced], covariance(reduced))


def covariance(readings: Sequence[Reduced]) -> Floats:
    """Covariance of readings: each one's own variance, and shared errors (a scale's in proportion to the reading)."""
    matrix = np.diag([max(reading.u, SMALLEST_U) ** 2 for reading in readings])
    for group in dict.fromkeys(reading.shared.group for reading in readings if reading.shared is not None):
        sensitivity = np.array([_sensitivity(reading, group) for reading in readings])
        matrix += np.outer(sensitivity, sensitivity)
    return np.asarray(matrix)


def _sensitivity(reading: Reduced, group: str) -> float:
    """Standard uncertainty of a reading due to one shared error."""
    shared = reading.shared
    if shared is None or shared.group != group or shared.unscaled:
        return 0.0
    if shared.kind is SharedKind.SCALE:
        return reading.number * shared.sd
    return shared.coefficient * shared.sd


def _joined(readings: Sequence[ReducedReading], mean: WeightedMean) -> Reduced:
    """Readings that agree, as one: repeats are pooled, then the weighted mean is taken."""
    if len(readings) == 1:
        return readings[0].reduced
    sources = _without_repeats(readings)
    indices = sorted(index for one in sources for index in (one.reduced.index, *one.reduced.also))
    if len(sources) == 1:
        return replace(sources[0].reduced, index=indices[0], also=tuple(indices[1:]))
    reduced = [one.reduced for one in sources]
    mean = mean if len(sources) == len(readings) else _mean_of(reduced)
    kept = _kept(reduced, mean.weights)
    own = _lines(sources, mean.weights, kept)
    shared_line = [] if kept is None else [_shared_line(sources, mean.weights, kept.group, " (shared)")]
    u = combine([line.contribution for line in own])
    return Reduced(
        index=indices[0],
        also=tuple(indices[1:]),
        feature=reduced[0].feature,
        of=reduced[0].of,
        value=mean.value,
        u=u,
        total_u=combine([u, *(line.contribution for line in shared_line)]),
        spans=reduced[0].spans,
        corrected=math.fsum(w * one.corrected for one, w in zip(reduced, mean.weights, strict=True)),
        shared=kept,
        budget=(*own, *shared_line),
    )


def _without_repeats(readings: Sequence[ReducedReading]) -> list[ReducedReading]:
    """Readings by one tool and method become repeats of one reading."""
    by_method: dict[tuple[object, ...], list[ReducedReading]] = {}
    for one in readings:
        by_method.setdefault(one.length.method, []).append(one)
    return [alike[0] if len(alike) == 1 else _pooled(alike) for alike in by_method.values()]


def _pooled(alike: Sequence[ReducedReading]) -> ReducedReading:
    length, first = pooled([one.length for one in alike]), alike[0].reduced
    reduced = dimension(first.index, first.of, length)
    return ReducedReading(length=length, reduced=replace(reduced, also=tuple(one.reduced.index for one in alike[1:])))


def _kept(reduced: Sequence[Reduced], weights: Sequence[float]) -> SharedError | None:
    """The largest shared error of the mean, which stays shared; the others become the mean's own.

    A tool's zero error is scaled by its readings' weight. A picture's scale multiplies, so it is kept only where all
    readings have it.
    """
    errors = {one.shared.group: one.shared for one in reduced if one.shared is not None}
    best, largest = None, 0.0
    for group, error in errors.items():
        members = [(one, w) for one, w in zip(reduced, weights, strict=True) if _sensitivity(one, group) != 0.0]
        part = abs(math.fsum(w * _sensitivity(one, group) for one, w in members))
        whole = math.fsum(w for _, w in members) > 1.0 - ALONE
        if part <= largest or (error.kind is SharedKind.SCALE and not whole):
            continue
        largest = part
        best = error if error.kind is SharedKind.SCALE else replace(error, coefficient=part / error.sd)
    return best


def _lines(
    sources: Sequence[ReducedReading], weights: Sequence[float], kept: SharedError | None
) -> tuple[BudgetLine, ...]:
    """Independent lines of the mean's own uncertainty: an error that one instrument repeats is one line."""
    alike: dict[tuple[object, ...], list[BudgetLine]] = {}
    for position, (one, weight) in enumerate(zip(sources, weights, strict=True)):
        shared = one.reduced.shared
        for line in one.reduced.budget if shared is None else one.reduced.budget[:-1]:
            apart = position if line.distribution == TYPE_A else None
            alike.setdefault((one.instrument, line.source, apart), []).append(_weighed(one, line, weight))
    own = [_together(lines) for lines in alike.values()]
    groups = dict.fromkeys(one.reduced.shared.group for one in sources if one.reduced.shared is not None)
    own += [_shared_line(sources, weights, group, "") for group in groups if kept is None or group != kept.group]
    return tuple(own)


def _weighed(one: ReducedReading, line: BudgetLine, weight: float) -> BudgetLine:
    source = line.source if one.label in line.source else f"{line.source}, {one.label}"
    return replace(line, source=source, sensitivity=line.sensitivity * weight, contribution=line.contribution * weight)


def _shared_line(sources: Sequence[ReducedReading], weights: Sequence[float], group: str, mark: str) -> BudgetLine:
    """The mean's line for an error that some of its readings share; ``mark`` says whether it stays shared."""
    lines = [
        _weighed(one, one.reduced.budget[-1], weight)
        for one, weight in zip(sources, weights, strict=True)
        if one.reduced.shared is not None and one.reduced.shared.group == group
    ]
    return replace(_together(lines), source=lines[0].source.replace(" (shared)", "") + mark)


def _together(lines: Sequence[BudgetLine]) -> BudgetLine:
    """Lines of one error: their contributions add up."""
    contribution = math.fsum(line.contribution for line in lines)
    return replace(lines[0], sensitivity=contribution / lines[0].u, contribution=contribution)
