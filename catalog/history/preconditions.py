"""Preconditions (ETag and If-Match): a change must not overwrite a change made by another person in the meantime."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import ENTRY_TABLES, DocumentTable
from catalog.history.journal import last_about
from catalog.model.errors import NotFoundError, PreconditionError, StaleError


def tag_of(session: Session, record: str, key: str) -> str:
    """The ETag of a record: its revision, and the number of the journal's last row about it. Raises NotFoundError."""
    table = ENTRY_TABLES.get(record, DocumentTable).__table__
    statement = select(table.c.revision).where(table.c.key == key)
    if record not in ENTRY_TABLES:
        statement = statement.where(table.c.record == record)
    revision = session.execute(statement).scalar_one_or_none()
    if revision is None:
        raise NotFoundError(f"no {record} has the key {key!r}", field="key", value=key, remedy="Check the address")
    return f"{revision}-{last_about(session, record, key)}"


def require_unchanged(session: Session, record: str, key: str, tag: str | None) -> None:
    """Raise PreconditionError if there is no ETag, and StaleError if it is not the present one of the record."""
    if tag is None:
        raise PreconditionError(
            "the change does not say which state it was made from",
            field="If-Match",
            remedy="Read the record, and send its ETag as If-Match",
        )
    present = tag_of(session, record, key)
    if tag != present:
        same = tag.partition("-")[0] == present.partition("-")[0]
        what = "said something about it" if same else "changed it"
        raise StaleError(
            f"another person {what} after you read it",
            field="If-Match",
            value=tag,
            remedy="Read it again. If your change still makes sense, send it with the new ETag; nothing was changed",
        )
