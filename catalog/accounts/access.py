"""Who may do what: the whole policy on one page.

`POLICY` gives, for each permission, the roles that have it, the scope that a token needs for it, and conditions on what
it is about. `allowed` is the one function that decides. DEVELOPERS.md shows the policy as a table, and a test compares
the two.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from catalog.history.acts import OPERATOR, Act
from catalog.model.errors import CatalogueError, ForbiddenError, SuspendedError, UnauthorisedError


class Role(StrEnum):
    """A person's role. An operator has access to the database and uses the command line only."""

    READER = "reader"
    CONTRIBUTOR = "contributor"
    MAINTAINER = "maintainer"
    OPERATOR = "operator"


class Scope(StrEnum):
    """The most that a token allows; the contributor's role limits it as well."""

    CONTRIBUTE = "contribute"
    EVIDENCE = "evidence"
    MAINTAIN = "maintain"
    ACCOUNT = "account"


class State(StrEnum):
    """State of a token, including its contributor's suspension."""

    ACTIVE = "active"
    SUSPENDED = "suspended"
    EXPIRED = "expired"
    REVOKED = "revoked"
    UNKNOWN = "unknown"


def usable_scopes(role: Role) -> tuple[Scope, ...]:
    """Every scope that a contributor of this role can use."""
    return tuple(scope for scope in Scope if role is Role.MAINTAINER or scope is not Scope.MAINTAIN)


@dataclass(frozen=True, kw_only=True)
class Who:
    """The person who asks. ``name`` is the contributor's (empty: unknown), ``token`` the token's number, ``told`` since
    when and why the token or its contributor is not active."""

    role: Role = Role.READER
    name: str = ""
    scopes: frozenset[Scope] = frozenset()
    state: State = State.ACTIVE
    token: int | None = None
    told: str = ""


ANYBODY = Who()
"""A person without a token."""

THE_OPERATOR = Who(role=Role.OPERATOR, name=OPERATOR, scopes=frozenset(Scope))
"""The operator, who has access to the database."""


@dataclass(frozen=True, kw_only=True)
class About:
    """The object of a permission: the ``owner`` of a token, the ``scopes`` of a token to be made, or the
    ``person`` whose role or suspension is to change. People are given by name."""

    owner: str | None = None
    scopes: frozenset[Scope] = frozenset()
    person: str | None = None


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """The reason for a refusal, and the remedy. ``value`` is the missing or conflicting value."""

    message: str
    remedy: str
    value: str | None = None
    kind: type[CatalogueError] = ForbiddenError

    def error(self) -> CatalogueError:
        """The refusal as an error."""
        return self.kind(self.message, value=self.value, remedy=self.remedy)


_NEW_TOKEN = "Make a new token, or ask a maintainer for one"

_BY_STATE: Mapping[State, Refusal] = {
    state: Refusal(message=message, remedy=remedy, kind=kind)
    for state, kind, message, remedy in (
        (State.UNKNOWN, UnauthorisedError, "this token is not known here", "Check that it was copied completely"),
        (State.EXPIRED, UnauthorisedError, "this token has expired", _NEW_TOKEN),
        (State.REVOKED, UnauthorisedError, "this token was revoked", _NEW_TOKEN),
        (State.SUSPENDED, SuspendedError, "this contributor is suspended", "Ask a maintainer; reading stays open"),
    )
}


NOT_OWN_TOKEN = Refusal(
    message="this is another contributor's token",
    remedy="A maintainer may revoke it; apart from that, only its owner may use it",
)
MORE_SCOPES = Refusal(
    message="a token cannot make another one with more scopes than it has itself",
    remedy="Leave out the scopes that this token lacks, or ask the operator of the server",
)
ONESELF = Refusal(
    message="nobody can change their own role or suspension",
    remedy="Ask another maintainer, or the operator of the server",
)


def not_known(who: Who) -> Refusal | None:
    """Why ``who`` may only read: they are unknown, or their token or account is not active."""
    if who.state is not State.ACTIVE:
        refusal = _BY_STATE[who.state]
        return replace(refusal, message=f"{refusal.message}{who.told and ': '}{who.told}")
    if who.role is Role.READER:
        remedy = "Send the header 'Authorization: Bearer oh_…'; a maintainer gives out tokens. Reading needs no token"
        return Refusal(message="this needs a token", remedy=remedy, kind=UnauthorisedError)
    return None


class Permission(StrEnum):
    """What can be permitted."""

    READ = "read"
    CONTRIBUTE = "contribute"
    GIVE_EVIDENCE = "give_evidence"
    DISCUSS = "discuss"
    SAVE_SPECIMEN = "save_specimen"
    MANAGE_OWN_TOKENS = "manage_own_tokens"
    MAINTAIN = "maintain"


