"""Sites of a row of one period: the profile at each of them, compared with their mean.

The profile is resampled so that a period has a whole number of samples. Folding it gives the template, the
look of a typical contact, be it one bright line or two. The template is then fitted to every site of the lattice, on a
base line of its own (offset and slope: uneven light and glare), by weighted least squares.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.interpolate import CubicSpline
from scipy.ndimage import correlate1d, uniform_filter1d

from matcher.columns.columns import Bools, Floats
from matcher.columns.dimension_laws import median

SAMPLES = (24, 48)
"""Least and greatest number of samples per period."""

LOOKED_FOR = 0.25
"""How far from its lattice site a contact is looked for, periods: half the way to where its neighbour's part begins."""

BEYOND = 0.1
"""How far beyond the ends of the profile a contact's centre may lie, periods: lines are drawn from centre to centre,
too."""

REPEATS = 0.4
"""Local correlation with the next period from which a place takes part in the first template. Tuned."""

TYPICAL = 0.8
"""Correlation with the template from which a site takes part in the next template. Tuned."""

OFF_LATTICE = 0.12
"""Distance from the lattice, periods, from which a site takes no part in the template. Tuned."""

ROUNDS = 3
"""Rounds in which template, sites and period are found from each other; on rendered rows more change nothing."""

EDGE_WEIGHT = 0.75
"""Part of a site's window that must lie in the profile for its position to be fitted."""

WHITE = 0.98
"""Level from which a sample may be clipped: what is brighter than white, with the noise of a mean. A choice."""

NEIGHBOURS = 5
"""Number of typical sites nearby that a site is compared with: few enough to follow uneven light."""


@dataclass(frozen=True, kw_only=True)
class Sites:
    """A template fitted at each site of a lattice; arrays have one value per site, in order along the profile.

    ``period`` is in samples of the profile and ``positions`` likewise; ``amplitudes`` are in levels (bright contacts
    positive), ``slopes`` of the base line in levels per period, ``energies`` the squares of what the template explains
    and ``misfits`` of what it leaves of the window (levels² × samples), ``correlations`` with the template -1..1,
    ``shifts`` from the lattice in periods, ``widenings`` how much wider than the template, relative; ``inside`` the
    part of the window in the profile (0..1), ``visible`` the part that is not clipped at white where that is so little
    that the contact's shape must be assumed (`_clipped_fit`), and 1 elsewhere. ``dark``: the profile was turned upside
    down to make its contacts bright.
    """

    dark: bool
    period: float
    positions: Floats
    amplitudes: Floats
    correlations: Floats
    shifts: Floats
    widenings: Floats
    slopes: Floats
    energies: Floats
    misfits: Floats
    inside: Floats
    visible: Floats

    @cached_property
    def typical(self) -> Bools:
        """Sites that look and lie like the template."""
        alike: Bools = (self.correlations > TYPICAL) & (np.abs(self.shifts) < OFF_LATTICE)
        return as_strong(self.amplitudes, alike)

    @cached_property
    def usual_amplitudes(self) -> Floats:
        """The median amplitude of the typical sites nearest to each site."""
        chosen = np.flatnonzero(self.typical)
        if len(chosen) == 0:
            return np.full(len(self.amplitudes), max(float(np.max(self.amplitudes)), 1e-12))
        near = min(NEIGHBOURS, len(chosen))
        medians = np.median(sliding_window_view(self.amplitudes[chosen], near), axis=1)
        # The nearest ones are neighbours in the list: the next one takes the place of the first where it is nearer.
        first = np.searchsorted(chosen[:-near] + chosen[near:], 2 * np.arange(len(self.amplitudes)))
        return np.asarray(medians[first])

    @cached_property
    def strengths(self) -> Floats:
        """Amplitudes relative to the usual one nearby."""
        return self.amplitudes / self.usual_amplitudes


