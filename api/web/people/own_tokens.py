"""One's own tokens: made, with their secret shown once; listed; ended."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.operations.requests import WritingDep
from api.operations.tokens import LONGEST_NUMBER, MAKE_TOKEN, REVOKE_TOKEN
from api.operations.transaction import Writing
from api.service.dependencies import CatalogueDep
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts import tokens
from catalog.accounts.access import Permission, Scope
from catalog.accounts.tokens import DEFAULT_DAYS, DEFAULT_SCOPES, LONGEST_DAYS
from catalog.db.database import Catalogue
from catalog.model import timestamps

router = APIRouter(include_in_schema=False)

SCOPE_WORDS = {
    Scope.CONTRIBUTE: "add and change entries, keep cases",
    Scope.EVIDENCE: "confirm, dispute, comment",
    Scope.MAINTAIN: "keep the catalogue",
    Scope.ACCOUNT: "make and end tokens",
}
"""What a scope lets one do, in words."""


NO_NUMBER = "0"
"""The number of no token: a form that names anything else was not made here."""


@router.get("/tokens")
def own_tokens(visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """One's own tokens."""
    return _tokens(visit, catalogue)


def _tokens(
    visit: Visit, catalogue: Catalogue, filled: Filled | None = None, status: int = 200, made: Any = None
) -> Response:
    may = visit.may(Permission.MANAGE_OWN_TOKENS)
    with catalogue.reading() as session:
        found = tokens.listed(session, timestamps.now(), visit.who.name) if may else ()
    page = visit.page(
        "tokens.html",
        status=status,
        tokens=found,
        made=made,
        filled=filled or Filled(),
        scopes=[(scope.value, words) for scope, words in SCOPE_WORDS.items() if scope in visit.who.scopes],
        usual=[scope.value for scope in DEFAULT_SCOPES],
        days=DEFAULT_DAYS,
        longest=LONGEST_DAYS,
        may=may,
        here="/tokens",
    )
    page.headers["Cache-Control"] = "no-store"
    return page


@router.post("/tokens")
def make_or_end(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Make a token, whose secret is shown this once, or end one."""
    try:
        if form.one("do") == "revoke":
            end_token(form, writing)
            return see_other("/tokens?said=revoked")
        made = act_once(writing, form, MAKE_TOKEN, lambda: _given(form))
        return _tokens(visit, catalogue, made=made)
    except REFUSED as error:
        filled, status = refused(form, error, ("label", "scopes", "expires_days"))
        return _tokens(visit, catalogue, filled, status)


def _given(form: Form) -> dict[str, Any]:
    days = form.one("expires_days")
    number = int(days) if days.isascii() and days.isdecimal() and len(days) < LONGEST_NUMBER else days
    return {"label": form.one("label"), "scopes": form.many("scopes"), "expires_days": number}


def end_token(form: Form, writing: Writing) -> None:
    """End the token of a form's number: one's own, or for maintainers anybody's."""
    number = form.one("token")
    is_number = number.isascii() and number.isdecimal() and len(number) <= LONGEST_NUMBER
    act_once(writing, form, REVOKE_TOKEN, dict, key=number if is_number else NO_NUMBER)
