"""Keeping the catalogue: people and their tokens, what a person did taken back, disputes that wait."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.operations.transaction import Writing, WritingDep
from api.schemas.evidence import Given, ReasonIn
from api.schemas.history import UndoIn, UndoneOut, undone_out
from api.schemas.people import ContributorOut, LiftIn, RoleIn, TokenMadeOut, contributor_out, token_made_out
from api.service.dependencies import CatalogueDep
from api.web.page.figures import label
from api.web.page.form_actions import REFUSED, act_once, model_of, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from api.web.people.own_tokens import end_token
from catalog.accounts import contributors, tokens
from catalog.accounts.access import About, Permission, Role, Scope, act_of, require
from catalog.accounts.contributors import Contributor
from catalog.db.database import Catalogue
from catalog.evidence.statements import Dispute
from catalog.history.acts import Act
from catalog.history.documents import documents, new_key
from catalog.history.undoing import undo
from catalog.model import timestamps
from catalog.model.text_fields import Line, Remark

router = APIRouter(include_in_schema=False)

FIRST_TOKEN_DAYS = 30
"""Days for which a new contributor's first token is good: time enough to sign in and make one of their own."""


class NewPersonIn(Given):
    """Somebody who is to contribute."""

    name: Line
    role: Role = Role.CONTRIBUTOR
    reason: Remark


class NewPersonOut(TokenMadeOut):
    """Who was added, and the one time that their first token is shown."""

    person: str


