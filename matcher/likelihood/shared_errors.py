"""Readings that share one instrument's error: a scale common to a picture's plane, a caliper's zero error.

The shared error is one hidden normal variable z. It is integrated out for each half: in closed form for the
shortlist, and over the exact rectangles, slips and floors for the leaders: by Gauss–Legendre quadrature between the
rectangles' edges, or, for pictures without a scale, by what `matcher.likelihood.scale_free_ratios` knows of them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from matcher.columns.columns import Floats, Ints
from matcher.likelihood import scale_free_ratios
from matcher.likelihood.gross_errors import Component, Folded, Mixture
from matcher.likelihood.scale_free_ratios import FINE, Precision
from matcher.likelihood.tolerance_density import REACH, SQRT_2PI, W_MIN, rectangle_normal
from matcher.observations import Reduced, SharedError, SharedKind

NODES, WEIGHTS = np.polynomial.legendre.leggauss(10)
"""Ten nodes in each panel: the integrand bends over one to four standard deviations there, error below 1e-10."""

EDGE_OFFSETS = np.array([-7.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 7.0])
"""Panel limits around a rectangle's edge, in standard deviations of the reading."""

PRIOR_OFFSETS = np.array([-9.0, -7.0, -5.5, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.5, 7.0, 9.0])
"""Panel limits in standard deviations of z; 1e-18 of its probability lies beyond."""

NEGLIGIBLE_PANEL = 28.0
"""Panels this much, in ln, below a half's best one are left out: a few hundred of them change its sum by 1e-10."""

SLOW_OFFSETS = np.array([-20.0, -8.0, -3.0, -1.0, -0.3, 0.3, 1.0, 3.0, 8.0, 20.0])
"""Further panel limits, in ln(scale), for a picture without a scale: there a reading's blur grows with the scale and
leaves a slow tail."""

SMALLEST_EDGE = 1e-14
"""A rectangle's edge at or below zero cannot pass a reading; its panel limit is put at this part of the reading."""

AT_ONCE = 64
"""Halves of a picture without a scale that are weighed together: their points stay in a processor's cache."""

ALL_SUBSETS_UP_TO = 5
"""With more readings in a group, the closed form supposes at most two of them grossly wrong."""


@dataclass(frozen=True, kw_only=True)
class SharedGroup:
    """Two or more readings with one shared error, and the explanations of each over all halves."""

    error: SharedError
    readings: tuple[Reduced, ...]
    mixtures: tuple[Mixture, ...]

    def of_some(self, chosen: Sequence[int]) -> SharedGroup:
        """The group with only the chosen readings."""
        return SharedGroup(
            error=self.error,
            readings=tuple(self.readings[j] for j in chosen),
            mixtures=tuple(self.mixtures[j] for j in chosen),
        )


def folded(reading: Reduced) -> Folded:
    """A shared error that no other reading shares: it is the reading's own."""
    if reading.shared is None:
        return Folded()
    if reading.shared.kind is SharedKind.SCALE:
        return Folded(scale=(reading.number * reading.shared.sd) ** 2)
    return Folded(zero=(reading.shared.coefficient * reading.shared.sd) ** 2)


def closed_form(group: SharedGroup) -> Floats:
    """Log-likelihood of the group for every half with normals in place of rectangles: good to a few nats.

    d, v, A and B as in the contract: each subset of readings is taken as right and the rest as grossly wrong.
    """
    d, v = np.stack([_deviation(group, j) for j in range(len(group.readings))], axis=1)
    right = np.stack([np.log(np.maximum(mix.components[0].weight, 1e-300)) for mix in group.mixtures])
    if group.error.kind is SharedKind.SCALE:
        right -= np.log([[reading.number] for reading in group.readings])
    wrong = np.log(np.stack([_gross_density(group, j) for j in range(len(group.readings))]))
    coefficients = np.array([r.shared.coefficient if r.shared else 1.0 for r in group.readings])
    terms = [
        _normal_group(d, v, coefficients, np.array(subset, dtype=int), group.error.sd)
        + right[list(subset)].sum(axis=0)
        + wrong[[j for j in range(len(d)) if j not in subset]].sum(axis=0)
        for subset in _subsets(len(d))
    ]
    return np.asarray(logsumexp(np.stack(terms), axis=0))


