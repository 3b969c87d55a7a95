"""People: contributors and what maintainers do about them, oneself, and one's tokens."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response

from api.operations.operation import Nothing
from api.operations.people import CHANGE_ROLE, LIFT, MAKE_TOKEN, REVOKE_TOKEN, SUSPEND, UNDO
from api.operations.requests import WritingDep, answering
from api.schemas.evidence import ReasonIn
from api.schemas.history import UndoIn
from api.schemas.people import (
    ContributorList,
    LiftIn,
    MeOut,
    RoleIn,
    TokenIn,
    TokenList,
    contributor_out,
    token_out,
)
from api.service.access import WhoDep, needs
from api.service.dependencies import CatalogueDep, require_known_query
from api.service.responses import documented
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Permission, Scope, Who, allowed, not_known, permission_to_revoke, require
from catalog.model import timestamps

READING = ("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable")

router = APIRouter(tags=["people"], dependencies=[Depends(require_known_query)])

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


@router.post("/contributors/{name}/undo", summary="Take back what a contributor did", **answering(UNDO))
def undo_contributor(name: str, body: UndoIn, writing: WritingDep) -> Response:
    """All their changes since a moment, as new revisions, in one transaction. What others revised, bore out or built on
    is kept, and told."""
    return writing.once(UNDO, body, key=name)


@router.post("/contributors/{name}/suspend", summary="Take nothing more from a contributor", **answering(SUSPEND))
def suspend(name: str, body: ReasonIn, writing: WritingDep) -> Response:
    """All their tokens stop at once; what they added stays, and what they proposed waits."""
    return writing.once(SUSPEND, body, key=name)


@router.post("/contributors/{name}/lift", summary="End a suspension", **answering(LIFT))
def lift(name: str, body: LiftIn, writing: WritingDep) -> Response:
    """Tokens that have not ended meanwhile are good again."""
    return writing.once(LIFT, body, key=name)


@router.post("/contributors/{name}/role", summary="Give a contributor another role", **answering(CHANGE_ROLE))
def change_role(name: str, body: RoleIn, writing: WritingDep) -> Response:
    """contributor or maintainer."""
    return writing.once(CHANGE_ROLE, body, key=name)


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


@router.post("/tokens", summary="Make a token", **answering(MAKE_TOKEN))
def make_token(body: TokenIn, writing: WritingDep) -> Response:
    """For oneself, good for no more than the token that asks. Its `secret` is shown this once."""
    return writing.once(MAKE_TOKEN, body)


@router.post("/tokens/{token}/revoke", summary="End a token", **answering(REVOKE_TOKEN))
def revoke_token(token: str, writing: WritingDep) -> Response:
    """Now and for good, by its number or by its first characters; a maintainer may end anybody's."""
    return writing.once(REVOKE_TOKEN, Nothing(), key=token)
