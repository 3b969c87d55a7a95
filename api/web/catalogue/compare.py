"""Halves overlaid and side by side, and whether the instrument at hand can tell them apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query
from markupsafe import Markup
from starlette.responses import Response

from api.drawing.size_sources import sizes_of
from api.drawing.views import Look, overlay_side, overlay_top
from api.identification.telling_apart import MOSTLY, SAME_MM, SURE, Apart, Told, apart
from api.schemas.words import BOUND_WORDS
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.web.page import freshness
from api.web.page.addresses import COMPARE, PRINT, of_halves
from api.web.page.entry_lookup import Chosen, KeysQuery, chosen_halves
from api.web.page.figures import label, limits, mm, values_in_words
from api.web.page.rendering import Visit, VisitDep
from catalog.evidence.agreement import stated
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.columns.process_tolerance import process_interval
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, ESSENTIAL, FEATURES, Feature
from matcher.plus_minus import PROCESS
from matcher.uncertainty.instruments import BUILT_IN, Instrument

FEWEST, MOST = 2, 4
"""Most halves on one page: more cannot be distinguished by eye."""

INSTRUMENTS = {name: each for name, each in BUILT_IN.items() if not each.unscaled}
"""Instruments to choose from: those that give a length without a scale."""

USUAL = "caliper"
TOP_PX, SIDE_PX, TALLEST_PX = 760.0, 360.0, 320.0
NEIGHBOURS = 6
"""Halves offered to compare with a single one."""

router = APIRouter(include_in_schema=False)


@router.get("/compare")
def compare(
    visit: VisitDep,
    catalogue: CatalogueDep,
    snapshot: SnapshotDep,
    half: KeysQuery = None,
    instrument: Annotated[str, Query(max_length=40)] = USUAL,
) -> Response:
    """Two to four halves by key; ``instrument`` is the instrument for measuring."""
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
        "columns": [(record, _without(chosen.keys, record.key)) for record in records],
        "rows": rows(records, judged, instrument),
        "sentence": in_a_sentence(judged, instrument, len(records)),
        "counting": counting(records),
        "unknown": chosen.unknown,
        "drawings": [
            ("From above, one centre of the contacts", Markup(top.svg)),
            ("Cut across the rows, on one board", Markup(side.svg)),
        ],
        "mark_words": MARK_WORDS,
        "why": why,
        "instruments": INSTRUMENTS,
        "instrument": name,
        "print": of_halves(PRINT, chosen.keys),
    }


def _without(keys: Sequence[str], key: str) -> str:
    """The page without one of the halves; empty where too few would be left."""
    return of_halves(COMPARE, [each for each in keys if each != key]) if len(keys) > FEWEST else ""


def _refused(visit: Visit, snapshot: Snapshot, chosen: Chosen) -> Response:
    """The page for too few or too many halves: what was chosen, and what could be added."""
    alike = nearest(snapshot, chosen.records[0]) if len(chosen.records) == 1 else ()
    return visit.page(
        "compare_refused.html",
        status=422,
        chosen=chosen.records,
        alike=alike,
        unknown=chosen.unknown,
        most=MOST,
    )


def nearest(snapshot: Snapshot, record: HalfRecord) -> Sequence[HalfRecord]:
    """The listed halves most similar to one: of the same kind, nearest in the essential dimensions, each measured in
    units of its smallest tolerance."""
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


PER_HUNDRED = 100
"""Shares are written as readings out of a hundred."""

DRAWN = 4
"""Most dimensions drawn: each takes a line for every half, and more would hide the halves."""

MARK_WORDS = {
    "sure": "tells them apart",
    "mostly": "mostly tells them apart",
    "hint": "gives a hint",
    "no": "cannot tell",
}


@dataclass(frozen=True, kw_only=True)
class Row:
    """One feature of all halves; ``note`` is shown where no pair can be judged."""

    feature: str
    label: str
    cells: tuple[str, ...]
    differs: bool
    pairs: tuple[Told, ...] = ()
    note: str = ""


def rows(records: Sequence[HalfRecord], judged: Sequence[Apart], instrument: Instrument) -> tuple[Row, ...]:
    """Every feature that one of the halves has: counts, dimensions, categories. What tells the halves apart best comes
    first."""
    telling = {each.feature: each.weakest for each in judged if each.can}
    dimensions = sorted(
        _dimensions(records, judged, instrument), key=lambda row: -telling.get(row.feature, 0.0) if row.differs else 0.0
    )
    found = [*_counts(records), *dimensions, *_categories(records)]
    return tuple(sorted(found, key=lambda row: not row.differs))


def _counts(records: Sequence[HalfRecord]) -> Iterator[Row]:
    figures = [stated(record.half).counts for record in records]
    for name in COUNTS:
        cells = tuple(str(own[name]) if name in own else "" for own in figures)
        if any(cells):
            differs = _differ(cells)
            note = "count them twice" if differs else ""
            yield Row(feature=name, label=label(name), cells=cells, differs=differs, note=note)


def _categories(records: Sequence[HalfRecord]) -> Iterator[Row]:
    named = [stated(record.half).categories for record in records]
    for name in CATEGORIES:
        cells = tuple(values_in_words(name, sorted(own[name])) if name in own else "" for own in named)
        if any(cells):
            differs = _differ(cells)
            note = _eye(FEATURES[name]) if differs else ""
            yield Row(feature=name, label=label(name), cells=cells, differs=differs, note=note)


def _eye(feature: Feature) -> str:
    """How far a difference that is seen can be trusted."""
    if feature.strongest is not None:
        return "look, but it differs from lot to lot, too: weak evidence"
    return f"look: people name it correctly {round(feature.right_share * PER_HUNDRED)} times in 100"


def _differ(cells: Sequence[str]) -> bool:
    """Whether two known values differ."""
    return len({cell for cell in cells if cell}) > 1


def _dimensions(records: Sequence[HalfRecord], judged: Sequence[Apart], instrument: Instrument) -> Iterator[Row]:
    by_name = {each.feature: each for each in judged}
    for name in DIMENSIONS:
        cells = tuple(_cell(record, name) for record in records)
        if not any(cells):
            continue
        one = by_name.get(name)
        differs = one is not None and one.differs
        pairs = one.pairs if one is not None and differs and one.can else ()
        note = _other_instruments(name, instrument) if differs and not pairs else ""
        yield Row(feature=name, label=f"{label(name)}, mm", cells=cells, differs=differs, pairs=pairs, note=note)


def _cell(record: HalfRecord, name: str) -> str:
    own = record.half.dimensions.get(name)
    if own is None:
        return ""
    pitch = record.half.dimensions.get("pitch")
    allowed = limits(own.tolerance)
    if not allowed:
        figures = stated(record.half).dimensions[name]
        allowed = f" (± {mm(process_interval(name, figures, pitch.value if pitch else None)[1])} {PROCESS} assumed)"
    measured = f"; {mm(record.better_known[name].value)} as measured" if name in record.better_known else ""
    return f"{BOUND_WORDS[own.bound]} {mm(own.value)}{allowed}{measured}".strip()


def why(told: Told) -> str:
    """Why two halves can be told apart so well."""
    if abs(told.difference) < SAME_MM:
        return "the same value"
    return f"{mm(abs(told.difference))} mm apart; {of_hundred(told.share)} of 100 readings point to the right one"


def of_hundred(share: float) -> str:
    """A share as readings out of 100; "100" only where fewer than one in a thousand is wrong."""
    if share > 0.9995:
        return "100"
    return "more than 99" if share >= SURE else str(round(share * PER_HUNDRED))


def _other_instruments(name: str, instrument: Instrument) -> str:
    """Instruments for a dimension that the chosen one cannot measure."""
    names = [
        BUILT_IN[each].label for each in FEATURES[name].instruments if each in BUILT_IN and not BUILT_IN[each].unscaled
    ]
    listed = "; ".join(names[:3])
    return f"not with a {instrument.label}: take a {listed}" if listed else ""


def most_telling(judged: Sequence[Apart]) -> list[str]:
    """The dimensions to draw: the few that differ and that the instrument tells apart best."""
    differing = [each for each in judged if each.differs]
    differing.sort(key=lambda each: (not each.can, -max(pair.share for pair in each.pairs)))
    return [each.feature for each in differing[:DRAWN]]


def in_a_sentence(judged: Sequence[Apart], instrument: Instrument, count: int) -> str:
    """What to measure, or that nothing tells them apart."""
    usable = [each for each in judged if each.can and each.differs and _all_stated(each, count)]
    whom = "the two" if count == 2 else f"all {count}"
    if not usable:
        different = any(each.differs for each in judged)
        if not different:
            return "No stated dimension differs: measuring cannot tell these halves apart."
        return f"No dimension that differs is within reach of a {instrument.label}."
    best = max(usable, key=lambda each: each.weakest)
    how = f" over {best.spans} gaps" if best.spans > 1 else ""
    name = FEATURES[best.feature].label
    if best.weakest >= MOSTLY:
        verb = "tells" if best.weakest >= SURE else "mostly tells"
        return (
            f"Measure the {name}{how}: it {verb} {whom} apart with a {instrument.label} "
            f"({of_hundred(best.weakest)} of 100 readings point to the right one)."
        )
    return (
        f"No single dimension tells {whom} apart with a {instrument.label}. The best is the {name}{how}: "
        f"{of_hundred(best.weakest)} of 100 readings point to the right one of the closest two."
    )


def counting(records: Sequence[HalfRecord]) -> str:
    """Whether counting contacts tells the halves apart; empty where all have the same count."""
    counts = [record.half.contact_count for record in records]
    different = len(set(counts))
    if different == 1:
        return ""
    return "Count the contacts: " + (
        "that tells all of them apart." if different == len(counts) else "that tells some of them apart."
    )


def _all_stated(each: Apart, count: int) -> bool:
    return sum(reading is not None for reading in each.readings) == count
