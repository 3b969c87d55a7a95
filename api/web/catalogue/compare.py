"""Halves laid over each other, and whether the instrument at hand can tell them apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from markupsafe import Markup
from starlette.responses import Response

from api.drawing.sizes import sizes_of
from api.drawing.views import Look, overlay_side, overlay_top
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.catalogue.compare_view import columns, counting, in_a_sentence, most_telling, rows
from api.web.catalogue.telling_apart import apart
from api.web.page import freshness
from api.web.page.addresses import CATALOGUE, COMPARE, PRINT, half_page, of_halves
from api.web.page.entry_lookup import Chosen, KeysQuery, chosen_halves
from api.web.page.figures import headline
from api.web.page.rendering import Visit, VisitDep
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.features import ESSENTIAL, FEATURES
from matcher.uncertainty.instruments import BUILT_IN

FEWEST, MOST = 2, 4
"""Halves on one page: fewer are nothing to compare, more cannot be told apart by eye."""

INSTRUMENTS = {name: each for name, each in BUILT_IN.items() if not each.unscaled}
"""What can be chosen: everything that gives a length by itself."""

USUAL = "caliper"
TOP_PX, SIDE_PX, TALLEST_PX = 760.0, 360.0, 320.0
NEIGHBOURS = 6
"""Halves offered beside one that is to be compared."""

router = APIRouter(include_in_schema=False)


@router.get("/compare")
def compare(
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    half: KeysQuery = None,
    instrument: Annotated[str, Query(max_length=40)] = USUAL,
) -> Response:
    """Two to four halves by key; ``instrument`` is what one would measure with."""
    kept = freshness.kept(visit, snapshot.version)
    if kept is not None:
        return kept
    with catalogue.reading() as session:
        chosen = chosen_halves(session, snapshot, half)
    if not FEWEST <= len(chosen.records) <= MOST:
        return _refused(visit, snapshot, chosen)
    page = visit.page("compare.html", **_compared(chosen, instrument if instrument in INSTRUMENTS else USUAL))
    return freshness.keep(visit, snapshot.version, page)


def _compared(chosen: Chosen, name: str) -> dict[str, Any]:
    records, instrument = chosen.records, INSTRUMENTS[name]
    judged = apart(records, instrument)
    sizes = [sizes_of(record.half) for record in records]
    drawn = most_telling(judged)
    top = overlay_top(sizes, Look(width_px=TOP_PX, tallest_px=TALLEST_PX, features=drawn))
    side = overlay_side(sizes, Look(width_px=SIDE_PX, tallest_px=TALLEST_PX, features=drawn))
    return {
        "columns": columns(records),
        "rows": rows(records, judged, instrument),
        "sentence": in_a_sentence(judged, instrument, len(records)),
        "counting": counting(records),
        "unknown": chosen.unknown,
        "drawings": [
            ("From above, one centre of the contacts", Markup(top.svg)),
            ("Cut across the rows, on one board", Markup(side.svg)),
        ],
        "instruments": INSTRUMENTS,
        "instrument": name,
        "addresses": {"compare": COMPARE, "print": of_halves(PRINT, chosen.keys), "catalogue": CATALOGUE},
    }


def _refused(visit: Visit, snapshot: Snapshot, chosen: Chosen) -> Response:
    """Too few or too many: what was chosen, to leave some out, and what could be added."""
    alike = nearest(snapshot, chosen.records[0]) if len(chosen.records) == 1 else ()
    return visit.page(
        "compare_refused.html",
        status=422,
        chosen=[_named(record) for record in chosen.records],
        alike=[_named(record) for record in alike],
        unknown=chosen.unknown,
        most=MOST,
        addresses={"compare": COMPARE, "catalogue": CATALOGUE},
    )


def _named(record: HalfRecord) -> dict[str, str]:
    half = record.half
    return {
        "key": record.key,
        "page": half_page(record.key),
        "part_number": half.part_number,
        "described": f"{half.maker}. {headline(half)}",
    }


def nearest(snapshot: Snapshot, record: HalfRecord) -> Sequence[HalfRecord]:
    """Listed halves most like one: same kind, nearest in what is essential, each in parts of its least tolerance."""
    own = record.half.dimensions
    scored = []
    for other in snapshot.halves.values():
        if other.origin != "listed" or other.key == record.key or other.half.half_kind != record.half.half_kind:
            continue
        theirs = other.half.dimensions
        shared = [name for name in ESSENTIAL if name in own and name in theirs]
        if shared:
            off = sum(abs(own[name].value - theirs[name].value) / FEATURES[name].process.least for name in shared)
            scored.append((len(ESSENTIAL) - len(shared), off, other.key, other))
    return [other for *_, other in sorted(scored, key=lambda each: each[:3])[:NEIGHBOURS]]
