"""A dimension cut into steps: each step is one outcome of measuring it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from matcher.columns.columns import Floats, Ints
from matcher.decision.next_measurement.information import Outcomes
from matcher.likelihood.tolerance_density import rectangle_normal_cdf

STEP = 0.6
"""Width of one outcome of a dimension, in standard deviations of the best predicted answer: finer steps change the
expected bits by less than a fiftieth."""

REACH = 4.5
"""Standard deviations beyond the tolerance that outcomes reach; the 7e-6 beyond counts as grossly wrong."""


@dataclass(frozen=True, kw_only=True)
class DimensionSteps:
    """Steps of a dimension: outcome k is a reading of ``low + k·step`` to one step more, mm; the last is elsewhere."""

    low: float
    step: float
    size: int
    first: Ints
    band: Floats
    elsewhere: Floats

    @property
    def middles(self) -> Floats:
        """Middle of each step, mm; elsewhere has none."""
        return np.asarray(self.low + (np.arange(self.size - 1) + 0.5) * self.step)

    def with_wide(self, wide: Floats) -> Outcomes:
        """As outcomes, with one more answer that may show anything.

        Where only that answer reaches, its outcomes are told as elsewhere: the others' gross errors fall there too.
        """
        reached = np.zeros(self.size, dtype=bool)
        reached[(self.first[:, None] + np.arange(self.band.shape[1])).ravel()] = True
        reached[-1] = True
        inside = np.where(reached, wide, 0.0)
        inside[-1] += wide[~reached].sum()
        return Outcomes(
            size=self.size, first=self.first, band=self.band, elsewhere=self.elsewhere, wide=inside[None, :]
        )


def dimension_steps(centre: Floats, half_width: Floats, sd: Floats, gross: float) -> DimensionSteps:
    """Steps of a reading around each answer's centre; all mm. ``gross`` is the share of readings that are elsewhere.

    Half-widths of 0 throughout make it a plain normal, which takes a third of the time.
    """
    step = STEP * float(np.quantile(np.sqrt(half_width**2 / 3 + sd**2), 0.1))
    reach = half_width + REACH * sd
    low = float(np.min(centre - reach))
    first = np.floor((centre - reach - low) / step).astype(np.int64)
    width = int(np.ceil(2 * float(reach.max()) / step)) + 1
    edges = low + (first[:, None] + np.arange(width + 1)) * step - centre[:, None]
    if np.any(half_width > 0.0):
        below = rectangle_normal_cdf(edges, half_width[:, None], sd[:, None])
    else:
        below = ndtr(edges / sd[:, None])
    band = (1.0 - gross) * np.diff(below, axis=1)
    size = int(first.max()) + width + 1
    return DimensionSteps(low=low, step=step, size=size, first=first, band=band, elsewhere=1.0 - band.sum(axis=1))
