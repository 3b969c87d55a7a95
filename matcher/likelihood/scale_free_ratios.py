"""Fast joint density of readings in a picture without a scale, with the scale integrated out.

Given the log of the scale z, each reading's density is its floor times 1 + b(z), where b is the sum of its explanations
(right, slips). Each explanation is a bump at the scale that takes its size to the reading. With the prior p of z, which
is wide compared with every bump,

    ∫ p Π(1 + b_j) dz = 1 + Σ_j ∫ p b_j dz + ∫ p (Π(1 + b_j) − 1 − Σ_j b_j) dz.

The second term is an expectation of p over the true size and the reading's error, which a few Gauss nodes give. The
third is a sum of products of two and more bumps, each taken together with all whose narrowest bump is the same one:
other than 0 only across that bump, smooth there, and vanishing towards both ends, so that equal steps (the trapezoid
rule) converge exponentially.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, Floats, Ints
from matcher.likelihood.error_model.gross_errors import Mixture
from matcher.likelihood.error_model.quadrature import ERROR_NODES, RULES
from matcher.likelihood.error_model.tolerance_density import SQRT_2PI, W_MIN, rectangle_normal
from matcher.observations import Reduced

NEGLIGIBLE = 1e-14
"""Part of its reading's floor at which a bump ends."""

STEP = 0.7
"""Step in standard deviations of the product of the narrowest bumps that overlap: its error is exp(−2π²/step²)."""

LARGEST_STEP = 0.04
"""Largest step in ln(scale): wide bumps are skew in it."""

LARGEST_RELATIVE_U = 0.06
"""Largest relative uncertainty of a reading here: coarser readings reach down to 0 and need the slow quadrature."""

MOST_POINTS = 2000
"""Points across one bump above which the half needs the slow quadrature: a tolerance of hundreds of standard
deviations, or two explanations of unknown size."""

LONGEST_TAIL = 60.0
"""Longest tail of a bump, in ln: a size that may be near 0 has a bump that falls as 1/scale until it is negligible."""


@dataclass(frozen=True, kw_only=True)
class Bumps:
    """All explanations of a picture's readings under some halves (explanations × halves).

    ``reading`` is the reading that each belongs to, ``number`` and ``own_u`` are that reading's. ``strength`` is the
    weight over the floor. The bump matters between ``low`` and ``high`` of z (low > high: nowhere), and ``sd`` is its
    standard deviation there.
    """

    reading: Ints
    number: Floats
    own_u: Floats
    strength: Floats
    centre: Floats
    half_width: Floats
    entry_u: Floats
    low: Floats
    high: Floats
    sd: Floats

    @classmethod
    def of(cls, readings: Sequence[Reduced], mixtures: Sequence[Mixture]) -> Bumps:
        c, t, s, weight = (
            np.concatenate([getattr(mix, name) for mix in mixtures])
            for name in ("centre", "half_width", "entry_u", "weight")
        )
        number_of = [len(mix.words) for mix in mixtures]
        own_u = np.concatenate([mix.own_u[:, 0] for mix in mixtures])
        number = np.repeat([reading.number for reading in readings], number_of)
        floor = np.repeat([mix.floor for mix in mixtures], number_of, axis=0)
        exists = (weight > 0) & (c > 0)
        strength = np.where(exists, weight / floor, 0.0)
        c = np.where(exists, c, 1.0)
        low, high = _reach(number[:, None], own_u[:, None], c, t, s, strength / NEGLIGIBLE)
        return cls(
            reading=np.repeat(np.arange(len(mixtures)), number_of),
            number=number,
            own_u=own_u,
            strength=strength,
            centre=c,
            half_width=t,
            entry_u=s,
            low=np.where(exists, low, np.inf),
            high=high,
            sd=np.hypot((own_u / number)[:, None], s / (c + t)),
        )

    def added(self, which: Ints, halves: Ints, number: Ints, z: Floats) -> Floats:
        """Bumps of explanations, relative to their readings' floors: each (explanation, half) at ``number`` next z."""
        strength, c, t, s = (
            np.repeat(a[which, halves], number) for a in (self.strength, self.centre, self.half_width, self.entry_u)
        )
        x, u = (np.repeat(a[which], number) for a in (self.number, self.own_u))
        stretch = np.exp(z)
        w = np.sqrt(u * u + (s * stretch) ** 2)
        return np.asarray(strength * rectangle_normal(x - c * stretch, t * stretch, w))


