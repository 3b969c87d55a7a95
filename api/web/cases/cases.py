"""Open cases: parts that somebody measured and nobody has named yet, and the place to suggest what they are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.observations.short_form_writing import piece_of
from api.operations.case_ranking import checked_summary, judged_half, require_half, revision_of, suggested
from api.operations.case_reading import case_of, evidence_in
from api.operations.transaction import Writing, WritingDep
from api.schemas.cases import AcceptIn, CaseOut, CommentIn, CommentOut, SpecimenIn, asked_of, case_item, comment_out
from api.schemas.evidence import ReasonIn
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.service.paging import decode_number, encode_cursor
from api.service.settings import DEFAULT_PAGE
from api.web.bench.request import Bench, query_of, read
from api.web.contribute import entry_fields as fields
from api.web.page.addresses import half_page
from api.web.page.form_actions import REFUSED, act_once, model_of, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission, allowed, require
from catalog.cases import lifecycle
from catalog.cases.retrieval import Case, get_case, own_cases, public_cases, seer, seer_of
from catalog.cases.specimens import COMMENT, SPECIMEN, Comment, Specimen
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.db.database import Catalogue
from catalog.history.acts import Act
from catalog.history.preconditions import require_unchanged, tag_of
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES

router = APIRouter(include_in_schema=False)

CursorText = Annotated[str, Query(max_length=500)]

SETTINGS = ("prior_absent", "at_hand", "instruments", "closed_jaws")
"""Fields of an identification, beside what was observed, that a case keeps."""

VERDICTS = {"identified": "identified", "shortlist": "not settled", "no_match": "nothing here fits"}


@router.get("/cases")
def cases(visit: VisitDep, catalogue: CatalogueDep, cursor: CursorText = "") -> Response:
    """Public cases that are open, and one's own."""
    after = decode_number(cursor or None, "cases", {})
    with catalogue.reading() as session:
        found = public_cases(session, after=after, limit=DEFAULT_PAGE + 1)
        own = own_cases(session, visit.who.name) if visit.signed_in and after is None else []
    items = [case_item(case) for case in found[:DEFAULT_PAGE]]
    more = encode_cursor(str(found[DEFAULT_PAGE - 1].document.id), "cases", {}) if len(found) > DEFAULT_PAGE else ""
    items.sort(key=lambda item: item.changed_since is None)
    return visit.page(
        "cases.html",
        items=items,
        own=[case_item(case) for case in own],
        more=more,
        half_page=half_page,
        verdicts=VERDICTS,
    )


