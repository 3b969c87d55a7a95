"""The page of a half: its drawing, stated and measured values, its mates, and its evidence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.fitting.lands.lands import basis_of_lands
from api.identification import answer_words as words
from api.identification.cautions import BY_STAGE, SHORT_CAUTIONS
from api.identification.mates import beware
from api.identification.required_mate import required_mate
from api.schemas.words import BASIS_WORDS, CONTACT_CAUTIONS, CONTACT_WORDS
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.entries.dimension_rows import dimension_rows
from api.web.entries.drawings import drawings_of
from api.web.entries.evidence_view import evidence_of
from api.web.entries.half_facts import SHOWN_MATES, facts, in_order, of_pair, ordering
from api.web.page import freshness
from api.web.page.addresses import BENCH, COMPARE, CONTACT_MAP, PRINT, asked, half_page, history_of, of_halves
from api.web.page.entry_lookup import find_half, unknown_entry
from api.web.page.history import last_happened, pending_changes
from api.web.page.rendering import VisitDep
from catalog.evidence.agreement import stated
from catalog.evidence.assessment import INFERRED
from catalog.evidence.retrieval import assessment_of
from catalog.model.entries import Half
from catalog.records import queries
from catalog.records.read_models import HalfRecord, MatingRecord, assessed_of
from catalog.snapshot.snapshot import Snapshot

ALL = "all"
"""Value of the parameters `mates` and `evidence` that shows all of them."""

CARRIED = ("pitch", "body_length", "overall_length", "body_width", "tail_span", "height")
"""Dimensions taken to the bench: those that a caliper can measure on nearly every half."""

OWN_PAGES = ("confirm", "dispute", "sighting", "revise", "current", "mates", "order")
"""Pages of a half besides its own."""

ShownQuery = Annotated[str, Query(max_length=10)]
Mates = Sequence[tuple[MatingRecord, HalfRecord]]

router = APIRouter(include_in_schema=False)


@router.get("/halves/{key}")
def half(
    key: str,
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    mate: Annotated[str, Query(max_length=1000)] = "",
    mates: ShownQuery = "",
    evidence: ShownQuery = "",
) -> Response:
    """The half of this key, listed, withdrawn, merged or inferred; ``mate`` is the mating that is drawn."""
    kept = freshness.kept(visit, snapshot.version)
    if kept is not None:
        return kept
    with catalogue.reading() as session:
        record = find_half(session, snapshot, key)
        if record is None:
            return unknown_entry(visit, snapshot, key, "half")
        values = _values(session, snapshot, record, evidence == ALL)
        found = queries.mates_of(session, key) if record.origin == "listed" else []
    if not found and record.state == "listed":
        values["required"] = required_mate(snapshot, record)
    page = visit.page("half.html", **values, **_of_mates(record, in_order(found), mate, mates == ALL))
    return freshness.keep(visit, snapshot.version, page)


def _values(session: Session, snapshot: Snapshot, record: HalfRecord, everything: bool) -> dict[str, Any]:
    listed = record.origin == "listed"
    assessment = assessment_of(session, assessed_of(record)) if listed else INFERRED
    content = record.half
    rows = dimension_rows(content.dimensions, stated(content), assessment)
    return {
        "record": record,
        "half": content,
        "rows": rows,
        "measured": any(row.measured for row in rows),
        "facts": list(facts(record)),
        "ordering": ordering(content),
        "evidence": evidence_of(session, "half", record.key, assessment, content.datasheet, everything),
        "history": last_happened(session, "half", record.key) if listed else (),
        "pending": pending_changes(session, "half", record.key) if listed else (),
        **_around(snapshot, record),
        "lands": basis_of_lands(session, content) if listed and record.state == "listed" else "",
        "cautions": BY_STAGE,
        "short_cautions": SHORT_CAUTIONS,
        "links": _links(record),
    }


def _links(record: HalfRecord) -> dict[str, str]:
    key = record.key
    return {
        "identify": _identify_like(record.half),
        "compare": of_halves(COMPARE, [key]),
        "print": of_halves(PRINT, [key]),
        "contact_map": of_halves(CONTACT_MAP, [key]),
        "history": history_of("half", key),
        "lands": f"/v1{half_page(key, '/lands')}",
        "evidence": half_page(key, "?evidence=all#trust"),
        **{
            name: half_page(key, f"/{name}")
            for name in ("confirm", "dispute", "sighting", "revise", "current", "mates", "order")
        },
    }


def _identify_like(half: Half) -> str:
    """Address of the bench filled in with the figures of a half, as if measured with a caliper."""
    return asked(BENCH, list(_figures(half)))


def _figures(half: Half) -> Iterator[tuple[str, str]]:
    yield "contact_count", str(half.contact_count)
    yield "rows", str(half.rows)
    if half.half_kind is not None:
        yield "half_kind", half.half_kind
    for name in CARRIED:
        stated = half.dimensions.get(name)
        if stated is not None and stated.bound in ("nominal", "reference"):
            yield name, f"{stated.value:g}"


def _around(snapshot: Snapshot, record: HalfRecord) -> dict[str, list[HalfRecord]]:
    """For an inferred half: the listed halves of its series nearest in size, and those of its size and another kind."""
    if record.origin == "listed":
        return {"neighbours": [], "opposite": []}
    own = [each for each in snapshot.halves.values() if each.series_key == record.series_key]
    contacts, kind = record.half.contact_count, record.half.half_kind
    listed = [each for each in own if each.origin == "listed"]
    listed.sort(key=lambda each: (abs(each.half.contact_count - contacts), each.key))
    opposite = [each for each in own if each.half.contact_count == contacts and each.half.half_kind != kind]
    return {
        "neighbours": listed[:NEIGHBOURS],
        "opposite": opposite,
    }


NEIGHBOURS = 4
"""Listed halves shown beside an inferred one."""


def _of_mates(record: HalfRecord, found: Mates, chosen: str, everything: bool) -> dict[str, Any]:
    """The mates shown and the drawings; one drawing shows the pair mated."""
    drawn = next((pair for pair in found if pair[0].id == chosen), found[0] if found else None)
    shown = found if everything else found[:SHOWN_MATES]
    return {
        "mates": shown,
        "mate_count": len(found),
        "of_pair": of_pair,
        "basis_words": BASIS_WORDS,
        "beware": beware,
        "words": words,
        "contact_words": CONTACT_WORDS,
        "contact_cautions": CONTACT_CAUTIONS,
        "contact_map": of_halves(CONTACT_MAP, [record.key]),
        "all_mates": half_page(record.key, "?mates=all#mates"),
        "drawn_mating": drawn[0].id if drawn else "",
        "drawings": drawings_of(record, *(drawn or (None, None))),
        "here": half_page(record.key),
        "shown_mates": ALL if everything else "",
    }
