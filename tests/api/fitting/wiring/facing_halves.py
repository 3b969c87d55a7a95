"""Two halves face to face in space, written without the program's frame, views or numbering.

Every contact is a point (x, y, z) of whole numbers; the half at hand lies with its mating face up at z = 0. A mate is
turned over in space about an axis and laid on it, so that its points have z = 1 and what stands above a contact meets
it. Numbers are given by walking away from the corner of contact 1, in the picture that the stated side shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from catalog.model.entries import Half
from catalog.model.entry_parts import HalfKind
from tests.catalog.model.entry_examples import half

Spot = tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class Described:
    """A half as a drawing describes it: rows of places, those left out, and its numbering in words."""

    rows: int
    positions: int
    left_out: frozenset[Spot]
    scheme: str
    first: str
    seen_from: str
    blocked: str

    def entry(self, name: str, kind: HalfKind) -> Half:
        """The half as an entry of the catalogue."""
        return half(
            part_number=name,
            half_kind=kind,
            rows=self.rows,
            contact_count=self.rows * self.positions - len(self.left_out),
            positions=self.positions,
            row_contacts=[],
            blocked=[{"row": row, "position": position} for row, position in sorted(self.left_out)],
            numbering={
                "scheme": self.scheme,
                "first": self.first,
                "seen_from": self.seen_from,
                "blocked": self.blocked,
            },
            dimensions={"pitch": {"value": 0.4}, "row_spacing": {"value": 1.2}},
            counts={},
            categories={},
        )

    def spots(self) -> dict[Spot, str]:
        """The name at each spot of the mating face, x to the right and y upwards, in half steps from the middle."""
        return {spot: str(number) for spot, number in self._numbered().items() if number}

    def _numbered(self) -> dict[Spot, int]:
        every = {
            (2 * position - self.positions - 1, self.rows + 1 - 2 * row): (row, position) in self.left_out
            for row in range(1, self.rows + 1)
            for position in range(1, self.positions + 1)
        }
        found, number = {}, 0
        for spot in sorted(every, key=self._walk):
            gone = every[spot]
            number += not gone or self.blocked == "counted"
            found[spot] = 0 if gone else number
        return found

    def _walk(self, spot: Spot) -> tuple[int, ...]:
        """How far along the way from contact 1 a spot is."""
        picture = spot if self.seen_from == "mating_face" else (-spot[0], spot[1])
        wide, high = self.positions - 1, self.rows - 1
        along = picture[0] + wide if self.first.endswith("left") else wide - picture[0]
        across = high - picture[1] if self.first.startswith("upper") else picture[1] + high
        if self.scheme == "zigzag":
            return along, across
        return across, along if self.scheme == "row_by_row" or across == 0 else -along


def turned_over(spots: Mapping[Spot, str], about: str) -> dict[Spot, str]:
    """The mate seen through its back after it was turned over about the axis ``x`` (along the rows) or ``y``."""
    return {((x, -y) if about == "x" else (-x, y)): name for (x, y), name in spots.items()}


def meeting(half_spots: Mapping[Spot, str], above: Mapping[Spot, str]) -> set[tuple[str, str]]:
    """Pairs of contacts that stand over each other."""
    return {(name, above[spot]) for spot, name in half_spots.items() if spot in above}


def turned_round(spots: Mapping[Spot, str]) -> dict[Spot, str]:
    """The half turned by 180° on the table."""
    return {(-x, -y): name for (x, y), name in spots.items()}


def pushed(spots: Mapping[Spot, str], right: int, up: int) -> dict[Spot, str]:
    """The half pushed by whole steps."""
    return {(x + 2 * right, y + 2 * up): name for (x, y), name in spots.items()}


def said(correspondence: str, ours: Described, theirs: Described) -> set[tuple[str, str]]:
    """The pairs of names that a word means, from the text of the entry's model."""
    mine, other = ours.spots(), theirs.spots()
    if correspondence == "identity":
        return {(name, name) for name in set(mine.values()) & set(other.values())}
    if correspondence == "reversed":
        last = _last(ours)
        return {(name, str(last + 1 - int(name))) for name in mine.values()} & _every(mine, other)
    return {(name, found) for spot, name in mine.items() if (found := _across(spot, ours, theirs)) is not None}


def _last(described: Described) -> int:
    return described.rows * described.positions - (len(described.left_out) if described.blocked == "skipped" else 0)


def _every(mine: Mapping[Spot, str], other: Mapping[Spot, str]) -> set[tuple[str, str]]:
    return {(one, two) for one in mine.values() for two in other.values()}


def _across(spot: Spot, ours: Described, theirs: Described) -> str | None:
    """The mate's contact in the other row, as far from its contact 1's end."""
    along, across = _from_first(spot, ours)
    return next(
        (
            name
            for other, name in theirs.spots().items()
            if _from_first(other, theirs) == (along, 2 * (ours.rows - 1) - across)
        ),
        None,
    )


def _from_first(spot: Spot, described: Described) -> Spot:
    """Steps from the corner of contact 1 along its row and across."""
    picture = spot if described.seen_from == "mating_face" else (-spot[0], spot[1])
    wide, high = described.positions - 1, described.rows - 1
    return (
        picture[0] + wide if described.first.endswith("left") else wide - picture[0],
        high - picture[1] if described.first.startswith("upper") else picture[1] + high,
    )


def possible(pairs: Iterable[tuple[str, str]], ours: Described, theirs: Described) -> bool:
    """Whether some way of laying the mate on the half, also aside, brings all these contacts over each other."""
    wanted = set(pairs)
    mine = {name: spot for spot, name in ours.spots().items()}
    for about in ("x", "y"):
        above = {name: spot for spot, name in turned_over(theirs.spots(), about).items()}
        aside = {(above[two][0] - mine[one][0], above[two][1] - mine[one][1]) for one, two in wanted}
        if len(aside) <= 1:
            return True
    return False