@router.get("/cases/new")
def new_case(visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """Keep what was measured on the bench: the bench's address, with its observations, leads here."""
    pairs = visit.request.query_params.multi_items()
    return _new(visit, read(snapshot, pairs), Filled(), pairs)


@router.post("/cases/new")
def save_case(visit: VisitDep, form: FormDep, snapshot: SnapshotDep, writing: WritingDep) -> Response:
    """Keep it."""
    pairs = [(name.removeprefix("bench."), value) for name, value in form.pairs if name.startswith("bench.")]
    bench = read(snapshot, pairs)
    try:
        require(visit.who, Permission.SAVE_SPECIMEN)
        body = model_of(SpecimenIn, _specimen(form, bench))
        summary, _ = checked_summary(snapshot, asked_of(body.specimen()))

        def work(session: Session, act: Act) -> CaseOut:
            document = lifecycle.save(session, act, body.specimen(), summary, private=body.private)
            return case_of(session, document.key, seer_of(act))

        made = act_once(writing, form, CaseOut, work)
    except REFUSED as error:
        filled, status = refused(form, error, ("title",))
        return _new(visit, bench, filled, pairs, status)
    return see_other(f"/cases/{made.key}?said=saved")


def _specimen(form: Form, bench: Bench) -> dict[str, Any]:
    asked = bench.request.model_dump(mode="json", exclude_defaults=True)
    kept = {name: asked[name] for name in ("observations", *SETTINGS) if name in asked}
    return {**fields.given(form, ("title", "note", "visibility")), "observations": [], **kept}


def _new(visit: Visit, bench: Bench, filled: Filled, pairs: Sequence[tuple[str, str]], status: int = 200) -> Response:
    observed = [_in_words(each.model_dump(mode="json", exclude_defaults=True)) for each in bench.request.observations]
    address = visit.request.url.path + (f"?{visit.request.url.query}" if visit.request.url.query else "")
    return visit.page(
        "case_new.html",
        status=status,
        observed=observed,
        unread=bench.errors,
        pairs=pairs,
        filled=filled,
        may=visit.may(Permission.SAVE_SPECIMEN),
        here=visit.request.url.path,
        address=address,
    )


def _in_words(observation: dict[str, Any]) -> str:
    """An observation as people say it: the feature's label, then the figures as in the short form."""
    feature = FEATURES.get(str(observation.get("feature")))
    label = feature.label if feature else str(observation.get("feature"))
    whose = {"other": "the other half's ", "pair": "", "this": ""}.get(str(observation.get("of", "this")), "")
    return f"{whose}{label} {piece_of(observation).partition('=')[2].replace('@', ', ')}"


@router.get("/cases/{key}")
def case(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """One case: what was observed, what the ranking makes of it, what others say."""
    return _case(visit, catalogue, key)


def _case(
    visit: Visit, catalogue: Catalogue, key: str, filled: Filled | None = None, status: int = 200, findings: Any = ()
) -> Response:
    with catalogue.reading() as session:
        found = case_of(session, key, seer(visit.who))
    observed = [_in_words(each) for each in found.specimen["observations"]]
    page = visit.page(
        "case.html",
        status=status,
        case=found,
        observed=observed,
        bench="/?" + _bench_query(found),
        verdicts=VERDICTS,
        half_page=half_page,
        filled=filled or Filled(),
        findings=findings,
        own=visit.signed_in and found.author == visit.who.name,
        keeps=visit.may(Permission.MAINTAIN),
        may=visit.may(Permission.DISCUSS),
        may_save=visit.may(Permission.SAVE_SPECIMEN),
        here=visit.request.url.path,
    )
    if found.visibility == "private":  # its address is its key, and goes to nobody: not to a cache, not as a referrer
        page.headers["Cache-Control"] = "no-store"
        page.headers["Referrer-Policy"] = "no-referrer"
    return page


def _bench_query(found: CaseOut) -> str:
    """The bench with what was observed."""
    pieces = [piece_of(each).partition("=") for each in found.specimen["observations"]]
    return query_of((name, text) for name, _, text in pieces)


@router.post("/cases/{key}")
def say_or_change(
    key: str,
    visit: VisitDep,
    form: FormDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    writing: WritingDep,
) -> Response:
    """Suggest a half, comment; for its author: accept, show or hide it, close or reopen it."""
    action = form.one("do") or "comment"
    try:
        if action == "comment":
            _comment(visit, key, form, snapshot, writing)
        elif action == "accept":
            _accept(visit, key, form, snapshot, writing)
        elif action in ("public", "private"):
            _show(visit, key, form, snapshot, writing)
        else:
            _close(visit, key, form, writing, lifecycle.reopen if action == "reopen" else lifecycle.withdraw)
    except REFUSED as error:
        filled, status = refused(form, error, PLACES.get(action, ()), lambda name: _place(action, name))
        findings = error.findings if isinstance(error, ReviewRefusedError) else ()
        return _case(visit, catalogue, key, filled, status, findings)
    return see_other(f"/cases/{key}?said={SAID.get(action, 'changed')}")


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


def _comment(visit: Visit, key: str, form: Form, snapshot: Snapshot, writing: Writing) -> None:
    require(visit.who, Permission.DISCUSS)
    body = model_of(CommentIn, {"text": form.one("text"), **fields.given(form, ("half",))})
    judged, revision = None, None
    if body.half is not None:
        require_half(snapshot, body.half)
        with writing.catalogue.reading() as session:
            specimen = Specimen.model_validate(get_case(session, key, seer(visit.who)).document.content)
        judged, revision = judged_half(snapshot, asked_of(specimen), body.half), revision_of(snapshot, body.half)
    said = Comment(specimen=key, text=body.text, half=body.half, revision=revision)

    def work(session: Session, act: Act) -> CommentOut:
        found = get_case(session, key, seer_of(act))
        document = lifecycle.comment(session, act, found, said, judged)
        return comment_out(
            document, {each.half: each for each in (judged,) if each}, tag_of(session, COMMENT, document.key)
        )

    act_once(writing, form, CommentOut, work)


def _accept(visit: Visit, key: str, form: Form, snapshot: Snapshot, writing: Writing) -> None:
    require(visit.who, Permission.SAVE_SPECIMEN)
    typed = {name: form.one(f"accept.{name}") for name in ("half", "reason", "comment")}
    given: dict[str, Any] = {name: text for name, text in typed.items() if text}
    confirm = {"no": False, "yes": True}.get(form.one("accept.confirm"))
    body = model_of(AcceptIn, {**given, "confirm": confirm, "acknowledge": fields.acknowledged(form)})
    require_half(snapshot, body.half)
    if body.confirm:
        require(visit.who, Permission.GIVE_EVIDENCE)
    choice = lifecycle.Choice(
        half=body.half,
        listed=snapshot.halves[body.half].origin == "listed",
        reason=body.reason,
        comment=body.comment,
        confirm=body.confirm,
        may_confirm=allowed(visit.who, Permission.GIVE_EVIDENCE) is None,
        acknowledged=body.acknowledge,
    )

    def work(session: Session, act: Act) -> CaseOut:
        found = lifecycle.own_case(session, act, key, maintained=True)
        require_unchanged(session, SPECIMEN, key, form.tag)
        lifecycle.accept(session, act, found, choice, lambda: evidence_in(found))
        return case_of(session, key, seer_of(act))

    act_once(writing, form, CaseOut, work, reason=body.reason)


def _show(visit: Visit, key: str, form: Form, snapshot: Snapshot, writing: Writing) -> None:
    """Make one's own case public, or private."""
    require(visit.who, Permission.SAVE_SPECIMEN)
    with writing.catalogue.reading() as session:
        standing = get_case(session, key, seer(visit.who))
        halves = suggested(session, standing)
        kept = case_of(session, key, seer(visit.who)).specimen
    body = model_of(SpecimenIn, {**kept, "visibility": form.one("do")})
    summary, judged = checked_summary(snapshot, asked_of(body.specimen()), halves)

    def work(session: Session, act: Act) -> CaseOut:
        found = lifecycle.own_case(session, act, key)
        require_unchanged(session, SPECIMEN, key, form.tag)
        lifecycle.revise(session, act, found, body.specimen(), summary, judged, private=body.private)
        return case_of(session, key, seer_of(act))

    act_once(writing, form, CaseOut, work)


def _close(
    visit: Visit, key: str, form: Form, writing: Writing, change: Callable[[Session, Act, Case], object]
) -> None:
    require(visit.who, Permission.SAVE_SPECIMEN)
    body = model_of(ReasonIn, {"reason": form.one("close.reason")})

    def work(session: Session, act: Act) -> CaseOut:
        found = lifecycle.own_case(session, act, key, maintained=True)
        require_unchanged(session, SPECIMEN, key, form.tag)
        change(session, act, found)
        return case_of(session, key, seer_of(act))

    act_once(writing, form, CaseOut, work, reason=body.reason)
