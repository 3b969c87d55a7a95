"""Documents: all records other than entries (evidence, comments, cases etc.), with their revisions."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict
from sqlalchemy import false, insert, select, update
from sqlalchemy.orm import Session

from catalog.db.engines import chunks
from catalog.db.tables import DocumentTable
from catalog.history.acts import Act
from catalog.history.journal import Change, append
from catalog.model.errors import NotFoundError

LARGEST_PAGE = 500
"""Most documents on one page."""

KEY_BYTES = 16
"""Random bytes of a document's key. It cannot be guessed, so only people with its address find a private document."""


class DocumentRecord(BaseModel):
    """A document as it is now; ``of`` and ``about`` are the record and key that it is about."""

    model_config = ConfigDict(frozen=True, from_attributes=True)

    id: int
    record: str
    key: str
    of: str | None
    about: str | None
    state: str
    private: bool
    revision: int
    author: str
    added_at: str
    changed_at: str
    content: dict[str, Any]


_JOURNALED = {"content", "state", "private"}
"""The fields of a document that the journal keeps."""


def new_key() -> str:
    """A key for a new document: only letters and digits, so that it can be selected as one word and never looks like
    an option of a command."""
    return base64.b32encode(secrets.token_bytes(KEY_BYTES)).decode().rstrip("=").lower()


def written(content: BaseModel) -> dict[str, Any]:
    """A document's content as it is stored."""
    return content.model_dump(mode="json", exclude_defaults=True)


def add_document(
    session: Session,
    act: Act,
    record: str,
    content: BaseModel,
    *,
    of: str | None = None,
    about: str | None = None,
    state: str = "listed",
    private: bool = False,
    key: str | None = None,
    action: str = "add",
) -> DocumentRecord:
    """Add a document in the session's writing transaction, with its row in the journal."""
    made = _made(act, record, content, of=of, about=about, state=state, private=private, key=key)
    id_ = session.execute(insert(DocumentTable).returning(DocumentTable.id), made).scalar_one()
    document = DocumentRecord(id=id_, **made)
    append(session, act, action, [_change(None, document)])
    return document


def add_documents(session: Session, act: Act, record: str, given: Sequence[tuple[BaseModel, str]], *, of: str) -> None:
    """Add many documents at once: content and key of the ``of`` that each is about."""
    made = [
        _made(act, record, content, of=of, about=about, state="listed", private=False, key=None)
        for content, about in given
    ]
    for chunk in chunks(made):
        session.execute(insert(DocumentTable), chunk)
    append(session, act, "add", (_change(None, DocumentRecord(id=0, **each)) for each in made))


def _made(
    act: Act,
    record: str,
    content: BaseModel,
    *,
    of: str | None,
    about: str | None,
    state: str,
    private: bool,
    key: str | None,
) -> dict[str, Any]:
    """The columns of a new document."""
    return {
        "record": record,
        "key": key or new_key(),
        "of": of,
        "about": about,
        "state": state,
        "private": private,
        "revision": 1,
        "author": act.actor,
        "added_at": act.at,
        "changed_at": act.at,
        "content": written(content),
    }


def revise_document(
    session: Session,
    act: Act,
    document: DocumentRecord,
    action: str,
    *,
    content: BaseModel | dict[str, Any] | None = None,
    state: str | None = None,
    private: bool | None = None,
) -> DocumentRecord:
    """Write the next revision of a document, which was read in this transaction, with its row in the journal."""
    stored = written(content) if isinstance(content, BaseModel) else content
    after = document.model_copy(
        update={
            "content": document.content if stored is None else stored,
            "state": state or document.state,
            "private": document.private if private is None else private,
            "revision": document.revision + 1,
            "changed_at": act.at,
        }
    )
    changed = after.model_dump(include={"content", "state", "private", "revision", "changed_at"})
    session.execute(update(DocumentTable).where(DocumentTable.id == document.id).values(**changed))
    append(session, act, action, [_change(document, after)])
    return after


def _change(before: DocumentRecord | None, after: DocumentRecord) -> Change:
    return Change(
        record=after.record,
        key=after.key,
        revision=after.revision,
        old=None if before is None else before.model_dump(include=_JOURNALED),
        new=after.model_dump(include=_JOURNALED),
        of=after.of,
        about=after.about,
        private=after.private or (before is not None and before.private),
    )


def get_document(session: Session, record: str, key: str) -> DocumentRecord:
    """The document with this key; raises NotFoundError."""
    statement = select(DocumentTable).where(DocumentTable.record == record, DocumentTable.key == key)
    row = session.execute(statement).scalar_one_or_none()
    if row is None:
        raise NotFoundError(f"no {record} has the key {key!r}", field="key", value=key, remedy="Check the address")
    return DocumentRecord.model_validate(row)


def documents(
    session: Session,
    record: str,
    *,
    of: str | None = None,
    about: str | None = None,
    state: str | None = None,
    author: str | None = None,
    private: bool = False,
    among: Sequence[str] | None = None,
    after: int | None = None,
    limit: int | None = None,
) -> list[DocumentRecord]:
    """Documents of one record, oldest first, after the number ``after``; ``private``: including private ones,
    ``among``: about any of these."""
    statement = select(DocumentTable).where(DocumentTable.record == record).order_by(DocumentTable.id).limit(limit)
    for column, wanted in (
        (DocumentTable.of, of),
        (DocumentTable.about, about),
        (DocumentTable.state, state),
        (DocumentTable.author, author),
    ):
        if wanted is not None:
            statement = statement.where(column == wanted)
    if not private:
        statement = statement.where(DocumentTable.private == false())
    if among is not None:
        statement = statement.where(DocumentTable.about.in_(among))
    if after is not None:
        statement = statement.where(DocumentTable.id > after)
    return [DocumentRecord.model_validate(row) for row in session.execute(statement).scalars()]
