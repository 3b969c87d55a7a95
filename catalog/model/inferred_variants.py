"""Unlisted halves that a series probably has: other contact counts, by its stated or fitted laws.

They take part in the ranking, marked as inferred, with a tenth of a listed half's prior. Their dimensions have the
uncertainty of the law.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from statistics import median_high
from typing import Literal, TypeVar

from catalog.model.entries import Half, KindLaw, Series
from catalog.model.entry_parts import MOST_CONTACTS, BlockedPosition, Bound, Dimension
from catalog.model.errors import EntryError
from catalog.model.part_number_patterns import Reading, alike, families, filled, readings, skeleton
from catalog.model.series_laws import expand
from matcher.columns.dimension_laws import LEAST_U, Law, fit_law
from matcher.features import ESSENTIAL, FEATURES

FEWEST_SIBLINGS = 3
"""Fewest members for a fitted law: any two lie on a line."""

STEPS_BEYOND = 3
"""How far sizes are inferred beyond the smallest and largest member, in steps of the series. Common practice, no
source."""

COMMON_COUNTS = (2, 4, 6, 8, 10, 12, 14, 16, 20, 24, 26, 30, 34, 40, 50, 60, 64, 70, 80, 100, 120, 140, 160, 180, 200)
"""The contact counts that makers usually offer. Common practice, no source."""

COMMON_REACH = 2.0
"""Common contact counts are inferred from the smallest size divided by this to the largest times this."""

MOST_VARIANTS = 80
"""Most variants of one group of members; those nearest to a listed size are kept. The longest real group has 49 sizes.
"""

SHOWN_SERIES = 150
"""Characters of the series' name in the name of a half without a part number (a name may have 200)."""

T = TypeVar("T")
InferredBy = Literal["stated law", "fitted law"]


@dataclass(frozen=True, kw_only=True)
class InferredHalf:
    """An unlisted half. ``extra_u`` of its dimensions is the law's uncertainty; it was inferred from that many
    listed ``siblings``."""

    half: Half
    basis: InferredBy
    siblings: int


