"""Log-density of the observations if the catalogue does not have the half.

q(y) = w·p(y | a listed half) + s·p(y | unlike anything)
     + (1 − w − s)·Σ_j π_j Σ_k (n_k/N)·p_j(count | k)·N(measured dimensions; profile k, class j)·Π p(the rest | k, j).

Dimensions are compared in logarithms. Shared deviations (the profile's true pitch, an instrument's error) make them
correlated, so they have one joint normal density per profile and class.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from matcher.absent.hidden_deviations import Filtered, Line
from matcher.absent.model import CLASSES, COUNT_SPREAD, AbsentModel, count_kernel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES, Kind
from matcher.likelihood.gross_errors import floor_density
from matcher.likelihood.likelihood import Likelihood, Part
from matcher.likelihood.miscounts import floor_probability
from matcher.likelihood.tolerance_density import SQRT_2PI, W_MIN
from matcher.observations import Of, Reduced, SharedKind

STRANGE_SHARE = 0.02
"""Share of absent halves unlike anything in the catalogue: every dimension is log-uniform over its plausible range.
Common practice, no source."""


PITCH = "pitch"
"""Name of the hidden deviation of a profile's true pitch."""


@dataclass(frozen=True, kw_only=True)
class Kernels:
    """Centres of the mixture: their representative halves and log-weights (n_k/N).

    Where an exact contact count was seen, they are the profiles, with their allowance carried over to that count
    (``positions``); else they are all listed halves with their own counts.
    """

    halves: Ints
    log_weight: Floats
    positions: Floats
    exact_count: int | None


def absent_log_density(model: AbsentModel, weighed: Likelihood) -> float:
    """Log-density of all observations under *absent*; 0 where nothing was observed."""
    return float(_density(_explanations(model, weighed, weighed.parts, np.sum))) if weighed.parts else 0.0


def absent_shares(model: AbsentModel, weighed: Likelihood) -> Floats:
    """The log-density split over the parts, averaged over both orders; the shares add up to the whole."""
    forward = np.diff(absent_prefixes(model, weighed, weighed.parts), prepend=0.0)
    backward = np.diff(absent_prefixes(model, weighed, weighed.parts[::-1]), prepend=0.0)[::-1]
    return np.asarray((forward + backward) / 2)


def absent_prefixes(model: AbsentModel, weighed: Likelihood, parts: Sequence[Part]) -> Floats:
    """Log-density of the first, the first two, … of the parts."""
    return _density(_explanations(model, weighed, parts, np.cumsum))


def _density(found: AbsentExplanations) -> Floats:
    near = logsumexp(found.log_near, axis=(-2, -1))
    return np.asarray(logsumexp(np.stack([found.log_present, near, found.log_strange]), axis=0))


@dataclass(frozen=True, kw_only=True)
class AbsentExplanations:
    """The explanations of the observations under *absent*, as log-densities that include their shares.

    ``log_near`` is (… × classes × kernels), ``log_present`` and ``log_strange`` are (…); ``kernels`` holds the halves
    that the kernels represent.
    """

    log_present: Floats
    log_near: Floats
    log_strange: Floats
    kernels: Kernels


def absent_explanations(model: AbsentModel, weighed: Likelihood) -> AbsentExplanations:
    """The explanations of all observations so far under absent."""
    return _explanations(model, weighed, weighed.parts, np.sum)


def _explanations(
    model: AbsentModel, weighed: Likelihood, parts: Sequence[Part], total: Callable[..., Floats]
) -> AbsentExplanations:
    """``total`` sums over the parts: np.sum for all of them, np.cumsum for the first, the first two, …"""
    columns = weighed.columns
    kernels = _kernels(model, columns, [reading for part in parts for reading in part.readings])
    log_prior = _log_prior(columns)
    each = np.stack([part.log_likelihood for part in parts]) if parts else np.zeros((0, len(columns)))
    terms = _kernel_terms(model, columns, kernels, parts, log_prior)
    near, strange = np.log([1 - model.present_share - STRANGE_SHARE, STRANGE_SHARE])
    weights = np.log(model.weights)[:, None] + kernels.log_weight[None, :] + near
    return AbsentExplanations(
        log_present=_log_present(model, columns, total(each, axis=0)),
        log_near=total(terms, axis=0) + weights,
        log_strange=strange + total(np.array([_strange_term(part, log_prior) for part in parts]), axis=0),
        kernels=kernels,
    )


