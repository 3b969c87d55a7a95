"""Log-density of the observations if the catalogue does not have the half.

q(y) = w·p(y | a listed half) + s·p(y | unlike anything)
     + (1 − w − s)·Σ_j π_j Σ_k (n_k/N)·p_j(count | k)·N(measured dimensions; profile k, class j)·Π p(the rest | k, j).

Dimensions are compared in logarithms. Shared deviations (the profile's true pitch, an instrument's error) make them
correlated, so they have one joint normal density per profile and class.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from matcher.absent.hidden_deviations import Filtered, Line
from matcher.absent.model import CLASSES, COUNT_SPREAD, AbsentModel, count_kernel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES
from matcher.likelihood.evidence import log_sum
from matcher.likelihood.gross_errors import floor_density
from matcher.likelihood.likelihood import Likelihood, Part
from matcher.likelihood.miscounts import floor_probability
from matcher.likelihood.tolerance_density import SQRT_2PI, W_MIN
from matcher.observations import Of, Reduced, SharedKind

STRANGE_SHARE = 0.02
"""Share of absent halves unlike anything in the catalogue: every dimension is log-uniform over its plausible range.
Common practice, no source."""

LOG_STRANGE_SHARE = float(np.log(STRANGE_SHARE))

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


@dataclass(frozen=True, kw_only=True)
class UnderAbsent:
    """The likelihood of a specimen's observations under *absent*. Each part is computed once, when first needed."""

    model: AbsentModel
    weighed: Likelihood

    @property
    def columns(self) -> Columns:
        """The catalogue."""
        return self.weighed.columns

    @cached_property
    def log_density(self) -> float:
        """Log-density of all observations; 0 where nothing was observed."""
        if not self.weighed.parts:
            return 0.0
        return float(_log_total(self.log_present, self.log_near, self.log_strange))

    @cached_property
    def log_present(self) -> float:
        """Log-density if the half measures like a listed one, including the share of such halves."""
        return float(self._log_present(self.weighed.total))

    @cached_property
    def log_near(self) -> Floats:
        """Log-density (classes × kernels) if the half is near a profile, including the kernels' shares."""
        return np.asarray(self._terms.sum(axis=0) + self._log_weights)

    @cached_property
    def log_strange(self) -> float:
        """Log-density if the half is unlike anything listed, including the share of such halves."""
        return float(self._strange.sum() + LOG_STRANGE_SHARE)

    @cached_property
    def shares(self) -> Floats:
        """The log-density split over the parts, averaged over both orders; the shares add up to the whole."""
        forward = np.diff(self._prefixes, prepend=0.0)
        backward = np.diff(replace(self, weighed=self.weighed.reversed)._prefixes, prepend=0.0)[::-1]
        return np.asarray((forward + backward) / 2)

    @property
    def _prefixes(self) -> Floats:
        """Log-density of the first, the first two, … of the parts."""
        each = np.array([part.log_likelihood for part in self.weighed.parts])
        return _log_total(
            self._log_present(each.cumsum(axis=0)),
            self._terms.cumsum(axis=0) + self._log_weights,
            self._strange.cumsum() + LOG_STRANGE_SHARE,
        )

    def log_density_without(self, rest: Likelihood, dropped: Reduced) -> float:
        """Log-density of all observations except one; ``rest`` is their likelihood."""
        if not rest.parts:
            return 0.0
        if dropped.unscaled or dropped.index not in self._given_others:
            return replace(self, weighed=rest).log_density
        near = self.log_near - self._given_others[dropped.index]
        strange = self.log_strange - np.log(plausible_density(dropped))
        return float(_log_total(self._log_present(rest.total), near, strange))

    def _log_present(self, log_likelihood: Floats) -> Floats:
        return np.asarray(np.log(self.model.present_share) + log_sum(log_likelihood + self.columns.log_prior, axis=-1))

    @cached_property
    def kernels(self) -> Kernels:
        """Centres of the mixture."""
        readings = [reading for part in self.weighed.parts for reading in part.readings]
        return _kernels(self.model, self.columns, readings)

    @property
    def _log_weights(self) -> Floats:
        near = np.log(1 - self.model.present_share - STRANGE_SHARE)
        return np.asarray(np.log(self.model.weights)[:, None] + self.kernels.log_weight + near)

    @cached_property
    def _measured(self) -> list[Reduced]:
        """The dimensions of this half that are compared with profiles."""
        parts = [part for part in self.weighed.parts if not _says_nothing(part)]
        return [reading for part in parts for reading in part.readings if _is_measured(reading)]

    @cached_property
    def _filtered(self) -> Filtered:
        return Filtered.of([_line(self.model, self.columns, self.kernels, reading) for reading in self._measured])

    @cached_property
    def _given_others(self) -> dict[int, Floats]:
        """Log-density (classes × kernels) of each measured dimension given all others, by its index."""
        indices = [reading.index for reading in self._measured]
        return dict(zip(indices, self._filtered.given_others(), strict=True))

    @cached_property
    def _terms(self) -> Floats:
        """Log-densities (parts × classes × kernels) of each part given those before it."""
        normal = iter(self._filtered.terms)
        terms = np.zeros((len(self.weighed.parts), CLASSES, len(self.kernels.halves)))
        for term, part in zip(terms, self.weighed.parts, strict=True):
            if _says_nothing(part):
                term += part.log_likelihood[0]
            elif _is_measured(part.readings[0]):
                term += sum(next(normal) for _ in part.readings)
            elif _is_exact_count(part.readings[0]):
                term += np.log(_count_terms(self.model, self.columns, self.kernels))
            else:
                term += self._shared_or_anyone(part)
        return terms

    def _shared_or_anyone(self, part: Part) -> Floats:
        """Other values are those of the profile's half, or those of any half of the catalogue."""
        own = part.log_likelihood[self.kernels.halves]
        anyone = log_sum(part.log_likelihood + self.columns.log_prior)
        other = self.model.other_kind[:, None]
        return np.asarray(np.logaddexp(np.log1p(-other) + own, np.log(other) + anyone))

    @cached_property
    def _strange(self) -> Floats:
        """Log-density of each part if the half is unlike anything listed."""
        return np.array([_strange_term(part, self.columns.log_prior) for part in self.weighed.parts])


