"""Density of one dimension reading: a rectangular tolerance convolved with normal measurement error.

This is the conformity probability of JCGM 106:2012 (clause 7) divided by the width of the tolerance interval. The true
size is uniform in centre ± half_width; the reading scatters around it with standard deviation ``w``.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from matcher.columns.columns import Floats

W_MIN = 1e-6
"""Smallest standard deviation, mm: a nanometre, far below any instrument, keeps densities finite."""

SMALL_RATIO = 1e-3
"""Ratio of half-width to sd below which the closed form suffers from cancellation; there the normal with its first
correction is right to better than 1e-11."""

REACH = 12.0
"""Standard deviations beyond the tolerance from which the density counts as 0. It is below 1e-31 of its peak there,
less than rounding in the gross-error share that is always added."""

SQRT_2PI = float(np.sqrt(2.0 * np.pi))


def rectangle_normal(distance: Floats, half_width: Floats, w: Floats) -> Floats:
    """Density of a reading at ``distance`` (mm, either sign) from the centre of a rectangle, per mm.

    ``half_width`` ≥ 0 and ``w`` (≥ `W_MIN`) are mm; all three broadcast.
    """
    d, t, sd = np.broadcast_arrays(np.abs(distance), half_width, w)
    density = np.zeros(d.shape)
    near = d < t + REACH * sd
    d, t, sd = d[near], t[near], sd[near]
    narrow = t < SMALL_RATIO * sd
    if np.any(narrow):
        ratio, z = t / sd, d / sd
        bent = np.exp(-0.5 * z * z) / (SQRT_2PI * sd) * (1.0 + ratio * ratio * (z * z - 1.0) / 6.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            density[near] = np.where(narrow, np.maximum(bent, 0.0), _wide(d, t, sd))
    else:
        density[near] = _wide(d, t, sd)
    return density


def _wide(d: Floats, t: Floats, sd: Floats) -> Floats:
    return np.asarray((ndtr((t - d) / sd) - ndtr((-t - d) / sd)) / (2.0 * t))


def _integral_of_ndtr(z: Floats) -> Floats:
    return z * ndtr(z) + np.exp(-0.5 * z * z) / SQRT_2PI


def rectangle_normal_cdf(offset: Floats, half_width: Floats, w: Floats) -> Floats:
    """Probability that a reading lies below centre + ``offset`` (mm); arguments as `rectangle_normal`."""
    x, t, sd = np.broadcast_arrays(offset, half_width, w)
    z, ratio = -np.abs(x) / sd, t / sd
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = (_integral_of_ndtr(z + ratio) - _integral_of_ndtr(z - ratio)) / (2.0 * ratio)
    narrow = ndtr(z) - z * np.exp(-0.5 * z * z) / SQRT_2PI * ratio * ratio / 6.0
    lower_tail = np.clip(np.where(ratio < SMALL_RATIO, narrow, wide), 0.0, 1.0)
    return np.asarray(np.where(x > 0, 1.0 - lower_tail, lower_tail))
