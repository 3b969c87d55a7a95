"""How well one half explains what was seen: p-values, likely slips, words for each observation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from matcher.columns.columns import Columns, DimensionColumn
from matcher.columns.process_tolerance import over_gaps
from matcher.features import FEATURES, Kind
from matcher.likelihood.gross_errors import Component, Mixture
from matcher.likelihood.shared_errors import folded
from matcher.likelihood.single_reading import half_mixture
from matcher.likelihood.tolerance_density import W_MIN, rectangle_normal_cdf
from matcher.observations import Of, Reduced

SMALLEST_P = 1e-12
"""A single reading's p-value is never taken smaller: beyond it lies a slip, not a worse fit."""

STRAINS_BELOW, OFF_BELOW = 0.05, 0.001
"""p-values below which a reading strains, and is off."""

SLIP_FROM = 0.5
"""Probability from which a reading is called a likely slip."""

SLIP_OF_COUNT = "miscounted"


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One observation against one half: what the catalogue expects, its tolerance, p-value, and a likely slip."""

    expected: float | int | str | None
    tolerance: float | None
    p_value: float | None
    slip_probability: float
    slip: str | None

    @property
    def word(self) -> str:
        """Bench word: fits, strains, off, likely slip, or no information."""
        if self.slip_probability >= SLIP_FROM:
            return "likely slip"
        if self.p_value is None:
            return "no information"
        if self.p_value < OFF_BELOW:
            return "off"
        return "strains" if self.p_value < STRAINS_BELOW else "fits"


def explanations(readings: Iterable[Reduced], columns: Columns) -> dict[int, Mixture]:
    """Explanations over all halves of every measured dimension of this half, by the observation's index."""
    return {
        reading.index: half_mixture(reading, columns)
        for reading in readings
        if reading.of is Of.THIS and FEATURES[reading.feature].kind is Kind.DIMENSION and reading.value is not None
    }


def read_against(reading: Reduced, columns: Columns, half: int, explained: Mapping[int, Mixture]) -> Reading:
    """The observation against a candidate's entry; ``explained`` is what `explanations` gave for all observations."""
    kind = FEATURES[reading.feature].kind
    if reading.of is not Of.THIS or kind in (Kind.TEXT, Kind.FIT):
        return Reading(expected=None, tolerance=None, p_value=None, slip_probability=0.0, slip=None)
    if kind is Kind.COUNT:
        return _count_against(reading, columns, half)
    if kind is Kind.DIMENSION:
        return _dimension_against(reading, columns, half, explained)
    return _category_against(reading, columns, half)


def fit_p_value(readings: list[Reading]) -> float | None:
    """Fisher's combination of the readings' p-values; likely slips count as one p-value of their probability."""
    values = [max(reading.p_value, SMALLEST_P) for reading in readings if reading.p_value is not None]
    if not values:
        return None
    return float(chi2.sf(-2.0 * np.sum(np.log(values)), 2 * len(values)))


def _count_against(reading: Reduced, columns: Columns, half: int) -> Reading:
    true = int(columns.counts[reading.feature][half])
    low, high = reading.count_range
    right = low <= true <= high
    slip = None if right or true < 0 else SLIP_OF_COUNT
    return Reading(
        expected=true if true >= 0 else None,
        tolerance=None,
        p_value=None if true < 0 else (1.0 if right else STRAINS_BELOW),
        slip_probability=1.0 if slip else 0.0,
        slip=slip,
    )


def _category_against(reading: Reduced, columns: Columns, half: int) -> Reading:
    row = FEATURES[reading.feature]
    has = columns.categories[reading.feature][half]
    names = [name for name, probability in zip(row.values, has, strict=True) if probability >= 1 / len(row.values)]
    known = bool(np.any(has > 0.999)) or (np.isclose(has.sum(), 1.0) and bool(np.all((has == 0) | (has >= 0.2))))
    seen = reading.values or frozenset()
    right = bool(seen & set(names)) or (not names and seen <= {"none"})
    p_value = None if not known else (1.0 if right else 1.0 - row.right_share)
    return Reading(
        expected=", ".join(names) if known else None,
        tolerance=None,
        p_value=p_value,
        slip_probability=0.0,
        slip=None,
    )


def _dimension_against(
    reading: Reduced, columns: Columns, half: int, explanations_of_all: Mapping[int, Mixture]
) -> Reading:
    column = columns.dimensions[reading.feature]
    expected, tolerance = _expected(reading, column, half)
    if reading.value is None:
        return Reading(expected=expected, tolerance=tolerance, p_value=None, slip_probability=0.0, slip=None)
    explained = explanations_of_all[reading.index]
    if reading.unscaled or expected is None:
        return Reading(expected=expected, tolerance=tolerance, p_value=None, slip_probability=0.0, slip=None)
    at = np.array([half])
    slip_probability, words = _likeliest_slip(reading, explained, half)
    p_value = _two_sided(reading, explained.components[0].take(at))
    return Reading(
        expected=expected, tolerance=tolerance, p_value=p_value, slip_probability=slip_probability, slip=words
    )


def _expected(reading: Reduced, column: DimensionColumn, half: int) -> tuple[float | None, float | None]:
    value = column.stated[half]
    if np.isnan(value):
        return None, None
    return float(value), float(over_gaps(reading.feature, column.half_width[half], reading.spans))


def _two_sided(reading: Reduced, right: Component) -> float:
    shared = folded(reading)
    w = np.maximum(np.sqrt(right.own_u**2 + right.entry_u**2 + shared.scale + shared.zero), W_MIN)
    below = float(rectangle_normal_cdf(reading.number - right.centre, right.half_width, w)[0])
    return 2.0 * min(below, 1.0 - below)


def _likeliest_slip(reading: Reduced, explained: Mixture, half: int) -> tuple[float, str | None]:
    """Probability that the reading is grossly wrong under this half, and the likeliest way in bench words."""
    at, shared = np.array([half]), folded(reading)
    densities = [float(c.take(at).density(reading.number, shared)[0]) for c in explained.components]
    floor = float(explained.floor[half])
    total = sum(densities) + floor
    wrong = 1.0 - densities[0] / total
    best = int(np.argmax([*densities[1:], floor]))
    words = explained.components[best + 1].words if best + 1 < len(explained.components) else "measured wrong"
    return wrong, words if wrong >= SLIP_FROM else None
