"""Dimensions against the series' law: outliers with the expected value, and the slip that explains them best."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from catalog.model.entries import Half
from catalog.review.around import Surroundings
from catalog.review.expected import Expectations, Expected, deviation, expectations
from catalog.review.findings import Code, Finding, Severity, mm
from catalog.review.sizes import label
from catalog.review.slips import FACTORS, UNIT_FACTORS, swapped_figures

WARN_ABOVE = 1.0
"""Tolerances off the law above which a dimension is questioned."""

SEVERE_ABOVE = 3.0
"""Tolerances off a law the half surely obeys that need an acknowledgement. Of real halves, left out of their series
one by one, fewer than 0.5 % are so far off any of their laws (tests/real_geometry)."""

SWAP_SHARE = 0.25
"""Figures count as swapped where that brings them within this share of a tolerance: chance would do it seldom."""


@dataclass(frozen=True, kw_only=True)
class _Slip:
    code: Code
    severity: Severity
    probable: float
    why: str
    remedy: str


def off_laws(half: Half, law: Expectations) -> Iterator[Finding]:
    """One finding per dimension that does not fit its law."""
    for name in half.dimensions:
        if name in law and abs(deviation(half, name, law[name])) > WARN_ABOVE:
            yield _finding(half, name, law[name])


def siblings_off_law(siblings: tuple[Half, ...], around: Surroundings) -> Iterator[tuple[Half, Finding]]:
    """Listed halves that a newly stated law contradicts; kinds and rows that it does not describe pass."""
    for half in siblings:
        for finding in off_laws(half, expectations(half, around)):
            yield half, finding


def _finding(half: Half, name: str, expected: Expected) -> Finding:
    off = deviation(half, name, expected)
    slip = _slip(half, name, expected) or _outlier(off, expected)
    value = half.dimensions[name].value
    return Finding(
        code=slip.code,
        severity=slip.severity,
        field=f"dimensions.{name}",
        value=value,
        expected=slip.probable,
        message=f"{label(name)} {mm(value)}: {expected.source} give{_s(expected)} {mm(expected.value)} at "
        f"{half.contacts_per_row} contacts per row, {abs(off):.1f} tolerances away{slip.why}",
        remedy=slip.remedy,
        others=expected.others,
    )


def _s(expected: Expected) -> str:
    return "" if expected.others else "s"


def _outlier(off: float, expected: Expected) -> _Slip:
    return _Slip(
        code=Code.OFF_LAW,
        severity="severe" if abs(off) > SEVERE_ABOVE and expected.sure else "warning",
        probable=expected.value,
        why="",
        remedy="Read the drawing's row for this size again; if the part is another construction, name another series",
    )


def _slip(half: Half, name: str, expected: Expected) -> _Slip | None:
    return _by_factor(half, name, expected) or _by_swap(half, name, expected) or _by_size(half, name, expected)


def _by_factor(half: Half, name: str, expected: Expected) -> _Slip | None:
    value = half.dimensions[name].value
    for factor, words in FACTORS.items():
        if abs(deviation(half, name, expected, value * factor)) > WARN_ABOVE:
            continue
        units = factor in UNIT_FACTORS
        return _Slip(
            code=Code.UNITS_SLIP if units else Code.FACTOR_SLIP,
            severity="severe" if units or expected.sure else "warning",
            probable=round(value * factor, 4),
            why=f"; {words}?",
            remedy=f"Probably {mm(value * factor)}: check the unit, decimal point and what the drawing dimensions",
        )
    return None


def _by_swap(half: Half, name: str, expected: Expected) -> _Slip | None:
    for probable in swapped_figures(half.dimensions[name].value):
        if abs(deviation(half, name, expected, probable)) <= SWAP_SHARE:
            return _Slip(
                code=Code.SWAPPED_FIGURES,
                severity="severe" if expected.sure else "warning",
                probable=probable,
                why="; two figures swapped?",
                remedy=f"Probably {mm(probable)}: compare figure by figure with the source",
            )
    return None


def _by_size(half: Half, name: str, expected: Expected) -> _Slip | None:
    """The value of another size of the series: read in the wrong row of the drawing's table."""
    if expected.slope == 0:
        return None
    positions = half.contacts_per_row
    value, off = half.dimensions[name].value, deviation(half, name, expected)
    there = positions + round((value - expected.value) / expected.slope)
    beside = value - (there - positions) * expected.slope
    if there == positions or there not in expected.sizes or abs(deviation(half, name, expected, beside)) > WARN_ABOVE:
        return None
    return _Slip(
        code=Code.OTHER_SIZE,
        severity="severe" if abs(off) > SEVERE_ABOVE and expected.sure else "warning",
        probable=expected.value,
        why=f"; it is the value at {there} contacts per row",
        remedy="Read the drawing's row for this size again, or correct the number of contacts",
    )
