"""One dispute: what was answered, and how it ends."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from api.operations.evidence import ANSWER, RESOLVE
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.service.dependencies import CatalogueDep
from api.web.evidence.evidence import told
from api.web.page.entry_lookup import PAGES
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import Filled, Form, FormDep
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.db.database import Catalogue
from catalog.evidence.statements import Dispute
from catalog.history.documents import documents, get_document
from catalog.history.preconditions import tag_of

router = APIRouter(include_in_schema=False)

OUTCOMES = (
    ("entry_stands", "the entry is right as it stands"),
    ("entry_changed", "the entry was changed"),
    ("dispute_withdrawn", "the dispute is taken back"),
)
WITHDRAWN = OUTCOMES[2:]
"""What whoever opened a dispute may say."""


@router.get("/disputes/{key}")
def dispute_itself(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """A dispute, what was answered, and the place to answer or settle it."""
    return _one_dispute(visit, catalogue, key)


@router.post("/disputes/{key}")
def answer_or_settle(
    key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep
) -> Response:
    """Answer it, or settle it."""
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
    return visit.page(
        "dispute_answers.html",
        status=status,
        told=told(document),
        state=document.state,
        page=PAGES[said.of](said.key) if said.of in PAGES else "",
        answers=[(each.author, each.added_at[:10], each.content["text"]) for each in answers],
        aside=[(each.key, f"{each.author}, {each.added_at[:10]}") for each in aside] if maintains else [],
        outcomes=OUTCOMES if maintains else WITHDRAWN if document.author == visit.who.name else (),
        filled=filled or Filled(),
        tag=tag,
        may=visit.may(Permission.DISCUSS),
        here=visit.request.url.path,
    )
