"""The page on which the current through a half and its mate is compared with their ratings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.fitting.current.current import current
from api.identification.cautions import cautions_before
from api.identification.mates import by_part, listed_mates
from api.observations.checking import form_of
from api.schemas.fitting.current import CurrentAnswer, CurrentRequest
from api.schemas.words import ENOUGH_WORDS
from api.service.dependencies import SnapshotDep
from api.service.problems import ApiError
from api.web.page.entry_lookup import unknown_entry
from api.web.page.forms import Filled, Form, number
from api.web.page.rendering import VisitDep
from catalog.snapshot.snapshot import Snapshot

NUMBERS = {"current_a": float, "supply_contacts": int, "return_contacts": int, "ambient_c": float}

router = APIRouter(include_in_schema=False)


@router.get("/halves/{key}/current")
def current_page(key: str, visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The form for a half, listed or inferred; with what was typed, the answer too."""
    if key not in snapshot.halves:
        return unknown_entry(visit, snapshot, key, "half")
    form = Form(pairs=tuple(visit.request.query_params.multi_items()))
    found, filled = _answered(snapshot, key, form) if form.pairs else (None, Filled())
    values = _values(snapshot, key, filled)
    return visit.page("current.html", status=422 if filled.errors else 200, found=found, filled=filled, **values)


def _answered(snapshot: Snapshot, key: str, form: Form) -> tuple[CurrentAnswer | None, Filled]:
    given: dict[str, Any] = {name: number(form.one(name), of) for name, of in NUMBERS.items() if form.one(name)}
    given |= {"half": key, "mate": form.one("mate") or None, "power_contacts": form.one("power_contacts") == "yes"}
    try:
        return current(snapshot, form_of(CurrentRequest, given)), Filled(form=form)
    except ApiError as error:
        return None, Filled(form=form, errors=error.errors)


def _values(snapshot: Snapshot, key: str, filled: Filled) -> Mapping[str, Any]:
    mates = dict.fromkeys((*by_part(listed_mates(snapshot, key)), *filled.form.many("mate")))
    return {
        "record": snapshot.halves[key],
        "mates": [(mate, snapshot.halves[mate].half.part_number) for mate in mates if mate in snapshot.halves],
        "verdicts": ENOUGH_WORDS,
        "cautions": cautions_before("before power"),
    }
