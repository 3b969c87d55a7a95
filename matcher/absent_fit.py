"""Fitting the density of *absent*: expectation–maximisation on each half's likelihood given all other series."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from matcher.absent import (
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
from matcher.columns import Bools, Columns, Floats, Ints

ITERATIONS, CONVERGED = 25, 0.002
"""Most steps of expectation and maximisation, and the change of the classes' weights at which they end."""

FEWEST_SERIES = 8
"""With fewer series no density can be estimated and the starting values stand."""

FEWEST_HALVES = 20
"""Halves with pitch, count and body length from which a fit is tried."""

SMALLEST_PRESENT_SHARE = 0.05
"""However few twins the catalogue has among its own series, an absent half may measure just like a listed one: what is
measured never speaks more than twenty to one for "in the catalogue"."""

PRIOR_COUNT = 2.0
"""Weight, in halves, of the starting values in every fitted share: keeps small catalogues from extremes."""


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
class Deviation:
    """One measured quantity: squared deviation (halves × profiles; 0 where not known), whether it is known, and its
    variance from measuring (halves × 1)."""

    name: str
    square: Floats
    known: Bools
    noise: Floats


@dataclass(frozen=True, kw_only=True)
class Training:
    """Listed halves (rows) against all profiles (columns) of other series and other geometry.

    ``allowed`` marks the pairs; ``deviations`` their differences; ``listed`` whether the profile lists the half's
    count, as a probability; ``unlisted`` (classes × halves × profiles) the kernel of other counts; ``same_kind`` and
    ``any_kind`` the probability of mounting, orientation and rows shared with the profile or drawn from the catalogue.
    """

    start: AbsentModel
    log_share: Floats
    deviations: tuple[Deviation, ...]
    listed: Floats
    unlisted: Floats
    same_kind: Floats
    any_kind: Floats

    @classmethod
    def of(cls, columns: Columns, model: AbsentModel) -> Training | None:
        """Training pairs, or None where the catalogue is too small."""
        halves = _training_halves(columns, len(model.size))
        if len(halves) < FEWEST_HALVES or len(set(columns.series[halves].tolist())) < FEWEST_SERIES:
            return None
        members = _members(columns, model, halves)
        total = members.sum(axis=1, keepdims=True)
        with np.errstate(divide="ignore"):
            log_share = np.log(members) - np.log(np.maximum(total, 1))
        listed, unlisted = _counts(columns, model, halves)
        same, anything = _kinds(columns, model, halves)
        return cls(
            start=model,
            log_share=log_share,
            deviations=_deviations(columns, model, halves),
            listed=listed,
            unlisted=unlisted,
            same_kind=same,
            any_kind=anything,
        )

    def improved(self, model: AbsentModel) -> AbsentModel:
        """One step of expectation and maximisation. The first, exact class stands for halves that measure as listed."""
        logs = [self._log_exact()] + [self._log_class(model, j) for j in range(CLASSES)]
        shares = np.concatenate([[model.present_share], (1 - model.present_share) * model.weights])
        joint = np.stack(logs) + np.log(shares)[:, None, None]
        responsibility = np.exp(joint - joint.max(axis=(0, 2), keepdims=True))
        responsibility /= responsibility.sum(axis=(0, 2), keepdims=True)
        by_class = responsibility.sum(axis=(1, 2))
        counted = by_class + PRIOR_COUNT / (CLASSES + 1)
        listed, other = self._shares(model, responsibility[1:])
        return replace(
            model,
            present_share=max(float(counted[0] / counted.sum()), SMALLEST_PRESENT_SHARE),
            weights=counted[1:] / counted[1:].sum(),
            bandwidths=self._bandwidths(model, responsibility[1:]),
            listed_count=listed,
            other_kind=other,
        )

    def _log_exact(self) -> Floats:
        with np.errstate(divide="ignore"):
            return np.asarray(self._log_deviations({}) + np.log(self.listed * self.same_kind) + self.log_share)

    def _log_class(self, model: AbsentModel, j: int) -> Floats:
        widths = {"pitch": model.bandwidths.pitch[j], "allowance": model.bandwidths.allowance[j]}
        widths |= {name: values[j] for name, values in model.bandwidths.across.items()}
        count, kind = self._count_terms(model, j), self._kind_terms(model, j)
        return np.asarray(self._log_deviations(widths) + np.log(count.sum(axis=0) * kind.sum(axis=0)) + self.log_share)

    def _count_terms(self, model: AbsentModel, j: int) -> Floats:
        share = model.listed_count[j]
        return np.stack([share * self.listed, (1 - share) * self.unlisted[j] + 1e-300])

    def _kind_terms(self, model: AbsentModel, j: int) -> Floats:
        share = model.other_kind[j]
        return np.stack([(1 - share) * self.same_kind, share * self.any_kind])

    def _log_deviations(self, widths: dict[str, float]) -> Floats:
        total = np.zeros(self.log_share.shape)
        for deviation in self.deviations:
            variance = deviation.noise + widths.get(deviation.name, 0.0) ** 2
            total -= deviation.square * (0.5 / variance)
            total -= deviation.known * (0.5 * np.log(2 * np.pi * variance))
        return total

    def _bandwidths(self, model: AbsentModel, responsibility: Floats) -> Bandwidths:
        def fitted(name: str, old: Floats, smallest: float) -> Floats:
            deviation = next(d for d in self.deviations if d.name == name)
            excess = deviation.square - deviation.known * deviation.noise
            weight = np.einsum("jik,ik->j", responsibility, deviation.known) + PRIOR_COUNT
            square = (np.einsum("jik,ik->j", responsibility, excess) + PRIOR_COUNT * old**2) / weight
            return np.asarray(np.sqrt(np.maximum(square, smallest**2)))

        start = self.start.bandwidths
        names = [deviation.name for deviation in self.deviations]
        return Bandwidths(
            pitch=fitted("pitch", start.pitch, SMALLEST_PITCH),
            allowance=fitted("allowance", start.allowance, SMALLEST_ALLOWANCE),
            across={
                name: fitted(name, start.across[name], SMALLEST_ACROSS) if name in names else start.across[name]
                for name in ACROSS
            },
        )

    def _shares(self, model: AbsentModel, responsibility: Floats) -> tuple[Floats, Floats]:
        listed, other = np.zeros(CLASSES), np.zeros(CLASSES)
        for j in range(CLASSES):
            count, kind = self._count_terms(model, j), self._kind_terms(model, j)
            weight = responsibility[j]
            total = weight.sum() + PRIOR_COUNT
            listed[j] = (
                (weight * count[0] / count.sum(axis=0)).sum() + PRIOR_COUNT * self.start.listed_count[j]
            ) / total
            other[j] = ((weight * kind[1] / kind.sum(axis=0)).sum() + PRIOR_COUNT * self.start.other_kind[j]) / total
        return listed, other


