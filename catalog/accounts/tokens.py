"""Tokens: made and shown once, recognised by their SHA-256, revoked. They can never be read again."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy import insert, or_, select, update
from sqlalchemy.orm import Session

from catalog.accounts import contributors
from catalog.accounts.access import Role, Scope, State, Who
from catalog.accounts.contributors import Contributor, checked_line
from catalog.accounts.token_format import PREFIX, is_token
from catalog.db.tables import ContributorTable, TokenTable
from catalog.history.acts import OPERATOR, Act
from catalog.history.journal import Change, append
from catalog.model import timestamps
from catalog.model.errors import EntryError, ForbiddenError, NotFoundError, SuspendedError

RECORD = "token"
"""Kind of record in the journal. The journal says that a token was made or revoked and whose it is, nothing that helps
to guess it."""

SECRET_BYTES = 32
"""Random bytes of a token: 256 bits, so that a plain SHA-256 without salt cannot be reversed by search."""

START = 8
"""Characters that are stored to tell tokens apart; 226 unknown bits remain."""

LONGEST_LABEL = 80
DEFAULT_DAYS = 365
LONGEST_DAYS = 730
"""Days until a token expires: by default, and at most."""

NOTED_EVERY = timedelta(hours=1)
"""How exactly the last use is recorded: reading must not cause a write each time."""

DEFAULT_SCOPES = frozenset((Scope.CONTRIBUTE, Scope.EVIDENCE))
"""Default scopes of a token: the usual work, no power over others or over tokens."""

_WITH_OWNER = (
    select(TokenTable, ContributorTable)
    .join(ContributorTable, ContributorTable.id == TokenTable.contributor_id)
    .execution_options(populate_existing=True)
)


@dataclass(frozen=True, kw_only=True)
class Token:
    """Stored facts about a token. ``id`` is its number, ``start`` its first characters, ``state`` its present state;
    moments as `catalog.model.timestamps` writes them, ``last_used_at`` to the hour."""

    id: int
    contributor: str
    start: str
    label: str
    scopes: frozenset[Scope]
    state: State
    created_at: str
    expires_at: str | None
    last_used_at: str | None
    revoked_at: str | None
    revoked_by: str | None


@dataclass(frozen=True, kw_only=True)
class Created:
    """A new token with its ``secret``, which is shown only this once."""

    token: Token
    secret: str = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Verified:
    """Who showed a token. ``unnoted``: no use was recorded within the last hour."""

    who: Who
    unnoted: bool = False


def create(
    session: Session,
    act: Act,
    contributor: str,
    *,
    label: str = "",
    scopes: Iterable[Scope] = DEFAULT_SCOPES,
    expires: datetime | None,
) -> Created:
    """Make a token for a contributor, by name. ``expires`` None: it never ends.

    Only the operator makes a token without end: they can make a new one at any time, so an end would protect nothing.
    It never has the scope for maintaining, since such a token must not live on when it is forgotten. Raises
    NotFoundError, SuspendedError, EntryError.
    """
    owner, given = contributors.get(session, contributor), frozenset(scopes)
    _check_active(owner)
    _check_scopes(owner, given)
    _check_expiry(act, given, expires)
    named = checked_line(label, field="label", least=0, most=LONGEST_LABEL)
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    values = {
        "contributor_id": owner.id,
        "digest": digest(secret),
        "start": secret[:START],
        "label": named,
        "scopes": " ".join(sorted(given)),
        "created_at": act.at,
        "expires_at": None if expires is None else timestamps.written(expires),
    }
    number = session.execute(insert(TokenTable).values(values).returning(TokenTable.id)).scalar_one()
    made = get(session, number, act.at)
    _journal(session, act, made, "created", revision=1)
    return Created(token=made, secret=secret)


def get(session: Session, number: int, at: str) -> Token:
    """The token with this number, with its state ``at`` a moment; raises NotFoundError."""
    row = session.execute(_WITH_OWNER.where(TokenTable.id == number)).one_or_none()
    if row is None:
        raise NotFoundError(
            f"there is no token {number}", field="token", value=number, remedy="List the tokens for their numbers"
        )
    return _token(row[0], row[1], at)


def listed(session: Session, at: str, contributor: str | None = None) -> tuple[Token, ...]:
    """All tokens, or those of one contributor (by name; raises NotFoundError), in the order in which they were made."""
    chosen = _WITH_OWNER.order_by(TokenTable.id)
    if contributor is not None:
        chosen = chosen.where(TokenTable.contributor_id == contributors.get(session, contributor).id)
    return tuple(_token(token, owner, at) for token, owner in session.execute(chosen))


def revoke(session: Session, act: Act, number: int) -> Token:
    """Revoke a token for good; one that was already revoked stays as it is. Raises NotFoundError.

    The permission is checked before (`catalog.accounts.access.permission_to_revoke`).
    """
    standing = get(session, number, act.at)
    if standing.revoked_at is not None:
        return standing
    ended = {"revoked_at": act.at, "revoked_by": act.actor}
    session.execute(update(TokenTable).where(TokenTable.id == number).values(ended))
    _journal(session, act, standing, "revoked", revision=2)
    return get(session, number, act.at)


def verify(session: Session, secret: str, at: str) -> Verified:
    """The person who uses this token ``at`` a time; their ``state`` says whether it is valid.

    It is looked up by its digest, so that the response time reveals nothing about existing tokens.
    """
    if not is_token(secret):
        return Verified(who=Who(state=State.UNKNOWN, told="it has another form than 'oh_' and 43 characters"))
    row = session.execute(_WITH_OWNER.where(TokenTable.digest == digest(secret))).one_or_none()
    if row is None:
        return Verified(who=Who(state=State.UNKNOWN))
    token = _token(row[0], row[1], at)
    who = _who(session, token, Role(row[1].role))
    return Verified(who=who, unnoted=token.state is State.ACTIVE and (token.last_used_at or "") <= _hour_before(at))


def as_they_stand(session: Session, who: Who, at: str) -> Who:
    """``who``, verified earlier, in their present state within this transaction.

    Writers wait for each other: a change that waited while its contributor was suspended must not be carried out after
    their changes were undone. Raises ForbiddenError if the role changed meanwhile, since the permission was checked
    with the old one.
    """
    if who.token is None:
        return who
    token, owner = session.execute(_WITH_OWNER.where(TokenTable.id == who.token)).one()
    if owner.role != who.role:
        raise ForbiddenError(
            f"{who.name} is no longer a {who.role}", value=owner.role, remedy="Send it again with your present role"
        )
    return _who(session, _token(token, owner, at), who.role)


def note_use(session: Session, number: int, at: str) -> None:
    """Record that a token was used ``at`` a moment, unless a use was recorded within the hour before."""
    unnoted = or_(TokenTable.last_used_at.is_(None), TokenTable.last_used_at <= _hour_before(at))
    session.execute(update(TokenTable).where(TokenTable.id == number, unnoted).values(last_used_at=at))


def digest(secret: str) -> str:
    """The stored form of a token: its SHA-256, hexadecimal."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _check_active(owner: Contributor) -> None:
    if owner.suspended_at is not None:
        raise SuspendedError(
            f"{owner.name} is suspended since {owner.suspended_at}: {owner.suspended_for}",
            field="contributor",
            value=owner.name,
            remedy="Lift the suspension first",
        )


