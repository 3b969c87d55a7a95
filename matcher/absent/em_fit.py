"""Fit of the density of *absent*: expectation–maximisation on each half's likelihood given all other series."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from matcher.absent.model import (
    ACROSS,
    CLASSES,
    COUNT_SPREAD,
    FEWEST_TRAINING_HALVES,
    KINDS,
    SMALLEST_ACROSS,
    SMALLEST_ALLOWANCE,
    SMALLEST_PITCH,
    TRAINING_HALVES,
    TRAINING_PAIRS,
    TRAINING_U,
    AbsentModel,
    Bandwidths,
    allowances,
    count_kernel,
    start_model,
)
from matcher.columns.columns import Bools, Columns, Floats, Ints

ITERATIONS, CONVERGED = 25, 0.002
"""Most steps of expectation and maximisation, and the change of the classes' weights at which they stop."""

FEWEST_SERIES = 8
"""With fewer series no density can be estimated, and the starting values are kept."""

FEWEST_HALVES = 20
"""Fewest halves with pitch, count and body length for a fit."""

SMALLEST_PRESENT_SHARE = 0.05
"""Smallest share of absent halves that measure just like a listed one, however few twins the catalogue's series have.
So measurements never favour "in the catalogue" by more than twenty to one."""

BLOCK_HALVES = 8
"""Halves in one block: their tables of some hundred profiles stay in the processor's cache."""

SMALLEST = 1e-300
"""Added to a count's kernel, so that a count far from all others has a finite logarithm."""

PRIOR_COUNT = 2.0
"""Weight, in halves, of the starting values in every fitted share: it prevents extremes in small catalogues."""


def fit_absent(columns: Columns) -> AbsentModel:
    """Fit weights, bandwidths and shares on the catalogue. Deterministic."""
    model = start_model(columns)
    training = Training.of(columns, model)
    if training is None:
        return model
    for _ in range(ITERATIONS):
        before, model = model.weights, training.improved(model)
        if np.max(np.abs(model.weights - before)) < CONVERGED:
            break
    return model


@dataclass(frozen=True, kw_only=True)
class Block:
    """Some listed halves (n) compared with all profiles (k) of other series and other geometry.

    ``differences`` (n × 2·quantities × k) holds squared deviations (0 where not known), then whether each is known;
    ``noise`` (n × quantities) holds their variances from measuring. ``log_share`` (n × k) is −∞ for excluded pairs.
    The first class, *exact*, is for halves that measure as listed; ``unlisted`` and all fitted values have one entry
    for it and one for each bandwidth class. ``listed`` is the probability that the profile lists the half's count,
    ``unlisted`` (n × classes × k) the kernel of other counts. ``same_kind`` and ``any_kind`` are the probabilities of
    mounting, orientation and rows if shared with the profile or drawn from the catalogue.
    """

    differences: Floats
    noise: Floats
    log_share: Floats
    listed: Floats
    unlisted: Floats
    same_kind: Floats
    any_kind: Floats

    def some(self, halves: slice) -> Block:
        """The block of the chosen halves only."""
        return Block(**{name: table[halves] for name, table in vars(self).items()})

    def totals(self, shares: Shares) -> Totals:
        """The sums of one expectation step over these halves."""
        count = (1 - shares.listed)[:, None] * self.unlisted
        count += shares.listed[:, None] * self.listed[:, None]
        drawn = shares.other[:, None] * self.any_kind[:, None]
        kind = (1 - shares.other)[:, None] * self.same_kind[:, None]
        kind += drawn
        belongs = self._log_deviations(shares.widths)
        with np.errstate(divide="ignore"):
            belongs += np.log(count * kind)
        belongs += self.log_share[:, None]
        belongs += np.log(shares.weights)[:, None]
        belongs -= belongs.max(axis=(1, 2), keepdims=True)
        np.exp(belongs, out=belongs)
        belongs /= belongs.sum(axis=(1, 2), keepdims=True)
        sums = belongs @ self.differences.transpose(0, 2, 1)
        squares, known = np.split(sums, 2, axis=2)
        fitted = belongs[:, 1:]
        return Totals(
            weights=belongs.sum(axis=(0, 2)),
            excess=(squares - self.noise[:, None] * known).sum(axis=0)[1:],
            known=known.sum(axis=0)[1:],
            listed=np.einsum("njk,nk->j", fitted / count[:, 1:], self.listed) * shares.listed[1:],
            other=np.einsum("njk,nj->j", fitted / kind[:, 1:], drawn[:, 1:, 0]),
        )

    def _log_deviations(self, widths: Floats) -> Floats:
        variance = self.noise[:, None] + widths**2
        return np.concatenate([-0.5 / variance, -0.5 * np.log(2 * np.pi * variance)], axis=2) @ self.differences


