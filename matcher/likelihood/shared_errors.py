"""Readings that share one instrument's error: a scale common to a picture's plane, a caliper's zero error.

The shared error is one hidden normal variable z. It is integrated out for each half: in closed form to make the
shortlist, and with the exact rectangles, slips and floors for the leaders. That is done by Gauss–Legendre quadrature
between the rectangles' edges or, for pictures without a scale, by `matcher.likelihood.scale_free_ratios`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.columns.columns import Bools, Floats, Ints
from matcher.likelihood import scale_free_ratios
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.gross_errors import Mixture
from matcher.likelihood.error_model.normal_readings import NormalReadings
from matcher.likelihood.error_model.tolerance_density import REACH, SQRT_2PI, W_MIN, rectangle_normal
from matcher.likelihood.evidence import log_sum_by
from matcher.observations import Reduced, SharedError, SharedKind

NODES, WEIGHTS = np.polynomial.legendre.leggauss(10)
"""Ten nodes in each panel: the integrand bends within one to four standard deviations; the error is below 1e-10."""

EDGE_OFFSETS = np.array([-7.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 7.0])
"""Panel limits around a rectangle's edge, in standard deviations of the reading."""

PRIOR_OFFSETS = np.array([-9.0, -7.0, -5.5, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.5, 7.0, 9.0])
"""Panel limits in standard deviations of z; 1e-18 of its probability lies beyond."""

SLOW_OFFSETS = np.array([-20.0, -8.0, -3.0, -1.0, -0.3, 0.3, 1.0, 3.0, 8.0, 20.0])
"""Further panel limits, in ln(scale), for a picture without a scale: a reading's blur grows with the scale there and
has a long tail."""

CROWDED = 0.2
"""Panel limits closer together than this part of the finest reading's standard deviation count as one. Ten nodes are
exact over such a short distance: log-likelihoods stay within 1e-12, and 200 readings of one size that contradict each
other take two thirds of the time."""

SMALLEST_EDGE = 1e-14
"""Panel limit, as a part of the reading, for a rectangle's edge at or below zero, which cannot pass a reading."""

PAIRS_AT_ONCE = 600_000
"""Pairs of explanations, over all halves, that are computed at once for a picture without a scale: a megabyte or so,
which stays in the processor's cache."""


@dataclass(frozen=True, kw_only=True)
class SharedGroup:
    """Two or more readings with one shared error."""

    evidence: tuple[DimensionEvidence, ...]

    @property
    def error(self) -> SharedError:
        """The error that they share. Raises TypeError where there is none."""
        if self.readings[0].shared is None:
            raise TypeError("a shared group without a shared error")
        return self.readings[0].shared

    @cached_property
    def readings(self) -> tuple[Reduced, ...]:
        """The readings themselves."""
        return tuple(each.reading for each in self.evidence)

    @cached_property
    def mixtures(self) -> tuple[Mixture, ...]:
        """The explanations of each reading under all halves."""
        return tuple(each.mixture for each in self.evidence)

    @cached_property
    def normal(self) -> NormalReadings:
        """The readings under all halves, with normals instead of rectangles."""
        return NormalReadings.of(self.evidence)

    def mixtures_of(self, halves: Ints) -> tuple[Mixture, ...]:
        """The explanations of each reading under some halves; readings of one size share them."""
        taken: dict[int, Mixture] = {}
        for mix in self.mixtures:
            if id(mix.weight) not in taken:
                taken[id(mix.weight)] = mix.take(halves)
        return tuple(replace(taken[id(mix.weight)], reading=mix.reading) for mix in self.mixtures)

    def of_some(self, chosen: Sequence[int]) -> SharedGroup:
        """The group with only the chosen readings."""
        return SharedGroup(evidence=tuple(self.evidence[j] for j in chosen))

    def distinct(self, halves: Ints) -> tuple[Ints, Ints]:
        """One half of each set with the same explanations, and for each of ``halves`` the place of its set's one."""
        different = {id(mix.weight): mix for mix in self.mixtures}.values()
        tables = np.concatenate([mix.take(halves).tables for mix in different])
        places: dict[bytes, int] = {}
        place = np.array([places.setdefault(row.tobytes(), len(places)) for row in tables.T], dtype=np.int64)
        return halves[np.unique(place, return_index=True)[1]], place


