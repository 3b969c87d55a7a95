"""Idempotency: a request that is sent twice with the same key acts once, and gets the same answer twice."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from catalog.db.tables import AnsweredRequest
from catalog.history.acts import Act
from catalog.model.errors import EntryError, KeyReusedError

LONGEST_KEY = 200
"""Most characters of an idempotency key."""


@dataclass(frozen=True, kw_only=True)
class RequestKey:
    """The idempotency key of a request, and the digest of its content."""

    key: str
    digest: str


def request_key(key: str, *asked: bytes) -> RequestKey:
    """The key of a request with the content ``asked``. Raises EntryError if it is empty, too long or not ASCII."""
    if not 1 <= len(key) <= LONGEST_KEY or not key.isascii() or not key.isprintable():
        raise EntryError(
            "this idempotency key cannot be used",
            field="Idempotency-Key",
            value=key[:LONGEST_KEY],
            remedy=f"Send 1 to {LONGEST_KEY} printable ASCII characters, new for every request, such as a UUID",
        )
    digest = hashlib.sha256()
    for part in asked:
        digest.update(len(part).to_bytes(8, "big") + part)
    return RequestKey(key=key, digest=digest.hexdigest())


def answered(session: Session, act: Act, request: RequestKey) -> tuple[int, dict[str, Any]] | None:
    """Status and answer of an earlier request with this key; None if there was none. Raises KeyReusedError."""
    statement = select(AnsweredRequest).where(AnsweredRequest.actor == act.actor, AnsweredRequest.key == request.key)
    row = session.execute(statement).scalar_one_or_none()
    if row is None:
        return None
    if row.digest != request.digest:
        raise KeyReusedError(
            "an earlier request with this key asked for something else",
            field="Idempotency-Key",
            value=request.key,
            remedy="Use a new key for every new request; use a key again only with the same body",
        )
    return row.status, row.answer


def remember(session: Session, act: Act, request: RequestKey, status: int, answer: dict[str, Any]) -> None:
    """Store an answer, in the same transaction as the change that it acknowledges."""
    row = {"actor": act.actor, "at": act.at, "status": status, "answer": answer, **vars(request)}
    session.execute(insert(AnsweredRequest), row)