def _log_total(present: Floats | float, near: Floats, strange: Floats | float) -> Floats:
    """Log of the sum of the explanations; ``near`` is (… × classes × kernels), the others are (…)."""
    return log_sum(np.stack([present, log_sum(near, axis=(-2, -1)), strange]), axis=0)


def _kernels(model: AbsentModel, columns: Columns, readings: Sequence[Reduced]) -> Kernels:
    exact = [reading.count for reading in readings if _is_exact_count(reading)]
    halves = model.representative if exact else np.flatnonzero(model.profile >= 0)
    weight = model.size if exact else np.ones(len(halves))
    counts = np.full(len(halves), exact[0]) if exact else columns.counts["contact_count"][halves]
    return Kernels(
        halves=halves,
        log_weight=np.log(weight / weight.sum()),
        positions=np.ceil(counts / np.maximum(columns.counts["rows"][halves], 1)),
        exact_count=exact[0] if exact else None,
    )


def _is_measured(reading: Reduced) -> bool:
    """Whether it is a dimension of this half; nothing else has a value."""
    return reading.of is Of.THIS and reading.value is not None


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
    if first.count is not None and _is_exact_count(first):
        return float(np.log(floor_probability(first.count, first.count)))
    return float(log_sum(part.log_likelihood + log_prior))


def plausible_density(reading: Reduced) -> float:
    """Log-uniform density over the feature's plausible range, per mm; outside it the density of a gross error."""
    row, x = FEATURES[reading.feature], reading.number
    if row.low <= x <= row.high:
        return float(1.0 / (x * np.log(row.high / row.low)))
    return floor_density(reading.feature, x)


def _says_nothing(part: Part) -> bool:
    """A single reading in a picture without a scale has one density under every half, and so under absent."""
    first = part.readings[0]
    return len(part.readings) == 1 and first.unscaled


def _is_exact_count(reading: Reduced) -> bool:
    return reading.feature == "contact_count" and reading.of is Of.THIS and reading.count is not None


def _count_terms(model: AbsentModel, columns: Columns, kernels: Kernels) -> Floats:
    """Probability of the counted number by class and profile: a count that the profile lists, or one near those."""
    n = np.array(kernels.exact_count)
    members = np.flatnonzero(model.profile >= 0)
    counts, rows = columns.counts["contact_count"][members], columns.counts["rows"][members]
    profile, size = model.profile[members], model.size
    listed = np.bincount(profile, weights=counts == n) / size
    near = np.stack(
        [np.bincount(profile, weights=count_kernel(n, counts, rows, spread)) / size for spread in COUNT_SPREAD]
    )
    share = model.listed_count[:, None]
    return np.asarray(share * listed + (1 - share) * near + 1e-300)


def _line(model: AbsentModel, columns: Columns, kernels: Kernels, reading: Reduced) -> Line:
    feature, x, halves = FEATURES[reading.feature], reading.number, kernels.halves
    column = columns.dimensions[reading.feature]
    centre, half_width, extra_u = column.centre[halves], column.half_width[halves], column.extra_u[halves]
    widths = model.bandwidths
    if feature.name == "pitch":
        half_width, loadings = half_width / reading.spans, {PITCH: widths.pitch[:, None]}
    elif feature.along_rows:
        centre, span = _carried_over(columns, kernels, centre)
        loadings = {PITCH: widths.pitch[:, None] * (span / centre), feature.name: widths.allowance[:, None] / centre}
    else:
        loadings = {feature.name: widths.across.get(feature.name, widths.across["body_width"])[:, None]}
    unknown = np.isnan(centre)
    loadings = {name: np.where(unknown, 0.0, loading) for name, loading in loadings.items()}
    if (shared := reading.shared) is not None:
        relative = shared.sd if shared.kind is SharedKind.SCALE else shared.sd * shared.coefficient / x
        loadings[shared.group] = np.full((CLASSES, len(halves)), relative)
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
