"""The journal, and the changes that are pending."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
from api.web.page.addresses import JOURNAL, asked, half_page
from api.web.page.entry_lookup import PAGES
from api.web.page.figures import minute
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.history import PENDING_WORDS, action_in_words, in_words, record_in_words
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
    ("land_pattern", "land patterns"),
    ("specimen", "cases"),
    ("case_answer", "rankings of cases"),
    ("comment", "comments on cases"),
    ("pending", "pending changes"),
    ("contributor", "contributors"),
)
"""Kinds of record that can be selected, in words."""

PAGED: Mapping[str, Callable[[str], str]] = {
    **PAGES,
    "specimen": lambda key: f"/cases/{key}",
    "dispute": lambda key: f"/disputes/{key}",
}
"""Kinds of record that have pages."""

LONGEST_FILTER = 500
SHOWN_PAST = 20
"""Ended pending changes that the page shows; the journal has them all."""

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
    """The journal, newest first, with filters."""
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
        needed = FieldProblem(
            field="record", message="Choose what the key is of: a half and a series can have the same key"
        )
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
    of, key = row.of or "", row.about or ""
    record, about = (of, key) if of in PAGED and key else (row.record, row.key)
    return {
        "at": minute(row.at),
        "actor": row.actor,
        "what": f"{record_in_words(row)} {action_in_words(row)}",
        "about": about,
        "page": page_of(record, about),
        "changed": in_words(row),
        "reason": row.reason,
        "revision": row.revision,
        "more": asked(JOURNAL, {"record": record, "key": about}),
    }


def page_of(record: str, key: str) -> str:
    """The page of a record; empty where it has none."""
    return PAGED[record](key) if record in PAGED else ""


@router.get("/pending")
def pending_changes(visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """Pending changes, and when they take effect."""
    return _pending(visit, catalogue, Filled())


@router.post("/pending")
def decide(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Carry a change out now, or stop it."""
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
        "what": PENDING_WORDS[change.action],
        "page": page_of(change.of, change.about),
        "due": minute(change.due),
        "successor": half_page(change.successor) if change.successor else "",
    }
