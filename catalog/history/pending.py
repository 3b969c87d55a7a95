"""Pending changes: changes that remove something wait, visible to everyone, before they are carried out.

Withdrawing, merging and changing the figures of a confirmed entry wait for `DELAY`; a maintainer may carry them out
earlier or stop them. A change lapses if its entry changes in the meantime.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict
from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import ContributorTable
from catalog.history.acts import Act
from catalog.history.changes import Changed, listed_revision, members, merge, revert, revise, withdraw
from catalog.history.documents import DocumentRecord, add_document, documents, get_document, revise_document
from catalog.model.entries import ENTRY, AnyEntry, Series, document
from catalog.model.entry_states import substance
from catalog.model.errors import CatalogueError, EntryError
from catalog.model.timestamps import read, written
from catalog.records.read import get_record, records_at
from catalog.records.read_models import state_of

RECORD = "pending"
DELAY = timedelta(hours=72)
"""Default time for objections: three days always include a working day."""

Destroying = Literal["revise", "withdraw", "merge"]
Outcome = Literal["waiting", "done", "stopped", "lapsed"]


class Pending(BaseModel):
    """A pending change, made from this ``revision`` of the entry; ``due`` is a timestamp.

    ``content`` is the new content (revise), ``successor`` the half to merge into (merge). ``decided_by`` and
    ``decision`` say who ended the waiting time, and why.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    action: Destroying
    of: str
    key: str
    revision: int
    due: str
    reason: str
    content: dict[str, Any] | None = None
    successor: str | None = None
    clean: bool = False
    decided_by: str | None = None
    decision: str = ""


@dataclass(frozen=True, kw_only=True)
class Submitted:
    """The result of a change: it was made at once (``changed``), or it is waiting (``pending``)."""

    changed: Changed | None = None
    pending: DocumentRecord | None = None


def submit_revision(
    session: Session, act: Act, key: str, entry: AnyEntry, *, clean: bool, delay: timedelta = DELAY
) -> Submitted:
    """Revise an entry. If that changes figures of a confirmed entry, or of a confirmed member of a series, it waits.
    Raises what `revise` raises."""
    if not _changes_confirmed(session, key, entry):
        return Submitted(changed=revise(session, act, key, entry, clean=clean))
    return _wait(session, act, "revise", entry.record, key, delay, content=document(entry), clean=clean)


def submit_revert(
    session: Session, act: Act, record: str, key: str, revision: int, *, delay: timedelta = DELAY
) -> Submitted:
    """Restore an earlier revision. If that changes confirmed figures, it waits. Raises what `revert` raises."""
    earlier = listed_revision(session, record, key, revision)
    if not _changes_confirmed(session, key, earlier.content):
        return Submitted(changed=revert(session, act, record, key, revision))
    return submit_revision(session, act, key, earlier.content, clean=earlier.clean, delay=delay)


def _changes_confirmed(session: Session, key: str, entry: AnyEntry) -> bool:
    """Whether an entry's new content changes confirmed figures: its own, or those of members that follow its laws."""
    before = get_record(session, entry.record, key)
    if before.standing == "confirmed" and substance(before.content) != substance(entry):
        return True
    made = members(entry) if isinstance(entry, Series) else {}
    return any(
        member.standing == "confirmed"
        and state_of(member).from_law
        and substance(member.content) != substance(made[place])
        for place, member in records_at(session, made).items()
    )


def submit_withdrawal(session: Session, act: Act, record: str, key: str, delay: timedelta = DELAY) -> Submitted:
    """Withdraw an entry after the waiting time. Raises what `withdraw` raises."""
    return _wait(session, act, "withdraw", record, key, delay)


def submit_merge(session: Session, act: Act, key: str, successor: str, delay: timedelta = DELAY) -> Submitted:
    """Merge a half into another after the waiting time. Raises what `merge` raises."""
    return _wait(session, act, "merge", "half", key, delay, successor=successor)


