"""The curve through a profile: its levels between the samples."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import CubicSpline

from matcher.columns.columns import Floats


@dataclass(frozen=True, kw_only=True)
class Curve:
    """The cubic spline through ``samples``, level at both ends, so that its mirror images continue it."""

    samples: Floats

    @property
    def last(self) -> float:
        """The place of the last sample; the first lies at 0."""
        return float(len(self.samples) - 1)

    @cached_property
    def _pieces(self) -> tuple[Floats, ...]:
        """Coefficients from each sample to the next, of the third power first; the last sample has a piece, too."""
        spline = CubicSpline(np.arange(len(self.samples)), self.samples, bc_type="clamped")
        end = np.array([[0.0], [0.0], [0.0], self.samples[-1:]])
        return tuple(np.hstack([spline.c, end]))

    def levels(self, places: Floats) -> Floats:
        """Levels at places, samples; beyond the ends those of the mirror image.

        The samples are one apart, so a place tells its piece; SciPy would search, which takes twice as long.
        """
        inside = self.last - np.abs(self.last - np.abs(places))
        piece = inside.astype(np.intp)
        part = inside - piece
        levels: Floats = np.zeros_like(part)
        for coefficients in self._pieces:
            levels *= part
            levels += coefficients.take(piece)
        return levels
