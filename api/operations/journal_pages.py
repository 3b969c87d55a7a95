"""Pages of the journal, as the JSON interface and the command line show them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.schemas.history import JournalPage
from api.service.paging import decode_cursor, encode_cursor
from catalog.cases.retrieval import was_public
from catalog.history import journal
from catalog.history.journal import JournalEntry

SEEN_BY_KEY = "specimen"
"""Records that may be private: whoever has such a record's key may see its history, and nobody else."""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which rows of the journal."""

    record: str | None = None
    key: str | None = None
    series: str | None = None
    actor: str | None = None
    since: str | None = None

    @property
    def filters(self) -> Mapping[str, str]:
        """What was asked for, by name."""
        return {name: value for name, value in vars(self).items() if value is not None}

    def page(self, session: Session, *, before: int | None = None, limit: int) -> list[JournalEntry]:
        """These rows, the newest first."""
        # The key of a case that was public is no secret: what came before it was public stays private.
        private = self.record == SEEN_BY_KEY and self.key is not None and not was_public(session, self.key)
        return journal.page(
            session,
            before=before,
            limit=limit,
            private=private,
            record=self.record,
            key=self.key,
            series=self.series,
            actor=self.actor,
            since=self.since,
        )


def journal_page(session: Session, version: int, wanted: Wanted, cursor: str | None, limit: int) -> JournalPage:
    """A page of the journal as the JSON interface answers it. Raises ApiError for a cursor of something else."""
    before = decode_cursor(cursor, "journal", wanted.filters)
    rows = wanted.page(session, before=None if before is None else int(before), limit=limit + 1)
    items = tuple(rows[:limit])
    more = encode_cursor(str(items[-1].id), "journal", wanted.filters) if len(rows) > limit else None
    return JournalPage(items=items, next=more, catalogue_version=version)