@router.get("/maintain")
def maintain(visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """People, and what waits for a maintainer."""
    require(visit.who, Permission.MAINTAIN)
    return _page(visit, catalogue)


def _page(visit: Visit, catalogue: Catalogue, filled: Filled | None = None, status: int = 200, **more: Any) -> Response:
    at = timestamps.now()
    with catalogue.reading() as session:
        people = contributors.listed(session)
        held = tokens.listed(session, at)
        opened = documents(session, "dispute", state="open")
    return visit.page(
        "maintain.html",
        status=status,
        people=people,
        names=[(each.name, each.name) for each in people],
        tokens=[each for each in held if each.revoked_at is None],
        disputes=[(each, _said(each.content)) for each in opened],
        roles=[(role.value, role.value) for role in contributors.GIVEN_ROLES],
        filled=filled or Filled(),
        **{"preview": None, "chosen": "", "made": None, **more},
    )


def _said(content: dict[str, Any]) -> str:
    said = Dispute.model_validate(content)
    return f"{said.key}{', ' + label(said.feature).lower() if said.feature else ''}"


@router.post("/maintain")
def keep(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Add somebody, suspend, lift, give a role, end a token; look at what an undo would take back, or do it."""
    require(visit.who, Permission.MAINTAIN)
    action = form.one("do")
    try:
        if action == "add":
            return _add(visit, form, catalogue, writing)
        if action == "preview":
            return _preview(visit, form, catalogue)
        _ACTIONS.get(action, _nothing)(visit, form, writing)
    except REFUSED as error:
        beginning = PLACES.get(action, "")
        filled, status = refused(form, error, _fields(action), lambda name: f"{beginning}{name}")
        return _page(visit, catalogue, filled, status, chosen=form.one("name"))
    return see_other(
        f"/maintain?said={'undone' if action == 'undo' else 'revoked' if action == 'revoke' else 'person'}"
    )


PLACES = {
    "add": "new.",
    "preview": "undo.",
    "undo": "undo.",
    "suspend": "person.",
    "lift": "person.",
    "role": "person.",
}
"""Beginning of the names of each form's fields."""


def _fields(action: str) -> tuple[str, ...]:
    if action == "add":
        return ("new.name", "new.reason")
    return (
        ("undo.name", "undo.since", "undo.reason")
        if action in ("undo", "preview")
        else ("person.name", "person.reason")
    )


def _nothing(visit: Visit, form: Form, writing: Writing) -> None:
    """A form that names nothing to be done changes nothing."""


def _add(visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    typed = {name: form.one(f"new.{name}") for name in ("name", "role", "reason")}
    body = model_of(NewPersonIn, {name: text for name, text in typed.items() if text})

    def work(session: Session, act: Act) -> NewPersonOut:
        person = contributors.add(session, act, body.name, body.role)
        scopes = [scope for scope in Scope if person.role is Role.MAINTAINER or scope is not Scope.MAINTAIN]
        ends = timestamps.read(act.at, field="at") + timedelta(days=FIRST_TOKEN_DAYS)
        made = tokens.create(session, act, person.name, label="first token", scopes=scopes, expires=ends)
        return NewPersonOut(**token_made_out(made).model_dump(), person=person.name)

    made = act_once(writing, form, NewPersonOut, work, reason=body.reason, told_once=("secret",))
    page = _page(visit, catalogue, made=made)
    page.headers["Cache-Control"] = "no-store"
    return page


def _somebody(session: Session, writing: Writing, name: str) -> Contributor:
    person = contributors.get(session, name)
    require(writing.who, Permission.MAINTAIN, About(person=person.name))
    return person


def _person(form: Form, writing: Writing, reason: str, change: Callable[[Session, Act, str], Contributor]) -> None:
    def work(session: Session, act: Act) -> ContributorOut:
        return contributor_out(change(session, act, _somebody(session, writing, form.one("person.name")).name))

    act_once(writing, form, ContributorOut, work, reason=reason)


def _suspend(visit: Visit, form: Form, writing: Writing) -> None:
    reason = model_of(ReasonIn, {"reason": form.one("person.reason")}).reason
    _person(form, writing, reason, contributors.suspend)


def _lift(visit: Visit, form: Form, writing: Writing) -> None:
    reason = model_of(LiftIn, {"reason": form.one("person.reason")}).reason
    _person(form, writing, reason, contributors.lift)


def _role(visit: Visit, form: Form, writing: Writing) -> None:
    wanted = model_of(RoleIn, {"role": form.one("person.role"), "reason": form.one("person.reason")})
    _person(
        form,
        writing,
        wanted.reason,
        lambda session, act, name: contributors.change_role(session, act, name, wanted.role),
    )


def _undo_body(form: Form) -> UndoIn:
    return model_of(UndoIn, {"since": form.one("undo.since"), "reason": form.one("undo.reason")})


def _undone(session: Session, act: Act, form: Form, body: UndoIn) -> UndoneOut:
    person = contributors.get(session, form.one("undo.name")).name
    since = timestamps.written(timestamps.read(body.since, field="since"))
    batch = new_key()
    return undone_out(person, since, batch, undo(session, replace(act, batch=batch), person, since))


def _undo(visit: Visit, form: Form, writing: Writing) -> None:
    body = _undo_body(form)

    def work(session: Session, act: Act) -> UndoneOut:
        return _undone(session, act, form, body)

    act_once(writing, form, UndoneOut, work, reason=body.reason)


class _Seen(Exception):  # noqa: N818 - ends a trial, and is no fault
    """Carries out of a transaction what it would have done, and so ends it without a trace."""

    def __init__(self, undone: UndoneOut) -> None:
        super().__init__()
        self.undone = undone


def _preview(visit: Visit, form: Form, catalogue: Catalogue) -> Response:
    """The undo is done for a trial, and its transaction given up: what it tells is what would happen."""
    body = _undo_body(form)
    try:
        with catalogue.writing() as session:
            raise _Seen(_undone(session, act_of(visit.who, reason=body.reason), form, body))
    except _Seen as seen:
        return _page(visit, catalogue, Filled(form=form), preview=seen.undone, chosen=form.one("undo.name"))


def _revoke(visit: Visit, form: Form, writing: Writing) -> None:
    end_token(form, writing)


_ACTIONS: dict[str, Callable[[Visit, Form, Writing], None]] = {
    "suspend": _suspend,
    "lift": _lift,
    "role": _role,
    "undo": _undo,
    "revoke": _revoke,
}
