"""The look of a contact, fitted to a profile at given places by weighted least squares.

Each place has a base line of its own (offset and slope: uneven light and glare). Where glare is clipped at white, what
is below white decides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import correlate1d

from matcher.columns.columns import Bools, Floats
from matcher.columns.dimension_laws import median

LOOKED_FOR = 0.25
"""How far from its lattice site a contact is looked for, periods: half the way to where its neighbour's part begins."""

TYPICAL = 0.8
"""Correlation with the template from which a site takes part in the next template. Tuned."""

EDGE_WEIGHT = 0.75
"""Part of a site's window that must lie in the profile for its position to be fitted."""

WHITE = 0.98
"""Level from which a sample may be clipped: what is brighter than white, with the noise of a mean. A choice."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """Samples within half a period of a site, both ends included.

    ``offsets`` (m) are counted from the site; ``weights`` (m) are full on the inner half and fall outwards, since the
    neighbour begins at half a period; ``base`` (2 × m) holds offset and slope of the base line; ``from_edges`` (m × 2)
    gives the base line through the outer samples alone.
    """

    offsets: Floats
    weights: Floats
    base: Floats
    from_edges: Floats


@lru_cache
def window_of(per: int) -> Window:
    """The window for that many samples per period."""
    offsets = np.arange(-(per // 2), per // 2 + 1).astype(np.float64)
    base = np.stack([np.ones_like(offsets), offsets / per])
    edges = (np.abs(offsets) > 0.35 * per).astype(np.float64)
    return Window(
        offsets=offsets,
        weights=np.clip(2.0 - 2.0 * np.abs(offsets) / (per / 2.0), 0.1, 1.0),
        base=base,
        from_edges=coefficients(np.eye(len(offsets)), np.tile(edges, (len(offsets), 1)), base),
    )


@dataclass(frozen=True, kw_only=True)
class Cells:
    """A profile resampled to ``per`` samples per ``period``, upside down if its contacts are ``dark``."""

    spline: CubicSpline
    dark: bool
    period: float
    per: int

    @cached_property
    def values(self) -> Floats:
        """The resampled levels."""
        return self.levels(np.arange(0.0, self.spline.x[-1] + 1e-9, self.period / self.per))

    @cached_property
    def window(self) -> Window:
        """The samples about a site."""
        return window_of(self.per)

    def levels(self, places: Floats) -> Floats:
        """Levels at places, samples of the profile; beyond its ends those of its mirror image."""
        last = self.spline.x[-1]
        levels = np.asarray(self.spline(last - np.abs(last - np.abs(places))))
        return 1.0 - levels if self.dark else levels


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The template at sites: ``places`` and ``shifts`` in samples of the cells.

    ``levels`` and ``weights`` (n × m) are those of the windows, ``found`` (n × 3) the coefficients of the template and
    its base line; ``squares`` are what these leave, weighted, and ``flat_squares`` what the base line leaves alone;
    ``inside`` is the part of the window in the profile, before the shift.
    """

    places: Floats
    shifts: Floats
    levels: Floats
    weights: Floats
    found: Floats
    squares: Floats
    flat_squares: Floats
    inside: Floats

    @property
    def amplitudes(self) -> Floats:
        """Strength of the template at each site, levels."""
        return np.asarray(self.found[:, 0])

    @cached_property
    def correlations(self) -> Floats:
        """Correlation with the template, -1..1."""
        explained = 1.0 - self.squares / np.maximum(self.flat_squares, 1e-18)
        return np.asarray(np.sign(self.amplitudes) * np.sqrt(explained.clip(0.0, 1.0)))


def moving_template(cells: Cells, template: Floats) -> Floats:
    """The template, its base line, and how it changes per sample that it is moved (4 × m)."""
    return np.vstack([template, cells.window.base, -np.gradient(template)])


def _weights(cells: Cells, at: Floats) -> Floats:
    """Weights of the samples of windows (n × m): zero outside the profile."""
    return ((at >= -0.5) & (at <= len(cells.values) - 0.5)) * cells.window.weights


def coefficients(levels: Floats, weights: Floats, basis: Floats) -> Floats:
    """Coefficients (n × b) of levels (n × m) on the basis (b × m) by weighted least squares.

    A millionth of the trace is added to the diagonal, so that windows cut by the profile's end have a solution.
    """
    size = len(basis)
    normal = weights @ (basis[:, None] * basis).reshape(size * size, -1).T
    diagonal = normal[:, :: size + 1]
    diagonal += 1e-6 * diagonal.sum(axis=1, keepdims=True)
    right = (weights * levels) @ basis.T
    return np.asarray(np.linalg.solve(normal.reshape(-1, size, size), right[..., None])[..., 0])


def _squares(levels: Floats, weights: Floats, basis: Floats, found: Floats) -> Floats:
    """Weighted squares (n) that a fit leaves of the levels."""
    return np.asarray((weights * (levels - found @ basis) ** 2).sum(axis=1))


