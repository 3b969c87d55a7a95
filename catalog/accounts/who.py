"""Who asks, and why they may not: the nouns of the policy in `catalog.accounts.access`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from catalog.history.acts import OPERATOR
from catalog.model.errors import CatalogueError, ForbiddenError, OwnEvidenceError, SuspendedError, UnauthorisedError


class Role(StrEnum):
    """What somebody is to the catalogue. An operator holds the database and comes by the command line alone."""

    READER = "reader"
    CONTRIBUTOR = "contributor"
    MAINTAINER = "maintainer"
    OPERATOR = "operator"


class Scope(StrEnum):
    """What a token is good for, at most: its contributor's role bounds it as well."""

    CONTRIBUTE = "contribute"
    EVIDENCE = "evidence"
    MAINTAIN = "maintain"
    ACCOUNT = "account"


class State(StrEnum):
    """How a token that was shown stands, its contributor's suspension included."""

    ACTIVE = "active"
    SUSPENDED = "suspended"
    EXPIRED = "expired"
    REVOKED = "revoked"
    UNKNOWN = "unknown"


class Reason(StrEnum):
    """Why something is refused."""

    NO_TOKEN = "no_token"
    UNKNOWN = "unknown"
    EXPIRED = "expired"
    REVOKED = "revoked"
    SUSPENDED = "suspended"
    ROLE = "role"
    SCOPE = "scope"
    OWN_SUBSTANCE = "own_substance"
    NOT_OWN_TOKEN = "not_own_token"
    MORE_SCOPES = "more_scopes"
    ONESELF = "oneself"


@dataclass(frozen=True, kw_only=True)
class Who:
    """Who asks. ``name`` is the contributor's (empty: nobody known), ``token`` the token's number, ``told`` since when
    and why the token or its contributor is not active."""

    role: Role = Role.READER
    name: str = ""
    scopes: frozenset[Scope] = frozenset()
    state: State = State.ACTIVE
    token: int | None = None
    told: str = ""


ANYBODY = Who()
"""Somebody without a token."""

THE_OPERATOR = Who(role=Role.OPERATOR, name=OPERATOR, scopes=frozenset(Scope))
"""Whoever holds the database."""


@dataclass(frozen=True, kw_only=True)
class About:
    """What a permission is asked for. ``author`` wrote what measured evidence speaks of, ``owner`` has the token,
    ``scopes`` are those of a token to be made, ``person`` is whose role or suspension is to change; all by name."""

    author: str | None = None
    owner: str | None = None
    scopes: frozenset[Scope] = frozenset()
    person: str | None = None


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """Why not, and what to do instead. ``value`` is what was lacking or in the way."""

    reason: Reason
    message: str
    remedy: str
    value: str | None = None

    def error(self) -> CatalogueError:
        """The refusal as the error that says it."""
        return _ERRORS.get(self.reason, ForbiddenError)(self.message, value=self.value, remedy=self.remedy)


_ERRORS: Mapping[Reason, type[CatalogueError]] = {
    Reason.NO_TOKEN: UnauthorisedError,
    Reason.UNKNOWN: UnauthorisedError,
    Reason.EXPIRED: UnauthorisedError,
    Reason.REVOKED: UnauthorisedError,
    Reason.SUSPENDED: SuspendedError,
    Reason.OWN_SUBSTANCE: OwnEvidenceError,
}
"""Errors of the reasons; all others are a ForbiddenError."""

_NEW_TOKEN = "Make a new token, or ask a maintainer for one"

_BY_STATE: Mapping[State, tuple[Reason, str, str]] = {
    State.UNKNOWN: (Reason.UNKNOWN, "this token is not known here", "Check that it was copied whole"),
    State.EXPIRED: (Reason.EXPIRED, "this token has ended", _NEW_TOKEN),
    State.REVOKED: (Reason.REVOKED, "this token was revoked", _NEW_TOKEN),
    State.SUSPENDED: (Reason.SUSPENDED, "this contributor is suspended", "Ask a maintainer; reading stays open"),
}


OWN_SUBSTANCE = Refusal(
    reason=Reason.OWN_SUBSTANCE,
    message="this is evidence about what you wrote yourself",
    remedy="Let somebody else measure the part; you may cite its drawing, or revise the entry",
)
NOT_OWN_TOKEN = Refusal(
    reason=Reason.NOT_OWN_TOKEN,
    message="this is another contributor's token",
    remedy="A maintainer may revoke it; nobody else but its owner may do anything with it",
)
MORE_SCOPES = Refusal(
    reason=Reason.MORE_SCOPES,
    message="a token cannot make one that is good for more than itself",
    remedy="Leave out the scopes that this token lacks, or ask whoever keeps the server",
)
ONESELF = Refusal(
    reason=Reason.ONESELF,
    message="nobody changes their own role or suspension",
    remedy="Ask another maintainer, or whoever keeps the server",
)


def not_known(who: Who) -> Refusal | None:
    """Why nothing but reading is open to ``who``: nobody known, or a token or contributor that is not active."""
    if who.state is not State.ACTIVE:
        reason, message, remedy = _BY_STATE[who.state]
        return Refusal(reason=reason, message=f"{message}{who.told and ': '}{who.told}", remedy=remedy)
    if who.role is Role.READER:
        remedy = "Send the header 'Authorization: Bearer oh_…'; a maintainer hands tokens out. Reading needs none"
        return Refusal(reason=Reason.NO_TOKEN, message="this needs a token", remedy=remedy)
    return None
