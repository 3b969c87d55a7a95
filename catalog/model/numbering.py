"""The frame in which a half's contacts have their places, its views, and how the contacts are numbered.

The frame of a half: x runs along the rows and y across them. Seen from the mating face, x grows to the right and y
downwards; row 1 is uppermost and position 1 of every row leftmost; the origin is the middle of the field of contacts.
Every drawing here shows the frame as it is, and ``blocked`` names its sites in it.

Every view is this frame with x, y, both or neither reversed (`View`), so views follow each other by multiplication and
each is its own inverse. A half turned over about the axis across its rows shows its board side: x is reversed. Turned
half way round in its plane, both are. A mate faces its half, so a contact at x of one lies at −x of the other. A flex
that is folded over, with the fold along the rows, has y reversed; with the fold across the rows, x. One reversal shows
the other face: with an odd number of them the board side is seen, with an even number the mating face.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, zip_longest
from types import MappingProxyType
from typing import Literal

from pydantic import BaseModel, ConfigDict

Place = tuple[int, int]
"""A contact site: row and position, both from 1, in the half's frame."""

Side = Literal["mating_face", "board_side"]
Corner = Literal["upper_left", "upper_right", "lower_left", "lower_right"]
Scheme = Literal["row_by_row", "zigzag", "around"]


@dataclass(frozen=True, kw_only=True)
class View:
    """The frame as somebody sees it: ``x`` and ``y`` are −1 where that axis is reversed, else 1."""

    x: int = 1
    y: int = 1

    def then(self, other: View) -> View:
        """This view, seen through another one."""
        return View(x=self.x * other.x, y=self.y * other.y)

    def of(self, x: float, y: float) -> tuple[float, float]:
        """A point of the frame as it is seen; also from what is seen back to the frame."""
        return self.x * x, self.y * y

    def of_place(self, place: Place, row_lengths: Sequence[int]) -> Place:
        """A site by its row from above and position from the left as seen, and back. ``row_lengths`` are the sites of
        each row from above, as the place given is told."""
        row, position = place
        return (
            row if self.y > 0 else len(row_lengths) + 1 - row,
            position if self.x > 0 else row_lengths[row - 1] + 1 - position,
        )

    @property
    def side(self) -> Side:
        """Which side of the half this view shows."""
        return "mating_face" if self.x * self.y > 0 else "board_side"


AS_IT_IS = View()
HALF_TURN = View(x=-1, y=-1)
FACING = View(x=-1)

SIDES: Mapping[Side, View] = MappingProxyType({"mating_face": AS_IT_IS, "board_side": View(x=-1)})
"""The view of a half from each of its sides."""

_CORNERS: Mapping[Corner, Place] = MappingProxyType(
    {"upper_left": (-1, -1), "upper_right": (1, -1), "lower_left": (-1, 1), "lower_right": (1, 1)}
)


class Numbering(BaseModel):
    """How the contacts of a half are numbered, from 1.

    ``first`` is the corner where contact 1 stands, as ``seen_from`` one side shows it. From there ``row_by_row``
    numbers each row from the same end; ``zigzag`` goes from one row to the other, so that 1 and 2 face each other;
    ``around`` follows the row of contact 1 and comes back along the other, as the leads of a dual-row package do. The
    corner says which way round that is.

    ``blocked``: whether blocked positions take a number (counted) or none (skipped). ``power`` and ``hold_downs``:
    whether power contacts and hold-downs are numbered ``apart`` (P1, P2 …; H1, H2 …, in the same scheme from the same
    corner) or ``after`` the contacts, in the same count; hold-downs may have no number (none). None: not stated.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    scheme: Scheme
    first: Corner
    seen_from: Side
    blocked: Literal["skipped", "counted"] | None = None
    power: Literal["apart", "after"] | None = None
    hold_downs: Literal["apart", "after", "none"] | None = None

    def check(self, rows: int, row_contacts: Sequence[int], *, blocked: bool) -> None:
        """Raise ValueError where a half of these rows cannot be numbered so."""
        if self.scheme != "row_by_row" and rows != 2:
            raise ValueError(f"numbering {self.scheme} needs two rows, not {rows}; give row_by_row")
        if blocked and self.blocked is None:
            raise ValueError("numbering must say whether blocked positions are skipped or counted")
        if self.scheme == "zigzag" and len(row_contacts) == rows:
            own, other = row_contacts if self.corner[1] < 0 else row_contacts[::-1]
            if own - other not in (0, 1):
                raise ValueError("zigzag numbers alternate, so the row of contact 1 has as many contacts or one more")

    @property
    def corner(self) -> Place:
        """The corner of contact 1 in the half's frame: the signs of its x and y."""
        view, (x, y) = SIDES[self.seen_from], _CORNERS[self.first]
        return view.x * x, view.y * y

    @property
    def clockwise(self) -> bool:
        """Whether ``around`` goes clockwise, seen from the side that is stated."""
        x, y = _CORNERS[self.first]
        return x * y > 0

    def numbers(self, row_lengths: Sequence[int], blocked: Collection[Place] = ()) -> dict[Place, int]:
        """The number of each site with a contact, in their order; ``row_lengths`` count blocked sites."""
        counted = [place for place in self._sequence(row_lengths) if self.blocked == "counted" or place not in blocked]
        return {place: number for number, place in enumerate(counted, 1) if place not in blocked}

    def _sequence(self, row_lengths: Sequence[int]) -> list[Place]:
        """All sites in the order of numbering."""
        x, y = self.corner
        rows = [[(row, position) for position in range(1, length + 1)] for row, length in enumerate(row_lengths, 1)]
        ordered = [row if x < 0 else row[::-1] for row in (rows if y < 0 else rows[::-1])]
        if self.scheme == "around":
            return [*ordered[0], *chain.from_iterable(row[::-1] for row in ordered[1:])]
        if self.scheme == "zigzag":
            return [place for column in zip_longest(*ordered) for place in column if place is not None]
        return list(chain.from_iterable(ordered))