@dataclass(frozen=True, kw_only=True)
class Shares:
    """A model as the expectation step uses it, *exact* first: weights, bandwidths (classes × quantities), shares."""

    weights: Floats
    widths: Floats
    listed: Floats
    other: Floats

    @classmethod
    def of(cls, model: AbsentModel, names: tuple[str, ...]) -> Shares:
        """The shares of a model, for the named quantities."""
        widths = np.stack([_bandwidths(model.bandwidths)[name] for name in names], axis=1)
        return cls(
            weights=np.concatenate([[model.present_share], (1 - model.present_share) * model.weights]),
            widths=np.concatenate([np.zeros((1, len(names))), widths]),
            listed=np.concatenate([[1.0], model.listed_count]),
            other=np.concatenate([[0.0], model.other_kind]),
        )


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Sums over pairs, weighted by the probability that the pair belongs to a class: of the classes themselves (*exact*
    first), and by bandwidth class of excess squares, known deviations, counts and kinds."""

    weights: Floats
    excess: Floats
    known: Floats
    listed: Floats
    other: Floats

    @classmethod
    def over(cls, parts: Iterable[Totals]) -> Totals:
        """The sum of all parts."""
        each = [vars(part) for part in parts]
        return cls(**{name: np.sum([part[name] for part in each], axis=0) for name in each[0]})


@dataclass(frozen=True, kw_only=True)
class Training:
    """Listed halves compared with the profiles, in blocks, and the quantities compared."""

    start: AbsentModel
    names: tuple[str, ...]
    blocks: tuple[Block, ...]

    @classmethod
    def of(cls, columns: Columns, model: AbsentModel) -> Training | None:
        """Training pairs, or None where the catalogue is too small."""
        halves = _training_halves(columns, len(model.size))
        if len(halves) < FEWEST_HALVES or len(set(columns.series[halves].tolist())) < FEWEST_SERIES:
            return None
        names, differences, noise = _differences(columns, model, halves)
        members = _members(columns, model, halves)
        with np.errstate(divide="ignore"):
            log_share = np.log(members) - np.log(np.maximum(members.sum(axis=1, keepdims=True), 1))
        listed, unlisted = _counts(columns, model, halves)
        same, anything = _kinds(columns, model, halves)
        whole = Block(
            differences=differences,
            noise=noise,
            log_share=log_share,
            listed=listed,
            unlisted=unlisted,
            same_kind=same,
            any_kind=anything,
        )
        blocks = [whole.some(slice(at, at + BLOCK_HALVES)) for at in range(0, len(halves), BLOCK_HALVES)]
        return cls(start=model, names=names, blocks=tuple(blocks))

    def improved(self, model: AbsentModel) -> AbsentModel:
        """One step of expectation and maximisation."""
        shares = Shares.of(model, self.names)
        totals = Totals.over(block.totals(shares) for block in self.blocks)
        counted = totals.weights + PRIOR_COUNT / (CLASSES + 1)
        weight = totals.weights[1:] + PRIOR_COUNT
        return replace(
            model,
            present_share=max(float(counted[0] / counted.sum()), SMALLEST_PRESENT_SHARE),
            weights=counted[1:] / counted[1:].sum(),
            bandwidths=self._fitted(totals),
            listed_count=(totals.listed + PRIOR_COUNT * self.start.listed_count) / weight,
            other_kind=(totals.other + PRIOR_COUNT * self.start.other_kind) / weight,
        )

    def _fitted(self, totals: Totals) -> Bandwidths:
        """Fitted bandwidths of the compared quantities; the starting values of the others."""
        found = _bandwidths(self.start.bandwidths)
        for name, excess, known in zip(self.names, totals.excess.T, totals.known.T, strict=True):
            smallest = {"pitch": SMALLEST_PITCH, "allowance": SMALLEST_ALLOWANCE}.get(name, SMALLEST_ACROSS)
            square = (excess + PRIOR_COUNT * found[name] ** 2) / (known + PRIOR_COUNT)
            found[name] = np.sqrt(np.maximum(square, smallest**2))
        return Bandwidths(
            pitch=found["pitch"], allowance=found["allowance"], across={name: found[name] for name in ACROSS}
        )


def _bandwidths(of: Bandwidths) -> dict[str, Floats]:
    return {"pitch": of.pitch, "allowance": of.allowance, **of.across}


def _training_halves(columns: Columns, profiles: int) -> Ints:
    """Listed halves with pitch, count and body length, evenly thinned out."""
    stated = ~np.isnan(columns.dimensions["pitch"].stated) & ~np.isnan(columns.dimensions["body_length"].stated)
    usable = np.flatnonzero(stated & ~columns.inferred & (columns.counts["contact_count"] > 0))
    most = min(max(TRAINING_PAIRS // max(profiles, 1), FEWEST_TRAINING_HALVES), TRAINING_HALVES)
    wanted = min(most, len(usable))
    return usable[np.arange(wanted) * len(usable) // max(wanted, 1)]


def _members(columns: Columns, model: AbsentModel, halves: Ints) -> Floats:
    """Number of halves in each profile without those of a half's own series and geometry."""
    listed = np.flatnonzero(model.profile >= 0)
    left = np.broadcast_to(model.size.astype(np.float64), (len(halves), len(model.size))).copy()
    series = columns.series[model.representative]
    for i, half in enumerate(halves):
        left[i, series == columns.series[half]] = 0.0
        twins = listed[columns.geometry[listed] == columns.geometry[half]]
        np.subtract.at(left[i], model.profile[twins], 1.0)
    return np.maximum(left, 0.0)


