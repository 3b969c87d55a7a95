"""The sheet with which a person asks others about a half that is not in the catalogue."""

from __future__ import annotations

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from api.fitting.inquiry import inquiry
from api.identification import answer_words as words
from api.service.dependencies import SnapshotDep
from api.web.bench.request import read
from api.web.page.rendering import VisitDep

router = APIRouter(include_in_schema=False)


@router.get("/inquiry")
def inquiry_page(visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The inquiry for what was measured on the bench, whose address holds the observations."""
    bench = read(snapshot, visit.request.query_params.multi_items())
    made = inquiry(snapshot, bench.request) if bench.request.observations else None
    return visit.page(
        "inquiry.html",
        made=made,
        drawing=Markup(made.drawing) if made else "",
        words=words,
        unread=bench.errors,
        back=f"/?{bench.query()}",
    )
