"""Fit of what absent halves copy: expectation–maximisation on listed halves as if their series were not listed.

Each training half is measured once, with a caliper and with one of several sets of features. Halves of its own series,
and those that are the same in everything that can be observed, count as not listed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.absent.around_profiles import AroundProfiles
from matcher.absent.model import RELATIVES, AbsentModel, unfitted_model
from matcher.columns.columns import Bools, Columns, Floats, Ints
from matcher.features import FEATURES, Kind
from matcher.likelihood.categories import STATED
from matcher.likelihood.evidence import Evidence
from matcher.likelihood.kinds import evidence_of
from matcher.likelihood.likelihood import Likelihood, single_part
from matcher.observations import Reduced

TRAINING_HALVES, FEWEST_TRAINING_HALVES = 150, 30
"""Most and fewest halves that are measured for the fit; more change it little."""

TRAINING_PAIRS = 500_000
"""Most halves measured times halves listed in one fit, down to the fewest: with many listed halves it takes seconds."""

TRAINING_U = 0.03
"""Standard uncertainty, mm, of the readings simulated for the fit: a caliper."""

FEATURE_SETS = (5, 6, 7, 8, 15)
"""Numbers of features, in the order of `TRAINING_FEATURES`, that the training halves are measured with in turn."""

TRAINING_FEATURES = (
    *("contact_count", "rows", "pitch", "body_length", "body_width", "mounting", "land_span", "height"),
    *("half_kind", "hold_down_count", "overall_length", "tail_span", "land_row_spacing", "hold_down_land_span"),
    "peg_hole_span",
)
"""Features whose copying is fitted: what is mostly measured, in the order in which it is."""

FEWEST_SERIES = 8
"""With fewer series nothing can be estimated, and the starting values are kept."""

FEWEST_HALVES = 20
"""Fewest halves with pitch, count and body length for a fit."""

PSEUDO_HALVES = 10.0
"""Weight, in halves, of the starting values in every fitted share: it prevents extremes in small catalogues."""

ITERATIONS, CONVERGED = 30, 2e-3
"""Most steps of expectation and maximisation, and the change of every share at which they stop."""

UNLIKELY = 1e-2
"""Part of a specimen's weight in halves that are left out of the fit to save time."""

GONE = 1e-290
"""Prior weight of a half that counts as not listed."""


def fit_absent(columns: Columns) -> AbsentModel:
    """Fit how often features are copied to the catalogue. Deterministic."""
    model = unfitted_model(columns)
    halves = _training_halves(columns)
    if len(halves) < FEWEST_HALVES or len(set(columns.series[halves].tolist())) < FEWEST_SERIES:
        return model
    draw = np.random.default_rng(0)
    specimens = []
    for number, half in enumerate(halves.tolist()):
        features = TRAINING_FEATURES[: FEATURE_SETS[number % len(FEATURE_SETS)]]
        readings = list(readings_of(columns, half, draw, features))
        specimens.append(Specimen.of(columns, model, half, readings).likely(model))
    start = model
    for _ in range(ITERATIONS):
        before, model = model, improved(model, specimens, start)
        if np.max(np.abs(_fitted(model) - _fitted(before))) < CONVERGED:
            break
    return model


@dataclass(frozen=True, kw_only=True)
class Specimen:
    """One training half as measured, compared with the halves that count as listed.

    ``ratio`` (features × halves) is p_k(h)/a_k, and 1 where the half does not state the feature, as ``stated`` tells.
    ``prior`` is that of each half.
    """

    features: tuple[str, ...]
    ratio: Floats
    stated: Bools
    prior: Floats

    @classmethod
    def of(cls, columns: Columns, model: AbsentModel, half: int, readings: Sequence[Reduced]) -> Specimen:
        """Compare the readings of a half with the halves that count as listed beside it."""
        gone = (columns.series == columns.series[half]) | (columns.geometry == columns.geometry[half])
        rest = replace(columns, prior_weight=np.where(gone, GONE, columns.prior_weight))
        evidence = [evidence_of(reading, rest) for reading in readings]
        parts = tuple(single_part(each, _log_likelihood(each)) for each in evidence)
        total = np.asarray(sum(part.log_likelihood for part in parts))
        around = AroundProfiles(model=model.without(gone), weighed=Likelihood(columns=rest, parts=parts, total=total))
        names = tuple(each.reading.feature for each in evidence)
        stated = np.stack([_stated(columns, name) for name in names])
        ratio = np.stack([part.log_likelihood - around.log_a(part) for part in parts])
        ratio = np.exp(np.where(stated, ratio, 0.0))
        return cls(features=names, ratio=ratio, stated=stated, prior=np.exp(rest.log_prior))

    def of_half(self, model: AbsentModel) -> tuple[Floats, Floats, Floats]:
        """Weight of each half as the one that is copied (relatives × halves), with the terms and brackets behind it
        (features × relatives × halves)."""
        share = np.stack([model.copied[name] for name in self.features])[:, :, None]
        term = share * self.ratio[:, None]
        brackets = 1.0 - share + term
        return model.shares[1:, None] * self.prior * brackets.prod(axis=0), term, brackets

    def likely(self, model: AbsentModel) -> Specimen:
        """Without the halves that have together less than `UNLIKELY` of the weight."""
        weight = self.of_half(model)[0].sum(axis=0)
        kept = weight > UNLIKELY * weight.sum() / len(weight)
        return replace(self, ratio=self.ratio[:, kept], stated=self.stated[:, kept], prior=self.prior[kept])