def _wait(
    session: Session, act: Act, action: Destroying, of: str, key: str, delay: timedelta, **more: Any
) -> Submitted:
    change = Pending(
        action=action,
        of=of,
        key=key,
        revision=get_record(session, of, key).revision,
        due=written(read(act.at, field="at") + delay),
        reason=act.reason,
        **more,
    )
    with session.begin_nested() as trial:  # refuses a change that could not be made
        _do(session, act, change)
        trial.rollback()
    for other in documents(session, RECORD, of=of, about=key, state="waiting"):
        if other.content["action"] == action:
            raise EntryError(
                f"a change ({action}) of {key} is already waiting, since {other.added_at}",
                field="key",
                value=key,
                remedy="Wait until it is carried out, or ask a maintainer to stop it first",
            )
    waiting = add_document(session, act, RECORD, change, of=of, about=key, state="waiting", action="propose")
    return Submitted(pending=waiting)


def carry_out_due(session: Session, moment: str) -> list[DocumentRecord]:
    """Carry out every waiting change that is due at a time; returns the changes with their outcome."""
    return [_carry_out(session, each, at=moment) for each in due(session, moment)]


def due(session: Session, moment: str) -> list[DocumentRecord]:
    """Waiting changes that are due at a time, oldest first.

    Changes by suspended contributors continue to wait until the suspension ends or a maintainer decides.
    """
    waiting = [each for each in documents(session, RECORD, state="waiting") if each.content["due"] <= moment]
    if not waiting:
        return []
    suspended = select(ContributorTable.name).where(ContributorTable.suspended_at.is_not(None))
    stopped = set(session.execute(suspended).scalars())
    return [each for each in waiting if each.author not in stopped]


def hasten(session: Session, act: Act, key: str) -> DocumentRecord:
    """Carry a waiting change out now, as a maintainer decided. Raises EntryError if it is no longer waiting."""
    return _carry_out(session, _waiting(session, key), at=act.at, decided_by=act)


def stop(session: Session, act: Act, key: str) -> DocumentRecord:
    """Stop a waiting change, as a maintainer or its author decided. Raises EntryError if it is no longer waiting."""
    waiting = _waiting(session, key)
    content = {**waiting.content, "decided_by": act.actor, "decision": act.reason}
    return revise_document(session, act, waiting, "stop", content=content, state="stopped")


def _waiting(session: Session, key: str) -> DocumentRecord:
    found = get_document(session, RECORD, key)
    if found.state != "waiting":
        raise EntryError(
            f"this change is already {found.state}", field="key", value=key, remedy="There is nothing left to decide"
        )
    return found


def _carry_out(session: Session, waiting: DocumentRecord, *, at: str, decided_by: Act | None = None) -> DocumentRecord:
    """Carry a change out as its author's, even if a maintainer decided it."""
    change = Pending.model_validate(waiting.content)
    act = Act(actor=waiting.author, at=at, reason=change.reason, batch=waiting.key)
    decision = decided_by or act
    content = {
        **waiting.content,
        "decided_by": decision.actor if decided_by else None,
        "decision": decision.reason if decided_by else "",
    }
    if get_record(session, change.of, change.key).revision != change.revision:
        content["decision"] = "the entry was changed in the meantime"
        return revise_document(session, decision, waiting, "lapse", content=content, state="lapsed")
    try:
        with session.begin_nested():
            _do(session, act, change)
    except CatalogueError as error:  # the catalogue has changed, and this change is no longer possible
        content["decision"] = str(error)
        return revise_document(session, decision, waiting, "lapse", content=content, state="lapsed")
    return revise_document(
        session, decision, waiting, "hasten" if decided_by else "carry out", content=content, state="done"
    )


def _do(session: Session, act: Act, change: Pending) -> None:
    if change.action == "withdraw":
        withdraw(session, act, change.of, change.key)
    elif change.action == "merge" and change.successor is not None:
        merge(session, act, change.key, change.successor)
    else:
        revise(session, act, change.key, ENTRY.validate_python(change.content), clean=change.clean)
