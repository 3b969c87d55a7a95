"""Tables of people and of what they said: contributors, tokens, the journal, documents, requests already answered.

Names are kept beside numbers: a journal row outlives the entry that it tells of and the person who made it.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import Mapped, mapped_column

from catalog.db.tables import (
    Base,
    Choice,
    Id,
    Key,
    KeyText,
    LongText,
    Moment,
    Name,
    OptionalChoice,
    OptionalText,
    one_of,
)

Document = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")


class ContributorTable(Base):
    """Somebody who may add or keep. ``key`` is the slug of the name; nothing is taken from them while suspended."""

    __tablename__ = "contributors"
    __table_args__ = (CheckConstraint(one_of("role", "contributor", "maintainer"), name="role"),)
    id: Mapped[Id]
    key: Mapped[Key]
    name: Mapped[Name]
    role: Mapped[Choice]
    added_at: Mapped[Moment]
    suspended_at: Mapped[Moment | None] = mapped_column(String(27))


class TokenTable(Base):
    """A token: only its SHA-256 is kept. ``start`` are its first characters, to tell tokens apart by."""

    __tablename__ = "tokens"
    __table_args__ = (Index(None, "contributor_id"),)
    id: Mapped[Id]
    contributor_id: Mapped[int] = mapped_column(ForeignKey("contributors.id"))
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    start: Mapped[str] = mapped_column(String(16))
    label: Mapped[LongText]
    scopes: Mapped[Name]
    created_at: Mapped[Moment]
    expires_at: Mapped[Moment | None] = mapped_column(String(27))
    last_used_at: Mapped[Moment | None] = mapped_column(String(27))
    revoked_at: Mapped[Moment | None] = mapped_column(String(27))
    revoked_by: Mapped[OptionalText]


class JournalTable(Base):
    """What happened, in order: never changed, never deleted.

    ``old`` and ``new`` are the record before and after (`catalog.history.states`); ``of`` and ``about`` are record
    and key of what a document speaks of; ``batch`` is shared by rows of one act.
    ``private`` rows tell of what only those see who have its address.
    """

    __tablename__ = "journal"
    __table_args__ = (
        CheckConstraint("revision >= 1", name="revision"),
        UniqueConstraint("record", "key", "revision"),
        Index(None, "about"),
        Index(None, "actor"),
    )
    id: Mapped[Id]
    at: Mapped[Moment]
    actor: Mapped[Name]
    action: Mapped[Choice]
    record: Mapped[Choice]
    key: Mapped[str] = mapped_column(KeyText)
    of: Mapped[OptionalChoice]
    about: Mapped[str | None] = mapped_column(KeyText)
    revision: Mapped[int]
    old: Mapped[dict[str, Any] | None] = mapped_column(Document)
    new: Mapped[dict[str, Any]] = mapped_column(Document)
    reason: Mapped[LongText]
    batch: Mapped[LongText]
    private: Mapped[bool]


class DocumentTable(Base):
    """What people said beside entries: sightings, confirmations, disputes, specimens, pending changes …

    ``of`` and ``about`` are record and key of what is spoken of, ``content`` is the record's model, ``state`` its word.
    """

    __tablename__ = "documents"
    __table_args__ = (
        CheckConstraint("revision >= 1", name="revision"),
        Index(None, "record", "state"),
        Index(None, "about"),
    )
    id: Mapped[Id]
    record: Mapped[Choice]
    key: Mapped[Key]
    of: Mapped[OptionalChoice]
    about: Mapped[str | None] = mapped_column(KeyText)
    state: Mapped[Choice]
    private: Mapped[bool]
    revision: Mapped[int]
    author: Mapped[Name]
    added_at: Mapped[Moment]
    changed_at: Mapped[Moment]
    content: Mapped[dict[str, Any]] = mapped_column(Document)


class AnsweredRequest(Base):
    """An acknowledged request under its own key, so that sending it twice acts once."""

    __tablename__ = "answered_requests"
    __table_args__ = (UniqueConstraint("actor", "key"),)
    id: Mapped[Id]
    actor: Mapped[Name]
    key: Mapped[str] = mapped_column(Text)
    digest: Mapped[str] = mapped_column(String(64))
    status: Mapped[int]
    answer: Mapped[dict[str, Any]] = mapped_column(Document)
    at: Mapped[Moment]
