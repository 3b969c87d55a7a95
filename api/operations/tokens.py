"""Tokens: make one for oneself, hand one out, end one."""

from __future__ import annotations

from datetime import timedelta

from api.operations.operation import Nothing, Operation, Task
from api.schemas.people import TokenFor, TokenIn, TokenMadeOut, TokenOut, token_made_out, token_out
from catalog.accounts import tokens
from catalog.accounts.access import About, Permission, permission_to_revoke, require
from catalog.accounts.tokens import Token
from catalog.model import timestamps
from catalog.model.errors import EntryError

LONGEST_NUMBER = 18
"""Digits of a token's number at most."""


def make(task: Task, body: TokenIn) -> TokenMadeOut:
    """Make a token for oneself, good for no more than the token that asks."""
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
    """End a token, by its number or by its first characters: one's own, or for a maintainer anybody's."""
    found = _find(task, task.key)
    require(task.who, permission_to_revoke(task.who, found.contributor))
    return token_out(tokens.revoke(task.session, task.act, found.id))


def _find(task: Task, text: str) -> Token:
    """The token of a number, or one's own that begins so. Raises NotFoundError, EntryError where none or several do."""
    if text.isascii() and text.isdecimal() and len(text) <= LONGEST_NUMBER:
        return tokens.get(task.session, int(text), task.act.at)
    start, name = text[: tokens.START], task.who.name
    own = [each for each in tokens.listed(task.session, task.act.at) if (each.start, each.contributor) == (start, name)]
    if len(own) != 1:
        what = "several of your tokens begin so" if own else "this is no token's number, and none of yours begins so"
        raise EntryError(what, field="token", value=text, remedy="Give its number, from the list of tokens")
    return own[0]


MAKE_TOKEN = Operation(
    name="make token",
    permission=Permission.MANAGE_OWN_TOKENS,
    body=TokenIn,
    result=TokenMadeOut,
    run=make,
    status=201,
    told_once=("secret",),
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
)

OPERATIONS = (MAKE_TOKEN, HAND_OUT_TOKEN, REVOKE_TOKEN)
"""What is done with tokens."""
