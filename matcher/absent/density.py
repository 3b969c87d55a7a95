"""Log-density of the observations if the catalogue does not have the half.

An absent half copies features of a listed half h, each with a probability c that depends on how close a relative (r) it
is: distant, close, or a twin in nearly everything. What it does not copy is drawn around the catalogue's profiles. With
the parts k of the observations in the feature table's order, p_k(h) the likelihood of part k under h and π_h the prior:

q(y) = Π a_k · { w₀ + Σ_r w_r Σ_h π_h Π_k [c_rk·p_k(h)/a_k + 1 − c_rk] }.

w₀ is the share of halves that copy nothing. The bracket is 1 where h lacks the feature. Some of the readings that share
an error may be copied and others not: then each counts as if it had the error alone; where all are copied they have
their joint likelihood.

a_k is the density around the profiles, given the parts before it (`matcher.absent.around_profiles`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from types import EllipsisType

import numpy as np

from matcher.absent.around_profiles import AroundProfiles, is_measured, says_nothing
from matcher.absent.model import RELATIVES, AbsentModel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.evidence import log_sum
from matcher.likelihood.likelihood import Likelihood, Part

EXACT_UP_TO = 16
"""Most observations for which the density without one of them is computed exactly."""

FAR = 40.0
"""Difference in log-weight to the best half from which a half is ignored when one observation is left out."""

LARGEST_LOG = 700.0
"""Largest logarithm of a ratio of densities: e^710 is beyond floating point, and so large a ratio decides alone."""


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

    @cached_property
    def log(self) -> Floats:
        """The whole factor."""
        if self.together is None:
            return self.apart
        not_all = -np.expm1(np.minimum(self.copied - self.apart, 0.0))
        all_copied = np.exp(np.minimum(self.together - self.apart, LARGEST_LOG))
        with np.errstate(divide="ignore"):
            return np.asarray(np.maximum(self.apart + np.log(not_all + all_copied), self.together))


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
    def around(self) -> AroundProfiles:
        """The density of what is not copied."""
        return AroundProfiles(model=self.model, weighed=self.weighed)

    @cached_property
    def log_density(self) -> float:
        """Log-density of all observations; 0 where nothing was observed."""
        if not self.weighed.parts:
            return 0.0
        if self.ways:
            return float(log_sum(np.array([log_share + each.log_density for log_share, each in self.ways])))
        return float(log_sum(self.log_explanations))

    @cached_property
    def ways(self) -> tuple[tuple[float, UnderAbsent], ...]:
        """The log-share of each way to read the observations, and them read so; empty where there is one way."""
        return tuple((way.log_share, replace(self, weighed=weighed)) for way, weighed in self.weighed.ways)

    @property
    def likeliest(self) -> UnderAbsent:
        """The observations read in the likeliest way."""
        if not self.ways:
            return self
        return max(self.ways, key=lambda way: way[0] + way[1].log_density)[1]

    @cached_property
    def log_explanations(self) -> Floats:
        """Log-density, with their shares, of halves that copy nothing and of each kind of relative."""
        return self._explained(np.array(self.around.log_fresh), self.log_copied)

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
    def shares(self) -> Floats:
        """The log-density split over the parts, averaged over their order and its reverse; the shares add up to it.

        Each part keeps its a_k of the fixed order in both.
        """
        if self.ways:
            given = self.ways[0][1]
            kept = len(self.weighed.parts) - 1
            of_mixed = given.shares[kept:].sum() + self.log_density - given.log_density
            return np.append(given.shares[:kept], of_mixed)
        fresh = np.array([self.around.log_a(part) for part in self.weighed.parts])
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
        if self.ways:
            return replace(self, weighed=rest).log_density
        if len(self.around.steps) <= EXACT_UP_TO or dropped.unscaled or not is_measured(dropped):
            return replace(self, weighed=rest, among=self._likely).log_density
        fresh = self.around.log_fresh_without(dropped)
        gone = self.around.log_fresh - fresh
        number = next(i for i, each in enumerate(self.weighed.parts) if each is part)
        before = self._brackets[number]
        copied = self._copied_besides[number]
        if len(part.readings) > 1:
            apart, whole = self._alone[dropped.index]
            joint = rest.total - (self.weighed.total - part.log_likelihood)
            share = np.log(self.model.copied[dropped.feature])[:, None]
            joined = np.asarray(before.together) + ((joint - part.log_likelihood + gone) - share)
            copied = copied + Brackets(apart=before.apart - apart, copied=before.copied - whole, together=joined).log
        return float(log_sum(self._explained(np.array(fresh), copied)))

    @cached_property
    def _copied_besides(self) -> list[Floats]:
        """`log_copied` without each part of the likelihood."""
        return [self.log_copied - each.log for each in self._brackets]

    @cached_property
    def _brackets(self) -> list[Brackets]:
        """By part of the likelihood."""
        return [self._brackets_of(part) for part in self.weighed.parts]

    def _brackets_of(self, part: Part) -> Brackets:
        if says_nothing(part):
            return Brackets(apart=self._nothing, copied=self._nothing)
        share = np.prod([self.model.copied[reading.feature] for reading in part.readings], axis=0)[:, None]
        ratio = part.log_likelihood[self.among] - self.around.log_a(part)
        if not is_measured(part.readings[0]):
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
        for (part, each), log_a in zip(self.around.steps, self.around.log_a_of_steps, strict=True):
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
