"""The positions of the contacts of a half: mm from the centre of the contact field, the datum of every drawing."""

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
    staggered = sizes.only("contact_layout", "staggered")
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
