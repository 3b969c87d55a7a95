"""Signing in and out, and one's own tokens.

The browser gets a token of its own, in a cookie that no script reads; signing out ends it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote, urlsplit

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from api.operations.people import LONGEST_NUMBER, MAKE_TOKEN, REVOKE_TOKEN
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.problems import FieldProblem
from api.service.access import SESSION_COOKIE
from api.service.dependencies import CatalogueDep
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts import tokens
from catalog.accounts.access import Permission, Scope, State
from catalog.accounts.tokens import DEFAULT_DAYS, DEFAULT_SCOPES, LONGEST_DAYS
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.model import timestamps
from catalog.model.errors import CatalogueError
from catalog.model.timestamps import now

SESSION = timedelta(days=30)
"""How long a browser stays signed in; its token can be revoked at any time."""

LABEL = "browser session"

router = APIRouter(include_in_schema=False)


@router.get("/sign-in")
def sign_in_page(visit: VisitDep, to: str = "/") -> Response:
    """Where a contributor shows a token."""
    return visit.page("sign_in.html", filled=Filled(), to=_inside(to))


@router.post("/sign-in")
def sign_in(visit: VisitDep, form: FormDep, catalogue: CatalogueDep) -> Response:
    """Make a token for this browser from the one that was shown; what it is good for, this one is good for too."""
    to = _inside(form.one("to"))
    at = now()
    with catalogue.writing() as session:
        who = tokens.verify(session, form.one("token"), at).who
        if who.state is not State.ACTIVE or not who.name:
            problem = FieldProblem(field="token", value=None, message=_why(who.state), remedy=_remedy(who.state))
            return visit.page("sign_in.html", status=422, filled=Filled(form=Form(), errors=[problem]), to=to)
        made = tokens.create(
            session,
            Act(actor=who.name, at=at),
            who.name,
            label=LABEL,
            scopes=who.scopes,
            expires=datetime.now(UTC) + SESSION,
        )
    answer = RedirectResponse(to, status_code=303)
    answer.set_cookie(
        SESSION_COOKIE,
        made.secret,
        max_age=int(SESSION.total_seconds()),
        path="/",
        secure=visit.request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )
    return answer


@router.post("/sign-out")
def sign_out(visit: VisitDep, form: FormDep, catalogue: CatalogueDep) -> Response:
    """End this browser's token, and forget it."""
    who = visit.who
    if who.token is not None:
        with catalogue.writing() as session:
            try:
                token = tokens.get(session, who.token, now())
            except CatalogueError:  # it is gone already, which is what was asked for
                token = None
            if token is not None and token.label == LABEL:
                tokens.revoke(session, Act(actor=who.name), who.token)
    answer = RedirectResponse(_inside(form.one("to")), status_code=303)
    answer.delete_cookie(SESSION_COOKIE, path="/")
    return answer


def sign_in_address(to: str) -> str:
    """Where to sign in and come back."""
    return f"/sign-in?to={quote(to, safe='')}"


def _inside(to: str) -> str:
    """An address of this server; anything else becomes the bench."""
    parts = urlsplit(to)
    inside = to.startswith("/") and not to.startswith("//") and "\\" not in to and not parts.netloc and not parts.scheme
    return to if inside else "/"


def _why(state: State) -> str:
    return {
        State.EXPIRED: "this token has expired",
        State.REVOKED: "this token was revoked",
        State.SUSPENDED: "this contributor is suspended",
    }.get(state, "no contributor has this token")


def _remedy(state: State) -> str:
    if state is State.SUSPENDED:
        return "Ask whoever keeps this catalogue"
    return "Copy it whole, from oh_ on; whoever keeps this catalogue can make a new one"


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
