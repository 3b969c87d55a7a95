"""Quadrature nodes for the mean of a smooth function over the true size of an entry.

The size is uniform within the tolerance, blurred by the entry's normal uncertainty. The function depends on the
logarithm of the size.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import roots_hermitenorm

from matcher.columns.columns import Bools, Floats
from matcher.likelihood.error_model.tolerance_density import rectangle_normal

Nodes = tuple[Floats, Floats]
"""True sizes (a row for each entry) and their weights."""


@dataclass(frozen=True, kw_only=True)
class QuadratureRule:
    """A quadrature rule, right to 1e-9 where it ``applies`` (half-width and u as parts of the centre).

    ``nodes`` takes centre, half-width and u, each a column.
    """

    applies: Callable[[Floats, Floats], Bools]
    nodes: Callable[[Floats, Floats, Floats], Nodes]


def _hermite(number: int) -> Nodes:
    """Nodes and weights of the mean over a standard normal."""
    nodes, weights = roots_hermitenorm(number)
    return nodes, weights / weights.sum()


ERROR_NODES = _hermite(5)
"""Nodes and weights, in standard deviations, for a reading's own error: they give the mean of 1/x to 1e-10 up to a
relative standard uncertainty of 0.06."""


def _products(legendre: int, hermite: int) -> Callable[[Floats, Floats, Floats], Nodes]:
    """Each node within the tolerance combined with each node of the normal."""
    (tau, of_tau), (xi, of_xi) = np.polynomial.legendre.leggauss(legendre), _hermite(hermite)
    weights = np.outer(of_tau / 2.0, of_xi).ravel()
    tau, xi = np.repeat(tau, hermite), np.tile(xi, legendre)
    return lambda c, t, s: (c + t * tau + s * xi, weights)


_PANELS = np.concatenate([[0.0], 0.1 * 0.25 ** np.arange(12, 0, -1), np.linspace(0.1, 1.0, 13)])
_LEGENDRE, _LEGENDRE_WEIGHTS = np.polynomial.legendre.leggauss(10)
PARTS = (_PANELS[:-1, None] + np.diff(_PANELS)[:, None] * (_LEGENDRE + 1.0) / 2.0).ravel()
PART_WEIGHTS = (np.diff(_PANELS)[:, None] * _LEGENDRE_WEIGHTS / 2.0).ravel()
"""Nodes as parts of the largest size, finer towards 0, where the logarithm bends."""

LARGEST = 9.0
"""The largest size considered: multiples of the entry's u beyond its tolerance."""


def _from_zero(c: Floats, t: Floats, s: Floats) -> Nodes:
    """Sizes above 0, for an entry so uncertain that it may be near 0; sizes below 0 explain no reading."""
    largest = c + t + LARGEST * s
    sizes = largest * PARTS
    return sizes, rectangle_normal(sizes - c, t, s) * largest * PART_WEIGHTS


VAGUE = 0.1
"""An entry's u, as a part of its size, from which the size may be near 0 and nodes start there."""

RULES = (
    QuadratureRule(applies=lambda t, s: (t <= 0.2) & (s <= 0.1), nodes=_products(4, 5)),
    QuadratureRule(applies=lambda t, s: (t <= 0.6) & (t + 6.0 * s <= 0.9), nodes=_products(10, 10)),
    QuadratureRule(applies=lambda t, s: s > VAGUE, nodes=_from_zero),
)
"""The first rule that applies is used; none applies to a tolerance nearly as wide as the size itself."""
