"""The look of a contact, fitted to a profile at given places by weighted least squares.

Each place has a base line of its own (offset and slope: uneven light and glare). Where glare is clipped at white, what
is below white decides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from matcher.columns.columns import Bools, Floats
from matcher.columns.dimension_laws import median
from matcher.imaging.row_detection.curve import Curve

LOOKED_FOR = 0.25
"""How far from its lattice site a contact is looked for, periods: half the way to where its neighbour's part begins."""

TYPICAL = 0.8
"""Correlation with the template from which a site takes part in the next template. Tuned."""

EDGE_WEIGHT = 0.75
"""Part of a site's window that must lie in the profile for its position to be fitted."""

WHITE = 0.98
"""Level from which a sample may be clipped: what is brighter than white, with the noise of a mean. A choice."""


@dataclass(frozen=True, kw_only=True)
class Basis:
    """What is fitted to windows: ``rows`` (b × m) times coefficients. ``weights`` (m) are those of a whole window."""

    rows: Floats
    weights: Floats

    @cached_property
    def of_whole(self) -> Floats:
        """Levels of a window that lies wholly in the profile, times this (m × b), are its coefficients."""
        weighted = self.weights * self.rows
        normal = weighted @ self.rows.T
        _regularise(normal.reshape(1, -1), len(normal))
        return np.asarray(np.linalg.solve(normal, weighted).T)


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

    @cached_property
    def flat(self) -> Basis:
        """The base line alone."""
        return Basis(rows=self.base, weights=self.weights)


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

    curve: Curve
    dark: bool
    period: float
    per: int

    @cached_property
    def values(self) -> Floats:
        """The resampled levels."""
        return self.levels(np.arange(0.0, self.curve.last + 1e-9, self.period / self.per))

    @cached_property
    def window(self) -> Window:
        """The samples about a site."""
        return window_of(self.per)

    def levels(self, places: Floats) -> Floats:
        """Levels at places, samples of the profile; beyond its ends those of its mirror image."""
        levels = self.curve.levels(places)
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
    change = np.empty_like(template)
    change[1:-1] = (template[2:] - template[:-2]) / 2.0
    change[0], change[-1] = template[1] - template[0], template[-1] - template[-2]
    return np.vstack([template, cells.window.base, -change])


def _cut(cells: Cells, at: Floats) -> Bools:
    """Which windows (n × m) lie partly outside the profile."""
    return np.asarray((at[:, 0] < -0.5) | (at[:, -1] > len(cells.values) - 0.5))


def _weights(cells: Cells, at: Floats) -> Floats:
    """Weights of the samples of windows (n × m): zero outside the profile."""
    return ((at >= -0.5) & (at <= len(cells.values) - 0.5)) * cells.window.weights


def _regularise(normal: Floats, size: int) -> None:
    """Add a millionth of the trace to the diagonal of each matrix (n × size²), so that windows cut by the profile's end
    have a solution."""
    diagonal = normal[:, :: size + 1]
    diagonal += 1e-6 * diagonal.sum(axis=1, keepdims=True)


def coefficients(levels: Floats, weights: Floats, basis: Floats) -> Floats:
    """Coefficients (n × b) of levels (n × m) on the basis (b × m) by weighted least squares."""
    size = len(basis)
    normal = weights @ (basis[:, None] * basis).reshape(size * size, -1).T
    _regularise(normal, size)
    right = (weights * levels) @ basis.T
    return np.asarray(np.linalg.solve(normal.reshape(-1, size, size), right[..., None])[..., 0])


def _coefficients_at(cells: Cells, at: Floats, levels: Floats, basis: Basis) -> Floats:
    """`coefficients` of the levels of windows (n × m). Most windows are whole and have the same weights."""
    found: Floats = levels @ basis.of_whole
    cut = _cut(cells, at)
    if cut.any():
        found[cut] = coefficients(levels[cut], _weights(cells, at[cut]), basis.rows)
    return found


def _squares(levels: Floats, weights: Floats, basis: Floats, found: Floats) -> Floats:
    """Weighted squares (n) that a fit leaves of the levels."""
    return np.asarray((weights * (levels - found @ basis) ** 2).sum(axis=1))


def fitted_at(cells: Cells, moving: Floats, places: Floats) -> Fit:
    """The best shift of the template at each place, and the fit there."""
    window, scale = cells.window, cells.period / cells.per
    moved, still = (Basis(rows=rows, weights=window.weights) for rows in (moving, moving[:3]))
    inside = _weights(cells, places[:, None] + window.offsets).sum(axis=1) / window.weights.sum()
    fixed = inside < EDGE_WEIGHT
    shifts = np.where(fixed, 0.0, _matched_shift(cells, moving[:3], places))
    for _ in range(2):
        at = (places + shifts)[:, None] + window.offsets
        found = _coefficients_at(cells, at, cells.levels(at * scale), moved)
        shifts = np.where(fixed, shifts, _gauss_newton_step(found, shifts, cells.per))
    at = (places + shifts)[:, None] + window.offsets
    levels, weights = cells.levels(at * scale), _weights(cells, at)
    found, flat = (_coefficients_at(cells, at, levels, basis) for basis in (still, window.flat))
    return Fit(
        places=places,
        shifts=shifts,
        levels=levels,
        weights=weights,
        found=found,
        squares=_squares(levels, weights, still.rows, found),
        flat_squares=_squares(levels, weights, window.base, flat),
        inside=inside,
    )


def _matched_shift(cells: Cells, basis: Floats, places: Floats) -> Floats:
    """The shift in whole samples, within reach of each place, at which the template is strongest."""
    weighted = cells.window.weights * basis
    kernel = np.linalg.solve(weighted @ basis.T, weighted)[0]
    values, half = cells.values, len(kernel) // 2
    response = np.correlate(np.concatenate([values[:1].repeat(half), values, values[-1:].repeat(half)]), kernel)
    most = int(LOOKED_FOR * cells.per)
    tried = np.round(places).astype(np.intp)[:, None] + np.arange(-most, most + 1)
    best = np.argmax(response[tried.clip(0, len(response) - 1)], axis=1)
    at = tried[np.arange(len(places)), best]
    return np.asarray((at - places).clip(-LOOKED_FOR * cells.per, LOOKED_FOR * cells.per))


def _gauss_newton_step(found: Floats, shifts: Floats, per: int) -> Floats:
    """The shifts after one Gauss–Newton step, limited to the reach; ``found`` are coefficients of `moving_template`."""
    amplitudes, moved = found[:, 0], found[:, 3]
    step = moved / np.where(amplitudes > 0.0, amplitudes, np.inf)
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