def fitted_at(cells: Cells, moving: Floats, places: Floats) -> Fit:
    """The best shift of the template at each place, and the fit there."""
    window, scale = cells.window, cells.period / cells.per
    inside = _weights(cells, places[:, None] + window.offsets).sum(axis=1) / window.weights.sum()
    shifts = np.where(inside < EDGE_WEIGHT, 0.0, _matched_shift(cells, moving[:3], places))
    for _ in range(2):
        at = (places + shifts)[:, None] + window.offsets
        found = coefficients(cells.levels(at * scale), _weights(cells, at), moving)
        shifts = np.where(inside < EDGE_WEIGHT, shifts, _gauss_newton_step(found, shifts, cells.per))
    at = (places + shifts)[:, None] + window.offsets
    levels, weights = cells.levels(at * scale), _weights(cells, at)
    found = coefficients(levels, weights, moving[:3])
    flat = coefficients(levels, weights, window.base)
    return Fit(
        places=places,
        shifts=shifts,
        levels=levels,
        weights=weights,
        found=found,
        squares=_squares(levels, weights, moving[:3], found),
        flat_squares=_squares(levels, weights, window.base, flat),
        inside=inside,
    )


def _matched_shift(cells: Cells, basis: Floats, places: Floats) -> Floats:
    """The shift in whole samples, within reach of each place, at which the template is strongest."""
    weighted = cells.window.weights * basis
    kernel = np.linalg.solve(weighted @ basis.T, weighted)[0]
    response = correlate1d(cells.values, kernel, mode="nearest")
    reach = np.arange(-int(LOOKED_FOR * cells.per), int(LOOKED_FOR * cells.per) + 1)
    tried = np.round(places).astype(np.intp)[:, None] + reach
    best = np.argmax(response[tried.clip(0, len(response) - 1)], axis=1)
    at = tried[np.arange(len(places)), best]
    return np.asarray((at - places).clip(-LOOKED_FOR * cells.per, LOOKED_FOR * cells.per))


def _gauss_newton_step(found: Floats, shifts: Floats, per: int) -> Floats:
    """The shifts after one Gauss–Newton step, limited to the reach; ``found`` are coefficients of `moving_template`."""
    amplitudes, moved = found[:, 0], found[:, 3]
    step = np.where(amplitudes > 0.0, moved / np.where(amplitudes == 0.0, 1.0, amplitudes), 0.0)
    reach = LOOKED_FOR * per
    return np.asarray((shifts + step.clip(-0.1 * per, 0.1 * per)).clip(-reach, reach))


def as_strong(amplitudes: Floats, alike: Bools) -> Bools:
    """Which of the sites that look ``alike`` are also about as strong as most of them."""
    if not alike.any():
        return alike
    usual = median(amplitudes[alike])
    return np.asarray(alike & (amplitudes > 0.4 * usual) & (amplitudes < 2.0 * usual))


def with_clipped(cells: Cells, basis: Floats, fitted: Fit) -> tuple[Fit, Floats]:
    """The fit where glare is clipped at white, and the part of each window that is not.

    A clipped sample says only that the scene is at least white. The base line under a contact of the usual strength,
    from the samples that are not clipped, tells how bright the scene may be there; where that is more than white, the
    sample agrees with it. Clipping also moves flanks, so such a site stays on its lattice.
    """
    seen = ~_is_clipped(cells, fitted.levels)
    if seen.all():
        return fitted, np.ones(len(seen))
    visible = (fitted.weights * seen).sum(axis=1) / fitted.weights.sum(axis=1).clip(1e-12)
    clipped = visible < EDGE_WEIGHT
    good = as_strong(fitted.amplitudes, ~clipped & (fitted.correlations > TYPICAL))
    if not clipped.any() or not good.any():
        return fitted, np.ones_like(visible)
    at = fitted.places[clipped, None] + cells.window.offsets
    levels, weights = cells.levels(at * cells.period / cells.per), _weights(cells, at)
    over, contact = _is_clipped(cells, levels), median(fitted.amplitudes[good]) * basis[0]
    expected = contact + coefficients(levels - contact, np.where(over, 1e-6, 1.0) * weights, basis[1:]) @ basis[1:]
    beyond = np.minimum(levels, expected) if cells.dark else np.maximum(levels, expected)
    levels = np.where(over, beyond, levels)
    found, flat = coefficients(levels, weights, basis), coefficients(levels, weights, basis[1:])
    new = {
        "shifts": 0.0,
        "levels": levels,
        "weights": weights,
        "found": found,
        "squares": _squares(levels, weights, basis, found),
        "flat_squares": _squares(levels, weights, basis[1:], flat),
    }
    changed = {name: np.copy(getattr(fitted, name)) for name in new}
    for name, values in new.items():
        changed[name][clipped] = values
    return replace(fitted, **changed), np.where(clipped, visible, 1.0)


def _is_clipped(cells: Cells, levels: Floats) -> Bools:
    """Which levels of the cells are white in the picture."""
    return np.asarray(levels <= 1.0 - WHITE if cells.dark else levels >= WHITE)
