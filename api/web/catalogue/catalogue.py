"""The catalogue: halves searched by name, typing errors allowed, or browsed by maker and series."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.service.dependencies import SnapshotDep
from api.service.paging import LONGEST_CURSOR, Listing
from api.web.catalogue.order import BY_FIT, BY_NAME, DIMENSION_OF, NEAREST, ORDERS, Order, page_of, place_of, written
from api.web.catalogue.tray import tray_of
from api.web.page import freshness
from api.web.page.addresses import CATALOGUE, asked, series_page
from api.web.page.figures import KIND_WORDS, day, figure_typed, mm
from api.web.page.rendering import VisitDep
from catalog.model.entries import slug
from catalog.model.text_fields import LONGEST_LINE
from catalog.records.read_models import HalfRecord
from catalog.snapshot.search import Hit
from catalog.snapshot.snapshot import Snapshot

ON_A_PAGE = 25
"""Halves on one page."""

MOST_NAMED = 8
"""Series and makers listed beside the halves found."""

LONGEST_KEY = 500

router = APIRouter(include_in_schema=False)

KeyQuery = Annotated[str, Query(max_length=LONGEST_KEY)]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """The search: words, maker and series by key, kind, and the order."""

    q: str
    maker: str
    series: str
    kind: str
    sort: str
    near: str

    @property
    def filters(self) -> dict[str, str]:
        """The filters as parameters of the address."""
        return {name: value for name, value in vars(self).items() if value}

    def of_maker(self, record: HalfRecord) -> bool:
        """Whether a half is of the maker searched for."""
        return not self.maker or slug(record.half.maker) == self.maker


@router.get("/catalogue")
def catalogue(
    visit: VisitDep,
    snapshot: SnapshotDep,
    q: Annotated[str, Query(max_length=LONGEST_LINE)] = "",
    maker: KeyQuery = "",
    series: KeyQuery = "",
    kind: Annotated[str, Query(max_length=20)] = "",
    sort: Annotated[str, Query(max_length=20)] = "",
    near: Annotated[str, Query(max_length=40)] = "",
    cursor: Annotated[str | None, Query(max_length=LONGEST_CURSOR)] = None,
) -> Response:
    """Halves that fit, a page at a time; those nearest to the figure ``near`` (mm, or contacts) come first."""
    kept = freshness.kept(visit, snapshot.version)
    if kept is not None:
        return kept
    words = q.strip()
    chosen = sort if sort in ORDERS and (sort != BY_FIT or words) else (BY_FIT if words else BY_NAME)
    wanted = Asked(
        q=words, maker=slug(maker) if maker else "", series=series, kind=kind, sort=chosen, near=near.strip()
    )
    page = visit.page("catalogue.html", **_found(snapshot, wanted, cursor))
    return freshness.keep(visit, snapshot.version, page)


def _found(snapshot: Snapshot, wanted: Asked, cursor: str | None) -> dict[str, Any]:
    hits = snapshot.search.search(wanted.q, _everything(snapshot)) if wanted.q else []
    fits = {hit.key: hit.score for hit in hits if hit.kind == "half"}
    listed = [record for record in snapshot.halves.values() if record.origin == "listed"]
    records = [record for record in listed if _is_wanted(record, wanted, fits)]
    near = figure_typed(wanted.near) if wanted.sort in NEAREST else None
    order = Order(by=wanted.sort, near=near, fits=fits)
    listing = Listing(name="catalogue", cursor=cursor, limit=ON_A_PAGE, filters=wanted.filters)
    shown = page_of(records, order, place_of(listing.after), ON_A_PAGE)
    tray = tray_of(shown.records)
    more = None if shown.after is None else listing.cursor_after(written(shown.after))
    return {
        "wanted": wanted,
        "orders": [(name, words) for name, words in ORDERS.items() if name != BY_FIT or wanted.q],
        "kinds": KIND_WORDS,
        "near_unread": bool(wanted.near) and near is None,
        "near_applies": wanted.sort in NEAREST,
        "lines": [
            (record, _figure(record, wanted.sort), outline)
            for record, outline in zip(shown.records, tray.outlines, strict=True)
        ],
        "scale": tray.px_per_mm,
        "ruler": tray.ruler,
        "count": len(records),
        "first": shown.first,
        "next_page": asked(CATALOGUE, {**wanted.filters, "cursor": more}) if more else "",
        "first_page": asked(CATALOGUE, wanted.filters) if cursor else "",
        "named": _named(hits),
        "totals": _totals(listed),
        "makers": _makers(filter(wanted.of_maker, listed)) if not wanted.q and not wanted.series and not cursor else (),
        "titled": _title(wanted, records),
    }


def _everything(snapshot: Snapshot) -> int:
    """More hits than there can be: every half, series and maker is found at most once."""
    return 3 * len(snapshot.halves) + 1


def _is_wanted(record: HalfRecord, wanted: Asked, fits: Mapping[str, float]) -> bool:
    half = record.half
    return (
        (not wanted.q or record.key in fits)
        and wanted.of_maker(record)
        and (not wanted.series or record.series_key == wanted.series)
        and (not wanted.kind or half.half_kind == wanted.kind)
    )


def _figure(record: HalfRecord, sort: str) -> str:
    """The figure that the list is ordered by, unless the line shows it already."""
    if sort == "changed":
        return f"changed {day(record.changed_at)}"
    if sort not in DIMENSION_OF or sort == "pitch":
        return ""
    stated = record.half.dimensions.get(DIMENSION_OF[sort])
    name = ORDERS[sort].removesuffix(", mm")
    return f"{name} not stated" if stated is None else f"{name} {mm(stated.value)} mm"


def _named(hits: Sequence[Hit]) -> list[dict[str, str]]:
    """Makers and series of this name, before the halves."""
    pages = {"maker": lambda key: asked(CATALOGUE, {"maker": key}), "series": series_page}
    found = [hit for hit in hits if hit.kind in pages][:MOST_NAMED]
    return [{"page": pages[hit.kind](hit.key), "label": hit.label, "kind": hit.kind} for hit in found]


def _totals(listed: Sequence[HalfRecord]) -> dict[str, int]:
    return {
        "halves": len(listed),
        "series": len({record.series_key for record in listed}),
        "makers": len({slug(record.half.maker) for record in listed}),
    }


def _makers(listed: Iterable[HalfRecord]) -> list[dict[str, Any]]:
    """Makers by name, each with its series and how many halves they have."""
    names: dict[str, str] = {}
    series: dict[str, Counter[tuple[str, str]]] = defaultdict(Counter)
    for record in listed:
        key = slug(record.half.maker)
        names.setdefault(key, record.half.maker)
        series[key][record.half.series, record.series_key] += 1
    return [
        {
            "name": names[key],
            "page": asked(CATALOGUE, {"maker": key}),
            "series": [
                {"name": name, "page": series_page(own), "count": count}
                for (name, own), count in sorted(series[key].items())
            ],
        }
        for key in sorted(names, key=lambda each: names[each].casefold())
    ]


def _title(wanted: Asked, records: Sequence[HalfRecord]) -> str:
    if wanted.q:
        return f"“{wanted.q}” in the catalogue"
    if wanted.series and records:
        return f"Halves of {records[0].half.maker} {records[0].half.series}"
    return f"Halves of {records[0].half.maker}" if wanted.maker and records else "Catalogue"
