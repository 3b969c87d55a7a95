"""The bench: a drawing to fill in, with the answer beside it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from api.identification import answer_words as words
from api.identification.advising import worth_taking
from api.identification.answering import answer, ranking_of
from api.identification.cautions import BY_STAGE, SHORT_CAUTIONS
from api.identification.triage import TRIAGE
from api.schemas.answers import Answer, Ranking
from api.schemas.words import REASON_WORDS, REMAINS_ADVICE, REMAINS_WORDS
from api.service.dependencies import SnapshotDep
from api.web.bench import answer_view, fields
from api.web.bench.parameters import query_of, tidy
from api.web.bench.request import MOST_SHOWN, Bench, read, sentences
from api.web.bench.sheets import drawable, from_above, from_end, voids
from api.web.page.rendering import Visit, VisitDep, environment
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES, Remains
from matcher.uncertainty.instruments import BUILT_IN
from matcher.vocabulary import SPELLINGS

FIRST_STEPS = {
    Remains.WHOLE: frozenset({"contact_count", "pitch"}),
    Remains.BARE_BOARD: frozenset({"contact_count", "land_span"}),
    Remains.TORN_OFF: frozenset({"contact_count", "pitch"}),
    Remains.ONE_END_MISSING: frozenset({"pitch", "body_width"}),
}
"""The first measurements on what remains: they are quick, and nothing else narrows the catalogue as much."""

MOST_PARAMETERS = 1000
"""Parameters of one address that are read: five times the most observations of one specimen."""

environment.filters["sentences"] = sentences

router = APIRouter(include_in_schema=False)


@router.get("/")
def bench_page(visit: VisitDep, snapshot: SnapshotDep) -> Response:
    """The bench as its address describes it; its script asks for the parts that change."""
    pairs = visit.request.query_params.multi_items()[:MOST_PARAMETERS]
    kept = tidy(pairs)
    if visit.part is None and kept != pairs:
        return RedirectResponse(f"/?{query_of(kept)}" if kept else "/", status_code=303)
    bench = read(snapshot, kept)
    if visit.part == "drawing":
        return visit.fragment("parts/bench_drawing.html", **_drawing(bench, frozenset()))
    if visit.part == "answer":
        return visit.fragment("parts/bench_answer.html", **_answer(snapshot, bench, _ranked(snapshot, bench)))
    if visit.part == "advice":
        return visit.fragment("parts/bench_advice.html", **_advice(bench, _advised(snapshot, bench)))
    return _whole(visit, snapshot, bench)


def _whole(visit: Visit, snapshot: Snapshot, bench: Bench) -> Response:
    found = _advised(snapshot, bench, bench.request.limit)
    next_up = answer_view.next_fields(found.next_measurements) if found else FIRST_STEPS[bench.request.remains]
    return visit.page(
        "bench.html",
        **{**_drawing(bench, next_up), **_answer(snapshot, bench, found), **_advice(bench, found)},
        above=fields.fields_of(bench, fields.ABOVE_NAMES, next_up),
        end=fields.fields_of(bench, fields.END_NAMES, next_up),
        other=fields.fields_of(bench, fields.OTHER_NAMES, next_up),
        finer=fields.fields_of(bench, fields.FINER_NAMES, next_up),
        first_eye=fields.fields_of(bench, (fields.FIRST_EYE,), next_up),
        eye=fields.fields_of(bench, fields.EYE_NAMES, next_up),
        texts=fields.fields_of(bench, fields.TEXT_NAMES, next_up),
        further=bench.further(fields.SHOWN),
        glossary=list(fields.glossary()),
        instruments=list(BUILT_IN.values()),
        units=list(SPELLINGS),
        remains_words=REMAINS_WORDS,
        remains_advice=REMAINS_ADVICE,
        triage=TRIAGE,
        cautions=BY_STAGE,
        short_cautions=SHORT_CAUTIONS,
    )


def _ranked(snapshot: Snapshot, bench: Bench) -> Ranking | None:
    return ranking_of(snapshot, bench.request) if bench.request.observations else None


def _advised(snapshot: Snapshot, bench: Bench, limit: int = 1) -> Answer | None:
    """The whole answer, with the number of candidates shown."""
    if not bench.request.observations:
        return None
    return answer(snapshot, bench.request.model_copy(update={"limit": limit}))


def _drawing(bench: Bench, next_up: frozenset[str]) -> dict[str, Any]:
    seen = drawable(bench.readings, fields.states_of(bench, next_up))
    return {"sheet_above": from_above(seen), "sheet_end": from_end(seen), "voids": voids(seen.this)}


def _answer(snapshot: Snapshot, bench: Bench, ranking: Ranking | None) -> dict[str, Any]:
    """The contents of the answer's template; without observations, the first step."""
    shared = {"bench": bench, "ranking": ranking, "words": words, "answers": answer_view, "most_shown": MOST_SHOWN}
    if ranking is None:
        return {**shared, "rows": (), "allowance": answer_view.allowance(bench.readings), "rest": 0.0}
    measured = drawable(bench.readings, {}).this
    rows = answer_view.rows_of(snapshot, ranking, measured)
    return {
        **shared,
        "rows": rows,
        "allowance": answer_view.allowance(bench.readings),
        "rest": max(0.0, 1.0 - sum(row.probability for row in rows)),
    }


def _advice(bench: Bench, found: Answer | None) -> dict[str, Any]:
    """The contents of the advice's template: the next measurement, and possible mistakes."""
    return {
        "bench": bench,
        "answers": answer_view,
        "words": words,
        "features": FEATURES,
        "reason_words": REASON_WORDS,
        "first_steps": FIRST_STEPS[bench.request.remains],
        "advised": found,
        "nexts": [each for each in found.next_measurements if worth_taking(each)] if found else [],
        "suggestions": answer_view.suggestions(bench, found.hints) if found else [],
    }