def _subsets(count: int) -> list[tuple[int, ...]]:
    smallest = 0 if count <= ALL_SUBSETS_UP_TO else count - 2
    subsets = [s for size in range(smallest, count + 1) for s in itertools.combinations(range(count), size)]
    return subsets if smallest == 0 else [(), *subsets]


def _deviation(group: SharedGroup, j: int) -> tuple[Floats, Floats]:
    """Deviation of reading j from each half's centre and its variance: in ln for a scale, in mm for a zero error."""
    own, x = group.mixtures[j].components[0], group.readings[j].number
    centre = np.where(own.centre > 0, own.centre, x)
    variance = own.own_u**2 + W_MIN**2
    spread = own.half_width**2 / 3 + own.entry_u**2
    if group.error.kind is SharedKind.SCALE:
        return np.log(x) - np.log(centre), variance / x**2 + spread / centre**2
    return x - own.centre, variance + spread


def _gross_density(group: SharedGroup, j: int) -> Floats:
    reading, mix = group.readings[j], group.mixtures[j]
    if group.error.unscaled:
        return mix.floor
    return Mixture(components=mix.components[1:], floor=mix.floor).density(reading.number, folded(reading))


def _normal_group(d: Floats, v: Floats, coefficients: Floats, subset: Ints, sd: float) -> Floats:
    """−½(Σd²/v − B²/A) − ½Σln v − ½ln(Aσ²), and the normal's constant for each reading."""
    d, v, a = d[subset], v[subset], coefficients[subset, None]
    total = (a * a / v).sum(axis=0) + 1.0 / sd**2
    pull = (a * d / v).sum(axis=0)
    return np.asarray(
        -0.5 * ((d * d / v).sum(axis=0) - pull * pull / total)
        - 0.5 * np.log(v).sum(axis=0)
        - 0.5 * np.log(total * sd**2)
        - 0.5 * len(subset) * math.log(2 * math.pi)
    )


def exact(group: SharedGroup, halves: Ints, precision: Precision = FINE) -> Floats:
    """Log-likelihood of the group for the given halves, exact rectangles and slips, z integrated out.

    ``precision`` is for what is quick; panels are always fine.
    """
    if not group.error.unscaled or not scale_free_ratios.within_reach(group.readings):
        return by_panels(group, halves)
    starts = range(0, len(halves), AT_ONCE)
    pieces = [_by_ratios(group, halves[start : start + AT_ONCE], precision) for start in starts]
    return np.concatenate([np.zeros(0), *pieces])


def _by_ratios(group: SharedGroup, halves: Ints, precision: Precision) -> Floats:
    mixtures = [mix.take(halves) for mix in group.mixtures]
    result, known = scale_free_ratios.log_density(group.readings, mixtures, group.error.sd, precision)
    if not np.all(known):
        result[~known] = by_panels(group, halves[~known])
    return result


def by_panels(group: SharedGroup, halves: Ints) -> Floats:
    """`exact` by quadrature in panels between all edges of rectangles: for any readings, and slow."""
    mixtures = [
        Mixture(components=_reachable(group.error, reading, mix, halves), floor=mix.floor[halves])
        for reading, mix in zip(group.readings, group.mixtures, strict=True)
    ]
    limits = _limits(group, mixtures, len(halves))
    owners, middles, half_widths = _panels(group, mixtures, limits)
    z = middles[:, None] + half_widths[:, None] * NODES
    weighed = np.log(half_widths)[:, None] + np.log(WEIGHTS) + _log_integrand(group, mixtures, owners, z)
    return _log_sum(logsumexp(weighed, axis=1), owners, len(halves)) - math.log(group.error.sd * SQRT_2PI)


def _panels(group: SharedGroup, mixtures: Sequence[Mixture], limits: Floats) -> tuple[Ints, Floats, Floats]:
    """Half, middle and half-width of each panel that matters, judged by the integrand in its middle."""
    half_widths = np.diff(limits, axis=1) / 2
    owners, number = np.nonzero(half_widths > 0)
    half_widths, middles = half_widths[owners, number], limits[owners, number] + half_widths[owners, number]
    mass = np.log(half_widths) + _log_integrand(group, mixtures, owners, middles[:, None])[:, 0]
    best = np.full(len(limits), -np.inf)
    np.maximum.at(best, owners, mass)
    kept = mass > best[owners] - NEGLIGIBLE_PANEL
    return owners[kept], middles[kept], half_widths[kept]


