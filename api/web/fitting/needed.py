"""The page of what is needed to connect to a half: its mates and the room, and what can take its own place."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.fitting.needed import needed
from api.identification import answer_words as words
from api.identification.cautions import cautions_before
from api.observations.checking import form_of
from api.schemas.fitting.needed import NeededAnswer, NeededRequest
from api.schemas.words import FITS_WORDS, TIGHT
from api.service.dependencies import SnapshotDep
from api.service.problems import ApiError
from api.web.page.entry_lookup import unknown_entry
from api.web.page.forms import Filled, Form, number
from api.web.page.rendering import VisitDep
from catalog.snapshot.snapshot import Snapshot

NEEDS = (
    ("mate", "what goes onto it"),
    ("same", "the half once more, for its board"),
    ("both", "both, for an extension or a tap"),
)
LAYERS = ("flex", "stiffener", "solder", "foam", "board")
"""What may lie in the gap besides the pair."""

LIMITS = {"gap.least": "Gap at least, mm", "gap.most": "Gap at most, mm"} | {
    "width_most": "Room across the rows, mm",
    "length_most": "Room along the rows, mm",
}

router = APIRouter(include_in_schema=False)


@router.get("/halves/{key}/mates")
def needed_page(key: str, visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The form for a half, listed or inferred, with its mates; ``half`` in the address adds others of a shortlist."""
    if key not in snapshot.halves:
        return unknown_entry(visit, snapshot, key, "half")
    form = Form(pairs=tuple(visit.request.query_params.multi_items()))
    found, filled = _answered(snapshot, key, form)
    return visit.page(
        "needed.html",
        status=422 if filled.errors else 200,
        record=snapshot.halves[key],
        found=found,
        filled=filled,
        needs=NEEDS,
        layers=LAYERS,
        limits=LIMITS,
        words=words,
        fits_words=FITS_WORDS,
        tight=TIGHT,
        cautions=cautions_before("before soldering", "before power"),
    )


def _answered(snapshot: Snapshot, key: str, form: Form) -> tuple[NeededAnswer | None, Filled]:
    try:
        return needed(snapshot, form_of(NeededRequest, _given(form, key))), Filled(form=form)
    except ApiError as error:
        return None, Filled(form=form, errors=error.errors)


def _given(form: Form, key: str) -> dict[str, Any]:
    """The request; what was left empty is left out."""
    given: dict[str, Any] = {"halves": [key, *form.many("half")], "need": form.one("need") or "mate"}
    given |= {name: number(form.one(name)) for name in LIMITS if form.one(name) and "." not in name}
    gap = {name: number(form.one(f"gap.{name}")) for name in ("least", "most") if form.one(f"gap.{name}")}
    added = {name: number(form.one(f"added.{name}")) for name in LAYERS if form.one(f"added.{name}")}
    return given | ({"gap": gap} if gap else {}) | {"added": added}
