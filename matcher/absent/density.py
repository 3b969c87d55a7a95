"""Log-density of the observations if the catalogue does not have the half.

An absent half copies features of a listed half h, each with a probability c that is larger for close relatives (r)
than for distant ones; what it does not copy is drawn around the catalogue's profiles. With the parts k of the
observations in the feature table's order, p_k(h) the likelihood of part k under h and π_h the prior:

q(y) = Π a_k · { w₀ + Σ_r w_r Σ_h π_h Π_k [c_rk·p_k(h)/a_k + 1 − c_rk] }.

w₀ is the share of halves that copy nothing. The bracket is 1 where h lacks the feature. Some of the readings that share
an error may be copied and others not: then each counts as if it had the error alone; where all are copied they have
their joint likelihood.

a_k = N(y_1..k)/N(y_1..k−1) is the density around the profiles, given the parts before it:

N(y) = s·p(y | unlike anything)
     + (1 − s)·Σ_j v_j Σ_m (n_m/n)·p_j(count | m)·N(measured dimensions; profile m, class j)·Π p(the rest | m, j).

Dimensions are compared in logarithms. Shared deviations (the profile's true pitch, an instrument's error) make them
correlated, so they have one joint normal density per profile and class.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import EllipsisType

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
    RELATIVES,
    WEIGHTS,
    AbsentModel,
    count_kernel,
)
from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES
from matcher.likelihood.evidence import Evidence, log_sum
from matcher.likelihood.gross_errors import floor_density
from matcher.likelihood.likelihood import Likelihood, Part
from matcher.likelihood.miscounts import floor_probability
from matcher.likelihood.part_deviation import PartDeviation
from matcher.likelihood.tolerance_density import SQRT_2PI, W_MIN
from matcher.observations import Of, Reduced, SharedKind

STRANGE_SHARE = 0.02
"""Share (s) of what is not copied that is unlike anything in the catalogue: every dimension is log-uniform over its
plausible range. Common practice, no source."""

LOG_STRANGE_SHARE, LOG_NEAR_SHARE = float(np.log(STRANGE_SHARE)), float(np.log(1 - STRANGE_SHARE))

TRUE_PITCH = "pitch"
"""Name of the hidden deviation of a profile's true pitch."""

EXACT_UP_TO = 16
"""Most observations for which the density without one of them is computed exactly."""

FAR = 40.0
"""Difference in log-weight to the best half from which a half is ignored when one observation is left out."""

LARGEST_LOG = 700.0
"""Largest logarithm of a ratio of densities: e^710 is beyond floating point, and so large a ratio decides alone."""

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
class Brackets:
    """The logarithms of one part's factor in the sum over copied halves (relatives × halves).

    ``apart`` is the product of the readings' own brackets, ``copied`` its term in which all are copied; both count
    readings that share an error as independent. ``together`` is the term in which all are copied, with their joint
    likelihood; None where there is one reading.
    """

    apart: Floats
    copied: Floats
    together: Floats | None = None

    @property
    def log(self) -> Floats:
        """The whole factor."""
        if self.together is None:
            return self.apart
        not_all = -np.expm1(np.minimum(self.copied - self.apart, 0.0))
        with np.errstate(divide="ignore"):
            return np.asarray(np.logaddexp(self.apart + np.log(not_all), self.together))


