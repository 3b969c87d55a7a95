"""Prediction of a measurement under *absent*: the half is not in the catalogue.

An absent half copies features of a listed one; what it does not copy lies around profiles or is anything plausible. The
prediction weights these explanations, and the halves that may be copied, by how well they explain the observations so
far. Kernels count as independent of the earlier readings given their class. This makes absent a little vaguer than it
is: a simplification that can only lower the bits about it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.absent.model import (
    ACROSS,
    ALLOWANCE,
    COUNT_SPREAD,
    LISTED_COUNT,
    OTHER_KIND,
    PITCH,
    AbsentModel,
    count_kernel,
)
from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.next_measurement.information import DimensionSteps
from matcher.decision.posterior import Posterior
from matcher.features import Feature
from matcher.likelihood.error_model.miscounts import floor_probability
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import SQRT_2PI
from matcher.likelihood.evidence import log_sum

KERNELS_USED = 200
"""Number of kernels that the prediction uses: those that explain the observations so far best."""

FAR_BELOW = 10.0
"""Steps may reach below zero where an entry is vague. Absent is then predicted as if the smallest plausible size,
divided by this, had been read."""

GRID = 96
"""Points at which the density of a dimension is computed; it is interpolated between them."""


@dataclass(frozen=True, kw_only=True)
class AbsentOutlook:
    """Weights of the components of *absent* after the observations so far.

    ``relatives`` are the probabilities that a distant and a close relative of a listed half was measured.
    ``strange`` and ``weight`` (kernels) add up to 1; ``halves`` and ``classes`` are each kernel's half and bandwidth
    class, ``positions`` its contacts per row. ``listed`` is the probability of each half to be the one that is copied.
    """

    columns: Columns
    model: AbsentModel
    relatives: Floats
    strange: float
    weight: Floats
    halves: Ints
    classes: Ints
    positions: Floats
    listed: Floats

    @classmethod
    def of(cls, result: Posterior) -> AbsentOutlook:
        """Made from the posterior after the observations so far."""
        found = result.under_absent.likeliest
        around = found.around
        near = around.log_near.ravel()
        used = np.argpartition(-near, KERNELS_USED)[:KERNELS_USED] if len(near) > KERNELS_USED else np.arange(len(near))
        relatives = np.exp(found.log_explanations - log_sum(found.log_explanations))[1:]
        strange = float(np.exp(around.log_strange - np.logaddexp(log_sum(near), around.log_strange)))
        weight = np.exp(near[used] - log_sum(near[used])) * (1.0 - strange)
        classes, number = np.divmod(used, around.log_near.shape[1])
        of_half = found.log_copied + found.columns.log_prior
        listed = relatives @ np.exp(of_half - log_sum(of_half, axis=1)[:, None])
        return cls(
            columns=result.columns,
            model=found.model,
            relatives=relatives,
            strange=strange,
            weight=weight,
            halves=around.kernels.halves[number],
            classes=classes,
            positions=around.kernels.positions[number],
            listed=listed / listed.sum(),
        )

    def _copied(self, feature: str) -> float:
        """Probability that the feature is copied."""
        return float(self.relatives @ self.model.copied[feature])

    def dimension(self, feature: Feature, steps: DimensionSteps, prior: Floats) -> Floats:
        """Probability of each step of a dimension; the last is elsewhere. ``prior`` is that of the leaders."""
        middles = np.maximum(steps.middles, feature.low / FAR_BELOW)
        grid = np.linspace(middles[0], middles[-1], GRID)
        near = np.interp(middles, grid, self._near(feature, grid))
        plausible = (middles >= feature.low) & (middles <= feature.high)
        strange = self.strange * plausible / (middles * np.log(feature.high / feature.low))
        copied = self._copied(feature.name)
        total = (1.0 - copied) * (near + strange) * steps.step * (1.0 - feature.gross_share)
        total = total + copied * _marginal(steps, prior)
        total = total / max(float(total.sum()), 1.0)
        return np.append(total, 1.0 - total.sum())

    def _near(self, feature: Feature, x: Floats) -> Floats:
        """Density, per mm, of a right reading around the kernels."""
        column = self.columns.dimensions[feature.name]
        centre, classes = column.centre[self.halves], self.classes
        if feature.is_pitch:
            spread = PITCH[classes]
        elif feature.along_rows:
            pitch = self.columns.dimensions["pitch"].centre[self.halves]
            counts, rows = (self.columns.counts[name][self.halves] for name in ("contact_count", "rows"))
            moved = pitch * (self.positions - np.ceil(counts / np.maximum(rows, 1)))
            centre = np.maximum(centre + moved, feature.low)
            spread = np.hypot(ALLOWANCE[classes] / centre, PITCH[classes])
        else:
            spread = ACROSS[classes]
        known = ~np.isnan(centre)
        centre, spread, weight = centre[known], spread[known], self.weight[known]
        own = column.take(self.halves[known])
        relative = np.sqrt(PartDeviation.of(feature.name, own).variance + own.extra_u**2)
        spread = np.maximum(np.hypot(spread, relative / centre), 1e-4)
        z = (np.log(x[:, None]) - np.log(centre)) / spread
        return np.asarray((weight / spread * np.exp(-0.5 * z * z)).sum(axis=1) / (x * SQRT_2PI))

    def count(self, feature: Feature, numbers: Ints) -> Floats:
        """Probability of counting each of ``numbers``."""
        own = self.columns.counts[feature.name][self.halves]
        near = np.asarray((own == numbers[:, None]) * 1.0)
        if feature.name == "contact_count":
            rows, spread = self.columns.counts["rows"][self.halves], COUNT_SPREAD[self.classes]
            around = count_kernel(np.maximum(numbers, 1)[:, None], np.maximum(own, 1), rows, spread)
            share = LISTED_COUNT[self.classes]
            near = share * near + (1.0 - share) * around
        strange = np.array([self.strange * floor_probability(int(n), int(n)) for n in numbers])
        copied = self._copied(feature.name)
        return np.asarray(
            copied * self._count_among(feature, numbers) + (1.0 - copied) * (near @ self.weight + strange)
        )

    def _count_among(self, feature: Feature, numbers: Ints) -> Floats:
        counts = self.columns.counts[feature.name]
        total = np.bincount(np.maximum(counts, 0), weights=self.listed * (counts >= 0))
        inside = (numbers >= 0) & (numbers < len(total))
        return np.where(inside, total[np.clip(numbers, 0, len(total) - 1)], 0.0)

    def category(self, feature: str, has: Floats) -> Floats:
        """Probability that an absent half has each value of a category; ``has`` is that of the listed halves."""
        anyone = self.columns.prior_weight @ has / self.columns.prior_weight.sum()
        other, copied = OTHER_KIND[self.classes], self._copied(feature)
        near = (self.weight * (1.0 - other)) @ has[self.halves]
        rest = float(self.weight @ other) + self.strange
        return np.asarray(copied * (self.listed @ has) + (1.0 - copied) * (near + rest * anyone))


def _marginal(steps: DimensionSteps, prior: Floats) -> Floats:
    """Probability of each step under the leaders, without elsewhere."""
    prior = prior / max(float(prior.sum()), 1e-300)
    places = steps.first[:, None] + np.arange(steps.band.shape[1])
    total = np.bincount(places.ravel(), weights=(prior[:, None] * steps.band).ravel(), minlength=steps.size)
    return np.asarray(total[:-1])
