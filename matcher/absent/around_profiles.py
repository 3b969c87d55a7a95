"""Density of observations around the catalogue's profiles: what an absent half does not copy.

With the parts k of the observations in the feature table's order, a_k = N(y_1..k)/N(y_1..k−1), where

N(y) = s·p(y | unlike anything)
     + (1 − s)·Σ_j v_j Σ_m (n_m/n)·p_j(count | m)·N(measured dimensions; profile m, class j)·Π p(the rest | m, j).

Dimensions are compared in logarithms. Shared deviations (the profile's true pitch, an instrument's error) make them
correlated, so they have one joint normal density per profile and class.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from matcher.absent.hidden_deviations import Filtered, Line
from matcher.absent.model import (
    ACROSS,
    ALLOWANCE,
    CLASSES,
    COUNT_SPREAD,
    LISTED_COUNT,
    OTHER_KIND,
    PITCH,
    WEIGHTS,
    AbsentModel,
    count_kernel,
)
from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES
from matcher.likelihood.error_model.gross_errors import floor_density
from matcher.likelihood.error_model.miscounts import floor_probability
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import SQRT_2PI, W_MIN
from matcher.likelihood.evidence import Evidence, log_sum
from matcher.likelihood.likelihood import Likelihood, Part
from matcher.observations import Of, Reduced, SharedKind

STRANGE_SHARE = 0.02
"""Share (s) of what is not copied that is unlike anything in the catalogue: every dimension is log-uniform over its
plausible range. Common practice, no source."""

LOG_STRANGE_SHARE, LOG_NEAR_SHARE = float(np.log(STRANGE_SHARE)), float(np.log(1 - STRANGE_SHARE))

TRUE_PITCH = "pitch"
"""Name of the hidden deviation of a profile's true pitch."""

ORDER = {name: place for place, name in enumerate(FEATURES)}


@dataclass(frozen=True, kw_only=True)
class Kernels:
    """Centres of the mixture: their representative halves and log-weights (n_m/n).

    Where an exact contact count was seen, they are the profiles, with their allowance carried over to that count
    (``positions``); else they are all listed halves with their own counts.
    """

    halves: Ints
    log_weight: Floats
    positions: Floats
    exact_count: int | None


@dataclass(frozen=True, kw_only=True)
class AroundProfiles:
    """Density of a specimen's observations around the profiles. Each part is computed once, when first needed."""

    model: AbsentModel
    weighed: Likelihood

    @property
    def columns(self) -> Columns:
        """The catalogue."""
        return self.weighed.columns

    @cached_property
    def log_near(self) -> Floats:
        """Log-density (classes × kernels) around the profiles, including the kernels' shares."""
        return np.asarray(self._terms.sum(axis=0) + self._log_weights)

    @cached_property
    def log_strange(self) -> float:
        """Log-density of what is unlike anything listed, including its share."""
        return float(self._strange.sum() + LOG_STRANGE_SHARE)

    @property
    def log_fresh(self) -> float:
        """Log-density of all observations if nothing is copied: the sum of all ln a_k."""
        return float(self.log_a_of_steps.sum())

    @cached_property
    def kernels(self) -> Kernels:
        """Centres of the mixture."""
        return _kernels(self.model, self.columns, [reading for part in self.weighed.parts for reading in part.readings])

    @property
    def _log_weights(self) -> Floats:
        return np.asarray(np.log(WEIGHTS)[:, None] + self.kernels.log_weight + LOG_NEAR_SHARE)

    @cached_property
    def steps(self) -> list[tuple[Part, Evidence | None]]:
        """The parts in the feature table's order; the readings of a part of dimensions one by one."""
        steps: list[tuple[Part, Evidence | None]] = []
        for part in sorted(self.weighed.parts, key=lambda part: min(map(_rank, part.readings))):
            one_by_one = is_measured(part.readings[0]) and not says_nothing(part)
            steps += [(part, each) for each in _ranked(part)] if one_by_one else [(part, None)]
        return steps

    def log_a(self, part: Part) -> float:
        """ln a_k of a part: its log-density around the profiles, given the parts before it."""
        return float(self.log_a_of_steps[[i for i, (each, _) in enumerate(self.steps) if each is part]].sum())

    @cached_property
    def _filtered(self) -> Filtered:
        readings = [each.reading for _, each in self.steps if each is not None]
        return Filtered.of([_line(self.columns, self.kernels, reading) for reading in readings])

    @cached_property
    def _given_others(self) -> dict[int, Floats]:
        """Log-density (classes × kernels) of each measured dimension given all others, by its index."""
        indices = [each.reading.index for _, each in self.steps if each is not None]
        return dict(zip(indices, self._filtered.given_others(), strict=True))

    @cached_property
    def _terms(self) -> Floats:
        """Log-densities (steps × classes × kernels) of each step given those before it."""
        normal = iter(self._filtered.terms)
        terms = np.zeros((len(self.steps), CLASSES, len(self.kernels.halves)))
        for term, (part, each) in zip(terms, self.steps, strict=True):
            if each is not None:
                term += next(normal)
            elif says_nothing(part):
                term += part.log_likelihood[0]
            elif _is_exact_count(part.readings[0]):
                term += np.log(_count_terms(self.model, self.columns, self.kernels))
            else:
                term += self._shared_or_anyone(part)
        return terms

    def _shared_or_anyone(self, part: Part) -> Floats:
        """Other values are those of the profile's half, or those of any half of the catalogue."""
        own = part.log_likelihood[self.kernels.halves]
        anyone = log_sum(part.log_likelihood + self.columns.log_prior)
        other = OTHER_KIND[:, None]
        return np.asarray(np.logaddexp(np.log1p(-other) + own, np.log(other) + anyone))

    @cached_property
    def _strange(self) -> Floats:
        """Log-density of each step if the half is unlike anything listed."""
        return np.array([_strange_term(part, each, self.columns.log_prior) for part, each in self.steps])

    @cached_property
    def _log_fresh(self) -> Floats:
        """ln N of the first, the first two, … steps."""
        near = log_sum(self._terms.cumsum(axis=0) + self._log_weights, axis=(-2, -1))
        return np.asarray(np.logaddexp(near, self._strange.cumsum() + LOG_STRANGE_SHARE))

    @cached_property
    def log_a_of_steps(self) -> Floats:
        """ln a of each step."""
        return np.diff(self._log_fresh, prepend=0.0)

    def log_fresh_without(self, dropped: Reduced) -> float:
        """`log_fresh` without one measured dimension."""
        near = self.log_near - self._given_others[dropped.index]
        return float(np.logaddexp(log_sum(near), self.log_strange - np.log(plausible_density(dropped))))