@dataclass(frozen=True, kw_only=True)
class UnderAbsent:
    """The likelihood of a specimen's observations under *absent*. Each part is computed once, when first needed."""

    model: AbsentModel
    weighed: Likelihood
    among: Ints | EllipsisType = ...
    """The halves that may be copied: all, or those that matter."""

    @property
    def columns(self) -> Columns:
        """The catalogue."""
        return self.weighed.columns

    @cached_property
    def log_density(self) -> float:
        """Log-density of all observations; 0 where nothing was observed."""
        if not self.weighed.parts:
            return 0.0
        return float(log_sum(self.log_explanations))

    @cached_property
    def log_explanations(self) -> Floats:
        """Log-density, with their shares, of halves that copy nothing, and of distant and close relatives."""
        return self._explained(np.array(self.log_fresh), self.log_copied)

    @property
    def log_fresh(self) -> float:
        """Log-density of all observations if nothing is copied: the sum of all ln a_k."""
        return float(self._log_a.sum())

    def _explained(self, fresh: Floats, copied: Floats) -> Floats:
        """The explanations (… × 1 + relatives); ``fresh`` (…) is ln Π a_k, ``copied`` is (… × relatives × halves)."""
        relatives = log_sum(copied + self.columns.log_prior[self.among], axis=-1)
        either = np.concatenate([np.zeros_like(relatives[..., :1]), relatives], axis=-1)
        return np.asarray(np.log(self.model.shares) + fresh[..., None] + either)

    @cached_property
    def log_copied(self) -> Floats:
        """Logarithm of the product of all brackets (relatives × halves)."""
        return np.asarray(sum((each.log for each in self._brackets), self._nothing))

    @property
    def _nothing(self) -> Floats:
        return np.zeros((RELATIVES, len(self.columns.log_prior[self.among])))

    @cached_property
    def _likely(self) -> Ints:
        """Halves that matter whichever one observation is left out: no bracket is below 1 − c."""
        weight = self.log_copied + self.columns.log_prior
        return np.flatnonzero(np.any(weight > weight.max(axis=1, keepdims=True) - FAR, axis=0))

    @cached_property
    def log_near(self) -> Floats:
        """Log-density (classes × kernels) around the profiles, including the kernels' shares."""
        return np.asarray(self._terms.sum(axis=0) + self._log_weights)

    @cached_property
    def log_strange(self) -> float:
        """Log-density of what is unlike anything listed, including its share."""
        return float(self._strange.sum() + LOG_STRANGE_SHARE)

    @cached_property
    def shares(self) -> Floats:
        """The log-density split over the parts, averaged over their order and its reverse; the shares add up to it.

        Each part keeps its a_k of the fixed order in both.
        """
        fresh = np.array([self.log_a(part) for part in self.weighed.parts])
        copied = np.stack([each.log for each in self._brackets])

        def added(order: slice) -> Floats:
            prefixes = self._explained(fresh[order].cumsum(), copied[order].cumsum(axis=0))
            return np.diff(log_sum(prefixes, axis=-1), prepend=0.0)[order]

        return np.asarray((added(slice(None)) + added(slice(None, None, -1))) / 2)

    def log_density_without(self, rest: Likelihood, part: Part, place: int) -> float:
        """Log-density of all observations except one of a part; ``rest`` is their likelihood.

        With more than `EXACT_UP_TO` observations the others keep their a_k within the brackets when a dimension is left
        out: that saves computing everything again for each.
        """
        dropped = part.readings[place]
        if not rest.parts:
            return 0.0
        if len(self._steps) <= EXACT_UP_TO or dropped.unscaled or dropped.index not in self._given_others:
            return replace(self, weighed=rest, among=self._likely).log_density
        near = self.log_near - self._given_others[dropped.index]
        strange = self.log_strange - np.log(plausible_density(dropped))
        fresh = float(np.logaddexp(log_sum(near), strange))
        gone = self.log_fresh - fresh
        number = next(i for i, each in enumerate(self.weighed.parts) if each is part)
        before = self._brackets[number]
        copied = self.log_copied - before.log
        if len(part.readings) > 1:
            apart, whole = self._alone[dropped.index]
            joint = rest.total - (self.weighed.total - part.log_likelihood)
            share = np.log(self.model.copied[dropped.feature])[:, None]
            joined = np.asarray(before.together) - share - part.log_likelihood + joint + gone
            copied = copied + Brackets(apart=before.apart - apart, copied=before.copied - whole, together=joined).log
        return float(log_sum(self._explained(np.array(fresh), copied)))

    @cached_property
    def kernels(self) -> Kernels:
        """Centres of the mixture."""
        return _kernels(self.model, self.columns, [reading for part in self.weighed.parts for reading in part.readings])

    @property
    def _log_weights(self) -> Floats:
        return np.asarray(np.log(WEIGHTS)[:, None] + self.kernels.log_weight + LOG_NEAR_SHARE)

    @cached_property
    def _steps(self) -> list[tuple[Part, Evidence | None]]:
        """The parts in the feature table's order; the readings of a part of dimensions one by one."""
        steps: list[tuple[Part, Evidence | None]] = []
        for part in sorted(self.weighed.parts, key=lambda part: min(map(_rank, part.readings))):
            one_by_one = _is_measured(part.readings[0]) and not _says_nothing(part)
            steps += [(part, each) for each in _ranked(part)] if one_by_one else [(part, None)]
        return steps

    def log_a(self, part: Part) -> float:
        """ln a_k of a part: its log-density around the profiles, given the parts before it."""
        return float(self._log_a[[i for i, (each, _) in enumerate(self._steps) if each is part]].sum())

    @cached_property
    def _filtered(self) -> Filtered:
        readings = [each.reading for _, each in self._steps if each is not None]
        return Filtered.of([_line(self.columns, self.kernels, reading) for reading in readings])

    @cached_property
    def _given_others(self) -> dict[int, Floats]:
        """Log-density (classes × kernels) of each measured dimension given all others, by its index."""
        indices = [each.reading.index for _, each in self._steps if each is not None]
        return dict(zip(indices, self._filtered.given_others(), strict=True))

    @cached_property
    def _terms(self) -> Floats:
        """Log-densities (steps × classes × kernels) of each step given those before it."""
        normal = iter(self._filtered.terms)
        terms = np.zeros((len(self._steps), CLASSES, len(self.kernels.halves)))
        for term, (part, each) in zip(terms, self._steps, strict=True):
            if each is not None:
                term += next(normal)
            elif _says_nothing(part):
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
        return np.array([_strange_term(part, each, self.columns.log_prior) for part, each in self._steps])

    @cached_property
    def _log_fresh(self) -> Floats:
        """ln N of the first, the first two, … steps."""
        near = log_sum(self._terms.cumsum(axis=0) + self._log_weights, axis=(-2, -1))
        return np.asarray(np.logaddexp(near, self._strange.cumsum() + LOG_STRANGE_SHARE))

    @cached_property
    def _log_a(self) -> Floats:
        """ln a of each step."""
        return np.diff(self._log_fresh, prepend=0.0)

    @cached_property
    def _brackets(self) -> list[Brackets]:
        """By part of the likelihood."""
        return [self._brackets_of(part) for part in self.weighed.parts]

    def _brackets_of(self, part: Part) -> Brackets:
        if _says_nothing(part):
            return Brackets(apart=self._nothing, copied=self._nothing)
        share = np.prod([self.model.copied[reading.feature] for reading in part.readings], axis=0)[:, None]
        ratio = part.log_likelihood[self.among] - self.log_a(part)
        if not _is_measured(part.readings[0]):
            return Brackets(apart=_log_bracket(share, ratio), copied=np.log(share) + ratio)
        alone = [self._alone[reading.index] for reading in part.readings]
        if len(alone) == 1:
            return Brackets(apart=alone[0][0], copied=alone[0][1])
        apart, copied = (np.sum(tables, axis=0) for tables in zip(*alone, strict=True))
        return Brackets(apart=apart, copied=copied, together=np.log(share) + ratio)

    @cached_property
    def _alone(self) -> dict[int, tuple[Floats, Floats]]:
        """Each measured dimension's own bracket, and its term in which it is copied, by its index."""
        found = {}
        for (part, each), log_a in zip(self._steps, self._log_a, strict=True):
            if each is None:
                continue
            reading, share = each.reading, self.model.copied[each.reading.feature][:, None]
            ratio = self._nothing[0]
            if not reading.unscaled:
                alone = len(part.evidence) == 1
                logs = part.log_likelihood[self.among] if alone else np.log(each.of_halves()[self.among])
                stated = ~np.isnan(self.columns.dimensions[reading.feature].stated[self.among])
                ratio = np.where(stated, logs - log_a, 0.0)
            found[reading.index] = _log_bracket(share, ratio), np.log(share) + ratio
        return found


def _log_bracket(share: Floats, log_ratio: Floats) -> Floats:
    """ln(c·p/a + 1 − c), for each kind of relative."""
    return np.asarray(np.log(1.0 - share + share * np.exp(np.minimum(log_ratio, LARGEST_LOG))))


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


def _is_measured(reading: Reduced) -> bool:
    """Whether it is a dimension of this half; nothing else has a value."""
    return reading.of is Of.THIS and reading.value is not None


def _strange_term(part: Part, evidence: Evidence | None, log_prior: Floats) -> float:
    """Log-density of a step if the half is unlike anything listed: any plausible size or count, else any half's."""
    first = part.readings[0]
    if _says_nothing(part):
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
