"""The photo bench: a picture that stays in the browser is measured, and its readings are taken to the bench.

The page itself only lists what can be clicked. Contacts are found and lengths computed by `POST /v1/measure/row` and
`POST /v1/measure`; the page's script sends points, and of the picture a narrow grey strip along a row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from api.schemas.limits import MAX_ROWS
from api.web.page.rendering import VisitDep
from matcher.features import FEATURES, Feature, Kind, Plane, Subject

PLANES: Mapping[Plane, str] = {
    Plane.MATING_FACE: "the contacts, where the halves touch",
    Plane.HOUSING_TOP: "the top of the plastic",
    Plane.LANDS: "the board: lands, holes, tails",
}
"""Depths in a picture, in bench words."""

OUTLINES = (
    ("body_length", "body_width", "the plastic body"),
    ("opening_length", "opening_width", "the pocket of a receptacle"),
    ("overall_length", "", "everything with its hold-downs, along only"),
    ("hold_down_land_span", "land_span", "the lands on a bare board"),
    ("", "tail_span", "tips of the tails, across only"),
)
"""What four corners may go round: what its edges along and across the rows give."""

CAMERAS = (
    ("photo", "a camera or a phone"),
    ("usb_microscope", "a USB microscope"),
    ("microscope", "a microscope with a calibrated scale"),
    ("scanner", "a flatbed scanner"),
)
"""What may have taken a picture."""

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class Kept:
    """Observations that come from the bench and go back to it unchanged."""

    pairs: tuple[tuple[str, str], ...]

    @property
    def words(self) -> tuple[str, ...]:
        """Them as they stand in the address."""
        return tuple(f"{name}={value}" for name, value in self.pairs)

    @property
    def bench(self) -> str:
        """The bench's address with them."""
        return f"/?{urlencode(self.pairs)}" if self.pairs else "/"


@router.get("/photo")
def photo(visit: VisitDep) -> Response:
    """The photo bench; what its address holds is kept for the way back to the bench."""
    kept = Kept(pairs=tuple((name, value) for name, value in visit.request.query_params.multi_items() if value))
    return visit.page(
        "photo.html",
        kept=kept,
        lengths=lengths(),
        planes=list(PLANES.items()),
        outlines=OUTLINES,
        cameras=CAMERAS,
        most_rows=MAX_ROWS,
    )


def lengths() -> list[Feature]:
    """Lengths that two points in a picture can give: all that are not heights above the board."""
    dimensions = [feature for feature in FEATURES.values() if feature.kind is Kind.DIMENSION]
    return [each for each in dimensions if each.plane is not None or each.subject is Subject.PAIR]