@dataclass(frozen=True, kw_only=True)
class Members:
    """Halves of one construction that differ only in size: the same kind, rows, mounting and form of name.

    Each has ``missing`` contacts fewer than rows × positions. ``form`` and ``pattern`` describe how part numbers state
    the size.
    """

    halves: tuple[Half, ...]
    laws: Mapping[str, Law]
    missing: int
    form: tuple[Reading | None, ...]
    pattern: str

    @property
    def first(self) -> Half:
        """One member, to read what all have in common."""
        return self.halves[0]

    @property
    def listed(self) -> frozenset[int]:
        """Positions per row of the members."""
        return frozenset(half.contacts_per_row for half in self.halves)

    @classmethod
    def of(cls, halves: Sequence[Half]) -> Members | None:
        """Fit the laws of members; None for fewer than three sizes, or if different numbers of contacts are missing."""
        sizes = {half.contacts_per_row for half in halves}
        missing = {half.rows * half.contacts_per_row - half.contact_count for half in halves}
        if len(sizes) < FEWEST_SIBLINGS or len(missing) != 1:
            return None
        form = readings(halves) if len({alike(half) for half in halves}) == 1 else ()
        return cls(
            halves=tuple(halves),
            laws=_laws(halves),
            missing=missing.pop(),
            form=form,
            pattern=skeleton(halves[0], form) if form else "",
        )

    def variant(self, positions: int) -> Half | None:
        """The half of this size by the fitted laws; None if a law gives something impossible."""
        contacts = self.first.rows * positions - self.missing
        dimensions = {name: self._dimension(name, law, positions) for name, law in self.laws.items()}
        found = {name: dimension for name, dimension in dimensions.items() if dimension is not None}
        blocked: tuple[BlockedPosition, ...] = _shared([half.blocked for half in self.halves], ())
        if not 1 <= contacts <= MOST_CONTACTS or any(site.position > positions for site in blocked):
            return None
        # A size with an impossible essential dimension does not exist; other laws, e.g. of pegs, may not apply to it.
        if any(name in dimensions and name not in found for name in ESSENTIAL):
            return None
        return self.first.model_copy(
            update={
                "part_number": self._part_number(contacts, positions),
                "contact_count": contacts,
                "positions": positions,
                "row_contacts": self._row_contacts(positions),
                "blocked": blocked,
                "numbering": _shared([half.numbering for half in self.halves], None),
                "dimensions": found,
                "counts": _shared_items([half.counts for half in self.halves]),
                "categories": _shared_items([half.categories for half in self.halves]),
                "markings": (),
                "aliases": (),
                "order_codes": (),
                "note": "",
            }
        )

    def _part_number(self, contacts: int, positions: int) -> str:
        name = filled(self.pattern, self.form, contacts=contacts, positions=positions) if self.form else None
        return name or f"{self.first.series[:SHOWN_SERIES]}, {contacts} contacts (not listed)"

    def _row_contacts(self, positions: int) -> tuple[int, ...]:
        """Unequal rows keep their difference from the longest row; empty if members differ in this."""
        short = _shared([tuple(half.contacts_per_row - n for n in half.row_contacts) for half in self.halves], ())
        rows = tuple(positions - less for less in short)
        return rows if all(n >= 0 for n in rows) else ()

    def bound(self, name: str) -> Bound:
        """The most frequent kind of bound of a dimension."""
        bounds = Counter(half.dimensions[name].bound for half in self.halves if name in half.dimensions)
        return bounds.most_common(1)[0][0]

    def _dimension(self, name: str, law: Law, positions: int) -> Dimension | None:
        """The law's value as a dimension, with the tolerance, bound and doubt of the members."""
        value = round(law.value(positions), 4)
        if not FEATURES[name].low <= value <= FEATURES[name].high:
            return None
        usual = self._usual[name]
        extra_u = round(math.hypot(law.u(positions), usual.extra_u), 4)
        return Dimension(value=value, bound=usual.bound, tolerance=usual.tolerance, extra_u=extra_u, doubt=usual.doubt)

    @cached_property
    def _usual(self) -> dict[str, Dimension]:
        """Each dimension with a law as the members have it, apart from its value."""
        return {name: self._usual_of(name) for name in self.laws}

    def _usual_of(self, name: str) -> Dimension:
        own = [half.dimensions[name] for half in self.halves if name in half.dimensions]
        tolerances = [dimension.tolerance for dimension in own if dimension.tolerance is not None]
        return own[0].model_copy(
            update={
                "bound": self.bound(name),
                "tolerance": max(tolerances) if len(tolerances) == len(own) else None,
                "extra_u": math.sqrt(sum(dimension.extra_u**2 for dimension in own) / len(own)),
                "doubt": next((dimension.doubt for dimension in own if dimension.doubt), ""),
            }
        )


def _shared(values: Sequence[T], otherwise: T) -> T:
    return values[0] if all(value == values[0] for value in values) else otherwise


def _shared_items(tables: Sequence[Mapping[str, T]]) -> dict[str, T]:
    """The items that are the same in all tables."""
    return {key: value for key, value in tables[0].items() if all(table.get(key) == value for table in tables)}


def _laws(halves: Sequence[Half]) -> dict[str, Law]:
    """A law for each dimension that at least three sizes and half of the members state."""
    counts = Counter(name for half in halves for name in half.dimensions)
    pitches = [half.dimensions["pitch"].value for half in halves if "pitch" in half.dimensions]
    pitch = median_high(pitches) if pitches else None
    laws: dict[str, Law] = {}
    for name, times in counts.items():
        own = [half for half in halves if name in half.dimensions]
        sizes = [half.contacts_per_row for half in own]
        if len(set(sizes)) >= FEWEST_SIBLINGS and 2 * times >= len(halves):
            along = pitch if FEATURES[name].along_rows else None
            laws[name] = fit_law(sizes, [half.dimensions[name].value for half in own], snap_slope_to=along)
    return laws


