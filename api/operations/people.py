"""Operations on contributors (add, suspend, change the role, undo changes) and on tokens (make, hand out, revoke)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from api.operations.operation import Nothing, Operation, Route, Task
from api.schemas.evidence import ReasonIn
from api.schemas.history import UndoIn, UndoneOut, undone_out
from api.schemas.people import (
    ContributorIn,
    ContributorOut,
    LiftIn,
    NewcomerIn,
    NewcomerOut,
    RoleIn,
    TokenFor,
    TokenIn,
    TokenMadeOut,
    TokenOut,
    contributor_out,
    token_made_out,
    token_out,
)
from catalog.accounts import contributors, tokens
from catalog.accounts.access import About, Permission, permission_to_revoke, require, usable_scopes
from catalog.accounts.tokens import Token
from catalog.history.documents import new_key
from catalog.history.undo import undo as undo_changes
from catalog.model import timestamps
from catalog.model.errors import EntryError

LONGEST_NUMBER = 18
"""Most digits of a token's number."""

FIRST_TOKEN_DAYS = 30
"""Days until a new contributor's first token expires: enough time to sign in and make another."""


def add(task: Task, body: ContributorIn) -> ContributorOut:
    """Add a contributor."""
    return contributor_out(contributors.add(task.session, task.act, body.name, body.role))


def welcome(task: Task, body: NewcomerIn) -> NewcomerOut:
    """Add a contributor with a first token to sign in with."""
    person = contributors.add(task.session, task.act, body.name, body.role)
    ends = timestamps.read(task.act.at, field="at") + timedelta(days=FIRST_TOKEN_DAYS)
    made = tokens.create(
        task.session, task.act, person.name, label="first token", scopes=usable_scopes(person.role), expires=ends
    )
    return NewcomerOut(**token_made_out(made).model_dump(), person=person.name)


def suspend(task: Task, _: ReasonIn) -> ContributorOut:
    """Suspend a contributor.

    All their tokens stop working at once. Their entries and evidence stay, and their pending changes stay pending.
    """
    return contributor_out(contributors.suspend(task.session, task.act, _somebody_else(task)))


def lift(task: Task, _: LiftIn) -> ContributorOut:
    """End a suspension.

    Tokens that have not expired work again.
    """
    return contributor_out(contributors.lift(task.session, task.act, _somebody_else(task)))


def change_role(task: Task, body: RoleIn) -> ContributorOut:
    """Change a contributor's role.

    The roles are contributor and maintainer.
    """
    return contributor_out(contributors.change_role(task.session, task.act, _somebody_else(task), body.role))


def undo(task: Task, body: UndoIn) -> UndoneOut:
    """Undo a contributor's changes.

    All changes since a date or time, as new revisions, in one transaction. What others have revised, confirmed or used
    since is kept, and listed in the answer.
    """
    person = contributors.get(task.session, task.key).name
    since = timestamps.written(timestamps.read(body.since, field="since"))
    batch = new_key()
    return undone_out(person, since, batch, undo_changes(task.session, replace(task.act, batch=batch), person, since))


def _somebody_else(task: Task) -> str:
    """The contributor's name. Raises NotFoundError, and ForbiddenError for the person who makes the request."""
    person = contributors.get(task.session, task.key).name
    require(task.who, Permission.MAINTAIN, About(person=person))
    return person


def make(task: Task, body: TokenIn) -> TokenMadeOut:
    """Make a token.

    For yourself, with at most the scopes of the token in use. Its `secret` is shown only this once.
    """
    ends = timestamps.read(task.act.at, field="at") + timedelta(days=body.expires_days)
    asked = TokenFor(contributor=task.who.name, label=body.label, scopes=body.scopes, expires=ends)
    return hand_out(task, asked)


