"""Signing in and out, and one's own tokens.

The browser gets its own token in a cookie that scripts cannot read; signing out revokes it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from api.operations.people import LONGEST_NUMBER, MAKE_TOKEN, REVOKE_TOKEN
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.problems import FieldProblem
from api.service.access import SESSION_COOKIE
from api.service.dependencies import CatalogueDep
from api.web.page.figures import whole_typed
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
    """The form for a token."""
    return visit.page("sign_in.html", filled=Filled(), to=_inside(to))


@router.post("/sign-in")
def sign_in(visit: VisitDep, form: FormDep, catalogue: CatalogueDep) -> Response:
    """Make a token for this browser from the one given, with the same scopes."""
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
    """Revoke the token of this browser, and delete the cookie."""
    who = visit.who
    if who.token is not None:
        with catalogue.writing() as session:
            try:
                token = tokens.get(session, who.token, now())
            except CatalogueError:  # it is gone already
                token = None
            if token is not None and token.label == LABEL:
                tokens.revoke(session, Act(actor=who.name), who.token)
    answer = RedirectResponse(_inside(form.one("to")), status_code=303)
    answer.delete_cookie(SESSION_COOKIE, path="/")
    return answer


def _inside(to: str) -> str:
    """The address if it is one of this server, else the bench."""
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
        return "Ask a maintainer of this catalogue"
    return "Copy all of it, from oh_ on; a maintainer of this catalogue can make a new one"


SCOPE_WORDS = {
    Scope.CONTRIBUTE: "add and change entries, save cases",
    Scope.EVIDENCE: "confirm, dispute, comment",
    Scope.MAINTAIN: "maintain the catalogue",
    Scope.ACCOUNT: "make and revoke tokens",
}
"""What each scope allows, in words."""


NO_NUMBER = "0"
"""The number of no token, for forms that were not made here."""


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
    )
    page.headers["Cache-Control"] = "no-store"
    return page


@router.post("/tokens")
def make_or_end(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Make a token, whose secret is shown only now, or revoke one."""
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
    typed = form.one("expires_days")
    days = whole_typed(typed, LONGEST_NUMBER - 1)
    return {
        "label": form.one("label"),
        "scopes": form.many("scopes"),
        "expires_days": typed if days is None else days,
    }


def end_token(form: Form, writing: Writing) -> None:
    """Revoke the token that a form names: one's own, or for maintainers anybody's."""
    number = form.one("token")
    known = whole_typed(number, LONGEST_NUMBER) is not None
    act_once(writing, form, REVOKE_TOKEN, dict, key=number if known else NO_NUMBER)
