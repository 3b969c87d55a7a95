"""Uncertainties of clicks propagated through functions of them (law of propagation, JCGM 100:2008, 5.1.2).

Derivatives are numerical; functions take many sets of parameters at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from matcher.columns.columns import Floats
from matcher.imaging.clicks.rectification import Rectification

STEP = 1e-3
"""Step of numerical derivatives, in units of each parameter's own standard uncertainty."""


def gradient(function: Callable[[Floats], Floats], at: Floats, u: Floats) -> Floats:
    """Derivatives (m × …) by m parameters, by central differences in one call.

    ``function`` takes (k × m) and gives (k × …). ``u`` are the parameters' standard uncertainties; one of 0 gets
    derivative 0, since nothing is to be propagated.
    """
    moving = np.nonzero(u > 0.0)[0]
    steps = np.zeros((len(moving), len(at)))
    steps[np.arange(len(moving)), moving] = STEP * u[moving]
    values = function(np.concatenate([at + steps, at - steps]))
    slopes = np.zeros((len(at), *values.shape[1:]))
    widths = (2.0 * STEP * u[moving]).reshape(-1, *([1] * (values.ndim - 1)))
    slopes[moving] = (values[: len(moving)] - values[len(moving) :]) / widths
    return slopes


def parts_of(
    function: Callable[[Floats], Floats], own: Floats, own_u: float, rectification: Rectification
) -> tuple[float, float, float]:
    """Value, standard uncertainty by own clicks, and by the perspective's parameters."""
    at = np.concatenate([own, rectification.parameters])
    sd = np.concatenate([np.full(len(own), own_u), np.sqrt(np.diag(rectification.covariance))])
    slopes = gradient(function, at, sd)
    shared = slopes[len(own) :]
    value = float(function(at[None, :])[0])
    return (
        value,
        own_u * float(np.linalg.norm(slopes[: len(own)])),
        math.sqrt(float(shared @ rectification.covariance @ shared)),
    )
