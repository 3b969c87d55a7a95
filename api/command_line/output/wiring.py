"""Printed contact maps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import bullet, notes, plain, table
from api.fitting.wiring.map_words import meeting_words, sentence, unsure
from api.schemas.fitting.contact_map import ContactMapAnswer, MapView, Misplaced, SeenContact

LEFT_OUT = "left out"


def wiring_blocks(found: ContactMapAnswer, *, tables: bool = True) -> Iterator[RenderableType]:
    """A contact map; without ``tables`` what must be known of one that was written to a file."""
    yield plain(sentence(found))
    for each in (found.half, found.mate):
        if each is not None:
            yield plain(f"{each.part_number}, numbering: {each.numbering}.")
    yield from notes(unsure(found), found.doubts)
    if tables:
        yield plain("")
        yield _contacts(found)
        for view in found.views:
            yield from _view(view)
    yield from _misplaced(found.misplaced)
    yield from notes("Notes", found.notes)
    yield from notes("Before anything is connected", found.cautions)


def _contacts(found: ContactMapAnswer) -> RenderableType:
    mate = () if found.mate is None else (f"on {found.mate.part_number}",)
    rows = table("contact", "net", "role", "reading", "note", *mate, whole=("contact",))
    for each in found.contacts:
        role = f"{each.role}{' ?' if each.role_guessed else ''}" if each.role else ""
        met = () if found.mate is None else (_met(each.mate_contact, found),)
        rows.add_row(*map(plain, (each.contact, each.net, role, each.reading, each.note, *met)))
    return rows


def _met(contact: str | None, found: ContactMapAnswer) -> str:
    if found.sure:
        return contact or "meets none"
    return f"{contact}? verify" if contact else "verify by continuity"


def _view(view: MapView) -> Iterator[RenderableType]:
    """A view as a table: one line for each position from the left, one column for each row from above."""
    yield plain("")
    yield Text(view.title, style="bold")
    if view.ends:
        yield plain(
            "at the ends: " + "; ".join(f"{_cell(each)} {'right' if each.x > 0 else 'left'}" for each in view.ends)
        )
    headings = [f"row {number}{_where(number, len(view.rows))}" for number in range(1, len(view.rows) + 1)]
    rows = table("from the left", *headings, right=("from the left",))
    for position in range(max(map(len, view.rows))):
        cells = [_at(row, position) for row in view.rows]
        rows.add_row(str(position + 1), *map(plain, cells))
    yield rows


def _where(number: int, rows: int) -> str:
    return {1: " (upper)", rows: " (lower)"}.get(number, "") if rows > 1 else ""


def _at(row: Sequence[SeenContact | None], position: int) -> str:
    if position >= len(row):
        return ""
    cell = row[position]
    return LEFT_OUT if cell is None else _cell(cell)


def _cell(cell: SeenContact) -> str:
    return f"{cell.contact}{' ◄' if cell.first else ''} {cell.net}".strip()


def _misplaced(cases: Sequence[Misplaced]) -> Iterator[RenderableType]:
    for case in cases:
        if case.meetings:
            yield plain("")
            yield Text(f"If the half goes in {case.title}", style="bold")
            yield plain(f"Nothing stated stops it: {case.why}.")
            yield from (bullet(meeting_words(each)) for each in case.meetings)
    yield from notes("It should not go in", [f"{each.title}: {each.why}" for each in cases if not each.possible])
