"""Evidence about an entry: confirmations, disputes and their answers, sightings."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.operations.evidence import ANSWER, CONFIRM, DISPUTE, RESOLVE, SIGHT
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.service.dependencies import CatalogueDep
from api.web.contribute import entry_fields as fields
from api.web.entries.evidence_view import METHOD_WORDS
from api.web.evidence.forms import TOOLS, WAYS, confirmation_of, countable, measurable, value_place
from api.web.page.addresses import half_page
from api.web.page.entry_lookup import PAGES, about
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.db.database import Catalogue
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import FEATURES_OF, Dispute
from catalog.history.documents import DocumentRecord, documents, get_document
from catalog.history.preconditions import tag_of
from catalog.records import queries
from matcher.features import FEATURES

router = APIRouter(include_in_schema=False)

ByQuery = Annotated[str, Query(max_length=20)]


def _confirm_page(
    visit: Visit,
    catalogue: Catalogue,
    of: EntryRecord,
    key: str,
    by: str,
    filled: Filled,
    status: int = 200,
    findings: Any = (),
) -> Response:
    entry = about(catalogue, of, key, filled)
    ways = WAYS if entry.of == "half" else ("document",)
    chosen = by if by in ways else ways[0]
    with catalogue.reading() as session:
        mates = queries.mates_of(session, entry.key) if entry.of == "half" and chosen == "trial_fit" else []
    return visit.page(
        "confirm.html",
        status=status,
        entry=entry,
        ways=ways,
        by=chosen,
        own=visit.signed_in and entry.record.author == visit.who.name and chosen == "measured",
        filled=filled,
        findings=findings,
        mates=[(other.key, f"{other.half.part_number}, {other.half.maker}") for _, other in mates],
        lengths=measurable(entry.of),
        counts=countable(entry.of),
        features=FEATURES,
        tools=TOOLS,
        units=fields.UNITS,
        bounds=fields.BOUNDS,
        may=visit.may(Permission.GIVE_EVIDENCE),
    )


def _confirm(of: EntryRecord, key: str, visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    try:
        act_once(
            writing,
            form,
            CONFIRM,
            lambda: {"confirmation": confirmation_of(form, of, key), "acknowledge": fields.acknowledged(form)},
        )
    except REFUSED as error:
        filled, status = refused(form, error, place=partial(value_place, form, of))
        findings = error.findings if isinstance(error, ReviewRefusedError) else ()
        return _confirm_page(visit, catalogue, of, key, form.one("basis"), filled, status, findings)
    return see_other(PAGES[of](key, "?said=confirmed"))


def _dispute_page(
    visit: Visit, catalogue: Catalogue, of: EntryRecord, key: str, filled: Filled, status: int = 200
) -> Response:
    entry = about(catalogue, of, key, filled)
    with catalogue.reading() as session:
        opened = documents(session, "dispute", of=entry.of, about=entry.key, state="open")
    return visit.page(
        "dispute.html",
        status=status,
        entry=entry,
        filled=filled,
        opened=[told(each) for each in opened],
        features=[(name, FEATURES[name].label) for name in FEATURES_OF[entry.of]],
        may=visit.may(Permission.GIVE_EVIDENCE),
    )


def told(document: DocumentRecord) -> dict[str, Any]:
    """A dispute as the pages show it."""
    said = Dispute.model_validate(document.content)
    label = FEATURES[said.feature].label if said.feature else ""
    return {"key": document.key, "author": document.author, "day": document.added_at[:10], "said": said, "label": label}


def _confirmed(document: DocumentRecord) -> str:
    """Who confirmed, how and when."""
    return f"{document.author} {METHOD_WORDS[document.content['basis']]}, {document.added_at[:10]}"


def _dispute(of: EntryRecord, key: str, visit: Visit, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    try:
        given = {"of": of, "key": key, **fields.given(form, ("revision", "feature", "reason"))}
        act_once(writing, form, DISPUTE, lambda: given)
    except REFUSED as error:
        filled, status = refused(form, error, ("reason",))
        return _dispute_page(visit, catalogue, of, key, filled, status)
    return see_other(PAGES[of](key, "?said=disputed"))


@router.get("/halves/{key}/sighting")
def sighting_page(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """The form of a sighting."""
    return _sighting_page(visit, catalogue, key, Filled())


@router.post("/halves/{key}/sighting")
def sight(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Save a sighting."""
    given: dict[str, Any] = {"half": key, **fields.given(form, ("device", "board", "note"))}
    if cited := fields.given(form, fields.SOURCE, "citation."):
        given["citation"] = cited
    try:
        act_once(writing, form, SIGHT, lambda: given)
    except REFUSED as error:
        filled, status = refused(form, error, ("device",))
        return _sighting_page(visit, catalogue, key, filled, status)
    return see_other(half_page(key, "?said=sighted"))


