"""Sites of a row of one period: what the profile looks like at each, against the mean of them.

The profile is resampled so that a period has a whole number of samples. Folding it gives the look of a typical
contact, the template: whatever it is, one bright line or two. The template is then fitted to every site of the
lattice, on a base line of its own (offset and slope: uneven light and glare), by weighted least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import correlate1d, map_coordinates, spline_filter1d, uniform_filter1d

from matcher.columns.columns import Bools, Floats

SAMPLES = (24, 48)
"""Least and greatest number of samples per period."""

LOOKED_FOR = 0.25
"""How far from its lattice site a contact is looked for, periods: half of what would make it the neighbour's."""

BEYOND = 0.1
"""How far beyond the ends of the profile a contact's centre may lie, periods: a line drawn from centre to centre."""

REPEATS = 0.4
"""Local correlation with the next period from which a place takes part in the first template. Tuned."""

TYPICAL = 0.8
"""Correlation with the template from which a site takes part in the next template. Tuned."""

OFF_LATTICE = 0.12
"""Distance from the lattice, periods, from which a site takes no part in the template. Tuned."""

ROUNDS = 3
"""Rounds in which template, sites and period are found from each other; more change nothing on rendered rows."""

EDGE_WEIGHT = 0.75
"""Part of a site's window that must lie in the profile for its position to be fitted."""


@dataclass(frozen=True, kw_only=True)
class Sites:
    """A template fitted at each site of a lattice; arrays have one value per site, in order along the profile.

    ``period`` is in samples of the profile and ``positions`` likewise; ``amplitudes`` are in levels (bright contacts
    positive), ``slopes`` of the base line in levels per period, ``energies`` the squares of what the template explains
    and ``misfits`` of what it leaves of the window (levels² × samples), ``correlations`` with the template -1..1,
    ``shifts`` from the lattice in periods, ``widenings`` how much wider than the template, relative; ``inside`` the
    part of the window in the profile (0..1).
    """

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


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """A profile resampled to ``per`` samples per ``period``: ``spline`` holds cubic spline coefficients."""

    spline: Floats
    values: Floats
    period: float
    per: int


def sites(values: Floats, period: float, line: tuple[float, float] | None = None) -> Sites | None:
    """Sites of bright contacts of about this period; None if nothing in the profile repeats like that.

    ``line`` is where the line begins and ends, samples (None: with the profile); sites lie on it.
    """
    first, last = line or (0.0, len(values) - 1.0)
    cells = _resampled(values, period, int(np.clip(np.ceil(period), *SAMPLES)))
    cell = _folded(cells)
    if cell is None:
        return None
    middle = _middle(cell)
    template = _centred_window(cell, middle)
    phase = middle
    for _ in range(ROUNDS):
        centres = _lattice_sites(cells, phase, first, last)
        if len(centres) < 3:
            return None
        fitted = _fitted(cells, template, centres)
        good = as_strong(fitted.amplitudes, (fitted.correlations > TYPICAL) & (fitted.inside > EDGE_WEIGHT))
        if np.count_nonzero(good) < 2:
            return None
        phase, step, good = _line(fitted, good, cells.per)
        if np.count_nonzero(good) < 2:
            return None
        template = _template(cells, fitted, good)
        scale = step / cells.per
        cells, phase = _resampled(values, cells.period * scale, cells.per), phase / scale
    return _fitted_sites(cells, template, _lattice_sites(cells, phase, first, last))


def _resampled(values: Floats, period: float, per: int) -> _Cells:
    spline: Floats = spline_filter1d(values, order=3, mode="mirror")
    places = np.arange(0.0, len(values) - 1 + 1e-9, period / per)
    levels: Floats = map_coordinates(spline, places[None], order=3, mode="mirror", prefilter=False)
    return _Cells(spline=spline, values=levels, period=period, per=per)