def _rank(reading: Reduced) -> tuple[int, int]:
    return ORDER[reading.feature], reading.index


def _ranked(part: Part) -> list[Evidence]:
    return sorted(part.evidence, key=lambda each: _rank(each.reading))


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


def is_measured(reading: Reduced) -> bool:
    """Whether it is a dimension of this half; nothing else has a value."""
    return reading.of is Of.THIS and reading.value is not None


def _strange_term(part: Part, evidence: Evidence | None, log_prior: Floats) -> float:
    """Log-density of a step if the half is unlike anything listed: any plausible size or count, else any half's."""
    first = part.readings[0]
    if says_nothing(part):
        return float(part.log_likelihood[0])
    if evidence is not None:
        reading = evidence.reading
        if reading.shared is not None and reading.unscaled and evidence is _ranked(part)[0]:
            return float(-np.log(reading.number * reading.shared.sd * SQRT_2PI))
        return float(np.log(plausible_density(reading)))
    if first.count is not None and _is_exact_count(first):
        return float(np.log(floor_probability(first.count, first.count)))
    return float(log_sum(part.log_likelihood + log_prior))


def plausible_density(reading: Reduced) -> float:
    """Log-uniform density over the feature's plausible range, per mm; outside it the density of a gross error."""
    row, x = FEATURES[reading.feature], reading.number
    if row.low <= x <= row.high:
        return float(1.0 / (x * np.log(row.high / row.low)))
    return floor_density(reading)


def says_nothing(part: Part) -> bool:
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
    share = LISTED_COUNT[:, None]
    return np.asarray(share * listed + (1 - share) * near + 1e-300)


def _line(columns: Columns, kernels: Kernels, reading: Reduced) -> Line:
    feature, x, halves = FEATURES[reading.feature], reading.number, kernels.halves
    column = columns.dimensions[reading.feature]
    centre, extra_u = column.centre[halves], column.extra_u[halves]
    within = PartDeviation.of(feature.name, column.take(halves)).variance
    if feature.is_pitch:
        within, loadings = within / reading.spans**2, {TRUE_PITCH: PITCH[:, None]}
    elif feature.along_rows:
        centre, span = _carried_over(columns, kernels, centre)
        loadings = {TRUE_PITCH: PITCH[:, None] * (span / centre), feature.name: ALLOWANCE[:, None] / centre}
    else:
        loadings = {feature.name: ACROSS[:, None]}
    unknown = np.isnan(centre)
    loadings = {name: np.where(unknown, 0.0, loading) for name, loading in loadings.items()}
    if (shared := reading.shared) is not None:
        relative = shared.sd if shared.kind is SharedKind.SCALE else shared.sd * shared.coefficient / x
        loadings[shared.group] = np.full((CLASSES, len(halves)), relative)
    middle, spread = np.sqrt(feature.low * feature.high), np.log(feature.high / feature.low) / np.sqrt(12)
    relative_variance = (within + extra_u**2) / centre**2 + (reading.u**2 + W_MIN**2) / x**2
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
