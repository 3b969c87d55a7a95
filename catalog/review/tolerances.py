"""Tolerances: a default is suggested if the drawing states none, and tolerances that are too wide are questioned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from catalog.model.entries import Half, Mating
from catalog.model.entry_parts import Dimension
from catalog.review.dimensions import label, pitch_of
from catalog.review.findings import Code, Finding, mm
from matcher.features import FEATURES
from matcher.plus_minus import DRAWING, PROCESS

WIDE_FACTOR = 5.0
"""A drawing's tolerance this many times the process's default is questioned: common practice, no source."""

WIDE_SHARE = 1.0
"""A half-width this large would allow a part of size 0, so it is a mistake. A general ±0.3 mm on a height of 0.5 mm
does occur in drawings."""


def tolerances_of_half(half: Half) -> Iterator[Finding]:
    """Findings about the tolerances of a half."""
    yield from _tolerances(half.dimensions, "dimensions.", pitch_of(half))


def tolerances_of_mating(mating: Mating) -> Iterator[Finding]:
    """Findings about the tolerances of a mated pair."""
    yield from _tolerances(mating.dimensions, "", None)


def _tolerances(dimensions: Mapping[str, Dimension], path: str, pitch: float | None) -> Iterator[Finding]:
    for name, dimension in dimensions.items():
        default = FEATURES[name].process.half_width(dimension.value, pitch)
        if dimension.tolerance is None:
            yield from _missing(name, dimension, f"{path}{name}.tolerance", default)
        else:
            yield from _wide(name, dimension.value, dimension.tolerance, f"{path}{name}.tolerance", default)


def _missing(name: str, dimension: Dimension, field: str, default: float) -> Iterator[Finding]:
    """Bounds and reference dimensions have no tolerance, and recommended lands are not a measured part."""
    if dimension.bound != "nominal" or FEATURES[name].process.recommended:
        return
    yield Finding(
        code=Code.NO_TOLERANCE,
        severity="notice",
        field=field,
        expected=default,
        message=f"the {label(name)} has no tolerance; a {PROCESS} of ±{mm(default)} is assumed, as usual for this size",
        remedy="Give the drawing's tolerance if it states one; otherwise leave it out",
    )


def _wide(name: str, size: float, tolerance: float, field: str, default: float) -> Iterator[Finding]:
    senseless = tolerance >= WIDE_SHARE * size
    if not senseless and tolerance <= WIDE_FACTOR * default:
        return
    yield Finding(
        code=Code.WIDE_TOLERANCE,
        severity="severe" if senseless else "warning",
        field=field,
        value=tolerance,
        expected=default,
        message=f"a {DRAWING} of ±{mm(tolerance)} on a {label(name)} of {mm(size)} is wide; ±{mm(default)} is usual",
        remedy="Check the unit and the decimal point of the tolerance; it is the half-width, in the unit of the value",
    )
