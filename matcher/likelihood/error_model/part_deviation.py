"""How far parts lie from the centres of their entries, and the density of a reading around them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, DimensionColumn, Floats, Ints
from matcher.columns.process_tolerance import over_gaps
from matcher.features import FEATURES
from matcher.likelihood.error_model.tolerance_density import rectangle_normal, rectangle_normal_cdf


@dataclass(frozen=True, kw_only=True)
class PartDeviation:
    """Parts lie evenly within ``half_width`` of the centre, mm, or for a ``share`` of them within ``broad``.

    One position for each entry; the share is 0 where the entry has no broad part.
    """

    half_width: Floats
    broad: Floats
    share: Floats

    @classmethod
    def of(cls, feature: str, column: DimensionColumn, gaps: int | Ints | None = None) -> PartDeviation:
        """Of a dimension, or of one measured over several gaps at once and divided."""
        half_width, broad = column.half_width, column.broad
        if gaps is not None:
            half_width, broad = (over_gaps(feature, each, gaps) for each in (half_width, broad))
        share = np.where(column.broad > 0.0, FEATURES[feature].process.broad_share, 0.0)
        return cls(half_width=half_width, broad=broad, share=share)

    @classmethod
    def none(cls, entries: int) -> PartDeviation:
        """Parts as their entries say."""
        nothing = np.zeros(entries)
        return cls(half_width=nothing, broad=nothing, share=nothing)

    def take(self, chosen: Bools | Ints | slice) -> PartDeviation:
        """That of some entries."""
        return PartDeviation(half_width=self.half_width[chosen], broad=self.broad[chosen], share=self.share[chosen])

    @property
    def parts(self) -> list[tuple[Floats, Floats]]:
        """Share and half-width of the usual part and, where any entry has one, of the broad part."""
        if not np.any(self.share > 0.0):
            return [(np.ones(len(self.share)), self.half_width)]
        return [(1.0 - self.share, self.half_width), (self.share, self.broad)]

    @property
    def reach(self) -> Floats:
        """Largest deviation, mm."""
        return np.where(self.share > 0.0, np.maximum(self.half_width, self.broad), self.half_width)

    @property
    def variance(self) -> Floats:
        """Variance, mm²."""
        return np.asarray(sum(share * half_width**2 for share, half_width in self.parts) / 3.0)

    def density(self, distance: Floats, w: Floats) -> Floats:
        """Density of readings at ``distance`` from each entry's centre, per mm; arguments as `rectangle_normal`."""
        return np.asarray(sum(share * rectangle_normal(distance, t, w) for share, t in self.parts))

    def below(self, offset: Floats, w: Floats) -> Floats:
        """Probability that a reading lies below each entry's centre + ``offset``: one (entries) or several (entries ×
        offsets); ``w`` (entries) as in `rectangle_normal_cdf`."""
        along = (slice(None),) + (None,) * (offset.ndim - 1)
        return np.asarray(
            sum(share[along] * rectangle_normal_cdf(offset, t[along], w[along]) for share, t in self.parts)
        )
