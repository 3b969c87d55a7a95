"""The positions of the contacts of a half and of their tails: mm from the centre of the contact field, the datum of
every drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing.sizes import Sizes


@dataclass(frozen=True, kw_only=True)
class Site:
    """One contact site; ``row`` and ``position`` count from 1, ``bank`` from 0."""

    row: int
    position: int
    bank: int
    x: float
    y: float
    blocked: bool


def contact_sites(sizes: Sizes) -> tuple[Site, ...]:
    """Every site of the half, row by row.

    The datum is the middle between the first and the last site along the rows (blocked ones count as sites) and between
    the outermost rows across. In an aligned half shorter rows keep to the grid of the longest; in a staggered one they
    stand in its middle, or half a pitch aside where that would not stagger them.
    """
    rows = [_row_starts(sizes, row) for row in range(sizes.rows)]
    occupied = [row for row in rows if row]
    middle = (min(row[0][1] for row in occupied) + max(row[-1][1] for row in occupied)) / 2
    spacing, outermost = sizes.mm("row_spacing"), (sizes.rows - 1) / 2
    return tuple(
        Site(
            row=row + 1,
            position=place + 1,
            bank=bank,
            x=x - middle,
            y=spacing * (row - outermost),
            blocked=(row + 1, place + 1) in sizes.blocked,
        )
        for row, sites in enumerate(rows)
        for place, (bank, x) in enumerate(sites)
    )


def _row_starts(sizes: Sizes, row: int) -> list[tuple[int, float]]:
    """(bank, x) of a row's sites, from any origin that all rows share."""
    grid = _grid(sizes)
    count, missing = sizes.row_contacts[row], sizes.positions - sizes.row_contacts[row]
    first = missing // 2
    pitch = sizes.mm("pitch")
    staggered = _staggered(sizes, "contact_layout", "tail_layout")
    shift = pitch / 2 if staggered and (missing % 2 == 1 or (row % 2 == 1 and _even(sizes))) else 0.0
    return [(bank, x + shift) for bank, x in grid[first : first + count]]


def _even(sizes: Sizes) -> bool:
    """Whether all rows would fall on one grid if each stood in the middle."""
    return all((sizes.positions - count) % 2 == 0 for count in sizes.row_contacts)


def _grid(sizes: Sizes) -> list[tuple[int, float]]:
    pitch, gap = sizes.mm("pitch"), sizes.mm("bank_gap")
    per_bank = bank_sizes(sizes.positions, sizes.banks)
    places: list[tuple[int, float]] = []
    x = 0.0
    for bank, count in enumerate(per_bank):
        places += [(bank, x + pitch * place) for place in range(count)]
        x += pitch * (count - 1) + gap
    return places


def bank_sizes(positions: int, banks: int) -> Sequence[int]:
    """Contacts of a row in each group, as equal as possible."""
    return [positions // banks + (bank < positions % banks) for bank in range(banks)]


def _staggered(sizes: Sizes, category: str, otherwise: str) -> bool:
    """Whether two rows of contacts, or of tails, stand half a pitch apart; the one that is not stated is as the
    other."""
    layout = sizes.form(category, "")
    return (layout if layout in ("aligned", "staggered") else sizes.form(otherwise, "")) == "staggered"


def one_sided(sizes: Sizes) -> bool:
    """Whether all tails of a single row leave to one side."""
    return sizes.rows == 1 and sizes.only("tail_layout", "one_row")


def tail_places(sizes: Sizes, sites: Sequence[Site], side: float) -> list[float]:
    """Places along the rows of the tails on one long side (−1 upper, 1 lower), mm.

    Tails that leave alternately, and those of a pitch of their own, stand at the tail pitch; those of two rows stand
    opposite each other or half a pitch apart as stated of them; all others stand at their contacts.
    """
    row = 1 if side < 0 else sizes.rows
    own = [site for site in sites if site.row == row and not site.blocked]
    natural, aside = sizes.mm("pitch"), 0.0
    if one_sided(sizes):
        own = own if side > 0 else []
    elif sizes.rows == 1 and sizes.only("tail_layout", "alternating"):
        own = [site for site in own if site.position % 2 == (1 if side < 0 else 0)]
        natural *= 2
    elif sizes.rows == 2:
        more = _staggered(sizes, "tail_layout", "contact_layout") - _staggered(sizes, "contact_layout", "tail_layout")
        aside = side * more * natural / 4
    if not sizes.known("tail_pitch") or sizes.banks > 1 or len(own) < 2:
        return [site.x + aside for site in own]
    middle = (own[0].x + own[-1].x) / 2
    stretch = sizes.mm("tail_pitch") / natural
    return [middle + aside + (site.x - middle) * stretch for site in own]