def _differences(columns: Columns, model: AbsentModel, halves: Ints) -> tuple[tuple[str, ...], Floats, Floats]:
    """Names of the quantities that can be compared, and ``differences`` and ``noise`` as in `Block`."""
    rng = np.random.default_rng(0)
    found = {name: _deviation(columns, model, halves, name, rng) for name in ("pitch", "allowance", *ACROSS)}
    names = tuple(name for name, (known, _, _) in found.items() if np.any(known))
    squares, known = [found[name][1] for name in names], [found[name][0] for name in names]
    noise = np.stack([found[name][2] for name in names], axis=1)
    return names, np.stack([*squares, *known], axis=1), noise


def _deviation(
    columns: Columns, model: AbsentModel, halves: Ints, name: str, rng: np.random.Generator
) -> tuple[Bools, Floats, Floats]:
    """For one quantity: whether the difference is known, its square (0: not known), its variance from measuring."""
    column = columns.dimensions["body_length" if name == "allowance" else name]
    value = allowances(columns, "body_length") if name == "allowance" else np.log(column.centre)
    size = np.ones(len(column.centre)) if name == "allowance" else column.centre
    spread = column.half_width**2 / 3 + column.extra_u**2 + TRAINING_U**2
    if name == "pitch":
        spread = spread / np.maximum(columns.counts["contact_count"] / columns.counts["rows"] - 1, 1) ** 2
    noise = np.sqrt(spread) / size
    measured = value[halves] + rng.normal(size=len(halves)) * noise[halves]
    stated = np.where(np.isnan(column.stated[halves]), np.nan, measured)
    difference = stated[:, None] - value[model.representative]
    own = np.where(np.isnan(noise[halves]), 1.0, noise[halves])
    return ~np.isnan(difference), np.nan_to_num(difference) ** 2, own**2


def _counts(columns: Columns, model: AbsentModel, halves: Ints) -> tuple[Floats, Floats]:
    """Probability of each half's count as a listed count of the profile, and by class as one near (*exact*: none)."""
    members = np.flatnonzero(model.profile >= 0)
    profile, profiles = model.profile[members], len(model.size)
    counts, rows = columns.counts["contact_count"][members], columns.counts["rows"][members]
    different, which = np.unique(columns.counts["contact_count"][halves], return_inverse=True)
    listed = np.zeros((len(different), profiles))
    unlisted = np.zeros((len(different), CLASSES + 1, profiles))
    for i, n in enumerate(different):
        listed[i] = np.bincount(profile, weights=counts == n, minlength=profiles)
        for j, spread in enumerate(COUNT_SPREAD, start=1):
            kernel = count_kernel(n, counts, rows, spread)
            unlisted[i, j] = np.bincount(profile, weights=kernel, minlength=profiles) + SMALLEST
    return (listed / model.size)[which], (unlisted / model.size)[which]


def _kinds(columns: Columns, model: AbsentModel, halves: Ints) -> tuple[Floats, Floats]:
    same = np.ones((len(halves), len(model.size)))
    anything = np.ones((len(halves), 1))
    for name in KINDS:
        has = columns.categories[name]
        same *= has[halves] @ has[model.representative].T
        anything *= (has[halves] @ has[~columns.inferred].mean(axis=0))[:, None]
    rows = columns.counts["rows"]
    same *= rows[halves][:, None] == rows[model.representative][None, :]
    anything *= np.array([np.mean(rows[~columns.inferred] == rows[half]) for half in halves])[:, None]
    return same + 1e-12, anything