Condition = Callable[[Who, About], Refusal | None]


def own_token(who: Who, about: About) -> Refusal | None:
    """Everybody makes, sees and revokes only their own tokens; the operator makes them for others."""
    return None if about.owner in (None, who.name) or who.role is Role.OPERATOR else NOT_OWN_TOKEN


def no_more_scopes_than_own(who: Who, about: About) -> Refusal | None:
    """A token cannot make a token with more scopes than its own."""
    return None if about.scopes <= who.scopes else MORE_SCOPES


def somebody_else(who: Who, about: About) -> Refusal | None:
    """Nobody changes their own role or suspension: they could not undo a mistake."""
    return ONESELF if about.person == who.name else None


@dataclass(frozen=True, kw_only=True)
class Rule:
    """Who has a permission: these roles, by a token of this scope (None: none is needed), under these conditions."""

    covers: str
    roles: tuple[Role, ...]
    scope: Scope | None
    conditions: tuple[Condition, ...] = ()


KNOWN = (Role.CONTRIBUTOR, Role.MAINTAINER, Role.OPERATOR)

POLICY: Mapping[Permission, Rule] = MappingProxyType(
    {
        Permission.READ: Rule(
            covers="read all that is public, identify, measure",
            roles=tuple(Role),
            scope=None,
        ),
        Permission.CONTRIBUTE: Rule(
            covers="add and revise series, halves, matings, sightings, citations; propose to withdraw or merge",
            roles=KNOWN,
            scope=Scope.CONTRIBUTE,
        ),
        Permission.GIVE_EVIDENCE: Rule(
            covers="confirm by measurement, document or trial fit; dispute",
            roles=KNOWN,
            scope=Scope.EVIDENCE,
        ),
        Permission.DISCUSS: Rule(
            covers="comment, suggest, answer disputes",
            roles=KNOWN,
            scope=Scope.EVIDENCE,
        ),
        Permission.SAVE_SPECIMEN: Rule(
            covers="save and revise specimens",
            roles=KNOWN,
            scope=Scope.CONTRIBUTE,
        ),
        Permission.MANAGE_OWN_TOKENS: Rule(
            covers="make, list and revoke tokens of one's own",
            roles=KNOWN,
            scope=Scope.ACCOUNT,
            conditions=(own_token, no_more_scopes_than_own),
        ),
        Permission.MAINTAIN: Rule(
            covers="undo, hasten or stop what is pending, resolve disputes, suspend, change roles, revoke any token",
            roles=(Role.MAINTAINER, Role.OPERATOR),
            scope=Scope.MAINTAIN,
            conditions=(somebody_else,),
        ),
    }
)
"""The policy."""

NOTHING_MORE = About()
"""Asked for in general."""


def allowed(who: Who, permission: Permission, about: About = NOTHING_MORE) -> Refusal | None:
    """None if ``who`` has the permission for what it is ``about``, otherwise the first reason against it.

    Everybody may do what readers may, whatever token they show: an invalid token takes away nothing that needs none.
    """
    rule = POLICY[permission]
    if Role.READER in rule.roles:
        return None
    refusal = not_known(who) or _not_reaching(who, permission, rule)
    if refusal is not None:
        return refusal
    return next(filter(None, (condition(who, about) for condition in rule.conditions)), None)


def require(who: Who, permission: Permission, about: About = NOTHING_MORE) -> None:
    """Raise the refusal if `allowed` gives one: UnauthorisedError, ForbiddenError or SuspendedError."""
    refusal = allowed(who, permission, about)
    if refusal is not None:
        raise refusal.error()


def permission_to_revoke(who: Who, owner: str) -> Permission:
    """The permission needed to revoke a token: one's own, or as a maintainer anybody's."""
    return Permission.MANAGE_OWN_TOKENS if owner == who.name else Permission.MAINTAIN


def act_of(who: Who, *, reason: str = "") -> Act:
    """The act that ``who`` performs now: as maintainer only if both role and token allow it.

    Raises UnauthorisedError or SuspendedError for somebody who may only read.
    """
    refusal = not_known(who)
    if refusal is not None:
        raise refusal.error()
    maintainer = allowed(who, Permission.MAINTAIN) is None
    return Act(actor=who.name, reason=reason, maintainer=maintainer)


def _not_reaching(who: Who, permission: Permission, rule: Rule) -> Refusal | None:
    if who.role not in rule.roles:
        return Refusal(
            message=f"a {who.role} may not do this ({permission})",
            remedy=f"Ask a {' or '.join(rule.roles)}",
            value=who.role,
        )
    if rule.scope is not None and rule.scope not in who.scopes:
        return Refusal(
            message=f"this token lacks the scope '{rule.scope}'",
            remedy="Use a token that has it",
            value=rule.scope,
        )
    return None
