"""People: contributors and what maintainers do about them, oneself, and one's tokens."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import WritingDep
from api.rest.contributing import WRITING
from api.schemas.evidence import ReasonIn
from api.schemas.history import UndoIn, UndoneOut, undone_out
from api.schemas.people import (
    ContributorList,
    ContributorOut,
    LiftIn,
    MeOut,
    RoleIn,
    TokenIn,
    TokenList,
    TokenMadeOut,
    TokenOut,
    contributor_out,
    token_made_out,
    token_out,
)
from api.service.access import WhoDep, needs
from api.service.dependencies import CatalogueDep, require_json, require_known_query
from api.service.responses import documented
from catalog.accounts import contributors, tokens
from catalog.accounts.access import About, Permission, Scope, Who, allowed, not_known, permission_to_revoke, require
from catalog.accounts.contributors import Contributor
from catalog.accounts.tokens import Token
from catalog.history.acts import Act
from catalog.history.documents import new_key
from catalog.history.undoing import undo
from catalog.model import timestamps
from catalog.model.errors import EntryError

READING = ("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable")
OF_SOMEBODY = documented(*WRITING, "unknown-entry")
LONGEST_NUMBER = 18
"""Digits of a token's number at most."""

router = APIRouter(tags=["people"], dependencies=[Depends(require_known_query)])

MAINTAIN = [needs(Permission.MAINTAIN), Depends(require_json)]
OwnTokensDep = Annotated[Who, needs(Permission.MANAGE_OWN_TOKENS)]


@router.get("/me", summary="Who am I?", responses=documented(*READING, "unauthorised", "suspended"))
def me(who: WhoDep) -> MeOut:
    """Name, role and scopes of the token that is shown."""
    refusal = not_known(who)
    if refusal is not None:
        raise refusal.error()
    return MeOut(
        name=who.name,
        role=who.role,
        scopes=tuple(scope for scope in Scope if scope in who.scopes),
        token=who.token,
        permissions=tuple(each.value for each in Permission if allowed(who, each) is None),
    )


@router.get("/contributors", summary="Everybody who may contribute", responses=documented(*READING))
def list_contributors(catalogue: CatalogueDep) -> ContributorList:
    """In the order of their keys, with role, and who is suspended since when and why."""
    with catalogue.reading() as session:
        return ContributorList(items=tuple(contributor_out(each) for each in contributors.listed(session)))


@router.post(
    "/contributors/{name}/undo",
    response_model=UndoneOut,
    dependencies=MAINTAIN,
    summary="Take back what a contributor did",
    responses=OF_SOMEBODY,
)
def undo_contributor(name: str, body: UndoIn, writing: WritingDep) -> Response:
    """All their changes since a moment, as new revisions, in one transaction. What others revised, bore out or built on
    is kept, and told."""

    def work(session: Session, act: Act) -> UndoneOut:
        person = contributors.get(session, name).name
        since = timestamps.written(timestamps.read(body.since, field="since"))
        batch = new_key()
        return undone_out(person, since, batch, undo(session, replace(act, batch=batch), person, since))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/contributors/{name}/suspend",
    response_model=ContributorOut,
    dependencies=MAINTAIN,
    summary="Take nothing more from a contributor",
    responses=OF_SOMEBODY,
)
def suspend(name: str, body: ReasonIn, writing: WritingDep) -> Response:
    """All their tokens stop at once; what they added stays, and what they proposed waits."""

    def work(session: Session, act: Act) -> ContributorOut:
        return contributor_out(contributors.suspend(session, act, _somebody_else(session, writing.who, name).name))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/contributors/{name}/lift",
    response_model=ContributorOut,
    dependencies=MAINTAIN,
    summary="End a suspension",
    responses=OF_SOMEBODY,
)
def lift(name: str, body: LiftIn, writing: WritingDep) -> Response:
    """Tokens that have not ended meanwhile are good again."""

    def work(session: Session, act: Act) -> ContributorOut:
        return contributor_out(contributors.lift(session, act, _somebody_else(session, writing.who, name).name))

    return writing.once(work, body=body, reason=body.reason)


@router.post(
    "/contributors/{name}/role",
    response_model=ContributorOut,
    dependencies=MAINTAIN,
    summary="Give a contributor another role",
    responses=OF_SOMEBODY,
)
def change_role(name: str, body: RoleIn, writing: WritingDep) -> Response:
    """contributor or maintainer."""

    def work(session: Session, act: Act) -> ContributorOut:
        person = _somebody_else(session, writing.who, name)
        return contributor_out(contributors.change_role(session, act, person.name, body.role))

    return writing.once(work, body=body, reason=body.reason)


def _somebody_else(session: Session, who: Who, name: str) -> Contributor:
    person = contributors.get(session, name)
    require(who, Permission.MAINTAIN, About(person=person.name))
    return person


@router.get(
    "/tokens", summary="One's own tokens", responses=documented(*READING, "unauthorised", "forbidden", "suspended")
)
def list_tokens(
    catalogue: CatalogueDep,
    who: OwnTokensDep,
    contributor: Annotated[
        str | None, Query(max_length=200, description="Another contributor's, for maintainers.")
    ] = None,
) -> TokenList:
    """In the order in which they were made. The secrets themselves are nowhere."""
    with catalogue.reading() as session:
        owner = who.name if contributor is None else contributors.get(session, contributor).name
        require(who, permission_to_revoke(who, owner))
        found = tokens.listed(session, timestamps.now(), owner)
    return TokenList(items=tuple(token_out(each) for each in found))


@router.post(
    "/tokens",
    status_code=201,
    response_model=TokenMadeOut,
    dependencies=[Depends(require_json)],
    summary="Make a token",
    responses=documented(*WRITING),
)
def make_token(body: TokenIn, who: OwnTokensDep, writing: WritingDep) -> Response:
    """For oneself, good for no more than the token that asks. Its `secret` is shown this once."""
    require(who, Permission.MANAGE_OWN_TOKENS, About(owner=who.name, scopes=frozenset(body.scopes)))

    def work(session: Session, act: Act) -> TokenMadeOut:
        ends = timestamps.read(act.at, field="at") + timedelta(days=body.expires_days)
        made = tokens.create(session, act, who.name, label=body.label, scopes=body.scopes, expires=ends)
        return token_made_out(made)

    return writing.once(work, body=body, status=201, told_once=("secret",))


@router.post(
    "/tokens/{token}/revoke",
    response_model=TokenOut,
    dependencies=[needs(Permission.MANAGE_OWN_TOKENS)],
    summary="End a token",
    responses=documented(*WRITING, "unknown-entry"),
)
def revoke_token(token: str, writing: WritingDep) -> Response:
    """Now and for good, by its number or by its first characters; a maintainer may end anybody's."""

    def work(session: Session, act: Act) -> TokenOut:
        found = _find(session, writing.who, token, act.at)
        require(writing.who, permission_to_revoke(writing.who, found.contributor))
        return token_out(tokens.revoke(session, act, found.id))

    return writing.once(work)


def _find(session: Session, who: Who, text: str, at: str) -> Token:
    """The token of a number, or one's own that begins so. Raises NotFoundError, EntryError where several do."""
    if text.isascii() and text.isdecimal() and len(text) <= LONGEST_NUMBER:
        return tokens.get(session, int(text), at)
    own = [each for each in tokens.listed(session, at, who.name) if each.start == text[: tokens.START]]
    if len(own) != 1:
        what = "several of your tokens begin so" if own else "none of your tokens begins so"
        raise EntryError(what, field="token", value=text, remedy="Give its number, from GET /v1/tokens")
    return own[0]
