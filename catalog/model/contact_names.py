"""Which contact of a half stands where, by its numbering."""

from __future__ import annotations

from collections.abc import Sequence

from catalog.model.entries import Half
from catalog.model.numbering import Place


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


def numbered_sites(half: Half) -> dict[Place, int]:
    """The number of the contact at each site; empty where the numbering is not stated, or where the entry does not say
    which sites are left out."""
    lengths, blocked = row_lengths(half), blocked_places(half)
    if half.numbering is None or sum(lengths) - len(blocked) != half.contact_count:
        return {}
    return half.numbering.numbers(lengths, blocked)


def first_contact(half: Half) -> Place | None:
    """The site of contact 1, None where it is not known or left out."""
    return next((place for place, number in numbered_sites(half).items() if number == 1), None)
