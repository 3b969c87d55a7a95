"""Contributors and tokens as they go over the wire. No secret is ever among them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import Field

from api.schemas.answers import Out
from api.schemas.requests import Request
from catalog.accounts.access import Role, Scope, State
from catalog.accounts.contributors import Contributor
from catalog.accounts.tokens import DEFAULT_DAYS, DEFAULT_SCOPES, LONGEST_DAYS, Created, Token
from catalog.model.text_fields import Line, Passage, Remark


class ContributorOut(Out):
    """Somebody who may add to the catalogue."""

    key: str
    name: str
    role: Role
    added_at: str
    suspended_at: str | None = Field(description="Since when nothing is taken from them; null: not suspended.")
    suspended_for: str = Field(description="The suspension's reason.")


class ContributorList(Out):
    """Contributors in the order of their keys."""

    items: tuple[ContributorOut, ...]


class TokenOut(Out):
    """What is known of a token."""

    id: int = Field(description="Its number, by which it is revoked.")
    contributor: str
    start: str = Field(description="Its first characters, to tell it by.")
    label: str
    scopes: tuple[Scope, ...] = Field(description="What it is good for, within its contributor's role.")
    state: State
    created_at: str
    expires_at: str | None = Field(description="When it ends; null: never.")
    last_used_at: str | None = Field(description="Known to the hour; null: never used.")
    revoked_at: str | None
    revoked_by: str | None


class TokenList(Out):
    """Tokens in the order in which they were made."""

    items: tuple[TokenOut, ...]


def contributor_out(contributor: Contributor) -> ContributorOut:
    """A contributor in the interface's form."""
    return ContributorOut.model_validate(contributor, from_attributes=True)


def token_out(token: Token) -> TokenOut:
    """A token in the interface's form."""
    told = {name: value for name, value in vars(token).items() if name != "scopes"}
    return TokenOut(**told, scopes=tuple(scope for scope in Scope if scope in token.scopes))


class MeOut(Out):
    """Who the token says you are, and what it is good for."""

    name: str
    role: Role
    scopes: tuple[Scope, ...]
    token: int | None = Field(description="The token's number.")
    permissions: tuple[str, ...] = Field(description="What it may do, as DEVELOPERS.md has it.")


class TokenIn(Request):
    """A token to make for oneself."""

    label: Passage = Field(default="", description="What it is for, to tell it from others.")
    scopes: tuple[Scope, ...] = tuple(sorted(DEFAULT_SCOPES))
    expires_days: Annotated[int, Field(ge=1, le=LONGEST_DAYS, strict=True)] = DEFAULT_DAYS


class TokenFor(Request):
    """A token to make for a contributor by name, as whoever holds the database may; ``expires`` None: it never ends."""

    contributor: str
    label: str = ""
    scopes: tuple[Scope, ...]
    expires: datetime | None


class TokenMadeOut(TokenOut):
    """A new token, and the one time that its secret is shown."""

    secret: str | None = Field(description="Null where the request was sent again: it is kept nowhere.")


class RoleIn(Request):
    """The role that a contributor is to have."""

    role: Role
    reason: Passage = ""


class ContributorIn(Request):
    """Somebody who is to contribute."""

    name: str = Field(description="Shown beside what they add; it never changes.")
    role: Role = Role.CONTRIBUTOR
    reason: Passage = ""


class NewcomerIn(Request):
    """Somebody who is to contribute, and gets a first token."""

    name: Line
    role: Role = Role.CONTRIBUTOR
    reason: Remark


class NewcomerOut(TokenMadeOut):
    """Who was added, and the one time that their first token is shown."""

    person: str


class LiftIn(Request):
    """Why a suspension ends."""

    reason: Passage = ""


def token_made_out(made: Created) -> TokenMadeOut:
    """A new token in the interface's form."""
    return TokenMadeOut(**token_out(made.token).model_dump(), secret=made.secret)
