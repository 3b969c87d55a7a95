"""Which contact of a half stands where: the names of its sites, by its numbering."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from catalog.model.entries import Half
from catalog.model.numbering import Place

POWER, HOLD_DOWN = "P", "H"
"""Letters before the numbers of what is numbered apart. Our own choice: makers use several."""

END_ROWS: Mapping[int, Sequence[int]] = {2: (2,), 4: (2, 2)}
"""Power contacts or hold-downs by their number, as rows of places at the two ends; of other numbers the arrangement is
not known."""


def row_lengths(half: Half) -> Sequence[int]:
    """Contact sites per row, blocked ones included, from row 1."""
    if half.blocked or (half.positions is not None and not half.row_contacts):
        return (half.contacts_per_row,) * half.rows
    return half.row_contacts or split(half.contact_count, half.rows)


def split(contacts: int, rows: int) -> tuple[int, ...]:
    """Contacts per row, as equal as possible."""
    return tuple(contacts // rows + (row < contacts % rows) for row in range(rows))


def blocked_places(half: Half) -> frozenset[Place]:
    """The sites without a contact."""
    return frozenset((site.row, site.position) for site in half.blocked)


def named_sites(half: Half) -> dict[Place, str]:
    """The name of the contact at each site; empty where the numbering is not stated, or where the entry does not say
    which sites are left out."""
    lengths, blocked = row_lengths(half), blocked_places(half)
    if half.numbering is None or sum(lengths) - len(blocked) != half.contact_count:
        return {}
    return half.numbering.names(lengths, blocked)


def first_contact(half: Half) -> Place | None:
    """The site of contact 1, None where it is not known or left out."""
    return next((place for place, name in named_sites(half).items() if name == "1"), None)
