"""Open cases: parts that are measured but not identified, and where others suggest what they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.observations.short_form_writing import in_words, piece_of
from api.operations.cases import ACCEPT, COMMENT_ON_CASE, REOPEN_CASE, REVISE_CASE, SAVE_CASE, WITHDRAW_CASE, case_of
from api.operations.operation import Operation
from api.operations.requests import WritingDep
from api.schemas.cases import CaseOut, case_item
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.service.paging import Listing
from api.service.settings import DEFAULT_PAGE
from api.web.bench.parameters import query_of
from api.web.bench.request import Bench, read
from api.web.contribute import entry_fields as fields
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.cases.retrieval import own_cases, public_cases, seer
from catalog.cases.specimens import SPECIMEN
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.db.database import Catalogue
from matcher.results import VERDICT_WORDS

router = APIRouter(include_in_schema=False)

CursorText = Annotated[str, Query(max_length=500)]

SETTINGS = ("prior_absent", "at_hand", "instruments", "closed_jaws", "remains")
"""Fields of an identification that a case keeps besides the observations."""


@router.get("/cases")
def cases(visit: VisitDep, catalogue: CatalogueDep, cursor: CursorText = "") -> Response:
    """Public cases that are open, and one's own."""
    listing = Listing(name="cases", cursor=cursor or None, limit=DEFAULT_PAGE)
    with catalogue.reading() as session:
        found = listing.page(
            lambda after, most: public_cases(session, after=after, limit=most), lambda case: case.document.id
        )
        own = own_cases(session, visit.who.name) if visit.signed_in and not cursor else []
    items = [case_item(case) for case in found.items]
    items.sort(key=lambda item: item.changed_since is None)
    return visit.page(
        "cases.html",
        items=items,
        own=[case_item(case) for case in own],
        more=found.next or "",
        verdicts=VERDICT_WORDS,
    )


@router.get("/cases/new")
def new_case(visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The form that saves what was measured on the bench, whose address holds the observations."""
    pairs = visit.request.query_params.multi_items()
    return _new(visit, read(snapshot, pairs), Filled(), pairs)


@router.post("/cases/new")
def save_case(visit: VisitDep, form: FormDep, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """Save the case."""
    pairs = [(name.removeprefix("bench."), value) for name, value in form.pairs if name.startswith("bench.")]
    bench = read(snapshot, pairs)
    try:
        made = act_once(writing, form, SAVE_CASE, lambda: _specimen(form, bench))
    except REFUSED as error:
        filled, status = refused(form, error, ("title",))
        return _new(visit, bench, filled, pairs, status)
    return see_other(f"/cases/{made.key}?said=saved")


def _specimen(form: Form, bench: Bench) -> dict[str, Any]:
    asked = bench.request.model_dump(mode="json", exclude_defaults=True)
    kept = {name: asked[name] for name in ("observations", *SETTINGS) if name in asked}
    return {**fields.given(form, ("title", "note", "visibility")), "observations": [], **kept}


def _new(visit: Visit, bench: Bench, filled: Filled, pairs: Sequence[tuple[str, str]], status: int = 200) -> Response:
    observed = [in_words(each.model_dump(mode="json", exclude_defaults=True)) for each in bench.request.observations]
    return visit.page(
        "case_new.html",
        status=status,
        observed=observed,
        unread=bench.errors,
        pairs=pairs,
        filled=filled,
        may=visit.may(Permission.SAVE_SPECIMEN),
    )


@router.get("/cases/{key}")
def case(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """One case: its observations, its ranking, its comments."""
    return _case(visit, catalogue, key)


def _case(
    visit: Visit, catalogue: Catalogue, key: str, filled: Filled | None = None, status: int = 200, findings: Any = ()
) -> Response:
    with catalogue.reading() as session:
        found = case_of(session, key, seer(visit.who))
    observed = [in_words(each) for each in found.specimen["observations"]]
    page = visit.page(
        "case.html",
        status=status,
        case=found,
        observed=observed,
        bench="/?" + _bench_query(found),
        verdicts=VERDICT_WORDS,
        filled=filled or Filled(),
        findings=findings,
        own=visit.signed_in and found.author == visit.who.name,
        keeps=visit.may(Permission.MAINTAIN),
        may=visit.may(Permission.DISCUSS),
        may_save=visit.may(Permission.SAVE_SPECIMEN),
    )
    if found.visibility == "private":  # whoever knows its address can read it: it goes to no cache and no referrer
        page.headers["Cache-Control"] = "no-store"
        page.headers["Referrer-Policy"] = "no-referrer"
    return page


def _bench_query(found: CaseOut) -> str:
    """The observations as the query of the bench."""
    pieces = [piece_of(each).partition("=") for each in found.specimen["observations"]]
    return query_of((name, text) for name, _, text in pieces)


@router.post("/cases/{key}")
def say_or_change(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Suggest a half or comment; its author accepts a half, changes its visibility, withdraws or reopens it."""
    action = form.one("do") or "comment"
    operation = OPERATIONS.get(action, WITHDRAW_CASE)
    try:
        act_once(writing, form, operation, lambda: _given(visit, form, catalogue, key), record=SPECIMEN, key=key)
    except REFUSED as error:
        filled, status = refused(form, error, PLACES.get(action, ()), lambda name: _place(action, name))
        findings = error.findings if isinstance(error, ReviewRefusedError) else ()
        return _case(visit, catalogue, key, filled, status, findings)
    return see_other(f"/cases/{key}?said={SAID.get(action, 'changed')}")


OPERATIONS: Mapping[str, Operation[Any, Any]] = {
    "comment": COMMENT_ON_CASE,
    "accept": ACCEPT,
    "public": REVISE_CASE,
    "private": REVISE_CASE,
    "reopen": REOPEN_CASE,
    "withdraw": WITHDRAW_CASE,
}
"""The operation of each form of a case."""

SAID = {"comment": "commented", "accept": "solved", "withdraw": "withdrawn", "reopen": "reopened"}
PLACES = {
    "comment": ("text", "half"),
    "accept": ("accept.half", "accept.reason"),
    "withdraw": ("close.reason",),
    "reopen": ("close.reason",),
}
"""Fields of each of a case's forms."""


def _place(action: str, name: str) -> str:
    if action == "accept":
        return f"accept.{name}"
    return "close.reason" if action in ("withdraw", "reopen") and name == "reason" else name


def _given(visit: Visit, form: Form, catalogue: Catalogue, key: str) -> dict[str, Any]:
    """The values typed into one of a case's forms."""
    action = form.one("do") or "comment"
    if action == "comment":
        return {"text": form.one("text"), **fields.given(form, ("half",))}
    if action == "accept":
        confirm = {"no": False, "yes": True}.get(form.one("accept.confirm"))
        typed = fields.given(form, ("half", "reason", "comment"), "accept.")
        return {**typed, "confirm": confirm, "acknowledge": fields.acknowledged(form)}
    if action in ("public", "private"):
        with catalogue.reading() as session:
            kept = case_of(session, key, seer(visit.who)).specimen
        return {**kept, "visibility": action}
    return {"reason": form.one("close.reason")}