def _log_prior(columns: Columns) -> Floats:
    return np.asarray(np.log(columns.prior_weight) - np.log(columns.prior_weight.sum()))


def _log_present(model: AbsentModel, columns: Columns, log_likelihood: Floats) -> Floats:
    """Log-density of a half that measures like a listed one, including the share of such halves."""
    return np.asarray(np.log(model.present_share) + logsumexp(log_likelihood + _log_prior(columns), axis=-1))


def _kernels(model: AbsentModel, columns: Columns, readings: Sequence[Reduced]) -> Kernels:
    exact = [r.count for r in readings if r.feature == "contact_count" and r.of is Of.THIS and r.count is not None]
    halves = model.representative if exact else np.flatnonzero(model.profile >= 0)
    weight = model.size if exact else np.ones(len(halves))
    counts = np.full(len(halves), exact[0]) if exact else columns.counts["contact_count"][halves]
    return Kernels(
        halves=halves,
        log_weight=np.log(weight / weight.sum()),
        positions=np.ceil(counts / np.maximum(columns.counts["rows"][halves], 1)),
        exact_count=exact[0] if exact else None,
    )


def _kernel_terms(
    model: AbsentModel, columns: Columns, kernels: Kernels, parts: Sequence[Part], log_prior: Floats
) -> Floats:
    """(parts × classes × kernels) conditional log-densities in the given order."""
    lines = [_line(model, columns, kernels, reading) for reading in _measured(parts)]
    normal = iter(Filtered.of(lines).terms)
    terms = np.zeros((len(parts), CLASSES, len(kernels.halves)))
    for term, part in zip(terms, parts, strict=True):
        if _says_nothing(part):
            term += part.log_likelihood[0]
        elif _is_measured(part.readings[0]):
            term += sum(next(normal) for _ in part.readings)
        elif _is_exact_count(part.readings[0], kernels):
            term += np.log(_count_terms(model, columns, kernels))
        else:
            term += _shared_or_anyone(model, part, kernels, log_prior)
    return terms


def _measured(parts: Sequence[Part]) -> list[Reduced]:
    """The dimensions of this half that are compared with profiles."""
    parts = [part for part in parts if not _says_nothing(part)]
    return [reading for part in parts for reading in part.readings if _is_measured(reading)]


def _is_measured(reading: Reduced) -> bool:
    return FEATURES[reading.feature].kind is Kind.DIMENSION and reading.of is Of.THIS and reading.value is not None


def _strange_term(part: Part, log_prior: Floats) -> float:
    """Log-density of a part if the half is unlike anything listed: any plausible size or count, else any half's."""
    first = part.readings[0]
    if _says_nothing(part):
        return float(part.log_likelihood[0])
    if _is_measured(first):
        terms = [np.log(plausible_density(reading)) for reading in part.readings]
        if first.shared is not None and first.unscaled:
            terms[0] = -np.log(first.number * first.shared.sd * SQRT_2PI)
        return float(np.sum(terms))
    if first.feature == "contact_count" and first.of is Of.THIS and first.count is not None:
        return float(np.log(floor_probability(first.count, first.count)))
    return float(logsumexp(part.log_likelihood + log_prior))


def plausible_density(reading: Reduced) -> float:
    """Log-uniform density over the feature's plausible range, per mm; outside it the density of a gross error."""
    row, x = FEATURES[reading.feature], reading.number
    if row.low <= x <= row.high:
        return float(1.0 / (x * np.log(row.high / row.low)))
    return floor_density(reading.feature, x)


def _says_nothing(part: Part) -> bool:
    """A single reading in a picture without a scale has one density under every half, and so under absent."""
    first = part.readings[0]
    return len(part.readings) == 1 and first.unscaled and _is_measured(first)


def _is_exact_count(reading: Reduced, kernels: Kernels) -> bool:
    return reading.feature == "contact_count" and reading.of is Of.THIS and reading.count is not None


def _shared_or_anyone(model: AbsentModel, part: Part, kernels: Kernels, log_prior: Floats) -> Floats:
    """Other values are those of the profile's half, or those of any half of the catalogue."""
    own = part.log_likelihood[kernels.halves][None, :]
    anyone = logsumexp(part.log_likelihood + log_prior)
    other = model.other_kind[:, None]
    return np.asarray(np.logaddexp(np.log1p(-other) + own, np.log(other) + anyone))


