"""Log-likelihood of a specimen's observations under every half of the catalogue.

Observations fall into parts that are independent given the half: single ones, groups that share an instrument's error,
the two counts that one end fitting may confuse, and everything seen of the other half or the pair.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import logsumexp

from matcher.columns.columns import Columns, Floats, Ints
from matcher.errors import UnknownHalfError
from matcher.likelihood.mated_pair import MatesGroup, mates_group
from matcher.likelihood.miscounts import fittings_probability
from matcher.likelihood.scale_free_ratios import COARSE
from matcher.likelihood.shared_errors import SharedGroup, closed_form, exact
from matcher.likelihood.single_reading import dimension_density, half_mixture, half_probability
from matcher.observations import Of, Reduced

EXACT_AT_LEAST = 32
"""The likeliest halves whose shared errors are always integrated exactly."""

FINE_AT_LEAST = 32
"""The likeliest halves for which they are integrated to 1e-10; for others, 1e-7 will do."""

INEXACT_MASS = 1e-6
"""Posterior probability that may rest on the closed form (right to a few nats) in place of the exact integral."""


SHARED_OUT = 12
"""The likeliest halves, over which a group's log-likelihood is split together when any one's is asked for."""


@dataclass(frozen=True, kw_only=True)
class Exactness:
    """How many halves' shared errors are integrated exactly: always the ``at_least`` likeliest, and so many that the
    others have less than ``inexact_mass`` of probability."""

    at_least: int = EXACT_AT_LEAST
    inexact_mass: float = INEXACT_MASS


RANKING = Exactness()
"""For the ranking itself."""

DROPPING = Exactness(inexact_mass=1e-4)
"""For answers without one reading, which only tell what is worth measuring again. Closed forms are right to a few nats,
so that such an answer is right to 0.001."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """Observations that hang together, with their joint log-likelihood under each half.

    ``shares(halves)`` splits it over the readings (readings × halves): each reading's conditional log-likelihood given
    those before it, averaged over both orders, so that they add up to the whole. ``drop(i)`` is the part without its
    i-th reading, or None where nothing is left.
    """

    readings: tuple[Reduced, ...]
    log_likelihood: Floats
    shares: Callable[[Ints], Floats]
    drop: Callable[[int], Part | None]


@dataclass(frozen=True, kw_only=True)
class Likelihood:
    """All parts; ``total`` is their sum over halves, ``mates`` the group of the other half and pair, if any."""

    columns: Columns
    parts: tuple[Part, ...]
    mates: MatesGroup | None = None
    total: Floats = field(repr=False)

    def without(self, part: Part, reading: int) -> Likelihood:
        """The likelihood without one reading of one part."""
        smaller = part.drop(reading)
        rest = [other for other in self.parts if other is not part]
        total = self.total - part.log_likelihood + (0.0 if smaller is None else smaller.log_likelihood)
        parts = tuple(rest if smaller is None else [*rest, smaller])
        return Likelihood(columns=self.columns, parts=parts, total=total)


def log_likelihoods(columns: Columns, observations: Sequence[Reduced]) -> Floats:
    """Log-likelihood of the observations under each half, in the order of ``columns.keys``."""
    return likelihood(columns, observations).total


def likelihood(
    columns: Columns,
    observations: Sequence[Reduced],
    *,
    beside: Floats | float = 0.0,
    exactness: Exactness = RANKING,
) -> Likelihood:
    """Split the observations into parts and weigh every half. Raises UnknownHalfError for a trial fit's half.

    Which halves' shared errors are integrated exactly is judged with ``beside`` added, the log-likelihood of further
    observations.
    """
    known = _positions_of_fits(columns, observations)
    about_mate = tuple(o for o in observations if o.of is not Of.THIS)
    groups, fittings, single = _split([o for o in observations if o.of is Of.THIS])
    parts = [_single_part(reading, columns, known) for reading in single]
    if fittings:
        parts.append(_fittings_part(fittings, columns))
    mates = mates_group(about_mate, columns, known) if about_mate else None
    if mates is not None:
        parts.append(_mates_part(mates))
    base = sum((part.log_likelihood for part in parts), np.zeros(len(columns)))
    parts += _shared_parts(
        [_shared_group(group, columns) for group in groups], base + beside + _log_prior(columns), exactness
    )
    total = sum((part.log_likelihood for part in parts), np.zeros(len(columns)))
    return Likelihood(columns=columns, parts=tuple(parts), mates=mates, total=np.asarray(total))


def _log_prior(columns: Columns) -> Floats:
    return np.asarray(np.log(columns.prior_weight))


def _positions_of_fits(columns: Columns, observations: Sequence[Reduced]) -> dict[str, int]:
    wanted = {o.fit.half for o in observations if o.fit is not None}
    if not wanted:
        return {}
    known = {key: position for position, key in enumerate(columns.keys) if key in wanted}
    for key in wanted - known.keys():
        raise UnknownHalfError(key)
    return known


def _split(observations: Sequence[Reduced]) -> tuple[list[list[Reduced]], tuple[Reduced, ...], list[Reduced]]:
    """Shared groups of two or more, the pair of fitting counts, and the rest."""
    by_group: dict[str, list[Reduced]] = {}
    for reading in observations:
        if reading.shared is not None and reading.value is not None:
            by_group.setdefault(reading.shared.group, []).append(reading)
    groups = [group for group in by_group.values() if len(group) > 1]
    exact_counts = {o.feature: o for o in observations if o.count is not None}
    names = ("power_contact_count", "hold_down_count")
    fittings = tuple(exact_counts[name] for name in names if all(n in exact_counts for n in names))
    taken = {id(reading) for group in [*groups, fittings] for reading in group}
    return groups, fittings, [o for o in observations if id(o) not in taken]


def _single_part(reading: Reduced, columns: Columns, known: dict[str, int]) -> Part:
    return _alone(reading, np.log(half_probability(reading, columns, known)))


def _alone(reading: Reduced, log_likelihood: Floats) -> Part:
    return Part(
        readings=(reading,),
        log_likelihood=log_likelihood,
        shares=lambda halves: log_likelihood[None, halves],
        drop=lambda _: None,
    )


def _fittings_part(fittings: tuple[Reduced, ...], columns: Columns) -> Part:
    power, hold_downs = (reading.count_range[0] for reading in fittings)
    joint = np.log(fittings_probability(power, hold_downs, columns))
    alone = np.log(np.stack([half_probability(reading, columns, {}) for reading in fittings]))

    def shares(halves: Ints) -> Floats:
        common = (joint - alone.sum(axis=0)) / len(fittings)
        return np.asarray((alone + common)[:, halves])

    return Part(
        readings=fittings,
        log_likelihood=joint,
        shares=shares,
        drop=lambda dropped: _alone(fittings[1 - dropped], alone[1 - dropped]),
    )


def _mates_part(group: MatesGroup) -> Part:
    def shares(halves: Ints) -> Floats:
        return _both_orders(len(group.readings), lambda chosen: group.log_likelihood(chosen)[halves])

    def drop(dropped: int) -> Part | None:
        kept = [j for j in range(len(group.readings)) if j != dropped]
        return _mates_part(group.of_some(kept)) if kept else None

    everything = list(range(len(group.readings)))
    return Part(readings=group.readings, log_likelihood=group.log_likelihood(everything), shares=shares, drop=drop)


def _shared_group(readings: list[Reduced], columns: Columns) -> SharedGroup:
    error = readings[0].shared
    if error is None:
        raise TypeError("a shared group without a shared error")
    mixtures = tuple(half_mixture(reading, columns) for reading in readings)
    return SharedGroup(error=error, readings=tuple(readings), mixtures=mixtures)


def _shared_parts(groups: list[SharedGroup], base: Floats, exactness: Exactness) -> list[Part]:
    """Exact integrals for the halves that matter, judged by ``base`` plus the closed forms; closed form for others."""
    if not groups:
        return []
    results = [closed_form(group) for group in groups]
    leaders = _leaders(base + sum(results), exactness)
    for group, result in zip(groups, results, strict=True):
        result[leaders] = _integrated(group, leaders)
    total = base + sum(results)
    return [_shared_part(group, result, total - result) for group, result in zip(groups, results, strict=True)]


def _integrated(group: SharedGroup, leaders: Ints) -> Floats:
    """Exact log-likelihood of halves, the likeliest first."""
    first, rest = leaders[:FINE_AT_LEAST], leaders[FINE_AT_LEAST:]
    fine = exact(group, first)
    return np.concatenate([fine, exact(group, rest, COARSE)]) if len(rest) else fine


def _leaders(approximate: Floats, exactness: Exactness) -> Ints:
    """The likeliest halves by approximate probability, the likeliest first."""
    order = np.argsort(-approximate, kind="stable")
    if len(order) <= exactness.at_least:
        return order
    probability = np.exp(approximate[order] - logsumexp(approximate))
    remaining = np.cumsum(probability[::-1])[::-1]
    number = max(exactness.at_least, int(np.count_nonzero(remaining > exactness.inexact_mass)))
    return order[:number]


def _shared_part(group: SharedGroup, log_likelihood: Floats, beside: Floats) -> Part:
    """``beside`` is the log-probability of the halves by everything else, which tells those that matter."""
    readings, shown = len(group.readings), np.argsort(-(beside + log_likelihood), kind="stable")[:SHARED_OUT]
    known: dict[tuple[int, ...], dict[int, float]] = {}

    def of_some(chosen: list[int], halves: Ints) -> Floats:
        if len(chosen) == readings:
            return log_likelihood[halves]
        found = known.setdefault(tuple(chosen), {})
        missing = np.setdiff1d(halves, list(found))
        if len(missing):
            wanted = missing if found else np.union1d(missing, shown)
            found.update(zip(wanted.tolist(), exact(group.of_some(chosen), wanted).tolist(), strict=True))
        return np.array([found[half] for half in halves.tolist()])

    def drop(dropped: int) -> Part:
        some = group.of_some([j for j in range(readings) if j != dropped])
        if len(some.readings) == 1:
            return _alone(some.readings[0], np.log(dimension_density(some.readings[0], some.mixtures[0])))
        smaller = closed_form(some)
        leaders = _leaders(beside + smaller, DROPPING)
        smaller[leaders] = _integrated(some, leaders)
        return _shared_part(some, smaller, beside)

    return Part(
        readings=group.readings,
        log_likelihood=log_likelihood,
        shares=lambda halves: _both_orders(readings, lambda chosen: of_some(chosen, halves)),
        drop=drop,
    )


def _both_orders(count: int, log_likelihood: Callable[[list[int]], Floats]) -> Floats:
    """Each reading's conditional log-likelihood given those before it, averaged over the given and reverse order."""
    shares: list[Floats] = [np.zeros(0)] * count
    for order in (list(range(count)), list(range(count))[::-1]):
        before: Floats | float = 0.0
        for position, j in enumerate(order):
            after = log_likelihood(sorted(order[: position + 1]))
            shares[j] = (after - before) / 2 + (shares[j] if len(shares[j]) else 0.0)
            before = after
    return np.stack(shares)
