"""Prediction of a measurement under *absent*: the half is not in the catalogue.

The absent density is a mixture of the listed halves, of kernels around profiles, and of anything plausible. The
prediction weights these components by how well they explain the observations so far. Kernels count as independent of
the earlier readings given their class. This makes absent a little vaguer than it is: a simplification that can only
lower the bits about it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.absent.model import COUNT_SPREAD, AbsentModel, count_kernel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.next_measurement.information import DimensionSteps
from matcher.decision.posterior import Posterior
from matcher.features import Feature
from matcher.likelihood.evidence import log_sum
from matcher.likelihood.miscounts import floor_probability
from matcher.likelihood.tolerance_density import SQRT_2PI

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

    ``present``, ``strange`` and ``weight`` (kernels) add up to 1; ``halves`` and ``classes`` are the half that each
    kernel represents and its bandwidth class, ``positions`` its contacts per row.
    """

    columns: Columns
    model: AbsentModel
    present: float
    strange: float
    weight: Floats
    halves: Ints
    classes: Ints
    positions: Floats
    listed: Floats

    @classmethod
    def of(cls, result: Posterior) -> AbsentOutlook:
        """Made from the posterior after the observations so far."""
        found = result.under_absent
        near = found.log_near.ravel()
        used = np.argpartition(-near, KERNELS_USED)[:KERNELS_USED] if len(near) > KERNELS_USED else np.arange(len(near))
        logs = np.array([found.log_present, log_sum(near), found.log_strange])
        present, kernels, strange = np.exp(logs - log_sum(logs))
        weight = np.exp(near[used] - log_sum(near[used])) * kernels
        classes, number = np.divmod(used, found.log_near.shape[1])
        listed = np.exp(result.log_half - log_sum(result.log_half))
        return cls(
            columns=result.columns,
            model=found.model,
            present=float(present),
            strange=float(strange),
            weight=weight,
            halves=found.kernels.halves[number],
            classes=classes,
            positions=found.kernels.positions[number],
            listed=listed,
        )

    def dimension(self, feature: Feature, steps: DimensionSteps, prior: Floats) -> Floats:
        """Probability of each step of a dimension; the last is elsewhere. ``prior`` is that of the leaders."""
        middles = np.maximum(steps.middles, feature.low / FAR_BELOW)
        grid = np.linspace(middles[0], middles[-1], GRID)
        near = np.interp(middles, grid, self._near(feature, grid))
        plausible = (middles >= feature.low) & (middles <= feature.high)
        strange = self.strange * plausible / (middles * np.log(feature.high / feature.low))
        total = (near + strange) * steps.step * (1.0 - feature.gross_share)
        total = total + self.present * _marginal(steps, prior)
        total = total / max(float(total.sum()), 1.0)
        return np.append(total, 1.0 - total.sum())

    def _near(self, feature: Feature, x: Floats) -> Floats:
        """Density, per mm, of a right reading around the kernels."""
        column, bandwidths = self.columns.dimensions[feature.name], self.model.bandwidths
        centre, classes = column.centre[self.halves], self.classes
        if feature.name == "pitch":
            spread = bandwidths.pitch[classes]
        elif feature.along_rows:
            pitch = self.columns.dimensions["pitch"].centre[self.halves]
            counts, rows = (self.columns.counts[name][self.halves] for name in ("contact_count", "rows"))
            moved = pitch * (self.positions - np.ceil(counts / np.maximum(rows, 1)))
            centre = np.maximum(centre + moved, feature.low)
            spread = np.hypot(bandwidths.allowance[classes] / centre, bandwidths.pitch[classes])
        else:
            spread = bandwidths.across.get(feature.name, bandwidths.across["body_width"])[classes]
        known = ~np.isnan(centre)
        centre, spread, weight = centre[known], spread[known], self.weight[known]
        relative = np.hypot(column.half_width[self.halves][known] / np.sqrt(3.0), column.extra_u[self.halves][known])
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
            share = self.model.listed_count[self.classes]
            near = share * near + (1.0 - share) * around
        strange = np.array([self.strange * floor_probability(int(n), int(n)) for n in numbers])
        return np.asarray(self.present * self._count_among(feature, numbers) + near @ self.weight + strange)

    def _count_among(self, feature: Feature, numbers: Ints) -> Floats:
        counts = self.columns.counts[feature.name]
        total = np.bincount(np.maximum(counts, 0), weights=self.listed * (counts >= 0))
        inside = (numbers >= 0) & (numbers < len(total))
        return np.where(inside, total[np.clip(numbers, 0, len(total) - 1)], 0.0)

    def category(self, has: Floats) -> Floats:
        """Probability that an absent half has each value of a category; ``has`` is that of the listed halves."""
        anyone = self.columns.prior_weight @ has / self.columns.prior_weight.sum()
        other = self.model.other_kind[self.classes]
        near = (self.weight * (1.0 - other)) @ has[self.halves]
        rest = float(self.weight @ other) + self.strange
        return np.asarray(self.present * (self.listed @ has) + near + rest * anyone)


def _marginal(steps: DimensionSteps, prior: Floats) -> Floats:
    """Probability of each step under the leaders, without elsewhere."""
    prior = prior / max(float(prior.sum()), 1e-300)
    places = steps.first[:, None] + np.arange(steps.band.shape[1])
    total = np.bincount(places.ravel(), weights=(prior[:, None] * steps.band).ravel(), minlength=steps.size)
    return np.asarray(total[:-1])