def _log_likelihood(evidence: Evidence) -> Floats:
    """Log-likelihood under each half; a length counts as right, which saves time."""
    if evidence.reading.value is None:
        return np.log(evidence.of_halves())
    return evidence.log_right(np.arange(len(evidence.columns)))


def readings_of(columns: Columns, half: int, draw: np.random.Generator, features: Sequence[str]) -> Iterator[Reduced]:
    """Readings of those of the named features that a half states, by caliper; parts lie where the process has them."""
    gaps = int(np.ceil(columns.counts["contact_count"][half] / max(columns.counts["rows"][half], 1))) - 1
    for index, name in enumerate(features):
        feature = FEATURES[name]
        if feature.kind is Kind.COUNT:
            if (count := int(columns.counts[name][half])) >= 0:
                yield Reduced(index=index, feature=name, count=count)
        elif feature.kind is Kind.CATEGORY:
            has = columns.categories[name][half]
            if has.max() > STATED:
                yield Reduced(index=index, feature=name, values=frozenset({list(feature.values)[int(has.argmax())]}))
        else:
            column, spans = columns.dimensions[name], max(gaps, 1) if feature.is_pitch else 1
            if not np.isnan(column.stated[half]):
                within = column.half_width[half] / spans
                if column.broad[half] > 0.0 and draw.random() < feature.process.broad_share:
                    within = column.broad[half] / spans
                u = TRAINING_U / spans
                value = column.centre[half] + draw.uniform(-within, within) + draw.normal() * u
                yield Reduced(
                    index=index, feature=name, value=max(float(value), TRAINING_U), u=u, total_u=u, spans=spans
                )


def _stated(columns: Columns, feature: str) -> Bools:
    column = columns.dimensions.get(feature)
    return np.ones(len(columns), dtype=np.bool_) if column is None else ~np.isnan(column.stated)


def improved(model: AbsentModel, specimens: Sequence[Specimen], start: AbsentModel) -> AbsentModel:
    """One step of expectation and maximisation; ``start`` is the model before the fit.

    The share of twins stays: training halves are compared with halves that differ from them, so they cannot tell it.
    """
    shares = PSEUDO_HALVES * start.shares
    copied = {name: PSEUDO_HALVES * start.copied[name] for name in TRAINING_FEATURES}
    possible = {name: np.full(RELATIVES, PSEUDO_HALVES) for name in TRAINING_FEATURES}
    for each in specimens:
        of_half, term, brackets = each.of_half(model)
        total = model.shares[0] + of_half.sum()
        of_half /= total
        shares += np.append(model.shares[0] / total, of_half.sum(axis=1))
        could, did = each.stated @ of_half.T, ((term / brackets * each.stated[:, None]) * of_half).sum(axis=2)
        for name, of_possible, of_copied in zip(each.features, could, did, strict=True):
            possible[name] += of_possible
            copied[name] += of_copied
    fitted = {name: copied[name] / possible[name] for name in TRAINING_FEATURES}
    twins = start.shares[-1]
    others = (1.0 - twins) * shares[:-1] / shares[:-1].sum()
    return replace(model, shares=np.append(others, twins), copied={**model.copied, **fitted})


def _fitted(model: AbsentModel) -> Floats:
    return np.concatenate([model.shares, *(model.copied[name] for name in TRAINING_FEATURES)])


def _training_halves(columns: Columns) -> Ints:
    """Listed halves with pitch, count and body length, evenly thinned out."""
    stated = ~np.isnan(columns.dimensions["pitch"].stated) & ~np.isnan(columns.dimensions["body_length"].stated)
    usable = np.flatnonzero(stated & ~columns.inferred & (columns.counts["contact_count"] > 0))
    most = min(max(TRAINING_PAIRS // max(len(columns), 1), FEWEST_TRAINING_HALVES), TRAINING_HALVES)
    wanted = min(most, len(usable))
    return usable[np.arange(wanted) * len(usable) // max(wanted, 1)]