@dataclass(frozen=True, kw_only=True)
class Integrals:
    """A group under some halves, with z integrated out. Densities at the nodes are computed once for all integrals."""

    group: SharedGroup
    halves: Ints

    @cached_property
    def _distinct(self) -> tuple[Ints, Ints]:
        return self.group.distinct(self.halves)

    @cached_property
    def _integrand(self) -> _Integrand:
        return _Integrand.of(self.group, self._distinct[0])

    @property
    def _by_panels(self) -> bool:
        return not self.group.error.unscaled or not scale_free_ratios.within_reach(self.group.readings)

    @cached_property
    def whole(self) -> Floats:
        """Log-likelihood by half, with exact rectangles and slips."""
        some, place = self._distinct
        return (self._integrand.whole() if self._by_panels else _in_pieces(self.group, some))[place]

    def without_each(self) -> Floats:
        """Log-likelihood (readings × halves) without the first reading, without the second, …"""
        if not self.group.error.unscaled:
            return self._integrand.without_each()[:, self._distinct[1]]
        count = range(len(self.group.evidence))
        smaller = [self.group.of_some([j for j in count if j != dropped]) for dropped in count]
        return np.stack([exact(each, self.halves) for each in smaller])


def exact(group: SharedGroup, halves: Ints) -> Floats:
    """Log-likelihood of the group for the given halves, with exact rectangles and slips and z integrated out."""
    return Integrals(group=group, halves=halves).whole