def hand_out(task: Task, body: TokenFor) -> TokenMadeOut:
    """Make a token for a contributor."""
    about = About(owner=body.contributor, scopes=frozenset(body.scopes))
    require(task.who, Permission.MANAGE_OWN_TOKENS, about)
    return token_made_out(
        tokens.create(
            task.session, task.act, body.contributor, label=body.label, scopes=body.scopes, expires=body.expires
        )
    )


def revoke(task: Task, _: Nothing) -> TokenOut:
    """Revoke a token.

    At once and for good, by its number or its first characters. A maintainer may revoke anybody's token.
    """
    found = _find(task, task.key)
    require(task.who, permission_to_revoke(task.who, found.contributor))
    return token_out(tokens.revoke(task.session, task.act, found.id))


def _find(task: Task, text: str) -> Token:
    """The token with a number, or one's own with these first characters. Raises NotFoundError, and EntryError if no or
    several tokens begin like this."""
    if text.isascii() and text.isdecimal() and len(text) <= LONGEST_NUMBER:
        return tokens.get(task.session, int(text), task.act.at)
    start, name = text[: tokens.START], task.who.name
    own = [each for each in tokens.listed(task.session, task.act.at) if (each.start, each.contributor) == (start, name)]
    if len(own) != 1:
        what = "several of your tokens begin like this" if own else "none of your tokens has this number or beginning"
        raise EntryError(what, field="token", value=text, remedy="Give its number, from the list of tokens")
    return own[0]


ADD_CONTRIBUTOR = Operation(
    name="add contributor",
    permission=Permission.MAINTAIN,
    body=ContributorIn,
    result=ContributorOut,
    run=add,
    status=201,
)
WELCOME = Operation(
    name="welcome contributor",
    permission=Permission.MAINTAIN,
    body=NewcomerIn,
    result=NewcomerOut,
    run=welcome,
    status=201,
    told_once=("secret",),
)
SUSPEND = Operation(
    name="suspend",
    permission=Permission.MAINTAIN,
    body=ReasonIn,
    result=ContributorOut,
    run=suspend,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /contributors/{name}/suspend", name="suspend"),),
)
LIFT = Operation(
    name="lift suspension",
    permission=Permission.MAINTAIN,
    body=LiftIn,
    result=ContributorOut,
    run=lift,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /contributors/{name}/lift", name="lift"),),
)
CHANGE_ROLE = Operation(
    name="change role",
    permission=Permission.MAINTAIN,
    body=RoleIn,
    result=ContributorOut,
    run=change_role,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /contributors/{name}/role", name="change_role"),),
)
UNDO = Operation(
    name="undo",
    permission=Permission.MAINTAIN,
    body=UndoIn,
    result=UndoneOut,
    run=undo,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /contributors/{name}/undo", name="undo_contributor"),),
)
MAKE_TOKEN = Operation(
    name="make token",
    permission=Permission.MANAGE_OWN_TOKENS,
    body=TokenIn,
    result=TokenMadeOut,
    run=make,
    status=201,
    told_once=("secret",),
    routes=(Route(at="POST /tokens", name="make_token"),),
)
HAND_OUT_TOKEN = Operation(
    name="hand out token",
    permission=Permission.MANAGE_OWN_TOKENS,
    body=TokenFor,
    result=TokenMadeOut,
    run=hand_out,
    status=201,
    told_once=("secret",),
    refusals=("unknown-entry",),
)
REVOKE_TOKEN = Operation(
    name="revoke token",
    permission=Permission.MANAGE_OWN_TOKENS,
    body=Nothing,
    result=TokenOut,
    run=revoke,
    refusals=("unknown-entry",),
    routes=(Route(at="POST /tokens/{token}/revoke", name="revoke_token"),),
)

OPERATIONS = (
    ADD_CONTRIBUTOR,
    WELCOME,
    SUSPEND,
    LIFT,
    CHANGE_ROLE,
    UNDO,
    MAKE_TOKEN,
    HAND_OUT_TOKEN,
    REVOKE_TOKEN,
)
"""All operations on contributors and tokens."""
