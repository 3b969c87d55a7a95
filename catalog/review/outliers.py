"""Dimensions against the law of the series, and the slip that explains an outlier best.

The law is the stated one, else one fitted to at least three siblings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot

from catalog.model.entries import Half, HeightClass, KindLaw, Series
from catalog.model.entry_parts import Bound, DimensionLaw
from catalog.model.inferred_variants import Members, member_groups
from catalog.model.part_number_patterns import alike, skeleton
from catalog.model.series_laws import dimension_at
from catalog.review.dimensions import agree_on_categories, label, pitch_of
from catalog.review.findings import Code, Finding, Severity, mm
from catalog.review.neighbours import Neighbours
from catalog.review.slips import FACTORS, UNIT_FACTORS, swapped_figures
from matcher.columns.columns import Dim
from matcher.columns.dimension_laws import LEAST_U
from matcher.columns.process_tolerance import process_interval

FARTHEST = 8.0
"""Largest deviation, in tolerances, that counts when laws are compared: one slip must not decide which law applies."""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """One dimension as the series' law gives it, mm, with the law's standard uncertainty ``u``.

    ``slope`` is mm per position. ``sizes`` are the positions of the halves that the law is based on, ``sure`` says that
    the half is known to obey this law, ``source`` names the law in words, and ``others`` are the keys of the siblings
    it was fitted to.
    """

    value: float
    bound: Bound
    tolerance: float | None
    u: float
    slope: float
    sizes: frozenset[int]
    sure: bool
    source: str
    others: tuple[str, ...] = ()

    def interval(self, feature: str, pitch: float | None) -> tuple[float, float]:
        """Centre and half-width, mm, of parts by this law."""
        dim = Dim(value=self.value, tolerance=self.tolerance, bound=self.bound, extra_u=self.u)
        return process_interval(feature, dim, pitch)


Expectations = Mapping[str, Expected]


def expectations(half: Half, around: Neighbours) -> Expectations:
    """The value of the series' law for each of the half's dimensions; empty if there is no law."""
    stated = list(_by_stated_laws(half, around.series)) if around.series is not None else []
    laws = stated or list(_by_siblings(half, around.siblings))
    return min(laws, key=lambda law: misfit(half, law)) if laws else {}


def deviation(half: Half, feature: str, expected: Expected, value: float | None = None) -> float:
    """By how many tolerances the stated (or a given) value differs from the expected one, with sign."""
    dimension = half.dimensions[feature]
    pitch = pitch_of(half)
    own = dimension.dim
    centre, width = process_interval(
        feature, own if value is None else Dim(value=value, tolerance=own.tolerance, bound=own.bound), pitch
    )
    target, target_width = expected.interval(feature, pitch)
    # Expected: 95 % of what law and entry themselves leave open; the wider of both tolerances.
    return (centre - target) / (max(width, target_width) + 2.0 * hypot(expected.u, own.extra_u))


def misfit(half: Half, law: Expectations) -> float:
    """How badly the half fits a law: tolerances off, summed over the dimensions, each up to `FARTHEST`."""
    return sum(min(abs(deviation(half, name, law[name])), FARTHEST) for name in half.dimensions if name in law)


def _by_stated_laws(half: Half, series: Series | None) -> Iterator[Expectations]:
    for law in series.kinds if series is not None else ():
        if law.rows == half.rows and half.half_kind in (None, law.half_kind):
            for height in law.classes:
                yield _stated(half, law, height, several=len(law.classes) > 1)


def _stated(half: Half, law: KindLaw, height: HeightClass, *, several: bool) -> Expectations:
    """Dimensions in which classes differ are not sure: the half may belong to a new class."""
    own: dict[str, DimensionLaw] = {**law.dimensions, **height.dimensions}
    return {
        name: Expected(
            value=dimension_at(each, half.contacts_per_row),
            bound=each.bound,
            tolerance=each.tolerance,
            u=LEAST_U,
            slope=each.slope,
            sizes=law.sizes,
            sure=not (several and name in height.dimensions),
            source="the series' law",
        )
        for name, each in own.items()
        if dimension_at(each, half.contacts_per_row) > 0
    }


def _by_siblings(half: Half, siblings: Sequence[Half]) -> list[Expectations]:
    """Fitted laws of the groups that this half may belong to; groups with the same form of name are preferred."""
    groups = [group for group in member_groups(siblings) if _may_belong(half, group)]
    named = [group for group in groups if _named_alike(half, group)]
    return [_fitted(half, group, sure=bool(named)) for group in named or groups]


def _may_belong(half: Half, group: Members) -> bool:
    first = group.first
    kinds = {half.half_kind, first.half_kind} - {None}
    return first.rows == half.rows and len(kinds) < 2 and agree_on_categories(half.categories, first.categories)


def _named_alike(half: Half, group: Members) -> bool:
    """Whether the part number has the group's form with this half's size in it (the pitch, last, may be the slip)."""
    if not group.form or alike(half)[:-1] != alike(group.first)[:-1]:
        return False
    return skeleton(half, group.form) == group.pattern


def _fitted(half: Half, group: Members, *, sure: bool) -> Expectations:
    positions = half.contacts_per_row
    return {
        name: Expected(
            value=round(law.value(positions), 4),
            bound=group.bound(name),
            tolerance=None,
            u=law.u(positions),
            slope=law.slope,
            sizes=group.listed,
            sure=sure,
            source=f"{len(group.halves)} siblings",
            others=tuple(sibling.key for sibling in group.halves),
        )
        for name, law in group.laws.items()
        if law.value(positions) > 0
    }


WARN_ABOVE = 1.0
"""Deviation from the law, in tolerances, above which a dimension is questioned."""

SEVERE_ABOVE = 3.0
"""Deviation, in tolerances, from a law that the half is known to obey, above which an acknowledgement is needed. Of
real halves, left out of their series one by one, fewer than 0.5 % are so far off any of their laws
(tests/real_geometry)."""

SWAP_SHARE = 0.25
"""Figures count as swapped if swapping them brings the value within this share of a tolerance, which rarely happens by
chance."""


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


def _finding(half: Half, name: str, expected: Expected) -> Finding:
    value, off = half.dimensions[name].value, deviation(half, name, expected)
    outlier = _Slip(
        code=Code.OFF_LAW,
        severity="severe" if abs(off) > SEVERE_ABOVE and expected.sure else "warning",
        probable=expected.value,
        why="",
        remedy="Check the drawing's row for this size again. If the part is built differently, name another series",
    )
    slips = (explain(half, name, expected) for explain in (_by_factor, _by_swap, _by_size))
    slip = next(filter(None, slips), outlier)
    give = "give" if expected.others else "gives"
    return Finding(
        code=slip.code,
        severity=slip.severity,
        field=f"dimensions.{name}",
        value=value,
        expected=slip.probable,
        message=f"{label(name)} {mm(value)}: {expected.source} {give} {mm(expected.value)} at "
        f"{half.contacts_per_row} contacts per row, {abs(off):.1f} tolerances away{slip.why}",
        remedy=slip.remedy,
        others=expected.others,
    )


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
    """The value of another size in the series, read from the wrong row of the drawing's table."""
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
        remedy="Check the drawing's row for this size again, or correct the number of contacts",
    )
