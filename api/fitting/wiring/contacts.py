"""The contacts of a half by name, with their places in its frame (`catalog.model.numbering`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from api.drawing.contact_sites import contact_sites
from api.drawing.geometry import Point
from api.drawing.size_sources import sizes_of
from catalog.model.contact_names import blocked_places, numbered_sites, row_lengths
from catalog.model.entries import Half
from catalog.model.numbering import Numbering, Place

Kind = Literal["contact", "power", "hold_down"]

LETTERS: Mapping[Kind, str] = {"contact": "", "power": "P", "hold_down": "H"}
"""Before the numbers of what is numbered apart. Our own choice: makers use several."""

END_ROWS: Mapping[int, tuple[int, ...]] = {2: (2,), 4: (2, 2)}
"""Power contacts or hold-downs by their number, as rows of places at the two ends; of other numbers the arrangement is
not known."""

BEYOND: Mapping[Kind, float] = {"power": 2.0, "hold_down": 3.5}
"""How far beyond the outermost contact they are shown, in pitches. Our own choice: only the end is meant."""


@dataclass(frozen=True, kw_only=True)
class Contact:
    """One contact. ``number`` counts within its kind; ``rank`` is its row and its place in the row, counted from 0 and
    from contact 1's corner; ``place`` its site, ``at`` its place in mm. None where not known."""

    name: str
    kind: Kind
    number: int
    place: Place | None = None
    rank: Place | None = None
    at: Point | None = None

    @property
    def spot(self) -> Point:
        """Its place in mm; raises ValueError for a contact whose place is not known."""
        if self.at is None:
            raise ValueError(f"where contact {self.name} stands is not known")
        return self.at


@dataclass(frozen=True, kw_only=True)
class Contacts:
    """The contacts of a half in the order of their numbers.

    ``highest`` is the highest number of each kind, blocked sites included where they are counted, and ``rows`` the rows
    in which each kind stands. ``blocked`` are the sites left out, with their places. ``pitch`` and ``row_spacing`` are
    in mm. Without a stated numbering the contacts have names alone.
    """

    half: Half
    every: tuple[Contact, ...]
    highest: Mapping[Kind, int]
    rows: Mapping[Kind, int]
    row_lengths: Sequence[int]
    blocked: Mapping[Place, Point]
    pitch: float
    row_spacing: float
    notes: tuple[str, ...]

    @cached_property
    def by_name(self) -> Mapping[str, Contact]:
        """Each contact by its name."""
        return {contact.name: contact for contact in self.every}

    @cached_property
    def by_place(self) -> Mapping[Place, Contact]:
        """Contacts of the rows by their site."""
        return {each.place: each for each in self.every if each.kind == "contact" and each.place is not None}

    @cached_property
    def by_rank(self) -> Mapping[tuple[Kind, Place], Contact]:
        """Contacts by kind, and row and place counted from contact 1."""
        return {(each.kind, each.rank): each for each in self.every if each.rank is not None}

    @cached_property
    def row_middles(self) -> Mapping[float, float]:
        """The middle of each row, x in mm, sites left out included, by the row's y."""
        rows: dict[float, list[float]] = {}
        for x, y in (*self.blocked.values(), *(each.spot for each in self.by_place.values())):
            rows.setdefault(y, []).append(x)
        return {y: (min(xs) + max(xs)) / 2 for y, xs in rows.items()}

    @property
    def sideways(self) -> bool:
        """Whether it may mate along its own board, so that its rows are not seen from the board's side."""
        return bool({"right_angle", "coplanar"}.intersection(self.half.categories.get("orientation", ())))

    @property
    def placed(self) -> bool:
        """Whether it is known which contact stands where."""
        return bool(self.by_place)


