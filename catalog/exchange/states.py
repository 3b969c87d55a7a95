"""What a journal's rows come to: every record as its last row left it, with whose it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from pydantic import ValidationError

from catalog.exchange.whole import Row
from catalog.model.entry_states import ENTRIES, Stood, stood, substance
from catalog.model.errors import FileError


@dataclass(kw_only=True)
class Told:
    """A record as its rows tell it: the first and the last of them, and who first gave each substance, and when."""

    first: Row
    last: Row
    stood: Stood | None = None
    substances: dict[str, tuple[int, str]] = field(default_factory=dict)

    @property
    def substance(self) -> tuple[int, str]:
        """Revision and author that first gave the substance that is in force."""
        if self.stood is None:
            raise TypeError("a document has no substance")
        return self.substances[_digest(self.stood)]


def _digest(entry: Stood) -> str:
    return repr(substance(entry.content))


Place = tuple[str, str]
"""Record and key."""


def states(rows: Iterable[Row], path: str) -> dict[Place, Told]:
    """Every record of the rows, in the order in which they began.

    Raises FileError for rows that leave a revision out or begin from another state than the one before left.
    """
    found: dict[Place, Told] = {}
    for row in rows:
        place = (row.record, row.key)
        told = found.get(place)
        _check_follows(row, told, path)
        if told is None:
            told = found[place] = Told(first=row, last=row)
        told.last = row
        if row.record in ENTRIES:
            try:
                told.stood = stood(row.new)
            except (ValidationError, KeyError, TypeError) as error:
                raise _broken(row, path, f"holds no {row.record}: {error}") from error
            told.substances.setdefault(_digest(told.stood), (row.revision, row.actor))
    return found


def _check_follows(row: Row, told: Told | None, path: str) -> None:
    """A record may begin at any revision: what stood before there was a journal, and what was private, left no row."""
    if told is None:
        return
    before = told.last
    apart = row.record not in ENTRIES and row.revision > before.revision + 1  # private meanwhile
    if not apart and (row.revision != before.revision + 1 or row.old != before.new):
        raise _broken(row, path, f"does not follow revision {before.revision}")


def _broken(row: Row, path: str, what: str) -> FileError:
    return FileError(
        f"row {row.id}, {row.record} {row.key} revision {row.revision}, {what}",
        path=path,
        field=f"journal[{row.id}]",
        remedy="Export the catalogue anew",
    )