def _folded(cells: _Cells) -> Floats | None:
    """Mean of the periods that resemble the next one; starts at the start of the profile."""
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
    """The cell as a window of -half..half a period about ``middle``, both ends included."""
    per = len(cell)
    offsets = np.arange(-(per // 2), per // 2 + 1)
    return np.asarray(np.interp(middle + offsets, np.arange(per), cell, period=per))


def _lattice_sites(cells: _Cells, phase: float, first: float, last: float) -> Floats:
    """Places of all sites on the line from ``first`` to ``last`` (samples of the profile), samples of the cells."""
    start = np.ceil(first / cells.period - BEYOND - phase / cells.per)
    end = np.floor(last / cells.period + BEYOND - phase / cells.per)
    return np.asarray(phase + cells.per * np.arange(start, end + 1))


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """The template at sites: ``places`` and ``shifts`` in samples of the cells."""

    places: Floats
    shifts: Floats
    amplitudes: Floats
    correlations: Floats
    inside: Floats


def _windows(cells: _Cells, places: Floats, offsets: Floats) -> tuple[Floats, Floats]:
    """Levels about each place (…, offsets), and weights: zero outside the profile, less towards the ends."""
    at = places[..., None] + offsets
    inside = (at >= -0.5) & (at <= len(cells.values) - 0.5)
    flat = (at * (cells.period / cells.per)).reshape(1, -1)
    levels = map_coordinates(cells.spline, flat, order=3, mode="mirror", prefilter=False).reshape(at.shape)
    return levels, inside * _taper(cells, offsets)


def _taper(cells: _Cells, offsets: Floats) -> Floats:
    """Weights in a window: full on the inner half, then less, for at half a period the neighbour begins."""
    return np.asarray(np.clip(2.0 - 2.0 * np.abs(offsets) / (cells.per / 2.0), 0.1, 1.0))


def _offsets(cells: _Cells) -> Floats:
    return np.arange(-(cells.per // 2), cells.per // 2 + 1).astype(np.float64)


def _least_squares(levels: Floats, weights: Floats, basis: Floats) -> tuple[Floats, Floats]:
    """Coefficients (…, b) and weighted residual squares (…) of levels (…, m) on the basis (b, m).

    A trace is added to the diagonal, so that windows cut by the profile's end have a solution.
    """
    weighted = weights[..., None, :] * basis
    normal = weighted @ basis.T
    trace = 1e-6 * np.einsum("...ii->...", normal)[..., None, None] * np.eye(len(basis))
    right = (weighted @ levels[..., None])[..., 0]
    found: Floats = np.linalg.solve(normal + trace, right[..., None])[..., 0]
    residual = levels - found @ basis
    squares: Floats = np.sum(weights * residual**2, axis=-1)
    return found, squares


def _basis(cells: _Cells, template: Floats) -> Floats:
    offsets = _offsets(cells) / cells.per
    return np.stack([template, np.ones_like(offsets), offsets])


def _fitted(cells: _Cells, template: Floats, places: Floats) -> _Fit:
    """The best shift of the template at each place, and the fit there."""
    offsets, basis = _offsets(cells), _basis(cells, template)
    _, weights = _windows(cells, places, offsets)
    inside = weights.sum(axis=1) / _taper(cells, offsets).sum()
    shifts = np.where(inside < EDGE_WEIGHT, 0.0, _matched_shift(cells, basis, places))
    for _ in range(2):
        shifts = _gauss_newton_step(cells, template, places, shifts, inside)
    levels, weights = _windows(cells, places + shifts, offsets)
    found, squares = _least_squares(levels, weights, basis)
    _, empty = _least_squares(levels, weights, basis[1:])
    explained = 1.0 - squares / np.maximum(empty, 1e-18)
    correlations = np.sign(found[:, 0]) * np.sqrt(explained.clip(0.0, 1.0))
    return _Fit(places=places, shifts=shifts, amplitudes=found[:, 0], correlations=correlations, inside=inside)


def _matched_shift(cells: _Cells, basis: Floats, places: Floats) -> Floats:
    """The shift in whole samples, within reach of each place, at which the template is strongest."""
    weights = _taper(cells, _offsets(cells))
    kernel = np.linalg.solve((weights * basis) @ basis.T, weights * basis)[0]
    response = correlate1d(cells.values, kernel, mode="nearest")
    reach = np.arange(-int(LOOKED_FOR * cells.per), int(LOOKED_FOR * cells.per) + 1)
    tried = np.round(places).astype(np.intp)[:, None] + reach
    best = np.argmax(response[tried.clip(0, len(response) - 1)], axis=1)
    at = tried[np.arange(len(places)), best]
    return np.asarray((at - places).clip(-LOOKED_FOR * cells.per, LOOKED_FOR * cells.per))


def _gauss_newton_step(cells: _Cells, template: Floats, places: Floats, shifts: Floats, inside: Floats) -> Floats:
    """One Gauss–Newton step of the shifts where enough of the window is in the profile, limited to the reach."""
    levels, weights = _windows(cells, places + shifts, _offsets(cells))
    basis = np.vstack([_basis(cells, template), -np.gradient(template)])
    found, _ = _least_squares(levels, weights, basis)
    step = np.where(found[:, 0] > 0.0, found[:, 3] / np.where(found[:, 0] == 0.0, 1.0, found[:, 0]), 0.0)
    reach = LOOKED_FOR * cells.per
    moved = (shifts + step.clip(-0.1 * cells.per, 0.1 * cells.per)).clip(-reach, reach)
    return np.asarray(np.where(inside < EDGE_WEIGHT, shifts, moved))


def as_strong(amplitudes: Floats, alike: Bools) -> Bools:
    """Which of the sites that look ``alike`` are also about as strong as most of them."""
    if not alike.any():
        return alike
    usual = float(np.median(amplitudes[alike]))
    return np.asarray(alike & (amplitudes > 0.4 * usual) & (amplitudes < 2.0 * usual))


def _line(fitted: _Fit, good: Bools, per: int) -> tuple[float, float, Bools]:
    """Phase (place of some site) and step of the lattice through the good sites, samples of the cells, and the sites
    that lie on it. The step is the median of the steps between pairs, so that an outlier at one end does not turn it.
    """
    places, shifts = fitted.places[good], fitted.shifts[good]
    index = np.round((places - places[0]) / per)
    i, j = np.triu_indices(len(index), 1)
    step = float(np.median((places[j] + shifts[j] - places[i] - shifts[i]) / (index[j] - index[i])))
    step = float(np.clip(step, 0.9 * per, 1.1 * per))
    phase = float(np.median(places + shifts - index * step))
    off = np.abs(fitted.places + fitted.shifts - phase - np.round((fitted.places - places[0]) / per) * step)
    return phase, step, good & (off < OFF_LATTICE * per)


def _template(cells: _Cells, fitted: _Fit, good: Bools) -> Floats:
    """Mean look of the good sites, each on its own base line and scaled to the same strength; strays cut off."""
    offsets = _offsets(cells)
    levels, _ = _windows(cells, (fitted.places + fitted.shifts)[good], offsets)
    base = np.stack([np.ones_like(offsets), offsets / cells.per])
    edges = np.broadcast_to((np.abs(offsets) > 0.35 * cells.per).astype(np.float64), levels.shape)
    found, _ = _least_squares(levels, edges, base)
    flat = (levels - found @ base) / fitted.amplitudes[good, None]
    looks: Floats = np.median(flat, axis=0) if len(flat) > 4 else flat.mean(axis=0)
    return looks / max(float(np.ptp(looks)), 1e-12)


def _fitted_sites(cells: _Cells, template: Floats, places: Floats) -> Sites | None:
    if len(places) < 3:
        return None
    fitted = _fitted(cells, template, places)
    scale = cells.period / cells.per
    levels, weights = _windows(cells, fitted.places + fitted.shifts, _offsets(cells))
    basis = np.vstack([_basis(cells, template), -_offsets(cells) * np.gradient(template)])
    found, _ = _least_squares(levels, weights, basis)
    plain, squares = _least_squares(levels, weights, basis[:3])
    _, empty = _least_squares(levels, weights, basis[1:3])
    return Sites(
        period=cells.period,
        positions=(fitted.places + fitted.shifts) * scale,
        amplitudes=fitted.amplitudes,
        correlations=fitted.correlations,
        shifts=fitted.shifts / cells.per,
        slopes=plain[:, 2],
        widenings=found[:, 3] / np.maximum(np.abs(found[:, 0]), 1e-12),
        energies=(empty - squares) * scale,
        misfits=squares * scale,
        inside=fitted.inside,
    )