def _log_sum(logs: Floats, owners: Ints, size: int) -> Floats:
    """Log of the sum of exponentials by owner; every owner has at least one."""
    top = np.full(size, -np.inf)
    np.maximum.at(top, owners, logs)
    return np.asarray(np.log(np.bincount(owners, weights=np.exp(logs - top[owners]), minlength=size)) + top)


def _log_integrand(group: SharedGroup, mixtures: Sequence[Mixture], owners: Ints, z: Floats) -> Floats:
    total = -0.5 * (z / group.error.sd) ** 2
    for reading, mix in zip(group.readings, mixtures, strict=True):
        total += np.log(_density_given(group.error, reading, mix, owners, z))
    return np.asarray(total)


def _reachable(error: SharedError, reading: Reduced, mix: Mixture, halves: Ints) -> tuple[Component, ...]:
    """Explanations that the shared error can bring near the reading for at least one of the halves."""
    stretch = PRIOR_OFFSETS[-1] * error.sd
    kept = []
    for component in (whole.take(halves) for whole in mix.components):
        if error.unscaled:
            near = component.weight > 0
        else:
            scale = math.exp(stretch) if error.kind is SharedKind.SCALE else 1.0
            sway = component.centre * (scale - 1.0) + abs(_zero_reach(reading, component)) * stretch
            w = np.hypot(component.own_u, component.entry_u * scale) + W_MIN
            near = np.abs(reading.number - component.centre) < component.half_width * scale + sway + REACH * w
        if np.any(near & (component.weight > 0)):
            kept.append(component)
    return tuple(kept)


def _zero_reach(reading: Reduced, component: Component) -> float:
    """How far one mm of zero error moves the reading under this explanation; 0 under a scale."""
    if reading.shared is None or reading.shared.kind is SharedKind.SCALE:
        return 0.0
    return reading.shared.coefficient * component.follows


def _limits(group: SharedGroup, mixtures: Sequence[Mixture], halves: int) -> Floats:
    """Panel limits in z for each half: where a rectangle's edge passes a reading, and the prior's own scale."""
    reach = PRIOR_OFFSETS[-1] * group.error.sd
    columns = [np.broadcast_to(PRIOR_OFFSETS * group.error.sd, (halves, len(PRIOR_OFFSETS)))]
    for reading, mix in zip(group.readings, mixtures, strict=True):
        for component in mix.components:
            columns += _edges(group.error, reading, component)
    return np.sort(np.clip(np.concatenate(columns, axis=1), -reach, reach), axis=1)


def _edges(error: SharedError, reading: Reduced, component: Component) -> list[Floats]:
    x, edges = reading.number, []
    if error.unscaled:
        centre = np.maximum(component.centre, SMALLEST_EDGE * x)[:, None]
        edges.append(math.log(x) - np.log(centre) + SLOW_OFFSETS)
    for side in (-1.0, 1.0):
        edge = (component.centre + side * component.half_width)[:, None]
        if error.kind is SharedKind.SCALE:
            edge = np.maximum(edge, SMALLEST_EDGE * x)
            w = np.hypot(component.own_u, component.entry_u[:, None] * x / edge) + W_MIN
            edges.append(np.log(np.maximum(x + EDGE_OFFSETS * w, SMALLEST_EDGE * x)) - np.log(edge))
        else:
            w = np.hypot(component.own_u, component.entry_u[:, None]) + W_MIN
            edges.append((x - edge + EDGE_OFFSETS * w) / _zero_reach(reading, component))
    return edges


def _density_given(error: SharedError, reading: Reduced, mix: Mixture, owners: Ints, z: Floats) -> Floats:
    """Density of a reading given z (points × nodes), each point belonging to the half ``owners``."""
    density = np.broadcast_to(mix.floor[owners, None], z.shape).copy()
    stretch = np.exp(z) if error.kind is SharedKind.SCALE else np.ones(())
    for component in (whole.take(owners) for whole in mix.components):
        centre = component.centre[:, None] * stretch + _zero_reach(reading, component) * z
        half_width = component.half_width[:, None] * stretch
        w = np.maximum(np.hypot(component.own_u, component.entry_u[:, None] * stretch), W_MIN)
        density += component.weight[:, None] * rectangle_normal(reading.number - centre, half_width, w)
    return density