def within_reach(readings: Sequence[Reduced]) -> bool:
    """Whether all readings of a picture are precise enough for this module."""
    return all(10.0 * W_MIN <= reading.u <= LARGEST_RELATIVE_U * reading.number for reading in readings)


def log_density(readings: Sequence[Reduced], mixtures: Sequence[Mixture], sd: float) -> tuple[Floats, Bools]:
    """Log-likelihood of a picture's readings by half, right to 1e-9, and whether it is that accurate.

    ``mixtures`` and the result are over the same halves.
    """
    bumps = Bumps.of(readings, mixtures)
    mean, known = _mean_prior(bumps, sd)
    together, fits = _overlapping(bumps, sd)
    floor = np.log(np.stack([mix.floor for mix in mixtures])).sum(axis=0)
    return floor + np.log(1.0 + (bumps.strength * mean).sum(axis=0) + together), known & fits


def _reach(x: Floats, u: Floats, c: Floats, t: Floats, s: Floats, strength: Floats) -> tuple[Floats, Floats]:
    """Log-scales between which a bump matters: the rectangle's edge is k standard deviations away from the reading.

    With m the scale, x − (c + t)m = k·√(u² + s²m²) below and (c − t)m − x = k·√(u² + s²m²) above, both quadratic.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        peak = strength / np.maximum(2.0 * t * x / c, SQRT_2PI * np.hypot(u, s * x / c))
        height = np.maximum(np.log(peak), 2.0)
        k = np.sqrt(2.0 * height)
        far, near = c + t, c - t
        below = (x * x - (k * u) ** 2) / (x * far + k * np.sqrt(_under_root(x, u, far, s, k)))
        denominator = near * near - (k * s) ** 2
        above = (x * near + k * np.sqrt(_under_root(x, u, near, s, k))) / denominator
        low = np.log(below)
        high = np.where((denominator > 0) & (near > 0), np.log(above), np.inf)
    return low, np.minimum(high, low + np.minimum(height, LONGEST_TAIL))


def _under_root(x: Floats, u: Floats, edge: Floats, s: Floats, k: Floats) -> Floats:
    return np.asarray(np.maximum((edge * u) ** 2 + (s * x) ** 2 - (k * s * u) ** 2, 0.0))


def _mean_prior(bumps: Bumps, sd: float) -> tuple[Floats, Bools]:
    """∫ p(z)·(density of the reading given z) dz: the mean of p(ln(read/true))/read, over errors and true sizes.

    By explanation and half; the second value is whether all are accurate for a half.
    """
    mean, known = np.zeros(bumps.strength.shape), bumps.strength == 0
    t, s = bumps.half_width / bumps.centre, bumps.entry_u / bumps.centre
    for rule in RULES:
        chosen = np.nonzero(~known & rule.applies(t, s))
        sizes, weights = rule.nodes(*(a[chosen][:, None] for a in (bumps.centre, bumps.half_width, bumps.entry_u)))
        mean[chosen] = (_prior_at(bumps, chosen[0], sizes, sd) * weights).sum(axis=1)
        known[chosen] = True
    return mean, np.all(known, axis=0)


def _prior_at(bumps: Bumps, which: Ints, sizes: Floats, sd: float) -> Floats:
    """Mean of p(ln(read/true))/read over the reading's own error, at true sizes (a row for each explanation)."""
    log_size, mean = np.log(sizes), np.zeros(sizes.shape)
    relative = bumps.own_u / bumps.number
    for node, weight in zip(*ERROR_NODES, strict=True):
        read = (bumps.number * (1.0 + relative * node))[which, None]
        mean += weight / read * np.exp(-0.5 * ((np.log(read) - log_size) / sd) ** 2)
    return np.asarray(mean / (sd * SQRT_2PI))


