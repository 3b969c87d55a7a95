"""Straight-line least squares with everything the GUM's example H.3 reports (JCGM 100:2008, H.3)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats


@dataclass(frozen=True, kw_only=True)
class Line:
    """y = intercept + slope·x fitted by least squares.

    Attributes
    ----------
    intercept, slope: of the line.
    residual_sd: s, the standard deviation of one y about the line, √(Σr²/(n − 2)); 0 dof gives NaN.
    degrees_of_freedom: n − 2.
    unit_covariance: covariance of (intercept, slope) for y of standard deviation 1; times s² it is H.3's.
    residuals: y minus the line, in the given order.
    """

    intercept: float
    slope: float
    residual_sd: float
    degrees_of_freedom: int
    unit_covariance: Floats
    residuals: Floats

    @property
    def covariance(self) -> Floats:
        """Covariance matrix of intercept and slope (H.3.2): s² times `unit_covariance`."""
        return self.unit_covariance * self.residual_sd**2

    def at(self, x: float) -> tuple[float, float]:
        """The line at ``x`` and its standard uncertainty (H.3.4)."""
        row = np.array([1.0, x])
        return self.intercept + self.slope * x, math.sqrt(float(row @ self.covariance @ row))


def fit_line(x: Floats, y: Floats) -> Line:
    """Fit a straight line through points with exact x and equally uncertain y.

    Raises
    ------
    ValueError
        For fewer than two points, or points that all have one x.
    """
    if len(x) < 2 or len(x) != len(y):
        raise ValueError("a line needs at least two points, each with x and y")
    mean = float(np.mean(x))
    spread = float(np.sum((x - mean) ** 2))
    if spread == 0.0:
        raise ValueError("all points have the same x")
    slope = float(np.sum((x - mean) * (y - np.mean(y)))) / spread
    intercept = float(np.mean(y)) - slope * mean
    residuals = y - (intercept + slope * x)
    dof = len(x) - 2
    return Line(
        intercept=intercept,
        slope=slope,
        residual_sd=math.sqrt(float(residuals @ residuals) / dof) if dof else math.nan,
        degrees_of_freedom=dof,
        unit_covariance=unit_covariance(x),
        residuals=residuals,
    )


def unit_covariance(x: Floats) -> Floats:
    """Covariance of (intercept, slope) of a line through y of standard deviation 1 at ``x``: (XᵀX)⁻¹."""
    mean = float(np.mean(x))
    spread = float(np.sum((x - mean) ** 2))
    return np.array([[1.0 / len(x) + mean**2 / spread, -mean / spread], [-mean / spread, 1.0 / spread]])