def _sighting_page(visit: Visit, catalogue: Catalogue, key: str, filled: Filled, status: int = 200) -> Response:
    return visit.page(
        "sighting.html",
        status=status,
        entry=about(catalogue, "half", key, filled),
        filled=filled,
        may=visit.may(Permission.CONTRIBUTE),
    )


def _add_evidence(of: EntryRecord, path: str) -> None:
    """Add the pages that confirm and dispute entries of one kind."""

    @router.get(f"/{path}/{{key}}/confirm")
    def confirm_page(key: str, visit: VisitDep, catalogue: CatalogueDep, by: ByQuery = "") -> Response:
        """The forms that confirm: by measuring, by a document, by a trial fit."""
        return _confirm_page(visit, catalogue, of, key, by, Filled())

    @router.post(f"/{path}/{{key}}/confirm")
    def confirm(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
        """Save a confirmation."""
        return _confirm(of, key, visit, form, catalogue, writing)

    @router.get(f"/{path}/{{key}}/dispute")
    def dispute_page(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
        """The form that disputes an entry."""
        return _dispute_page(visit, catalogue, of, key, Filled())

    @router.post(f"/{path}/{{key}}/dispute")
    def dispute(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
        """Open a dispute."""
        return _dispute(of, key, visit, form, catalogue, writing)


_add_evidence("half", "halves")
_add_evidence("series", "series")


OUTCOMES = {
    "entry_stands": "the entry is right as it is",
    "entry_changed": "the entry was changed",
    "dispute_withdrawn": "the dispute was withdrawn",
}
"""How a dispute can be resolved."""

OF_ITS_AUTHOR = ("dispute_withdrawn",)
"""How its author can resolve it."""


@router.get("/disputes/{key}")
def dispute_itself(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """A dispute, its answers, and the forms to answer and resolve it."""
    return _one_dispute(visit, catalogue, key)


@router.post("/disputes/{key}")
def answer_or_settle(
    key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep
) -> Response:
    """Answer it, or resolve it."""
    settling = form.one("do") == "settle"
    try:
        (_settle if settling else _answer)(key, form, writing)
    except REFUSED as error:
        field = "settle.reason" if settling else "answer.reason"
        filled, status = refused(form, error, (field,), lambda name: field if name == "reason" else name)
        return _one_dispute(visit, catalogue, key, filled, status)
    return see_other(f"/disputes/{key}?said={'settled' if settling else 'answered'}")


def _answer(key: str, form: Form, writing: Writing) -> None:
    act_once(writing, form, ANSWER, lambda: {"reason": form.one("answer.reason")}, key=key)


def _settle(key: str, form: Form, writing: Writing) -> None:
    given = {
        "outcome": form.one("settle.outcome"),
        "reason": form.one("settle.reason"),
        "set_aside": form.many("settle.set_aside"),
    }
    act_once(writing, form, RESOLVE, lambda: {"resolution": given}, record="dispute", key=key)


def _one_dispute(
    visit: Visit, catalogue: Catalogue, key: str, filled: Filled | None = None, status: int = 200
) -> Response:
    with catalogue.reading() as session:
        document = get_document(session, "dispute", key)
        answers = documents(session, "answer", of="dispute", about=key)
        said = Dispute.model_validate(document.content)
        aside = documents(session, "confirmation", of=said.of, about=said.key, state="listed")
        tag = tag_of(session, "dispute", key)
    maintains = visit.may(Permission.MAINTAIN)
    offered = OUTCOMES if maintains else OF_ITS_AUTHOR if document.author == visit.who.name else ()
    return visit.page(
        "dispute_answers.html",
        status=status,
        told=told(document),
        state=document.state,
        page=PAGES[said.of](said.key) if said.of in PAGES else "",
        answers=[(each.author, each.added_at[:10], each.content["text"]) for each in answers],
        aside=[(each.key, _confirmed(each)) for each in aside] if maintains else [],
        outcomes=[(name, OUTCOMES[name]) for name in offered],
        settled=OUTCOMES[said.resolution.outcome] if said.resolution else "",
        filled=filled or Filled(),
        tag=tag,
        may=visit.may(Permission.DISCUSS),
    )
