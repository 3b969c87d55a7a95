"""Contributors and tokens as they go over the wire. No secret is ever among them."""

from __future__ import annotations

from pydantic import Field

from api.schemas.answers import Out
from catalog.accounts.contributors import Contributor
from catalog.accounts.tokens import Token
from catalog.accounts.who import Role, Scope, State


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
