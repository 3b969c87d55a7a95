"""Contributors are added, change roles, and are suspended and restored. Nobody is ever deleted."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import func, insert, select, update
from sqlalchemy.orm import Session

from catalog.accounts.access import Role
from catalog.accounts.token_format import masked
from catalog.db.tables import ContributorTable, JournalTable
from catalog.history.acts import OPERATOR, Act
from catalog.history.journal import Change, append
from catalog.model.entries import slug
from catalog.model.errors import DuplicateError, EntryError, NotFoundError
from catalog.model.text_fields import plain_line

RECORD = "contributor"
"""Kind of record in the journal."""

LONGEST_NAME = 80
LONGEST_REASON = 500
"""Most characters of a name, and of the reason for a suspension."""

IN_ADDRESSES = frozenset("/\\")
"""Characters that a name must not contain, since it is part of addresses."""

RESERVED = (OPERATOR, "anonymous")
"""Names with a special meaning in the journal."""

GIVEN_ROLES = (Role.CONTRIBUTOR, Role.MAINTAINER)
"""Roles that can be given: readers need none, and the operator is whoever has access to the database."""


@dataclass(frozen=True, kw_only=True)
class Contributor:
    """Somebody who may contribute. ``key`` is the slug of the name; ``suspended_at`` a moment (None: not suspended) and
    ``suspended_for`` the reason."""

    id: int
    key: str
    name: str
    role: Role
    added_at: str
    suspended_at: str | None
    suspended_for: str = ""


def add(session: Session, act: Act, name: str, role: Role = Role.CONTRIBUTOR) -> Contributor:
    """Add a contributor. Raises EntryError for an impossible name or role, DuplicateError for an existing one."""
    given, checked = _checked_name(name), _checked_role(role)
    key = slug(given)
    standing = _row(session, key)
    if standing is not None:
        raise DuplicateError(
            f"there is a contributor called {standing.name!r}",
            field="name",
            value=given,
            remedy="Give another name; upper and lower case, spaces and signs make no difference",
        )
    values = {"key": key, "name": given, "role": checked.value, "added_at": act.at}
    session.execute(insert(ContributorTable).values(values))
    return _journalled(session, act, "added", key, old=None)


def get(session: Session, name: str) -> Contributor:
    """The contributor of this name or key; raises NotFoundError."""
    row = _row(session, slug(unicodedata.normalize("NFKC", name)))
    if row is None:
        raise NotFoundError(
            f"no contributor is called {name!r}",
            field="name",
            value=name,
            remedy="List the contributors to see the names, or add this one first",
        )
    return _contributor(row, _reasons(session, row.key).get(row.key, ""))


def listed(session: Session) -> tuple[Contributor, ...]:
    """Everybody, in the order of their keys."""
    rows = session.execute(select(ContributorTable).order_by(ContributorTable.key)).scalars()
    reasons = _reasons(session)
    return tuple(_contributor(row, reasons.get(row.key, "")) for row in rows)


def nobody_yet(session: Session) -> bool:
    """Whether the catalogue has no contributor at all."""
    return session.execute(select(ContributorTable.id).limit(1)).first() is None


def change_role(session: Session, act: Act, name: str, role: Role) -> Contributor:
    """Give a contributor another role; the same one again changes nothing. Raises NotFoundError, EntryError."""
    before, checked = get(session, name), _checked_role(role)
    if before.role is checked:
        return before
    return _changed(session, act, "role_changed", before, role=checked.value)


def suspend(session: Session, act: Act, name: str) -> Contributor:
    """Suspend a contributor, for the act's reason. Raises NotFoundError, EntryError without a reason or for somebody
    who is suspended already."""
    before = get(session, name)
    act = replace(act, reason=checked_line(act.reason, field="reason", least=1, most=LONGEST_REASON))
    if before.suspended_at is not None:
        raise EntryError(
            f"{before.name} is suspended since {before.suspended_at}: {before.suspended_for}",
            field="name",
            value=before.name,
            remedy="Lift the suspension first if you want to give another reason",
        )
    return _changed(session, act, "suspended", before, suspended_at=act.at)


def lift(session: Session, act: Act, name: str) -> Contributor:
    """End a suspension. Raises NotFoundError, EntryError for somebody who is not suspended."""
    before = get(session, name)
    act = replace(act, reason=checked_line(act.reason, field="reason", least=0, most=LONGEST_REASON))
    if before.suspended_at is None:
        raise EntryError(
            f"{before.name} is not suspended", field="name", value=before.name, remedy="There is nothing to lift"
        )
    return _changed(session, act, "lifted", before, suspended_at=None)


def checked_line(text: str, *, field: str, least: int, most: int) -> str:
    """The text as a single plain line of ``least`` to ``most`` characters (`catalog.model.text_fields`).

    Raises EntryError, also for a text that contains a token: labels and reasons are shown to others.
    """
    bare = text.strip()
    if not least <= len(bare) <= most:
        bounds = f"{least} to {most}" if least else f"at most {most}"
        raise EntryError(
            f"the {field} has {len(bare)} characters", field=field, value=bare, remedy=f"Give {bounds} characters"
        )
    if masked(bare) != bare:
        raise EntryError(
            f"the {field} contains a token",
            field=field,
            value=masked(bare),
            remedy="Leave it out, and revoke it if it has leaked",
        )
    try:
        return plain_line(bare)
    except ValueError as error:
        raise EntryError(
            f"the {field}: {error}",
            field=field,
            value=bare,
            remedy="Write it on one line, with visible characters and plain spaces",
        ) from error


def _checked_name(name: str) -> str:
    """The name as it is stored: compatibility forms folded as RFC 8266 (nicknames) does, single spaces."""
    folded = re.sub(" +", " ", unicodedata.normalize("NFKC", name))
    given = checked_line(folded, field="name", least=1, most=LONGEST_NAME)
    if not given.isprintable() or not given[0].isalnum() or set(given) & IN_ADDRESSES:
        raise EntryError(
            "a name is made of printable characters, begins with a letter or a digit, and contains no / or \\",
            field="name",
            value=given,
            remedy="Begin with a letter or a digit, and leave out invisible characters and slashes",
        )
    if slug(given) in RESERVED:
        raise EntryError(
            f"the name {given!r} is reserved", field="name", value=given, remedy="Give the name of a person or group"
        )
    return given


def _checked_role(role: Role) -> Role:
    if role not in GIVEN_ROLES:
        raise EntryError(
            f"the role {role} cannot be given",
            field="role",
            value=role,
            remedy=f"Give {' or '.join(GIVEN_ROLES)}",
        )
    return role


def _row(session: Session, key: str) -> ContributorTable | None:
    found = select(ContributorTable).where(ContributorTable.key == key)
    return session.execute(found.execution_options(populate_existing=True)).scalar_one_or_none()


def _contributor(row: ContributorTable, reason: str) -> Contributor:
    return Contributor(
        id=row.id,
        key=row.key,
        name=row.name,
        role=Role(row.role),
        added_at=row.added_at,
        suspended_at=row.suspended_at,
        suspended_for=reason if row.suspended_at is not None else "",
    )


def _reasons(session: Session, key: str | None = None) -> dict[str, str]:
    """The reason of the last suspension, by key: the journal keeps it."""
    rows = select(JournalTable.key, JournalTable.reason).where(
        JournalTable.record == RECORD, JournalTable.action == "suspended"
    )
    chosen = rows if key is None else rows.where(JournalTable.key == key)
    return {row.key: row.reason for row in session.execute(chosen.order_by(JournalTable.id))}


def _changed(session: Session, act: Act, action: str, before: Contributor, **values: str | None) -> Contributor:
    session.execute(update(ContributorTable).where(ContributorTable.id == before.id).values(values))
    return _journalled(session, act, action, before.key, old=_written(before))


def _journalled(session: Session, act: Act, action: str, key: str, *, old: dict[str, Any] | None) -> Contributor:
    new, revision = _written(get(session, key)), _revisions(session, key) + 1
    append(session, act, action, [Change(record=RECORD, key=key, revision=revision, old=old, new=new)])
    return get(session, key)


def _written(contributor: Contributor) -> dict[str, Any]:
    """The form in the journal."""
    return {"name": contributor.name, "role": contributor.role.value, "suspended_at": contributor.suspended_at}


def _revisions(session: Session, key: str) -> int:
    counted = select(func.max(JournalTable.revision)).where(JournalTable.record == RECORD, JournalTable.key == key)
    found: int | None = session.execute(counted).scalar_one()
    return found or 0