def _check_scopes(owner: Contributor, scopes: frozenset[Scope]) -> None:
    if not scopes:
        raise EntryError(
            "a token without scopes cannot be used for anything",
            field="scopes",
            value="",
            remedy=f"Give some of {', '.join(Scope)}; reading needs no token",
        )
    if Scope.MAINTAIN in scopes and owner.role is not Role.MAINTAINER:
        raise EntryError(
            f"{owner.name} is not a maintainer",
            field="scopes",
            value=Scope.MAINTAIN,
            remedy="Leave the scope 'maintain' out, or give the role first",
        )


def _check_expiry(act: Act, scopes: frozenset[Scope], expires: datetime | None) -> None:
    now = timestamps.read(act.at, field="at")
    if expires is None:
        if act.actor != OPERATOR or Scope.MAINTAIN in scopes:
            raise EntryError(
                "this token needs an end date",
                field="expires",
                value="none",
                remedy=f"Give at most {LONGEST_DAYS} days; only the operator of the database makes tokens without end, "
                "and none with the scope 'maintain'",
            )
    elif not now < expires <= now + timedelta(days=LONGEST_DAYS):
        raise EntryError(
            "a token cannot end at that time",
            field="expires",
            value=timestamps.written(expires),
            remedy=f"Give a time in the future, at most {LONGEST_DAYS} days from now",
        )


def _token(row: TokenTable, owner: ContributorTable, at: str) -> Token:
    return Token(
        id=row.id,
        contributor=owner.name,
        start=row.start,
        label=row.label,
        scopes=frozenset(Scope(word) for word in row.scopes.split()),
        state=_state(row, owner, at),
        created_at=row.created_at,
        expires_at=row.expires_at,
        last_used_at=row.last_used_at,
        revoked_at=row.revoked_at,
        revoked_by=row.revoked_by,
    )


def _state(row: TokenTable, owner: ContributorTable, at: str) -> State:
    """Revoked before expired before suspended: what cannot be undone comes first. Moments compare as texts."""
    if row.revoked_at is not None:
        return State.REVOKED
    if row.expires_at is not None and row.expires_at <= at:
        return State.EXPIRED
    return State.ACTIVE if owner.suspended_at is None else State.SUSPENDED


def _who(session: Session, token: Token, role: Role) -> Who:
    return Who(
        role=role,
        name=token.contributor,
        scopes=token.scopes,
        state=token.state,
        token=token.id,
        told=_told(session, token),
    )


def _told(session: Session, token: Token) -> str:
    if token.state is State.EXPIRED:
        return f"on {token.expires_at}"
    if token.state is State.REVOKED:
        return f"on {token.revoked_at}"
    if token.state is State.SUSPENDED:
        owner = contributors.get(session, token.contributor)
        return f"since {owner.suspended_at}, {owner.suspended_for}"
    return ""


def _hour_before(at: str) -> str:
    return timestamps.written(timestamps.read(at, field="at") - NOTED_EVERY)


def _journal(session: Session, act: Act, token: Token, action: str, *, revision: int) -> None:
    key, about = str(token.id), contributors.get(session, token.contributor).key
    old = None if revision == 1 else {"state": "created"}
    change = Change(
        record=RECORD,
        key=key,
        revision=revision,
        old=old,
        new={"state": action},
        of=contributors.RECORD,
        about=about,
        private=True,  # when somebody signs in is nobody else's business
    )
    append(session, act, action, [change])