@dataclass(frozen=True, kw_only=True)
class _Window:
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
def _window(per: int) -> _Window:
    """The window for that many samples per period."""
    offsets = np.arange(-(per // 2), per // 2 + 1).astype(np.float64)
    base = np.stack([np.ones_like(offsets), offsets / per])
    edges = (np.abs(offsets) > 0.35 * per).astype(np.float64)
    return _Window(
        offsets=offsets,
        weights=np.clip(2.0 - 2.0 * np.abs(offsets) / (per / 2.0), 0.1, 1.0),
        base=base,
        from_edges=_coefficients(np.eye(len(offsets)), np.tile(edges, (len(offsets), 1)), base),
    )


@dataclass(frozen=True, kw_only=True)
class _Cells:
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
    def window(self) -> _Window:
        """The samples about a site."""
        return _window(self.per)

    def levels(self, places: Floats) -> Floats:
        """Levels at places, samples of the profile; beyond its ends those of its mirror image."""
        last = self.spline.x[-1]
        levels = np.asarray(self.spline(last - np.abs(last - np.abs(places))))
        return 1.0 - levels if self.dark else levels


def sites(spline: CubicSpline, period: float, line: tuple[float, float]) -> list[Sites]:
    """Sites of bright and of dark contacts of about this period, as far as the profile has any.

    ``spline`` goes through the profile (`spline_through`), its argument in samples; ``line`` is where the line begins
    and ends, samples; sites lie on it.
    """
    cells = _Cells(spline=spline, dark=False, period=period, per=int(np.clip(np.ceil(period), *SAMPLES)))
    cell = _folded(cells)
    if cell is None:
        return []
    found = (_sites_like(cells, cell, line), _sites_like(replace(cells, dark=True), -cell, line))
    return [one for one in found if one is not None]


def spline_through(values: Floats) -> CubicSpline:
    """The curve through a profile, level at both ends, so that its mirror images continue it."""
    return CubicSpline(np.arange(len(values)), values, bc_type="clamped")


def _sites_like(cells: _Cells, cell: Floats, line: tuple[float, float]) -> Sites | None:
    """Sites of contacts that look about like the cell: template, lattice and period are found in rounds."""
    phase = _middle(cell)
    template = _centred_window(cell, phase)
    for _ in range(ROUNDS):
        places = _lattice_sites(cells, phase, line)
        if len(places) < 3:
            return None
        fitted = _fitted(cells, _moving(cells, template), places)
        good = as_strong(fitted.amplitudes, (fitted.correlations > TYPICAL) & (fitted.inside > EDGE_WEIGHT))
        if np.count_nonzero(good) < 2:
            return None
        phase, step, good = _line(fitted, good, cells.per)
        if np.count_nonzero(good) < 2:
            return None
        template = _template(cells, fitted, good)
        scale = step / cells.per
        cells, phase = replace(cells, period=cells.period * scale), phase / scale
    return _fitted_sites(cells, template, _lattice_sites(cells, phase, line))


def _folded(cells: _Cells) -> Floats | None:
    """Mean of the periods that resemble the next one, from the profile's start; None if there are none."""
    per = cells.per
    if len(cells.values) < 2 * per:
        return None
    flat = cells.values - uniform_filter1d(cells.values, per, mode="reflect")
    here, after = flat[:-per], flat[per:]
    product = uniform_filter1d(here * after, per, mode="reflect")
    energy = uniform_filter1d(0.5 * (here**2 + after**2), per, mode="reflect")
    repeats: Floats = product / (energy + 0.1 * float(np.quantile(energy, 0.7)) + 1e-18)
    weights = np.where(repeats > REPEATS, repeats**2, 0.0)
    return _weighted_cell(0.5 * (here + after), weights, per)


def _weighted_cell(levels: Floats, weights: Floats, per: int) -> Floats | None:
    phase = np.arange(len(levels)) % per
    weight = np.bincount(phase, weights)
    return np.bincount(phase, weights * levels) / weight if (weight > 0.0).all() else None


def _middle(cell: Floats) -> float:
    """Where in a cell bright contacts are centred: the phase of its fundamental, samples."""
    turn = float(np.angle(np.fft.rfft(cell)[1]))
    return (-turn / (2.0 * np.pi) * len(cell)) % len(cell)


def _centred_window(cell: Floats, middle: float) -> Floats:
    """The cell as a window about ``middle``."""
    per = len(cell)
    return np.asarray(np.interp(middle + _window(per).offsets, np.arange(per), cell, period=per))


def _lattice_sites(cells: _Cells, phase: float, line: tuple[float, float]) -> Floats:
    """Places of all sites on the line (from, to, samples of the profile), samples of the cells."""
    start = np.ceil(line[0] / cells.period - BEYOND - phase / cells.per)
    end = np.floor(line[1] / cells.period + BEYOND - phase / cells.per)
    return np.asarray(phase + cells.per * np.arange(start, end + 1))


@dataclass(frozen=True, kw_only=True)
class _Fit:
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


def _moving(cells: _Cells, template: Floats) -> Floats:
    """The template, its base line, and how it changes per sample that it is moved (4 × m)."""
    return np.vstack([template, cells.window.base, -np.gradient(template)])


def _weights(cells: _Cells, at: Floats) -> Floats:
    """Weights of the samples of windows (n × m): zero outside the profile."""
    return ((at >= -0.5) & (at <= len(cells.values) - 0.5)) * cells.window.weights


def _coefficients(levels: Floats, weights: Floats, basis: Floats) -> Floats:
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


def _fitted(cells: _Cells, moving: Floats, places: Floats) -> _Fit:
    """The best shift of the template at each place, and the fit there."""
    window, scale = cells.window, cells.period / cells.per
    inside = _weights(cells, places[:, None] + window.offsets).sum(axis=1) / window.weights.sum()
    shifts = np.where(inside < EDGE_WEIGHT, 0.0, _matched_shift(cells, moving[:3], places))
    for _ in range(2):
        at = (places + shifts)[:, None] + window.offsets
        found = _coefficients(cells.levels(at * scale), _weights(cells, at), moving)
        shifts = np.where(inside < EDGE_WEIGHT, shifts, _gauss_newton_step(found, shifts, cells.per))
    at = (places + shifts)[:, None] + window.offsets
    levels, weights = cells.levels(at * scale), _weights(cells, at)
    found = _coefficients(levels, weights, moving[:3])
    flat = _coefficients(levels, weights, window.base)
    return _Fit(
        places=places,
        shifts=shifts,
        levels=levels,
        weights=weights,
        found=found,
        squares=_squares(levels, weights, moving[:3], found),
        flat_squares=_squares(levels, weights, window.base, flat),
        inside=inside,
    )


def _matched_shift(cells: _Cells, basis: Floats, places: Floats) -> Floats:
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
    """The shifts after one Gauss–Newton step, limited to the reach; ``found`` are the coefficients of `_moving`."""
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


def _line(fitted: _Fit, good: Bools, per: int) -> tuple[float, float, Bools]:
    """Phase (place of some site) and step of the lattice through the good sites, samples of the cells, and the sites
    that lie on it. The step is the median of the steps between pairs, so that an outlier at one end does not turn it.
    """
    found = fitted.places + fitted.shifts
    first, at = fitted.places[good][0], found[good]
    index = np.round((fitted.places - first) / per)
    gaps = index[good] - index[good][:, None]
    later = gaps > 0.0
    step = median((at - at[:, None])[later] / gaps[later])
    step = float(np.clip(step, 0.9 * per, 1.1 * per))
    phase = median(at - index[good] * step)
    return phase, step, good & (np.abs(found - phase - index * step) < OFF_LATTICE * per)


def _template(cells: _Cells, fitted: _Fit, good: Bools) -> Floats:
    """Mean look of the good sites, each on its own base line and scaled to one strength; the median where there are
    many."""
    levels, window = fitted.levels[good], cells.window
    flat = (levels - levels @ window.from_edges @ window.base) / fitted.amplitudes[good, None]
    looks: Floats = np.median(flat, axis=0) if len(flat) > 4 else flat.mean(axis=0)
    return looks / max(float(np.ptp(looks)), 1e-12)


def _clipped_fit(cells: _Cells, basis: Floats, fitted: _Fit) -> tuple[_Fit, Floats]:
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
    expected = contact + _coefficients(levels - contact, np.where(over, 1e-6, 1.0) * weights, basis[1:]) @ basis[1:]
    beyond = np.minimum(levels, expected) if cells.dark else np.maximum(levels, expected)
    levels = np.where(over, beyond, levels)
    found, flat = _coefficients(levels, weights, basis), _coefficients(levels, weights, basis[1:])
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


def _is_clipped(cells: _Cells, levels: Floats) -> Bools:
    """Which levels of the cells are white in the picture."""
    return np.asarray(levels <= 1.0 - WHITE if cells.dark else levels >= WHITE)


def _fitted_sites(cells: _Cells, template: Floats, places: Floats) -> Sites | None:
    if len(places) < 3:
        return None
    moving, scale = _moving(cells, template), cells.period / cells.per
    fitted, visible = _clipped_fit(cells, moving[:3], _fitted(cells, moving, places))
    widening = np.vstack([moving[:3], cells.window.offsets * moving[3]])
    found = _coefficients(fitted.levels, fitted.weights, widening)
    return Sites(
        dark=cells.dark,
        period=cells.period,
        positions=(places + fitted.shifts) * scale,
        amplitudes=fitted.amplitudes,
        correlations=fitted.correlations,
        shifts=fitted.shifts / cells.per,
        slopes=fitted.found[:, 2],
        widenings=found[:, 3] / np.maximum(np.abs(found[:, 0]), 1e-12),
        energies=(fitted.flat_squares - fitted.squares) * scale,
        misfits=fitted.squares * scale,
        inside=fitted.inside,
        visible=visible,
    )
