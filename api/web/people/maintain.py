"""Maintenance: contributors and their tokens, undoing a contributor's changes, open disputes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.observations.checking import form_of
from api.operations.operation import Operation
from api.operations.people import CHANGE_ROLE, LIFT, SUSPEND, UNDO, WELCOME
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.history import UndoIn, UndoneOut
from api.service.dependencies import CatalogueDep
from api.web.evidence.evidence import told
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from api.web.people.account import end_token
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Permission, require
from catalog.db.database import Catalogue
from catalog.history.documents import documents
from catalog.model import timestamps

router = APIRouter(include_in_schema=False)


@router.get("/maintain")
def maintain(visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """Contributors, and open matters for a maintainer."""
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
        disputes=[told(each) for each in opened],
        roles=[(role.value, role.value) for role in contributors.GIVEN_ROLES],
        filled=filled or Filled(),
        **{"preview": None, "chosen": "", "made": None, **more},
    )


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One form of the page: its operation, the prefix of its field names, and the fields of the operation's body."""

    operation: Operation[Any, Any]
    beginning: str
    fields: tuple[str, ...]

    def given(self, form: Form) -> dict[str, str]:
        """The typed values, including empty fields."""
        return {name: form.one(f"{self.beginning}{name}") for name in self.fields}


SHEETS: Mapping[str, Sheet] = {
    "suspend": Sheet(operation=SUSPEND, beginning="person.", fields=("reason",)),
    "lift": Sheet(operation=LIFT, beginning="person.", fields=("reason",)),
    "role": Sheet(operation=CHANGE_ROLE, beginning="person.", fields=("role", "reason")),
    "undo": Sheet(operation=UNDO, beginning="undo.", fields=("since", "reason")),
    "preview": Sheet(operation=UNDO, beginning="undo.", fields=("since", "reason")),
    "add": Sheet(operation=WELCOME, beginning="new.", fields=("name", "role", "reason")),
}

SAID = {"undo": "undone", "revoke": "revoked"}
"""Messages of the next page other than that the list of contributors is updated."""


@router.post("/maintain")
def keep(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Add a contributor, suspend, lift a suspension, change a role, revoke a token, preview an undo, undo."""
    require(visit.who, Permission.MAINTAIN)
    action = form.one("do")
    sheet = SHEETS.get(action)
    try:
        if action == "add":
            return _add(visit, form, catalogue, writing)
        if action == "preview":
            return _preview(visit, form, catalogue, writing)
        if action == "revoke":
            end_token(form, writing)
        elif sheet is not None:
            name = form.one(f"{sheet.beginning}name")
            act_once(writing, form, sheet.operation, partial(sheet.given, form), key=name)
    except REFUSED as error:
        beginning = "" if sheet is None else sheet.beginning
        own = ("name", "reason") if sheet is None else ("name", *sheet.fields)
        filled, status = refused(
            form, error, [f"{beginning or 'person.'}{name}" for name in own], lambda name: f"{beginning}{name}"
        )
        return _page(visit, catalogue, filled, status, chosen=form.one("name"))
    return see_other(f"/maintain?said={SAID.get(action, 'person')}")


def _add(visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    given = {name: text for name, text in SHEETS["add"].given(form).items() if text}
    made = act_once(writing, form, WELCOME, lambda: given)
    page = _page(visit, catalogue, made=made)
    page.headers["Cache-Control"] = "no-store"
    return page


class _Seen(Exception):  # noqa: N818 - ends a trial, not an error
    """Carries the result of a trial out of its transaction, which it rolls back."""

    def __init__(self, undone: UndoneOut) -> None:
        super().__init__()
        self.undone = undone


def _preview(visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    """Undo in a transaction that is rolled back: its result is what would happen."""
    body, name = form_of(UndoIn, dict(SHEETS["undo"].given(form))), form.one("undo.name")
    try:
        with writing.task(UNDO, body.reason, key=name) as task:
            raise _Seen(UNDO.run(task, body))
    except _Seen as seen:
        return _page(visit, catalogue, Filled(form=form), preview=seen.undone, chosen=name)