@dataclass(frozen=True, kw_only=True)
class Overlaps:
    """Bumps (``which``, of half ``owners``) that wider bumps of other readings overlap: where, and the step there.

    ``wider`` (explanations × overlaps) marks those wider bumps.
    """

    which: Ints
    owners: Ints
    wider: Bools
    low: Floats
    high: Floats
    step: Floats


def _overlapping(bumps: Bumps, sd: float) -> tuple[Floats, Bools]:
    """∫ p (Π(1 + b) − 1 − Σb) dz by half, and whether the half was within `MOST_POINTS`."""
    found, halves = _overlaps(bumps), bumps.low.shape[1]
    number = np.ceil((found.high - found.low) / found.step).astype(np.int64) + 1
    fits = np.ones(halves, dtype=np.bool_)
    fits[found.owners[number > MOST_POINTS]] = False
    number[number > MOST_POINTS] = 0
    place, point = _ragged(number)
    z = found.low[place] + found.step[place] * point
    first = np.cumsum(number) - number
    readings = int(bumps.reading[-1]) + 1
    wider, at = np.nonzero(found.wider)
    pair, point = _ragged(number[at])
    points = first[at][pair] + point
    added = bumps.added(wider, found.owners[at], number[at], z[points])
    others = _sums(points + len(z) * bumps.reading[wider][pair], added, readings * len(z))
    narrowest = bumps.added(found.which, found.owners, number, z)
    prior = np.exp(-0.5 * (z / sd) ** 2) / (sd * SQRT_2PI)
    total = narrowest * _beyond(others.reshape(readings, len(z))) * prior * found.step[place]
    return _sums(found.owners[place], total, halves), fits


def _sums(places: Ints, values: Floats, size: int) -> Floats:
    """Sums of the values that belong to each place."""
    return np.bincount(places, weights=values, minlength=size).astype(np.float64)


def _ragged(number: Ints) -> tuple[Ints, Ints]:
    """Row of each element and its position in the row, for rows of the given lengths one after the other."""
    row = np.repeat(np.arange(len(number)), number)
    return row, np.arange(len(row)) - (np.cumsum(number) - number)[row]


def _beyond(others: Floats) -> Floats:
    """Π(1 + b) − 1 over the first axis, without cancellation."""
    total = np.zeros(others.shape[1])
    for each in others:
        total += each * (1.0 + total)
    return total


def _overlaps(bumps: Bumps) -> Overlaps:
    """Every bump with the wider ones that overlap it; of bumps equally wide the later one counts as wider."""
    low, high, sd, reading = bumps.low, bumps.high, bumps.sd, bumps.reading
    wider = (low[None] < high[:, None]) & (high[None] > low[:, None])
    later = np.arange(len(sd))[None, :, None] > np.arange(len(sd))[:, None, None]
    wider &= (sd[None] > sd[:, None]) | (later & (sd[None] == sd[:, None]))
    wider &= (reading[None, :] != reading[:, None])[:, :, None]
    which, owners = np.nonzero(np.any(wider, axis=1))
    wider = wider[which, :, owners].T
    precision = sd[which, owners] ** -2.0
    for number in np.unique(reading).tolist():
        mine = reading == number
        precision += np.max(np.where(wider[mine], sd[mine][:, owners] ** -2.0, 0.0), axis=0)
    lows = np.min(np.where(wider, low[:, owners], np.inf), axis=0)
    highs = np.max(np.where(wider, high[:, owners], -np.inf), axis=0)
    return Overlaps(
        which=which,
        owners=owners,
        wider=wider,
        low=np.maximum(lows, low[which, owners]),
        high=np.minimum(highs, high[which, owners]),
        step=np.minimum(STEP / np.sqrt(precision), LARGEST_STEP),
    )