def _training_halves(columns: Columns, profiles: int) -> Ints:
    """Listed halves with pitch, count and body length, evenly thinned out."""
    stated = ~np.isnan(columns.dimensions["pitch"].stated) & ~np.isnan(columns.dimensions["body_length"].stated)
    usable = np.flatnonzero(stated & ~columns.inferred & (columns.counts["contact_count"] > 0))
    wanted = min(max(TRAINING_PAIRS // max(profiles, 1), FEWEST_TRAINING_HALVES), TRAINING_HALVES)
    step = max(1.0, len(usable) / wanted)
    return usable[np.unique((np.arange(0, len(usable), step)).astype(np.int64))]


def _members(columns: Columns, model: AbsentModel, halves: Ints) -> Floats:
    """How many halves of each profile are left when a half's series and geometry are taken out."""
    listed = np.flatnonzero(model.profile >= 0)
    left = np.broadcast_to(model.size.astype(np.float64), (len(halves), len(model.size))).copy()
    series = columns.series[model.representative]
    for i, half in enumerate(halves):
        left[i, series == columns.series[half]] = 0.0
        twins = listed[columns.geometry[listed] == columns.geometry[half]]
        np.subtract.at(left[i], model.profile[twins], 1.0)
    return np.maximum(left, 0.0)


def _deviations(columns: Columns, model: AbsentModel, halves: Ints) -> tuple[Deviation, ...]:
    profiles = model.representative
    rng = np.random.default_rng(0)
    result = []
    for name in ("pitch", "allowance", *ACROSS):
        column = columns.dimensions["body_length" if name == "allowance" else name]
        value = allowances(columns, "body_length") if name == "allowance" else np.log(column.centre)
        size = np.ones(len(column.centre)) if name == "allowance" else column.centre
        spread = column.half_width**2 / 3 + column.extra_u**2 + TRAINING_U**2
        if name == "pitch":
            spread = spread / np.maximum(columns.counts["contact_count"] / columns.counts["rows"] - 1, 1) ** 2
        noise = np.sqrt(spread) / size
        measured = value[halves] + rng.normal(size=len(halves)) * noise[halves]
        stated = np.where(np.isnan(column.stated[halves]), np.nan, measured)
        difference = stated[:, None] - value[profiles][None, :]
        own = np.where(np.isnan(noise[halves]), 1.0, noise[halves])[:, None]
        known = ~np.isnan(difference)
        result.append(Deviation(name=name, square=np.nan_to_num(difference) ** 2, known=known, noise=own**2))
    return tuple(deviation for deviation in result if np.any(deviation.known))


def _counts(columns: Columns, model: AbsentModel, halves: Ints) -> tuple[Floats, Floats]:
    """Probability of each half's count as one the profile lists, and (classes ×) as one near those."""
    members = np.flatnonzero(model.profile >= 0)
    counts, rows = columns.counts["contact_count"], columns.counts["rows"]
    listed = np.zeros((len(halves), len(model.size)))
    unlisted = np.zeros((CLASSES, len(halves), len(model.size)))
    for i, half in enumerate(halves):
        n = counts[half]
        listed[i] = np.bincount(model.profile[members], weights=counts[members] == n, minlength=len(model.size))
        for j, spread in enumerate(COUNT_SPREAD):
            kernel = count_kernel(n, counts[members], rows[members], spread)
            unlisted[j, i] = np.bincount(model.profile[members], weights=kernel, minlength=len(model.size))
    return listed / model.size, unlisted / model.size


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
    return same + 1e-12, np.broadcast_to(anything, same.shape)
