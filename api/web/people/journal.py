"""What happened, and what is going to happen unless somebody stops it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.operations.pending_changes import HASTEN, STOP
from api.operations.record_pages import Wanted, journal_page
from api.operations.requests import WritingDep
from api.schemas.history import PendingOut, pending_out
from api.schemas.problems import FieldProblem
from api.service.dependencies import CatalogueDep
from api.service.settings import DEFAULT_PAGE
from api.web.page.addresses import JOURNAL, asked, half_page, series_page
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.history import ACTION_WORDS, RECORD_WORDS, in_words
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.db.database import Catalogue
from catalog.history import pending
from catalog.history.documents import documents
from catalog.history.journal import JournalEntry
from catalog.model.errors import CatalogueError

router = APIRouter(include_in_schema=False)

FILTERS = ("record", "key", "series", "actor", "since")
RECORDS = (
    ("half", "halves"),
    ("series", "series"),
    ("mating", "matings"),
    ("confirmation", "confirmations"),
    ("dispute", "disputes"),
    ("answer", "answers"),
    ("sighting", "sightings"),
    ("specimen", "cases"),
    ("comment", "comments on cases"),
    ("pending", "waiting changes"),
    ("contributor", "contributors"),
)
"""Kinds of record that one can ask for, in words."""

LONGEST_FILTER = 500
SHOWN_PAST = 20
"""Changes that wait no more, shown below those that do; the journal has them all."""

FilterQuery = Annotated[str, Query(max_length=LONGEST_FILTER)]


@router.get("/journal")
def journal_of(
    visit: VisitDep,
    catalogue: CatalogueDep,
    record: FilterQuery = "",
    key: FilterQuery = "",
    series: FilterQuery = "",
    actor: FilterQuery = "",
    since: FilterQuery = "",
    cursor: FilterQuery = "",
) -> Response:
    """The journal, the newest first, with filters."""
    typed = dict(zip(FILTERS, (record, key, series, actor, since), strict=True))
    filled = Filled(form=Form(pairs=tuple(typed.items())))
    try:
        wanted = _wanted(typed)
    except CatalogueError as error:
        filled, status = refused(filled.form, error)
        return _journal(visit, filled, (), typed, "", status)
    with catalogue.reading() as session:
        page = journal_page(session, catalogue.version(), wanted, cursor or None, DEFAULT_PAGE)
    if key and not record:
        needed = FieldProblem(field="record", message="A key needs its kind: a half and a series can have the same")
        filled = Filled(form=filled.form, errors=[needed])
    return _journal(visit, filled, page.items, typed, page.next or "")


def _wanted(typed: dict[str, str]) -> Wanted:
    given = {name: value for name, value in typed.items() if value}
    if "record" not in given:
        given.pop("key", None)
    return Wanted.asked(**given)


def _journal(
    visit: Visit,
    filled: Filled,
    rows: tuple[JournalEntry, ...],
    typed: dict[str, str],
    cursor: str,
    status: int = 200,
) -> Response:
    return visit.page(
        "journal.html",
        status=status,
        filled=filled,
        rows=[_row(row) for row in rows],
        more=asked(JOURNAL, {**typed, "cursor": cursor}) if cursor else "",
        feed=asked("/v1/journal.atom", typed),
        records=RECORDS,
    )


def _row(row: JournalEntry) -> dict[str, Any]:
    action = ACTION_WORDS.get(row.action, row.action)
    about = row.about if row.of in ("half", "series") and row.about else row.key
    record = row.of if row.of in ("half", "series") and row.about else row.record
    return {
        "at": row.at[:16].replace("T", " "),
        "actor": row.actor,
        "what": f"{RECORD_WORDS.get(row.record, row.record)}: {action}",
        "about": about,
        "page": _page_of(record, about),
        "changed": in_words(row),
        "reason": row.reason,
        "revision": row.revision,
        "more": asked(JOURNAL, {"record": record, "key": about}),
    }


def _page_of(record: str | None, key: str) -> str:
    if record == "half":
        return half_page(key)
    if record == "series":
        return series_page(key)
    return {"specimen": f"/cases/{key}", "dispute": f"/disputes/{key}"}.get(record or "", "")


@router.get("/pending")
def pending_changes(visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """What waits, and until when."""
    return _pending(visit, catalogue, Filled())


@router.post("/pending")
def decide(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Let a change happen now, or not at all."""
    name = f"reason.{form.one('key')}"
    operation = HASTEN if form.one("do") == "hasten" else STOP
    try:
        act_once(writing, form, operation, lambda: {"reason": form.one(name)}, key=form.one("key"))
    except REFUSED as error:
        filled, status = refused(form, error, (name,), lambda field: name if field in ("reason", "key") else field)
        return _pending(visit, catalogue, filled, status)
    return see_other("/pending?said=decided")


def _pending(visit: Visit, catalogue: Catalogue, filled: Filled, status: int = 200) -> Response:
    with catalogue.reading() as session:
        every = documents(session, pending.RECORD)
    waiting = [_change(pending_out(each)) for each in every if each.state == "waiting"]
    past = [_change(pending_out(each)) for each in [each for each in every if each.state != "waiting"][-SHOWN_PAST:]]
    return visit.page(
        "pending.html",
        status=status,
        waiting=waiting,
        past=past[::-1],
        filled=filled,
        keeps=visit.may(Permission.MAINTAIN),
        contributes=visit.may(Permission.CONTRIBUTE),
    )


def _change(change: PendingOut) -> dict[str, Any]:
    return {
        "change": change,
        "what": ACTION_WORDS[change.action],
        "page": _page_of(change.of, change.about),
        "due": change.due[:16].replace("T", " "),
        "successor": half_page(change.successor) if change.successor else "",
    }