def _in_pieces(group: SharedGroup, halves: Ints) -> Floats:
    explanations = sum(len(mix.words) for mix in group.mixtures)
    at_once = max(PAIRS_AT_ONCE // explanations**2, 1)
    starts = range(0, len(halves), at_once)
    pieces = [_by_ratios(group, halves[start : start + at_once]) for start in starts]
    return np.concatenate([np.zeros(0), *pieces])


def _by_ratios(group: SharedGroup, halves: Ints) -> Floats:
    mixtures = group.mixtures_of(halves)
    result, known = scale_free_ratios.log_density(group.readings, mixtures, group.error.sd)
    if not np.all(known):
        result[~known] = by_panels(group, halves[~known])
    return result


def by_panels(group: SharedGroup, halves: Ints) -> Floats:
    """`exact` by quadrature in panels between all edges of rectangles: slow, works for all readings."""
    return _Integrand.of(group, halves).whole()


def prefixes(group: SharedGroup, halves: Ints) -> tuple[Floats, Floats]:
    """Log-likelihood (readings × halves) of the first reading, the first two, …: in their order, and in its reverse."""
    count = len(group.evidence)
    if not group.error.unscaled:
        some, place = group.distinct(halves)
        forward, backward = _Integrand.of(group, some).prefixes()
        return forward[:, place], backward[:, place]
    first = [exact(group.of_some(range(number)), halves) for number in range(1, count + 1)]
    last = [exact(group.of_some(range(count - number, count)), halves) for number in range(1, count)]
    return np.stack(first), np.stack([*last, first[-1]])


@dataclass(frozen=True, kw_only=True)
class _Panels:
    """Panels of z, each for its half in ``owners``, in which the integrand is smooth."""

    owners: Ints
    middles: Floats
    half_widths: Floats

    @property
    def z(self) -> Floats:
        """Nodes (panels × nodes)."""
        return np.asarray(self.middles[:, None] + self.half_widths[:, None] * NODES)


@dataclass(frozen=True, kw_only=True)
class _Moved:
    """One reading's density where it depends on z: panels ``at``, and the log over the floor there (panels × nodes)."""

    at: Ints
    added: Floats


@dataclass(frozen=True, kw_only=True)
class _Integrand:
    """Densities of a group's readings given the shared error z, under some halves.

    Given z the readings are independent. Most readings that contradict others are out of reach of a half for any z, so
    their density is the floor. ``near`` marks by reading (explanations × halves) the explanations that z can bring near
    the reading; all sums are over those alone.
    """

    error: SharedError
    readings: tuple[Reduced, ...]
    mixtures: tuple[Mixture, ...]
    near: tuple[Bools, ...]

    @classmethod
    def of(cls, group: SharedGroup, halves: Ints) -> _Integrand:
        mixtures = group.mixtures_of(halves)
        near = tuple(_near(group.error, r, mix) for r, mix in zip(group.readings, mixtures, strict=True))
        return cls(error=group.error, readings=group.readings, mixtures=mixtures, near=near)

    @cached_property
    def floors(self) -> Floats:
        """Log of each reading's floor (readings × halves)."""
        return np.asarray(np.log(np.stack([mix.floor for mix in self.mixtures])))

    @cached_property
    def panels(self) -> _Panels:
        """Panels between all edges of rectangles that pass a reading, and between the limits of the prior."""
        everyone, offsets = np.arange(self.floors.shape[1]), PRIOR_OFFSETS * self.error.sd
        owners, limits = [np.repeat(everyone, len(offsets))], [np.tile(offsets, len(everyone))]
        for reading, mix, near in zip(self.readings, self.mixtures, self.near, strict=True):
            for number in np.flatnonzero(near.any(axis=1)).tolist():
                halves = np.flatnonzero(near[number])
                edges = _edges(self.error, reading, mix, number, halves)
                owners.append(np.repeat(halves, edges.shape[1]))
                limits.append(np.clip(edges, offsets[0], offsets[-1]).ravel())
        owner, limit = np.concatenate(owners), np.concatenate(limits)
        order = np.lexsort((limit, owner))
        owner, limit = owner[order], limit[order]
        cell = np.floor(limit / (CROWDED * self._finest))
        first = np.append(True, (cell[1:] != cell[:-1]) | (owner[1:] != owner[:-1]))
        outermost = np.append(owner[1:] != owner[:-1], True)
        owner, limit = owner[first | outermost], limit[first | outermost]
        half_width = np.diff(limit) / 2
        used = np.flatnonzero((half_width > 0) & (owner[1:] == owner[:-1]))
        half_widths = half_width[used]
        return _Panels(owners=owner[used], middles=limit[used] + half_widths, half_widths=half_widths)

    @property
    def _finest(self) -> float:
        """Standard deviation of the finest explanation of a reading, in z: a wrong unit scales the reading's own."""
        found = []
        for reading, mix, near in zip(self.readings, self.mixtures, self.near, strict=True):
            if reading.shared is not None and self.error.kind is SharedKind.ZERO:
                # It moves an explanation by as much less as the explanation's own error is smaller.
                found.append(max(reading.u, W_MIN) / reading.shared.coefficient)
            else:
                own_u = float(np.min(mix.own_u[near.any(axis=1)], initial=reading.u))
                found.append(max(own_u, W_MIN) / reading.number)
        return min(found)

    def log_prior(self, z: Floats) -> Floats:
        """Log-density of z."""
        return np.asarray(-0.5 * (z / self.error.sd) ** 2 - math.log(self.error.sd * SQRT_2PI))

    def whole(self) -> Floats:
        """Log-likelihood of all readings by half."""
        panels = self.panels
        logs = self._before(panels)
        for moved in self._each() if self.error.unscaled else self._moved:
            logs[moved.at] += moved.added
        return np.asarray(self.floors.sum(axis=0) + self._summed(logs, panels.owners))

    def prefixes(self) -> tuple[Floats, Floats]:
        """Log-likelihood of the first reading, the first two, …: in their order, and in its reverse."""
        forward, backward = range(len(self.readings)), range(len(self.readings) - 1, -1, -1)
        return self._prefixes(forward), self._prefixes(backward)

    def _prefixes(self, order: Sequence[int]) -> Floats:
        panels, moved = self.panels, self._moved
        logs, found = self._before(panels), []
        total = self._summed(logs, panels.owners)
        for reading in order:
            at = moved[reading].at
            logs[at] += moved[reading].added
            changed = self._summed(logs[at], panels.owners[at])
            total = np.where(np.isfinite(changed), changed, total)
            found.append(total)
        return np.asarray(np.stack(found) + np.cumsum(self.floors[list(order)], axis=0))

    def without_each(self) -> Floats:
        """Log-likelihood without the first reading, without the second, …"""
        panels, moved = self.panels, self._moved
        logs = self._before(panels)
        for each in moved:
            logs[each.at] += each.added
        total, found = self._summed(logs, panels.owners), []
        for each in moved:
            changed = self._summed(logs[each.at] - each.added, panels.owners[each.at])
            found.append(np.where(np.isfinite(changed), changed, total))
        return np.asarray(np.stack(found) + self.floors.sum(axis=0) - self.floors)

    def _before(self, panels: _Panels) -> Floats:
        """Log-weight of each node, including the density of z there."""
        return np.asarray(np.log(panels.half_widths)[:, None] + np.log(WEIGHTS) + self.log_prior(panels.z))

    def _summed(self, logs: Floats, owners: Ints) -> Floats:
        """Integrals by half; −∞ for one without panels."""
        return log_sum_by(logs.ravel(), np.repeat(owners, logs.shape[1]), self.floors.shape[1])

    @cached_property
    def _moved(self) -> tuple[_Moved, ...]:
        return tuple(self._each())

    def _each(self) -> Iterator[_Moved]:
        """Each reading at the panels' nodes."""
        owners, z = self.panels.owners, self.panels.z
        for reading, mix, near in zip(self.readings, self.mixtures, self.near, strict=True):
            reached: Bools = np.any(near, axis=0)
            at = np.flatnonzero(reached[owners])
            of, some, reach = owners[at], z[at], _zero_reach(reading, mix)
            stretch = np.exp(some) if self.error.kind is SharedKind.SCALE else np.ones((len(some), 1))
            density = np.zeros(some.shape)
            for number in np.flatnonzero(near.any(axis=1)).tolist():
                chosen = np.flatnonzero(near[number, of])
                half, scale = of[chosen], stretch[chosen]
                centre, half_width, entry_u, weight = (
                    table[number, half][:, None] for table in (mix.centre, mix.half_width, mix.entry_u, mix.weight)
                )
                offset = reading.number - centre * scale - reach[number] * some[chosen]
                w = np.maximum(np.hypot(mix.own_u[number], entry_u * scale), W_MIN)
                density[chosen] += weight * rectangle_normal(offset, half_width * scale, w)
            yield _Moved(at=at, added=np.log1p(density / mix.floor[of, None]))


def _near(error: SharedError, reading: Reduced, mix: Mixture) -> Bools:
    """Explanations (by half) that the shared error can bring near the reading."""
    if error.unscaled:
        return np.asarray(mix.weight > 0)
    stretch = PRIOR_OFFSETS[-1] * error.sd
    scale = math.exp(stretch) if error.kind is SharedKind.SCALE else 1.0
    sway = mix.centre * (scale - 1.0) + np.abs(_zero_reach(reading, mix))[:, None] * stretch
    w = np.hypot(mix.own_u, mix.entry_u * scale) + W_MIN
    near = np.abs(reading.number - mix.centre) < mix.half_width * scale + sway + REACH * w
    return np.asarray(near & (mix.weight > 0))


def _zero_reach(reading: Reduced, mix: Mixture) -> Floats:
    """How far one mm of zero error moves the reading, by explanation; 0 for a scale error."""
    zero = reading.shared is not None and reading.shared.kind is SharedKind.ZERO
    return np.asarray(mix.follows[:, 0] * (reading.shared.coefficient if reading.shared and zero else 0.0))


def _edges(error: SharedError, reading: Reduced, mix: Mixture, number: int, halves: Ints) -> Floats:
    """Panel limits (halves × limits) around the z where the edges of one explanation's rectangle pass the reading."""
    x, own_u, edges = reading.number, float(mix.own_u[number, 0]), []
    centre, half_width, entry_u = (
        table[number, halves][:, None] for table in (mix.centre, mix.half_width, mix.entry_u)
    )
    if error.unscaled:
        edges.append(math.log(x) - np.log(np.maximum(centre, SMALLEST_EDGE * x)) + SLOW_OFFSETS)
    for edge in (centre - half_width, centre + half_width):
        if error.kind is SharedKind.SCALE:
            some = np.maximum(edge, SMALLEST_EDGE * x)
            w = np.hypot(own_u, entry_u * x / some) + W_MIN
            edges.append(np.log(np.maximum(x + EDGE_OFFSETS * w, SMALLEST_EDGE * x)) - np.log(some))
        else:
            w = np.hypot(own_u, entry_u) + W_MIN
            edges.append((x - edge + EDGE_OFFSETS * w) / _zero_reach(reading, mix)[number])
    return np.concatenate(edges, axis=1)
