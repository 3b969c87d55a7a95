"""Pages of the journal and of documents, for the JSON interface, the web pages and the command line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from sqlalchemy.orm import Session

from api.schemas.history import JournalPage
from api.service.paging import Listing, Part
from api.service.problems import ApiError
from catalog.cases.retrieval import was_public
from catalog.history import journal
from catalog.history.documents import DocumentRecord, documents
from catalog.history.journal import JournalEntry
from catalog.model.timestamps import read, written

SEEN_BY_KEY = "specimen"
"""The kind of record that can be private: only people with its key may see its history."""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Filters of the journal's rows."""

    record: str | None = None
    key: str | None = None
    series: str | None = None
    actor: str | None = None
    since: str | None = None

    @classmethod
    def asked(cls, *, since: str | None = None, **filters: str | None) -> Self:
        """Filters from a request, with ``since`` as text. Raises ApiError for a key without its record, and EntryError
        for a ``since`` that is not a date or time."""
        made = cls(since=None if since is None else written(read(since, field="since")), **filters)
        if made.key is not None and made.record is None:
            message = "a key needs its record: a half and a series can have the same key"
            raise ApiError.at("record", message, "Add record half, series, mating …", value=made.key)
        return made

    @property
    def filters(self) -> Mapping[str, str]:
        """The filters that are set, by name."""
        return {name: value for name, value in vars(self).items() if value is not None}

    def page(self, session: Session, *, before: int | None = None, limit: int) -> list[JournalEntry]:
        """The matching rows, newest first."""
        # The key of a case that has been public is no secret: its rows from before that stay hidden.
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
    """A page of the journal in the interface's form. Raises ApiError for a cursor of another list."""
    listing = Listing(name="journal", cursor=cursor, limit=limit, filters=wanted.filters)
    found = listing.page(lambda before, most: wanted.page(session, before=before, limit=most), lambda row: row.id)
    return JournalPage(items=found.items, next=found.next, catalogue_version=version)


def documents_page(
    session: Session, record: str, cursor: str | None, limit: int, **filters: str | None
) -> Part[DocumentRecord]:
    """A page of the public documents of one kind, oldest first. Raises ApiError for a cursor of another list."""
    listing = Listing(name=record, cursor=cursor, limit=limit, filters=filters)
    return listing.page(
        lambda after, most: documents(session, record, after=after, limit=most, private=False, **filters),
        lambda document: document.id,
    )
