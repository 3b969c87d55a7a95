"""Readings of one instrument share a hidden error, which is integrated out for each half by quadrature."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache
from itertools import pairwise

from scipy.integrate import quad

from matcher.observations import SharedKind
from tests.matcher.reference_model.intervals import SQRT2PI
from tests.matcher.reference_model.readings import Piece, Reading

REACH = 26.0
"""Standard deviations of the hidden error that are integrated over: beyond, its density is below e^-338."""

EDGE_REACH = 10.0
"""Blurs around a piece's edge at which the range is split, so that no narrow piece is stepped over. Further points, at
4 blurs and at 1, change no logarithm by more than 3e-12."""

RELATIVE = 1e-12
LARGEST_RELATIVE_ERROR = 1e-10
CLOSEST = 1e-14
"""Points closer than this part of the range are one."""


def group_likelihood(readings: Sequence[Reading], kind: SharedKind, sd: float) -> float:
    """Return ∫ N(z; 0, sd²) Π p(x | z) dz for two or more readings of one group."""

    @cache  # the coarse and the fine estimate of an integral begin with the same points
    def integrand(z: float) -> float:
        product = math.exp(-0.5 * (z / sd) ** 2) / (sd * SQRT2PI)
        for reading in readings:
            product *= reading.density(scale=math.exp(z)) if kind is SharedKind.SCALE else reading.density(zero=z)
        return product

    limit = REACH * sd
    edges = [-limit, *_split_points(readings, kind, sd, limit), limit]
    return _integral(integrand, edges)


def _integral(integrand: Callable[[float], float], edges: Sequence[float]) -> float:
    """Return the integral over adjoining parts, each to a fraction of the coarse estimate for the whole."""
    parts = list(pairwise(edges))
    coarse = math.fsum(quad(integrand, low, high, limit=1, full_output=1)[0] for low, high in parts)
    allowed = RELATIVE * coarse / len(parts)
    fine = [quad(integrand, a, b, epsabs=allowed, epsrel=RELATIVE, limit=200, full_output=1)[:2] for a, b in parts]
    value, error = math.fsum(part[0] for part in fine), math.fsum(part[1] for part in fine)
    if not value > 0.0 or error > LARGEST_RELATIVE_ERROR * value:
        raise ArithmeticError(f"the integral {value} is known to {error} only")
    return value


def _split_points(readings: Sequence[Reading], kind: SharedKind, sd: float, limit: float) -> list[float]:
    found = [0.0] + [sign * step * sd for step in (2.0, 6.0, 12.0) for sign in (-1.0, 1.0)]
    for reading in readings:
        for piece in reading.pieces:
            found += _scale_points(reading, piece) if kind is SharedKind.SCALE else _zero_points(reading, piece)
    kept: list[float] = []
    for point in sorted(point for point in found if abs(point) < limit * (1.0 - CLOSEST)):
        if not kept or point - kept[-1] > CLOSEST * limit:
            kept.append(point)
    return kept


def _around(edge: float, step: float) -> list[float]:
    return [edge, *(edge + sign * EDGE_REACH * step for sign in (-1.0, 1.0))]


def _edges(piece: Piece) -> list[float]:
    """Return the edges of the piece's rectangles."""
    return [
        piece.factor * (piece.where.centre + side * half) for _, half in piece.where.rectangles for side in (-1.0, 1.0)
    ]


def _scale_points(reading: Reading, piece: Piece) -> list[float]:
    """Return the logarithms of the scales at which an edge, or the blur around it, passes the reading."""
    points: list[float] = []
    for edge in _edges(piece):
        if edge > 0.0:
            z = math.log(reading.x / edge)
            blur = piece.blur(reading.u, math.exp(z), reading.folded)
            points += _around(z, blur / reading.x)
            points.append(math.log(blur / edge))
    return points


def _zero_points(reading: Reading, piece: Piece) -> list[float]:
    """Return the zero errors at which an edge, or the blur around it, passes the reading."""
    if reading.coefficient == 0.0:
        return []
    gain = reading.coefficient * (piece.factor if piece.wrong_units else 1.0)
    points: list[float] = []
    for edge in _edges(piece):
        points += _around((reading.x - edge) / gain, piece.blur(reading.u, 1.0, reading.folded) / gain)
    return points
