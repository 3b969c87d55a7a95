"""Measuring: points clicked in pictures, readings, and rows of contacts found in a picture or a profile.

CPU work: plain functions, so that they run in the thread pool; only the body is read in the event loop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Query, Request

from api.observations.checking import form_of, form_of_json, numbers_in
from api.observations.error_places import told_at
from api.pictures.decoding import FORMATS, read_picture
from api.pictures.measuring import measure
from api.pictures.row_finding import find_rows, rows_looked_at
from api.schemas.examples import MEASURE_EXAMPLES, MEASURE_TITLES, ROW_EXAMPLES, ROW_TITLES, described
from api.schemas.measured import MeasureAnswer, RowAnswer
from api.schemas.measuring import MeasureRequest, RowRequest
from api.schemas.problems import FieldProblem, shown
from api.service.dependencies import is_json, media_type_of, require_json
from api.service.problems import ApiError
from api.service.responses import documented
from matcher.features import Plane
from matcher.imaging.clicks.clicked_rows import MOST_ROWS
from matcher.observations import Of

ROW_ADDRESS = "/measure/row"
"""The one address that takes pictures, and larger bodies for it."""

JSON = "application/json"

REFUSALS = (
    "malformed-json",
    "body-too-large",
    "unsupported-content",
    "invalid-request",
    "invalid-observations",
    "internal-error",
)

IN_QUERY: Mapping[str, str] = {
    "lines": "line",
    "scale": "px_per_mm",
    "scale.px_per_mm": "px_per_mm",
    "scale.rel": "scale_rel",
}
"""Where the query of a bare picture has what a JSON request has elsewhere."""

LINE = "Along a row, from before its first contact to behind its last: x0,y0,x1,y1 in pixels. Repeat it for more rows."

ROW_BODY: dict[str, Any] = {
    "required": True,
    "content": {
        JSON: {
            "schema": {"$ref": "#/components/schemas/RowRequest"},
            "examples": described(ROW_EXAMPLES, ROW_TITLES),
        },
        **{media_type: {"schema": {"type": "string", "format": "binary"}} for media_type in FORMATS},
    },
}
"""The body's description: the route reads it itself, so the framework does not know it."""

router = APIRouter(tags=["measuring"], responses=documented(*REFUSALS))


@router.post("/measure", summary="From clicked points and readings to lengths", dependencies=[Depends(require_json)])
def measure_points(
    specimen: Annotated[MeasureRequest, Body(openapi_examples=described(MEASURE_EXAMPLES, MEASURE_TITLES))],
) -> MeasureAnswer:
    """Lengths with their uncertainty from points clicked in pictures and from readings of tools.

    A row of at least three clicked contacts gives the pitch, two rows their spacing, four corners length and width.
    Without a scale only ratios count: that is already evidence. Each length has its budget by the GUM
    (JCGM 100:2008); clicks that fit badly are named. `observations` goes to `/v1/identify` as it is; send
    `closed_jaws` along. Nothing is stored.
    """
    return measure(specimen)


@dataclass(frozen=True, kw_only=True)
class Sent:
    """A body and what it is declared as: JSON, PNG or JPEG."""

    media_type: str
    body: bytes


async def _sent(request: Request) -> Sent:
    """The body, read up to the bound of this address; of another kind it is not read at all."""
    media_type = media_type_of(request)
    if not is_json(media_type) and media_type not in FORMATS:
        raise ApiError("unsupported-content", f"Content-Type is {media_type or 'missing'}")
    return Sent(media_type=media_type, body=await request.body())


def _said(
    line: Annotated[list[str] | None, Query(max_length=MOST_ROWS, description=LINE)] = None,
    width: Annotated[float | None, Query(description="Pixels across the row that are averaged.")] = None,
    name: Annotated[str | None, Query(description="The picture's name.")] = None,
    instrument: Annotated[str | None, Query(description="photo, usb_microscope, microscope or scanner.")] = None,
    px_per_mm: Annotated[float | None, Query(description="Its scale, where that is known.")] = None,
    scale_rel: Annotated[float | None, Query(description="Relative standard uncertainty of px_per_mm.")] = None,
    plane: Annotated[Plane | None, Query(description="Depth in the picture, where it is not the usual one.")] = None,
    feature: Annotated[str | None, Query(description="pitch, or tail_pitch.")] = None,
    of: Annotated[Of | None, Query(description="Which body.")] = None,
    row_count: Annotated[int | None, Query(description="Rows the part has, all alike.")] = None,
) -> dict[str, Any]:
    """What the query says of a bare picture: a JSON request's fields by the same names, and the scale."""
    return {name: value for name, value in locals().items() if value is not None}


def _as_form(said: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a `RowRequest`."""
    form = {name: value for name, value in said.items() if name not in ("line", "px_per_mm", "scale_rel")}
    if "px_per_mm" in said or "scale_rel" in said:
        form["scale"] = {"px_per_mm": said.get("px_per_mm"), "rel": said.get("scale_rel")}
    if "line" in said:
        form["lines"] = [_line(text, place) for place, text in enumerate(said["line"])]
    return form


@router.post(
    ROW_ADDRESS,
    summary="Find the contacts of a row",
    responses=documented("invalid-picture"),
    openapi_extra={"requestBody": ROW_BODY},
)
def measure_row(sent: Annotated[Sent, Depends(_sent)], said: Annotated[dict[str, Any], Depends(_said)]) -> RowAnswer:
    """Contacts found in a profile of grey levels, or in a picture along a line drawn on each row of the part.

    Send JSON with a `profile`, or with an `image` as base64 and a `line`; or send the bare picture with its own
    Content-Type, and the line in the query. A camera's note on how it was held is obeyed: points are those of the
    upright picture, as viewers show it. Each row comes with its count, how sure that is, the pitch with its 95 %
    interval, and every contact, the doubtful ones marked. Nothing is stored.
    """
    if is_json(sent.media_type):
        _check_no_query(said)
        return find_rows(form_of_json(RowRequest, sent.body))
    with told_at(IN_QUERY):
        request = form_of(RowRequest, _as_form(said))
        rows = rows_looked_at(request)
        return find_rows(request, read_picture(sent.body, field="body", media_type=sent.media_type, rows=rows))


def _check_no_query(said: Mapping[str, Any]) -> None:
    fields = [
        FieldProblem(
            field=name,
            value=shown(value),
            message="with JSON, everything stands in the body",
            remedy="move it into the JSON object",
        )
        for name, value in said.items()
    ]
    if fields:
        raise ApiError.of_fields(fields)


def _line(text: str, place: int) -> list[float]:
    numbers = numbers_in(text)
    if len(numbers) != 4:
        remedy = "give x0,y0,x1,y1 in pixels, along a row of contacts"
        raise ApiError.at(f"lines[{place}]", "this is no line", remedy, value=text)
    return numbers