def _count_terms(model: AbsentModel, columns: Columns, kernels: Kernels) -> Floats:
    """Probability of the counted number by class and profile: a count that the profile lists, or one near those."""
    n = np.array(kernels.exact_count)
    members = np.flatnonzero(model.profile >= 0)
    counts, rows = columns.counts["contact_count"][members], columns.counts["rows"][members]
    profile, size = model.profile[members], model.size
    listed = np.bincount(profile, weights=counts == n, minlength=len(size)) / size
    near = np.stack(
        [
            np.bincount(profile, weights=count_kernel(n, counts, rows, spread), minlength=len(size)) / size
            for spread in COUNT_SPREAD
        ]
    )
    share = model.listed_count[:, None]
    return np.asarray(share * listed + (1 - share) * near + 1e-300)


def _line(model: AbsentModel, columns: Columns, kernels: Kernels, reading: Reduced) -> Line:
    feature, x, halves = FEATURES[reading.feature], reading.number, kernels.halves
    column = columns.dimensions[reading.feature]
    centre, half_width, extra_u = column.centre[halves], column.half_width[halves], column.extra_u[halves]
    widths, ones = model.bandwidths, np.ones((CLASSES, len(halves)))
    loadings = {}
    if feature.name == "pitch":
        half_width, loadings = half_width / reading.spans, {PITCH: widths.pitch[:, None] * ones}
    elif feature.along_rows:
        centre, span = _carried_over(columns, kernels, centre)
        loadings = {PITCH: widths.pitch[:, None] * (span / centre), feature.name: widths.allowance[:, None] / centre}
    else:
        loadings = {feature.name: widths.across.get(feature.name, widths.across["body_width"])[:, None] * ones}
    unknown = np.isnan(centre)
    loadings = {name: np.where(unknown, 0.0, loading) for name, loading in loadings.items()}
    if (shared := reading.shared) is not None:
        relative = shared.sd if shared.kind is SharedKind.SCALE else shared.sd * shared.coefficient / x
        loadings[shared.group] = relative * ones
    middle, spread = np.sqrt(feature.low * feature.high), np.log(feature.high / feature.low) / np.sqrt(12)
    relative_variance = (half_width**2 / 3 + extra_u**2) / centre**2 + (reading.u**2 + W_MIN**2) / x**2
    return Line(
        log_number=float(np.log(x)),
        deviation=np.log(x) - np.log(np.where(unknown, middle, centre)),
        variance=np.where(unknown, spread**2, relative_variance),
        loadings=loadings,
    )


def _carried_over(columns: Columns, kernels: Kernels, centre: Floats) -> tuple[Floats, Floats]:
    """Size along the rows at the counted positions, from the half's own allowance, and the contact span there, mm."""
    pitch = columns.dimensions["pitch"].centre[kernels.halves]
    counts, rows = columns.counts["contact_count"][kernels.halves], columns.counts["rows"][kernels.halves]
    own_span = pitch * (np.ceil(counts / np.maximum(rows, 1)) - 1)
    span = pitch * (kernels.positions - 1)
    return np.maximum(centre - own_span + span, W_MIN), span


@dataclass(frozen=True, kw_only=True)
class AbsentWithoutOne:
    """The explanations of all observations under *absent*, and the log-density (classes × kernels) of each measured
    dimension given all others, by its index."""

    model: AbsentModel
    explained: AbsentExplanations
    given_others: Mapping[int, Floats]

    @classmethod
    def of(cls, model: AbsentModel, weighed: Likelihood) -> AbsentWithoutOne:
        """After all observations."""
        explained = absent_explanations(model, weighed)
        readings = _measured(weighed.parts)
        filtered = Filtered.of([_line(model, weighed.columns, explained.kernels, reading) for reading in readings])
        given = zip([reading.index for reading in readings], filtered.given_others(), strict=True)
        return cls(model=model, explained=explained, given_others=dict(given))

    def log_density(self, rest: Likelihood, dropped: Reduced) -> float:
        """Log-density of all observations except one."""
        if not rest.parts:
            return 0.0
        if dropped.unscaled or dropped.index not in self.given_others:
            return absent_log_density(self.model, rest)
        found = AbsentExplanations(
            log_present=_log_present(self.model, rest.columns, rest.total),
            log_near=self.explained.log_near - self.given_others[dropped.index],
            log_strange=self.explained.log_strange - np.log(plausible_density(dropped)),
            kernels=self.explained.kernels,
        )
        return float(_density(found))
