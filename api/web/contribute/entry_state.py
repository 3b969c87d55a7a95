"""The state of an entry: withdrawn, merged, restored, returned to an earlier revision; each with a reason."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.operations.entries import MERGE, RESTORE, REVERT, WITHDRAW
from api.operations.operation import Operation
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.contributing import ChangeOut
from api.service.dependencies import CatalogueDep
from api.service.problems import ApiError
from api.web.page.entry_lookup import PAGES, about
from api.web.page.figures import whole_typed
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.db.database import Catalogue
from catalog.evidence.standing import EntryRecord
from catalog.history import journal

router = APIRouter(include_in_schema=False)

FIELDS: Mapping[str, tuple[str, ...]] = {
    "withdraw": ("reason",),
    "merge": ("into", "reason"),
    "restore": ("reason",),
    "revert": ("revision", "reason"),
}
"""The fields of each change, named as in ``merge.into``."""

OPERATIONS: Mapping[str, Operation[Any, ChangeOut]] = {
    "withdraw": WITHDRAW,
    "merge": MERGE,
    "restore": RESTORE,
    "revert": REVERT,
}

LARGEST_REVISION_DIGITS = 9
"""Most digits of the number of a revision."""


def _page(
    visit: Visit,
    catalogue: Catalogue,
    of: EntryRecord,
    key: str,
    filled: Filled,
    status: int = 200,
) -> Response:
    entry = about(catalogue, of, key, filled)
    with catalogue.reading() as session:
        rows = journal.page(session, record=of, key=key, limit=journal.LARGEST_PAGE)
    revisions = [
        (str(row.revision), f"revision {row.revision}, {row.at[:10]}, {row.actor}")
        for row in rows
        if row.record == of and row.revision < entry.record.revision
    ]
    return visit.page(
        "entry_state.html",
        status=status,
        entry=entry,
        filled=filled,
        revisions=revisions,
        may=visit.may(Permission.CONTRIBUTE),
    )


def _given(form: Form, of: EntryRecord, action: str) -> dict[str, Any]:
    """The typed values of a change. Raises ApiError where it names no change that this kind of entry has."""
    if action not in FIELDS or (action == "merge" and of != "half"):
        raise ApiError("invalid-request", "the form does not say what to do")
    typed: dict[str, Any] = {name: form.one(f"{action}.{name}") for name in FIELDS[action]}
    return {**typed, "revision": _revision(typed["revision"])} if action == "revert" else typed


def _revision(text: str) -> int:
    number = whole_typed(text, LARGEST_REVISION_DIGITS)
    if number is None:
        raise ApiError.at("revision", "no revision is chosen", "Choose one", value=text)
    return number


def _change(of: EntryRecord, key: str, visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    action = form.one("do")
    operation = OPERATIONS.get(action, WITHDRAW)
    try:
        made = act_once(writing, form, operation, lambda: _given(form, of, action), record=of, key=key)
    except REFUSED as error:
        own = [f"{action}.{name}" for name in FIELDS.get(action, ())]
        filled, status = refused(form, error, own, lambda name: f"{action}.{name}")
        return _page(visit, catalogue, of, key, filled, status)
    return see_other(PAGES[of](key, f"?said={'waits' if made.pending else 'changed'}"))


def _add_state(of: EntryRecord, path: str) -> None:
    @router.get(f"/{path}/{{key}}/state")
    def state_page(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
        """The forms that change the state of an entry."""
        return _page(visit, catalogue, of, key, Filled())

    @router.post(f"/{path}/{{key}}/state")
    def change_state(
        key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep
    ) -> Response:
        """Carry out the change, or make it pending."""
        return _change(of, key, visit, form, catalogue, writing)


_add_state("half", "halves")
_add_state("series", "series")
