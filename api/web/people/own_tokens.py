"""One's own tokens: made, with their secret shown once; listed; ended."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import Writing, WritingDep
from api.schemas.people import TokenIn, TokenMadeOut, TokenOut, token_made_out, token_out
from api.service.dependencies import CatalogueDep
from api.web.page.form_actions import REFUSED, act_once, model_of, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts import tokens
from catalog.accounts.access import About, Permission, Scope, permission_to_revoke, require
from catalog.accounts.tokens import DEFAULT_DAYS, DEFAULT_SCOPES, LONGEST_DAYS
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.model import timestamps

router = APIRouter(include_in_schema=False)

SCOPE_WORDS = {
    Scope.CONTRIBUTE: "add and change entries, keep cases",
    Scope.EVIDENCE: "confirm, dispute, comment",
    Scope.MAINTAIN: "keep the catalogue",
    Scope.ACCOUNT: "make and end tokens",
}
"""What a scope lets one do, in words."""

LONGEST_NUMBER = 18
"""Digits of a token's number at most."""


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
        require(visit.who, Permission.MANAGE_OWN_TOKENS)
        if form.one("do") == "revoke":
            end_token(form, writing)
            return see_other("/tokens?said=revoked")
        return _tokens(visit, catalogue, made=_make(visit, form, writing))
    except REFUSED as error:
        filled, status = refused(form, error, ("label", "scopes", "expires_days"))
        return _tokens(visit, catalogue, filled, status)


def _make(visit: Visit, form: Form, writing: Writing) -> TokenMadeOut:
    days = form.one("expires_days")
    number: int | str = int(days) if days.isascii() and days.isdecimal() and len(days) < LONGEST_NUMBER else days
    given = {"label": form.one("label"), "scopes": form.many("scopes"), "expires_days": number}
    body = model_of(TokenIn, given)
    require(visit.who, Permission.MANAGE_OWN_TOKENS, About(owner=visit.who.name, scopes=frozenset(body.scopes)))

    def work(session: Session, act: Act) -> TokenMadeOut:
        ends = timestamps.read(act.at, field="at") + timedelta(days=body.expires_days)
        made = tokens.create(session, act, visit.who.name, label=body.label, scopes=body.scopes, expires=ends)
        return token_made_out(made)

    return act_once(writing, form, TokenMadeOut, work, told_once=("secret",))


def end_token(form: Form, writing: Writing) -> None:
    """End the token of a form's number: one's own, or for maintainers anybody's."""
    number = form.one("token")

    def work(session: Session, act: Act) -> TokenOut:
        chosen = int(number) if number.isascii() and number.isdecimal() and len(number) <= LONGEST_NUMBER else 0
        found = tokens.get(session, chosen, act.at)
        require(writing.who, permission_to_revoke(writing.who, found.contributor))
        return token_out(tokens.revoke(session, act, found.id))

    act_once(writing, form, TokenOut, work)
