"""Routes for contributors and tokens."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from api.operations.people import OPERATIONS
from api.rest.writes import add_writes
from api.schemas.people import ContributorList, MeOut, TokenList, contributor_out, token_out
from api.service.access import WhoDep, needs
from api.service.dependencies import CatalogueDep
from api.service.problem_types import OF_READING
from api.service.responses import documented
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Permission, Scope, Who, allowed, not_known, permission_to_revoke, require
from catalog.model import timestamps

router = APIRouter(tags=["people"])

add_writes(router, OPERATIONS)

OwnTokensDep = Annotated[Who, needs(Permission.MANAGE_OWN_TOKENS)]


@router.get("/me", summary="Who am I?", responses=documented(*OF_READING, "unauthorised", "suspended"))
def me(who: WhoDep) -> MeOut:
    """Name, role and scopes of the contributor whose token is in the request."""
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


@router.get("/contributors", summary="All contributors", responses=documented(*OF_READING))
def list_contributors(catalogue: CatalogueDep) -> ContributorList:
    """In the order of their keys, with their roles and suspensions."""
    with catalogue.reading() as session:
        return ContributorList(items=tuple(contributor_out(each) for each in contributors.listed(session)))


@router.get(
    "/tokens", summary="Your tokens", responses=documented(*OF_READING, "unauthorised", "forbidden", "suspended")
)
def list_tokens(
    catalogue: CatalogueDep,
    who: OwnTokensDep,
    contributor: Annotated[
        str | None, Query(max_length=200, description="The tokens of another contributor (maintainers only).")
    ] = None,
) -> TokenList:
    """In the order in which they were made. The secrets themselves are not stored."""
    with catalogue.reading() as session:
        owner = who.name if contributor is None else contributors.get(session, contributor).name
        require(who, permission_to_revoke(who, owner))
        found = tokens.listed(session, timestamps.now(), owner)
    return TokenList(items=tuple(token_out(each) for each in found))
