"""Who may do what: the whole policy on one page.

`POLICY` gives, for each permission, the roles that have it, the scope that a token needs for it, and conditions on
what it is about. `allowed` is the one function that decides; its nouns are in `catalog.accounts.who`. DEVELOPERS.md
carries the policy as a table, and a test compares the two.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from catalog.accounts.who import (
    MORE_SCOPES,
    NOT_OWN_TOKEN,
    ONESELF,
    OWN_SUBSTANCE,
    About,
    Reason,
    Refusal,
    Role,
    Scope,
    Who,
    not_known,
)
from catalog.history.acts import Act
from catalog.model.timestamps import now


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


def somebody_elses_substance(who: Who, about: About) -> Refusal | None:
    """Nobody confirms what they wrote themselves by measuring it."""
    return OWN_SUBSTANCE if about.author == who.name else None


def own_token(who: Who, about: About) -> Refusal | None:
    """Everybody makes, sees and revokes their own tokens only; whoever holds the database hands them out."""
    return None if about.owner in (None, who.name) or who.role is Role.OPERATOR else NOT_OWN_TOKEN


def no_more_scopes_than_own(who: Who, about: About) -> Refusal | None:
    """A token makes no token that is good for more than itself."""
    return None if about.scopes <= who.scopes else MORE_SCOPES


def somebody_else(who: Who, about: About) -> Refusal | None:
    """Nobody changes their own role or suspension: a slip could not be taken back."""
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
            conditions=(somebody_elses_substance,),
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
    """None where ``who`` has the permission for what it is ``about``; else the first reason against it.

    What readers may do, everybody may, whatever token they show: a bad one takes nothing away that needs none.
    """
    rule = POLICY[permission]
    if Role.READER in rule.roles:
        return None
    refusal = not_known(who) or _not_reaching(who, permission, rule)
    if refusal is not None:
        return refusal
    return next(filter(None, (condition(who, about) for condition in rule.conditions)), None)


def require(who: Who, permission: Permission, about: About = NOTHING_MORE) -> None:
    """Raise the refusal where `allowed` gives one: UnauthorisedError, ForbiddenError, SuspendedError,
    OwnEvidenceError."""
    refusal = allowed(who, permission, about)
    if refusal is not None:
        raise refusal.error()


def permission_to_revoke(who: Who, owner: str) -> Permission:
    """What revoking a token takes: everybody manages their own, for others' one has to be a maintainer."""
    return Permission.MANAGE_OWN_TOKENS if owner == who.name else Permission.MAINTAIN


def act_of(who: Who, *, reason: str = "", batch: str = "") -> Act:
    """The act that ``who`` performs now: as maintainer only where role and token both reach.

    Raises UnauthorisedError or SuspendedError for somebody who may but read.
    """
    refusal = not_known(who)
    if refusal is not None:
        raise refusal.error()
    maintainer = allowed(who, Permission.MAINTAIN) is None
    return Act(actor=who.name, at=now(), reason=reason, batch=batch, maintainer=maintainer)


def _not_reaching(who: Who, permission: Permission, rule: Rule) -> Refusal | None:
    if who.role not in rule.roles:
        return Refusal(
            reason=Reason.ROLE,
            message=f"a {who.role} may not do this ({permission})",
            remedy=f"Ask a {' or '.join(rule.roles)}",
            value=who.role,
        )
    if rule.scope is not None and rule.scope not in who.scopes:
        return Refusal(
            reason=Reason.SCOPE,
            message=f"this token lacks the scope '{rule.scope}'",
            remedy="Use a token that has it",
            value=rule.scope,
        )
    return None
