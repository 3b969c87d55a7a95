"""People: contributors and what maintainers do about them, oneself, and one's tokens."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from api.operations.people import OPERATIONS
from api.rest.writes import add_writes
from api.schemas.people import ContributorList, MeOut, TokenList, contributor_out, token_out
from api.service.access import WhoDep, needs
from api.service.dependencies import CatalogueDep
from api.service.responses import documented
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Permission, Scope, Who, allowed, not_known, permission_to_revoke, require
from catalog.model import timestamps

READING = ("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable")

router = APIRouter(tags=["people"])

add_writes(router, OPERATIONS)

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
