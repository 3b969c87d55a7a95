"""Sites of a row of one period: the profile at each of them, compared with their mean.

The profile is resampled so that a period has a whole number of samples. Folding it gives the template, the
look of a typical contact, be it one bright line or two. The template is then fitted to every site of the lattice
(`site_fit`), and made anew from what was found there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import uniform_filter1d

from matcher.columns.columns import Bools, Floats
from matcher.columns.dimension_laws import median, medians
from matcher.imaging.row_detection.curve import Curve
from matcher.imaging.row_detection.site_fit import (
    EDGE_WEIGHT,
    TYPICAL,
    Cells,
    Fit,
    as_strong,
    coefficients,
    fitted_at,
    moving_template,
    window_of,
    with_clipped,
)

SAMPLES = (24, 48)
"""Least and greatest number of samples per period."""

BEYOND = 0.1
"""How far beyond the ends of the profile a contact's centre may lie, periods: lines are drawn from centre to centre,
too."""

REPEATS = 0.4
"""Local correlation with the next period from which a place takes part in the first template. Tuned."""

OFF_LATTICE = 0.12
"""Distance from the lattice, periods, from which a site takes no part in the template. Tuned."""

ROUNDS = 3
"""Rounds in which template, sites and period are found from each other; on rendered rows more change nothing."""

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
    that the contact's shape must be assumed (`with_clipped`), and 1 elsewhere. ``dark``: the profile was turned upside
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
        nearby = medians(sliding_window_view(self.amplitudes[chosen], near).T)
        # The nearest ones are neighbours in the list: the next one takes the place of the first where it is nearer.
        first = np.searchsorted(chosen[:-near] + chosen[near:], 2 * np.arange(len(self.amplitudes)))
        return np.asarray(nearby[first])

    @cached_property
    def strengths(self) -> Floats:
        """Amplitudes relative to the usual one nearby."""
        return self.amplitudes / self.usual_amplitudes


def sites(curve: Curve, period: float, line: tuple[float, float]) -> list[Sites]:
    """Sites of bright and of dark contacts of about this period, as far as the profile has any.

    ``curve`` goes through the profile; ``line`` is where the line begins and ends, samples; sites lie on it.
    """
    cells = Cells(curve=curve, dark=False, period=period, per=int(np.clip(np.ceil(period), *SAMPLES)))
    cell = _folded(cells)
    if cell is None:
        return []
    found = (_sites_like(cells, cell, line), _sites_like(replace(cells, dark=True), -cell, line))
    return [one for one in found if one is not None]


def _sites_like(cells: Cells, cell: Floats, line: tuple[float, float]) -> Sites | None:
    """Sites of contacts that look about like the cell: template, lattice and period are found in rounds."""
    phase = _middle(cell)
    template = _centred_window(cell, phase)
    for _ in range(ROUNDS):
        places = _lattice_sites(cells, phase, line)
        if len(places) < 3:
            return None
        fitted = fitted_at(cells, moving_template(cells, template), places)
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


def _folded(cells: Cells) -> Floats | None:
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
    return np.asarray(np.interp(middle + window_of(per).offsets, np.arange(per), cell, period=per))


def _lattice_sites(cells: Cells, phase: float, line: tuple[float, float]) -> Floats:
    """Places of all sites on the line (from, to, samples of the profile), samples of the cells."""
    start = np.ceil(line[0] / cells.period - BEYOND - phase / cells.per)
    end = np.floor(line[1] / cells.period + BEYOND - phase / cells.per)
    return np.asarray(phase + cells.per * np.arange(start, end + 1))


def _line(fitted: Fit, good: Bools, per: int) -> tuple[float, float, Bools]:
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


def _template(cells: Cells, fitted: Fit, good: Bools) -> Floats:
    """Mean look of the good sites, each on its own base line and scaled to one strength; the median where there are
    many."""
    levels, window = fitted.levels[good], cells.window
    flat = (levels - levels @ window.from_edges @ window.base) / fitted.amplitudes[good, None]
    looks = medians(flat) if len(flat) > 4 else flat.mean(axis=0)
    return looks / max(float(np.ptp(looks)), 1e-12)


def _fitted_sites(cells: Cells, template: Floats, places: Floats) -> Sites | None:
    if len(places) < 3:
        return None
    moving, scale = moving_template(cells, template), cells.period / cells.per
    fitted, visible = with_clipped(cells, moving[:3], fitted_at(cells, moving, places))
    widening = np.vstack([moving[:3], cells.window.offsets * moving[3]])
    found = coefficients(fitted.levels, fitted.weights, widening)
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
