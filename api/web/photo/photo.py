"""The photo bench: measuring a picture that stays in the browser, and taking the readings to the bench.

The page lists what can be clicked. `POST /v1/measure/row` finds contacts and `POST /v1/measure` computes lengths: the
page's script sends points, and of the picture a narrow grey strip along a row. Contacts are counted here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from pydantic import Field
from starlette.responses import Response

from api.observations.checking import form_of_json
from api.observations.from_measuring import short_form
from api.pictures.row_finding import FEWEST_POINTS, count_range, counted
from api.schemas.answers import Out
from api.schemas.measuring import Pitch
from api.schemas.requests import Number, Request, Whole
from api.web.page.rendering import VisitDep
from matcher.features import FEATURES, PITCHES, Feature, Kind, Plane, Subject
from matcher.imaging.clicks.clicked_rows import MOST_ROWS
from matcher.imaging.clicks.inputs import MOST_POINTS
from matcher.imaging.row_detection.profile import BEYOND_ENDS, SHORTEST_PX, WIDEST_CHOSEN
from matcher.observations import Of
from matcher.vocabulary import MM_PER_UNIT

PLANES: Mapping[Plane, str] = {
    Plane.MATING_FACE: "the contacts, where the halves touch",
    Plane.HOUSING_TOP: "the top of the plastic",
    Plane.LANDS: "the board: lands, holes, tails",
}
"""Depths in a picture, in words."""

OUTLINES = (
    ("body_length", "body_width", "the plastic body"),
    ("opening_length", "opening_width", "the pocket of a receptacle"),
    ("overall_length", "", "everything with its hold-downs, along only"),
    ("hold_down_land_span", "land_span", "the lands on a bare board"),
    ("", "tail_span", "tips of the tails, across only"),
)
"""What four corners can enclose, and the dimensions that its edges along and across the rows give."""

CAMERAS = (
    ("photo", "a camera or a phone, by hand"),
    ("photo/from_above", "a camera, straight from above"),
    ("photo/rectified", "a camera, rectified since"),
    ("usb_microscope", "a USB microscope"),
    ("microscope", "a microscope with a calibrated scale"),
    ("scanner", "a flatbed scanner"),
)
"""Instruments that take pictures, and after the slash how the picture was taken where that matters."""

SCALE_UNITS = tuple((unit, words, MM_PER_UNIT[unit]) for unit, words in (("mm", "mm"), ("in", "inch")))
"""Units in which the length of a scale may be given, in words, and their length in mm."""

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class Kept:
    """Observations that come from the bench and go back to it unchanged."""

    pairs: tuple[tuple[str, str], ...]

    @property
    def words(self) -> tuple[str, ...]:
        """The observations as the address has them."""
        return tuple(f"{name}={value}" for name, value in self.pairs)

    @property
    def bench(self) -> str:
        """The address of the bench with them."""
        return f"/?{urlencode(self.pairs)}" if self.pairs else "/"


@router.get("/photo")
def photo(visit: VisitDep) -> Response:
    """The photo bench; the parameters of its address go back to the bench."""
    kept = Kept(pairs=tuple((name, value) for name, value in visit.request.query_params.multi_items() if value))
    return visit.page(
        "photo.html",
        kept=kept,
        lengths=lengths(),
        pitches=[FEATURES[name] for name in PITCHES],
        planes=list(PLANES.items()),
        outlines=OUTLINES,
        cameras=CAMERAS,
        units=SCALE_UNITS,
        most_rows=MOST_ROWS,
        fewest_contacts=FEWEST_POINTS,
        shortest_px=SHORTEST_PX,
        widest_part=WIDEST_CHOSEN[0],
        widest_px=WIDEST_CHOSEN[1],
        beyond=BEYOND_ENDS,
    )


class FoundCount(Request):
    """The result for a row: its likely counts of positions with probabilities, and the number of empty positions."""

    likely: Annotated[tuple[tuple[Whole, Number], ...], Field(min_length=1, max_length=MOST_POINTS)]
    missing: Whole
    sure: bool


class MarkedRow(Request):
    """A row as marked. ``found`` is None where a person has checked it: then every clear mark is a contact."""

    feature: Pitch
    marked: Whole
    clear: Whole
    found: FoundCount | None

    @property
    def contacts(self) -> tuple[int, int] | None:
        """Fewest and most contacts; None: unknown."""
        if self.found is None:
            return self.clear, self.marked
        return count_range(self.found.likely, self.found.missing, sure=self.found.sure)


class MarkedCounts(Out):
    """The counted contacts and rows in the short form, with notes."""

    pieces: tuple[str, ...]
    notes: tuple[str, ...]


@router.get("/photo/counts")
def counts(
    row: Annotated[list[str] | None, Query(max_length=MOST_ROWS)] = None,
    of: Of = Of.THIS,
    row_count: Annotated[int | None, Query(ge=1, le=MOST_ROWS)] = None,
) -> MarkedCounts:
    """The contact count of the marked rows; each ``row`` is a `MarkedRow` as JSON."""
    rows = [form_of_json(MarkedRow, each.encode()) for each in row or ()]
    return counts_of(rows, of, row_count)


def counts_of(rows: Sequence[MarkedRow], of: Of, row_count: int | None) -> MarkedCounts:
    """The contact count of these rows."""
    kept = [row for row in rows if row.feature == "pitch" and row.marked >= FEWEST_POINTS]
    if not kept:
        return MarkedCounts(pieces=(), notes=())
    if row_count is not None and row_count < len(kept):
        note = f"{len(kept)} rows are marked, but the part is said to have {row_count}."
        return MarkedCounts(pieces=(), notes=(note,))
    stated = row_count or (len(kept) if len(kept) > 1 else None)
    observations, notes = counted([row.contacts for row in kept], stated, of)
    return MarkedCounts(pieces=short_form(observations), notes=tuple(notes))


def lengths() -> list[Feature]:
    """Lengths that two points in a picture can give: all except heights above the board."""
    dimensions = [feature for feature in FEATURES.values() if feature.kind is Kind.DIMENSION]
    return [each for each in dimensions if each.plane is not None or each.subject is Subject.PAIR]
