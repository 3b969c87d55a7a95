"""Which contact of a half meets which of its mate, as the mating between them says, and whether that can be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from api.drawing.geometry import Point
from api.fitting.wiring.contacts import Contact, Contacts
from catalog.model.entries import Mating
from catalog.model.numbering import FACING, HALF_TURN, View

ALIKE = 0.3
"""Places closer than this share of a pitch, or of the row spacing, are one place: two makers' figures for one pair
differ by less, and neighbours by more. Common practice, no source."""

WAYS = (FACING, FACING.then(HALF_TURN))
"""The two ways in which two halves can face each other: a mate's frame as the half's frame shows it."""

VERIFY = "verify by continuity"


@dataclass(frozen=True, kw_only=True)
class Pairing:
    """Names of the mate's contacts by those of the half that meet them. ``doubts``: why no net is sure."""

    meets: Mapping[str, str]
    doubts: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether the sources say it, and nothing contradicts them."""
        return not self.doubts


def pairing(mating: Mating, ours: Contacts, theirs: Contacts) -> Pairing:
    """Which contacts meet; ``ours`` is the half that is known, ``theirs`` its mate."""
    work = _Pairing(mating, ours, theirs)
    meets = work.meets()
    return Pairing(meets=meets, doubts=(*work.doubts, *_impossible(meets, ours, theirs)))


def listed_pairs(mating: Mating, half: str) -> list[tuple[str, str]]:
    """The pairs of a listed wiring, the contact of the half of this key first."""
    return [(one, two) if mating.half == half else (two, one) for one, two in mating.contact_map]


class _Pairing:
    def __init__(self, mating: Mating, ours: Contacts, theirs: Contacts) -> None:
        self.mating, self.ours, self.theirs = mating, ours, theirs
        self.doubts: list[str] = []

    def meets(self) -> dict[str, str]:
        rules = {
            "identity": self._identity,
            "reversed": self._reversed,
            "rows_swapped": self._rows_swapped,
            "listed": self._listed,
            "unknown": self._unknown,
        }
        return dict(rules[self.mating.correspondence]())

    def _unknown(self) -> Iterator[tuple[str, str]]:
        self.doubts.append(f"no source says which contact meets which: {VERIFY}")
        yield from ()

    def _identity(self) -> Iterator[tuple[str, str]]:
        one, two = self.ours.half, self.theirs.half
        if one.half_kind == two.half_kind == "hermaphroditic" and one.series_key == two.series_key and one.rows > 1:
            self.doubts.append(f"two halves of one kind face each other, so 1 cannot meet 1 in several rows: {VERIFY}")
        for contact in self.ours.every:
            if contact.name in self.theirs.by_name:
                yield contact.name, contact.name

    def _reversed(self) -> Iterator[tuple[str, str]]:
        if self.ours.highest["contact"] != self.theirs.highest["contact"]:
            self.doubts.append(f"the last contact meets the first, but the halves have other counts: {VERIFY}")
            return
        theirs = {(each.kind, each.number): each for each in self.theirs.every}
        for contact in self.ours.every:
            other = theirs.get((contact.kind, self.ours.highest[contact.kind] + 1 - contact.number))
            if other is not None:
                yield contact.name, other.name

    def _rows_swapped(self) -> Iterator[tuple[str, str]]:
        if not (self.ours.placed and self.theirs.placed):
            self.doubts.append(f"the rows change places, but which contact stands in which row is not stated: {VERIFY}")
            return
        for contact in self.ours.every:
            if contact.rank is not None:
                row, place = contact.rank
                other = self.theirs.by_rank.get((contact.kind, (self.ours.rows[contact.kind] - 1 - row, place)))
                if other is not None:
                    yield contact.name, other.name

    def _listed(self) -> Iterator[tuple[str, str]]:
        listed = listed_pairs(self.mating, self.ours.half.key)
        for contacts, names in ((self.ours, [one for one, _ in listed]), (self.theirs, [two for _, two in listed])):
            strange = sorted({name for name in names if name not in contacts.by_name})
            twice = sorted({name for name in names if names.count(name) > 1})
            part = contacts.half.part_number
            if strange:
                self.doubts.append(f"the list names contacts that {part} has not: {', '.join(strange)}; {VERIFY}")
            if twice:
                self.doubts.append(f"the list names contacts of {part} twice: {', '.join(twice)}; {VERIFY}")
        yield from listed


def _impossible(meets: Mapping[str, str], ours: Contacts, theirs: Contacts) -> Iterator[str]:
    """A doubt where no way of facing each other brings these contacts together.

    Only the contacts of the rows count, since their places alone are known; halves of other counts may stand aside.
    """
    pairs = [(ours.by_name[one], theirs.by_name[two]) for one, two in meets.items() if _both(one, two, ours, theirs)]
    apart = [[_apart(one, two, way, ours, theirs) for one, two in pairs] for way in WAYS]
    if pairs and all(_spread(each) > ALIKE for each in apart):
        yield (
            "the numbering of both halves and this wiring cannot all be right: however the halves face each other, not "
            f"all of these contacts meet; {VERIFY}"
        )


def _both(one: str, two: str, ours: Contacts, theirs: Contacts) -> bool:
    found = (ours.by_name.get(one), theirs.by_name.get(two))
    return all(each is not None and each.kind == "contact" and each.at is not None for each in found)


def _apart(one: Contact, two: Contact, way: View, ours: Contacts, theirs: Contacts) -> Point:
    """From the half's contact to the mate's, in pitches and row spacings."""
    (x, y), (to_x, to_y) = _in_its_row(one, ours), way.of(*_in_its_row(two, theirs))
    return to_x - x, to_y - y


def _in_its_row(contact: Contact, contacts: Contacts) -> Point:
    """Pitches from the middle of its row, and row spacings from the middle of the half. Rows that are staggered or of
    unequal length stand aside of each other, but no entry says which way."""
    x, y = contact.spot
    return (x - contacts.row_middles[y]) / contacts.pitch, y / contacts.row_spacing


def _spread(apart: list[Point]) -> float:
    """How far the contacts are from all standing alike to their partners."""
    along, across = [x for x, _ in apart], [y for _, y in apart]
    return max(max(along) - min(along), max(across) - min(across))
