"""Fit of what absent halves copy: expectation–maximisation on listed halves as if their series were not listed.

Each training half is measured once, with a caliper and with one of several sets of features. Halves of its own series,
and those that are the same in everything that can be observed, count as not listed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.absent.density import UnderAbsent
from matcher.absent.model import NEW_SHARE, TWIN_SHARE, AbsentModel, unfitted_model
from matcher.columns.columns import Bools, Columns, Floats, Ints
from matcher.features import FEATURES, Kind
from matcher.likelihood.evidence import Evidence, log_sum
from matcher.likelihood.kinds import evidence_of
from matcher.likelihood.likelihood import Likelihood, single_part
from matcher.observations import Reduced

TRAINING_HALVES = 150
"""Most halves that are measured for the fit; more change it little."""

TRAINING_U = 0.03
"""Standard uncertainty, mm, of the readings simulated for the fit: a caliper."""

FEATURE_SETS = (5, 6, 7, 8)
"""Numbers of features, in the order of `TRAINING_FEATURES`, that the training halves are measured with in turn."""

TRAINING_FEATURES = ("contact_count", "rows", "pitch", "body_length", "body_width", "mounting", "land_span", "height")
"""Features whose copying is fitted."""

FEWEST_SERIES = 8
"""With fewer series nothing can be estimated, and the starting values are kept."""

FEWEST_HALVES = 20
"""Fewest halves with pitch, count and body length for a fit."""

PSEUDO_HALVES = 10.0
"""Weight, in halves, of the starting values in every fitted share: it prevents extremes in small catalogues."""

ITERATIONS, CONVERGED = 50, 1e-3
"""Most steps of expectation and maximisation, and the change of every share at which they stop."""

GONE = 1e-290
"""Prior weight of a half that counts as not listed."""


def fit_absent(columns: Columns) -> AbsentModel:
    """Fit how often features are copied to the catalogue. Deterministic."""
    model = unfitted_model(columns)
    halves = _training_halves(columns)
    if len(halves) < FEWEST_HALVES or len(set(columns.series[halves].tolist())) < FEWEST_SERIES:
        return model
    draw = np.random.default_rng(0)
    specimens = [
        Specimen.of(columns, model, half, draw, TRAINING_FEATURES[: FEATURE_SETS[i % len(FEATURE_SETS)]])
        for i, half in enumerate(halves.tolist())
    ]
    for _ in range(ITERATIONS):
        before, model = model, _improved(model, specimens)
        if np.max(np.abs(_shares(model) - _shares(before))) < CONVERGED:
            break
    return model


@dataclass(frozen=True, kw_only=True)
class Specimen:
    """One training half as measured, compared with the halves that count as listed.

    ``ratio`` (features × halves) is p_k(h)/a_k, and 1 where the half does not state the feature, as ``stated`` tells.
    ``prior`` is that of each half, ``twin`` the sum over halves of the prior times Π p_k(h)/a_k.
    """

    features: tuple[str, ...]
    ratio: Floats
    stated: Bools
    prior: Floats
    twin: float

    @classmethod
    def of(
        cls, columns: Columns, model: AbsentModel, half: int, draw: np.random.Generator, features: Sequence[str]
    ) -> Specimen:
        """Measure the named features of a half, as far as it states them."""
        gone = (columns.series == columns.series[half]) | (columns.geometry == columns.geometry[half])
        rest = replace(columns, prior_weight=np.where(gone, GONE, columns.prior_weight))
        evidence = [evidence_of(reading, rest) for reading in _readings(columns, half, draw, features)]
        parts = tuple(single_part(each, _log_likelihood(each)) for each in evidence)
        total = np.asarray(sum(part.log_likelihood for part in parts))
        under = UnderAbsent(model=model.without(gone), weighed=Likelihood(columns=rest, parts=parts, total=total))
        names = tuple(each.reading.feature for each in evidence)
        stated = np.stack([_stated(columns, name) for name in names])
        return cls(
            features=names,
            ratio=np.exp(
                [np.where(s, p.log_likelihood - under.log_a(p), 0.0) for s, p in zip(stated, parts, strict=True)]
            ),
            stated=stated,
            prior=np.exp(rest.log_prior),
            twin=float(np.exp(log_sum(total + rest.log_prior) - under.log_fresh)),
        )


def _log_likelihood(evidence: Evidence) -> Floats:
    """Log-likelihood under each half; a length counts as right, which saves time."""
    if evidence.reading.value is None:
        return np.log(evidence.of_halves())
    return evidence.log_right(np.arange(len(evidence.columns)))


def _readings(columns: Columns, half: int, draw: np.random.Generator, features: Sequence[str]) -> Iterator[Reduced]:
    """Readings of a part that lies anywhere within the process tolerance, by caliper."""
    gaps = int(np.ceil(columns.counts["contact_count"][half] / max(columns.counts["rows"][half], 1))) - 1
    for index, name in enumerate(features):
        feature = FEATURES[name]
        if feature.kind is Kind.COUNT:
            yield Reduced(index=index, feature=name, count=int(columns.counts[name][half]))
        elif feature.kind is Kind.CATEGORY:
            value = list(feature.values)[int(columns.categories[name][half].argmax())]
            yield Reduced(index=index, feature=name, values=frozenset({value}))
        else:
            column, spans = columns.dimensions[name], max(gaps, 1) if feature.is_pitch else 1
            if not np.isnan(column.stated[half]):
                u, within = TRAINING_U / spans, column.half_width[half] / spans
                value = column.centre[half] + draw.uniform(-within, within) + draw.normal() * u
                yield Reduced(
                    index=index, feature=name, value=max(float(value), TRAINING_U), u=u, total_u=u, spans=spans
                )


def _stated(columns: Columns, feature: str) -> Bools:
    column = columns.dimensions.get(feature)
    return np.ones(len(columns), dtype=np.bool_) if column is None else ~np.isnan(column.stated)


def _improved(model: AbsentModel, specimens: Sequence[Specimen]) -> AbsentModel:
    """One step of expectation and maximisation."""
    some_share = 1.0 - model.new_share - model.twin_share
    kinds = PSEUDO_HALVES * np.array([NEW_SHARE, TWIN_SHARE, 1.0 - NEW_SHARE - TWIN_SHARE])
    copied = {name: PSEUDO_HALVES * FEATURES[name].copied for name in TRAINING_FEATURES}
    possible = dict.fromkeys(TRAINING_FEATURES, PSEUDO_HALVES)
    for each in specimens:
        share = np.array([[model.copied[name]] for name in each.features])
        brackets = 1.0 - share + share * each.ratio
        of_half = each.prior * brackets.prod(axis=0)
        weights = np.array([model.new_share, model.twin_share * each.twin, some_share * of_half.sum()])
        kinds += weights / weights.sum()
        of_half *= some_share / weights.sum()
        for name, bracket, ratio, stated in zip(each.features, brackets, each.ratio, each.stated, strict=True):
            copied[name] += float(model.copied[name] * (of_half * ratio / bracket)[stated].sum())
            possible[name] += float(of_half[stated].sum())
    kinds /= kinds.sum()
    fitted = {name: copied[name] / possible[name] for name in TRAINING_FEATURES}
    return replace(model, new_share=float(kinds[0]), twin_share=float(kinds[1]), copied={**model.copied, **fitted})


def _shares(model: AbsentModel) -> Floats:
    return np.array([model.new_share, model.twin_share, *(model.copied[name] for name in TRAINING_FEATURES)])


def _training_halves(columns: Columns) -> Ints:
    """Listed halves with pitch, count and body length, evenly thinned out."""
    stated = ~np.isnan(columns.dimensions["pitch"].stated) & ~np.isnan(columns.dimensions["body_length"].stated)
    usable = np.flatnonzero(stated & ~columns.inferred & (columns.counts["contact_count"] > 0))
    wanted = min(TRAINING_HALVES, len(usable))
    return usable[np.arange(wanted) * len(usable) // max(wanted, 1)]
