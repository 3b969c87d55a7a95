"""Which periods a profile may have: maxima of its autocorrelation, octave by octave.

Slow changes of a profile (uneven light, the edge of a housing) are as strong as its contacts. So slower changes are
removed for each octave of periods, and strong places (glare, wide contacts) are scaled down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import uniform_filter1d

from matcher.columns.columns import Floats

SMALLEST_PX = 4.0
"""Smallest pitch that is looked for, px: below it, a contact and its gap have fewer than two pixels each."""

FEWEST_PITCHES = 1.9
"""Fewest pitches that a profile spans: three contacts, those at the ends cut at their centres."""

LEAST_CORRELATION = 0.08
"""Autocorrelation below which a maximum is ignored; white noise of 100 periods has about 0.03."""

MOST_PERIODS = 6
"""Most periods that are tried, strongest first. Tuned: the right one is among them for 99 % of rendered rows."""


@dataclass(frozen=True, kw_only=True)
class Period:
    """A period (samples of the profile) and the autocorrelation there (1: repeats exactly, over the whole profile)."""

    length: float
    correlation: float


def periods(values: Floats) -> list[Period]:
    """Likely periods of a profile, in samples, strongest first; empty where nothing repeats."""
    found: list[Period] = []
    longest = (len(values) - 1) / FEWEST_PITCHES
    width = 2.0 * SMALLEST_PX
    while width / 2.0 < longest:
        found += _octave(values, width / 2.0, min(width, longest))
        width *= 2.0
    found.sort(key=lambda period: -period.correlation)
    distinct: list[Period] = []
    for period in found:
        if all(abs(period.length - other.length) > 0.04 * period.length for other in distinct):
            distinct.append(period)
    return distinct[:MOST_PERIODS]


def _octave(values: Floats, low: float, high: float) -> list[Period]:
    """Maxima of the autocorrelation between two periods."""
    flat = _normalised(values - smoothed(values, high), high)
    size = next_fast_len(2 * len(flat), real=True)
    autocorrelation = irfft(np.abs(rfft(flat, size)) ** 2, size)[: len(flat)]
    if autocorrelation[0] <= 0.0:
        return []
    ratio: Floats = autocorrelation / autocorrelation[0]
    lags = np.arange(max(2, int(0.9 * low)), min(len(flat) - 2, int(1.1 * high) + 1))
    tops = lags[(ratio[lags] >= ratio[lags - 1]) & (ratio[lags] > ratio[lags + 1]) & (ratio[lags] > LEAST_CORRELATION)]
    return [Period(length=_refined(ratio, int(lag)), correlation=float(ratio[lag])) for lag in tops]


def smoothed(values: Floats, width: float) -> Floats:
    """Mean over ``width`` samples, twice: a triangle."""
    size = max(3, round(width))
    return np.asarray(uniform_filter1d(uniform_filter1d(values, size, mode="reflect"), size, mode="reflect"))


def _normalised(flat: Floats, width: float) -> Floats:
    """The flattened profile divided by its local strength where that is above the usual."""
    local = np.sqrt(uniform_filter1d(flat**2, max(3, round(1.5 * width)), mode="reflect").clip(0.0))
    usual = float(np.median(local))
    return np.asarray(flat / np.maximum(local, max(usual, 1e-12)))


def _refined(ratio: Floats, lag: int) -> float:
    """The period by the maximum near ``lag`` and those near its multiples, as far as they exist: each makes the next
    one more exact."""
    period, multiple = _top(ratio, lag), 2
    while multiple * period < 0.6 * len(ratio):
        place = round(multiple * period)
        reach = max(1, int(0.2 * period))
        near = slice(max(1, place - reach), min(len(ratio) - 1, place + reach + 1))
        top = near.start + int(np.argmax(ratio[near]))
        if ratio[top] < 0.4 * ratio[lag] or top in (near.start, near.stop - 1):
            break
        period, multiple = _top(ratio, top) / multiple, 2 * multiple
    return period


def _top(ratio: Floats, lag: int) -> float:
    """Position of a maximum between samples, by a parabola through three."""
    left, middle, right = ratio[lag - 1 : lag + 2]
    bend = left - 2.0 * middle + right
    return lag + (0.5 * (left - right) / bend if bend < 0.0 else 0.0)