def member_groups(halves: Sequence[Half]) -> list[Members]:
    """Groups of halves in one series and of one construction, with three or more sizes each.

    Within a series, groups differ in kind, rows, mounting or the form of their part numbers. If part numbers have no
    common form, all are one group, unless two have the same size: then they differ in more than size.
    """
    constructions: dict[tuple[object, ...], list[Half]] = defaultdict(list)
    for half in halves:
        pitch = half.dimensions.get("pitch")
        same = (half.series_key, half.half_kind, half.rows, tuple(sorted(half.categories.items())))
        constructions[(*same, None if pitch is None else round(pitch.value, 2))].append(half)
    groups = (Members.of(group) for own in constructions.values() for group in _by_name(own))
    return [group for group in groups if group is not None]


def _by_name(halves: Sequence[Half]) -> list[list[Half]]:
    named = [[halves[index] for index in own] for _, own in families(halves)]
    sizes = {half.contacts_per_row for half in halves}
    one_group = all(len(own) == 1 for own in named) and len(sizes) == len(halves)
    return [list(halves)] if one_group else named


def plausible_positions(listed: Sequence[int] | frozenset[int], rows: int) -> list[int]:
    """Other sizes that a series with these members probably has: positions per row, ascending.

    These are the steps between the members and a few steps beyond them, and common contact counts not far away.
    """
    low, high = min(listed), max(listed)
    step = math.gcd(*(size - low for size in listed)) or 1
    grid = set(range(low - STEPS_BEYOND * step, high + STEPS_BEYOND * step + 1, step))
    common = {count // rows for count in COMMON_COUNTS if count % rows == 0}
    grid |= {size for size in common if low / COMMON_REACH <= size <= high * COMMON_REACH}
    new = [size for size in grid if size >= 1 and size not in listed]
    nearest = sorted(new, key=lambda size: (min(abs(size - other) for other in listed), size))
    return sorted(nearest[:MOST_VARIANTS])


def by_stated_laws(series: Series) -> Iterator[InferredHalf]:
    """Probable variants by the laws of one series, including any that are listed."""
    for law in series.kinds:
        counts = [size * law.rows - len(law.blocked) for size in plausible_positions(law.sizes, law.rows)]
        wanted = tuple(count for count in counts if count >= 1 and count not in law.contact_counts)
        for half in _by_stated_law(series, law, wanted):
            yield InferredHalf(half=half, basis="stated law", siblings=len(law.contact_counts))


def by_fitted_laws(members: Sequence[Half], series: Series | None) -> Iterator[InferredHalf]:
    """Probable variants by the members of one series, for kinds without a stated law (``series`` None: for all)."""
    stated = {(law.half_kind, law.rows) for law in (series.kinds if series is not None else ())}
    for group in member_groups([half for half in members if (half.half_kind, half.rows) not in stated]):
        for positions in plausible_positions(group.listed, group.first.rows):
            half = group.variant(positions)
            if half is not None:
                yield InferredHalf(half=half, basis="fitted law", siblings=len(group.halves))


def unlisted(variants: Iterable[T], listed: Collection[str], key: Callable[[T], str]) -> list[T]:
    """The first variant of each key that is not ``listed``."""
    chosen: dict[str, T] = {}
    for variant in variants:
        if key(variant) not in listed:
            chosen.setdefault(key(variant), variant)
    return list(chosen.values())


def _by_stated_law(entry: Series, law: KindLaw, counts: tuple[int, ...]) -> list[Half]:
    """One half for each count and height class; none for a count at which the law cannot be carried out."""
    if not counts:
        return []
    varied = law.model_copy(update={"contact_counts": counts})
    try:
        made = expand(entry.model_copy(update={"kinds": (varied,), "stack": ()})).halves
    except EntryError:
        each = [] if len(counts) == 1 else [(count,) for count in counts]
        return [half for one in each for half in _by_stated_law(entry, law, one)]
    return [half.model_copy(update={"dimensions": _doubtful(half.dimensions)}) for half in made]


def _doubtful(dimensions: Mapping[str, Dimension]) -> dict[str, Dimension]:
    return {name: _with_least_u(dim.value, dim.bound, dim.tolerance) for name, dim in dimensions.items()}


@lru_cache(maxsize=4096)
def _with_least_u(value: float, bound: Bound, tolerance: float | None) -> Dimension:
    """Cached, since the sizes of one law share most of their dimensions."""
    return Dimension(value=value, bound=bound, tolerance=tolerance, extra_u=LEAST_U)