def contacts_of(half: Half, named: Iterable[str] = ()) -> Contacts:
    """The contacts of a half. ``named`` are the names that a listed map uses, for a half whose numbering is not
    stated."""
    sizes = sizes_of(half)
    where = {(site.row, site.position): (site.x, site.y) for site in contact_sites(sizes)}
    lengths, numbers = row_lengths(half), numbered_sites(half)
    if half.numbering is None or not numbers:
        every, notes = _names_alone(half, tuple(named)), tuple(_unplaced(half))
        highest: dict[Kind, int] = {"contact": half.contact_count}
        rows: dict[Kind, int] = {}
    else:
        ends = (max(abs(x) for x, _ in where.values()), max(abs(y) for _, y in where.values()))
        made = _Numbered(half.numbering, lengths, sizes.mm("pitch"), ends)
        every = (*made.in_rows(numbers, where), *made.at_ends(half))
        highest, rows, notes = made.highest, made.rows, tuple(made.notes)
    return Contacts(
        half=half,
        every=every,
        highest=highest,
        rows=rows,
        row_lengths=lengths,
        blocked={place: where[place] for place in sorted(blocked_places(half)) if place in where},
        pitch=sizes.mm("pitch"),
        row_spacing=sizes.mm("row_spacing"),
        notes=notes,
    )


def _names_alone(half: Half, named: Sequence[str]) -> tuple[Contact, ...]:
    counted = [str(number) for number in range(1, half.contact_count + 1)]
    names = counted if set(named) <= set(counted) else list(dict.fromkeys(named))
    return tuple(Contact(name=name, kind="contact", number=number) for number, name in enumerate(names, 1))


def _unplaced(half: Half) -> Iterator[str]:
    if half.numbering is None:
        yield (
            f"{half.part_number}: numbering not stated: find contact 1 by its mark on the board and check by continuity"
        )
    else:
        yield f"{half.part_number}: its entry does not say which sites are left out, so no place is shown"


class _Numbered:
    """Makes the contacts of a half whose numbering is known."""

    def __init__(self, numbering: Numbering, lengths: Sequence[int], pitch: float, reach: Point) -> None:
        self.numbering, self.lengths, self.pitch, self.reach = numbering, lengths, pitch, reach
        self.highest: dict[Kind, int] = {}
        self.rows: dict[Kind, int] = {"contact": len(lengths)}
        self.last = 0
        self.notes: list[str] = []

    def in_rows(self, numbers: Mapping[Place, int], where: Mapping[Place, Point]) -> Iterator[Contact]:
        """The contacts of the rows."""
        counted = self.numbering.blocked == "counted"
        self.highest["contact"] = self.last = sum(self.lengths) if counted else len(numbers)
        for place, number in numbers.items():
            rank = self._rank(place, self.lengths)
            yield Contact(name=str(number), kind="contact", number=number, place=place, rank=rank, at=where[place])

    def at_ends(self, half: Half) -> Iterator[Contact]:
        """Power contacts and hold-downs, as far as they have a number."""
        kinds: tuple[tuple[Kind, str, str | None, str], ...] = (
            ("power", "power_contact_count", self.numbering.power, "power contacts"),
            ("hold_down", "hold_down_count", self.numbering.hold_downs, "hold-downs"),
        )
        for kind, feature, manner, called in kinds:
            count = half.counts.get(feature, 0)
            if count and manner is None and kind == "power":
                self.notes.append(f"{half.part_number}: how its {count} {called} are numbered is not stated")
            if count and manner in ("apart", "after"):
                yield from self._of_kind(kind, count, after=manner == "after")
            if count and manner in ("apart", "after") and count not in END_ROWS:
                self.notes.append(f"{half.part_number}: where its {count} {called} stand is not known")

    def _of_kind(self, kind: Kind, count: int, *, after: bool) -> Iterator[Contact]:
        begin, letter = (self.last, "") if after else (0, LETTERS[kind])
        self.highest[kind] = count
        self.last += count if after else 0
        rows = END_ROWS.get(count)
        if rows is None:
            yield from (Contact(name=f"{letter}{begin + n}", kind=kind, number=n) for n in range(1, count + 1))
            return
        self.rows[kind] = len(rows)
        x = self.reach[0] + BEYOND[kind] * self.pitch
        for place, number in self.numbering.numbers(rows).items():
            y = self.reach[1] * (2 * place[0] - len(rows) - 1)
            at = (x if place[1] == 2 else -x, y)
            rank = self._rank(place, rows)
            yield Contact(name=f"{letter}{begin + number}", kind=kind, number=number, place=place, rank=rank, at=at)

    def _rank(self, place: Place, lengths: Sequence[int]) -> Place:
        (row, position), (x, y) = place, self.numbering.corner
        return (
            row - 1 if y < 0 else len(lengths) - row,
            position - 1 if x < 0 else lengths[row - 1] - position,
        )
