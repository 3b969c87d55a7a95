"""Models of contributors and tokens. Only a new token's answer holds its secret."""

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
    """A person who may change the catalogue."""

    key: str
    name: str
    role: Role
    added_at: str
    suspended_at: str | None = Field(description="Start of the suspension; null: not suspended.")
    suspended_for: str = Field(description="The reason for the suspension.")


class ContributorList(Out):
    """Contributors in the order of their keys."""

    items: tuple[ContributorOut, ...]


class TokenOut(Out):
    """A token without its secret."""

    id: int = Field(description="Its number, to revoke it by.")
    contributor: str
    start: str = Field(description="Its first characters, to recognise it by.")
    label: str
    scopes: tuple[Scope, ...] = Field(description="What it allows, within its contributor's role.")
    state: State
    created_at: str
    expires_at: str | None = Field(description="When it expires; null: never.")
    last_used_at: str | None = Field(description="To the hour; null: never used.")
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
    fields = {name: value for name, value in vars(token).items() if name != "scopes"}
    return TokenOut(**fields, scopes=tuple(scope for scope in Scope if scope in token.scopes))


class MeOut(Out):
    """The contributor of the token in use, and what the token allows."""

    name: str
    role: Role
    scopes: tuple[Scope, ...]
    token: int | None = Field(description="The token's number.")
    permissions: tuple[str, ...] = Field(description="The permissions that it gives.")


class TokenIn(Request):
    """A token to make for oneself."""

    label: Passage = Field(default="", description="What it is for, to distinguish it from others.")
    scopes: tuple[Scope, ...] = tuple(sorted(DEFAULT_SCOPES))
    expires_days: Annotated[int, Field(ge=1, le=LONGEST_DAYS, strict=True)] = DEFAULT_DAYS


class TokenFor(Request):
    """A token that the operator makes for a contributor; ``expires`` None: it never expires."""

    contributor: str
    label: str = ""
    scopes: tuple[Scope, ...]
    expires: datetime | None


class TokenMadeOut(TokenOut):
    """A new token with its secret, which is shown only once."""

    secret: str | None = Field(description="Null if the request was repeated: the secret is not stored.")


class RoleIn(Request):
    """A contributor's new role."""

    role: Role
    reason: Passage = ""


class ContributorIn(Request):
    """A new contributor."""

    name: str = Field(description="Shown with their contributions; it never changes.")
    role: Role = Role.CONTRIBUTOR
    reason: Passage = ""


class NewcomerIn(Request):
    """A new contributor who gets a first token."""

    name: Line
    role: Role = Role.CONTRIBUTOR
    reason: Remark


class NewcomerOut(TokenMadeOut):
    """A new contributor's first token with its secret, which is shown only once."""

    person: str


class LiftIn(Request):
    """Why a suspension ends."""

    reason: Passage = ""


def token_made_out(made: Created) -> TokenMadeOut:
    """A new token in the interface's form."""
    return TokenMadeOut(**token_out(made.token).model_dump(), secret=made.secret)
