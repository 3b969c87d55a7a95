"""Routes for measuring: points clicked in pictures, readings, and rows of contacts found in a picture or a profile.

Plain functions, so that their CPU work runs in the thread pool; only the body is read in the event loop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Query, Request

from api.observations.checking import form_of, form_of_json, line_in
from api.observations.error_places import moved_errors
from api.pictures.decoding import FORMATS, read_picture
from api.pictures.measuring import measure
from api.pictures.row_finding import find_rows, rows_looked_at
from api.schemas.examples import MEASURE_EXAMPLES, MEASURE_TITLES, ROW_EXAMPLES, ROW_TITLES, described
from api.schemas.measured import MeasureAnswer, RowAnswer
from api.schemas.measuring import MeasureRequest, RowRequest
from api.schemas.problems import FieldProblem, shown
from api.service.dependencies import is_json, media_type_of, require_json
from api.service.problem_types import OF_BODIES
from api.service.problems import ApiError
from api.service.responses import documented
from matcher.features import Plane
from matcher.imaging.clicks.clicked_rows import MOST_ROWS
from matcher.observations import Of

ROW_ADDRESS = "/measure/row"
"""The only address that accepts pictures, and therefore larger bodies."""

JSON = "application/json"

REFUSALS = (*OF_BODIES, "invalid-request", "invalid-observations", "internal-error")

IN_QUERY: Mapping[str, str] = {
    "lines": "line",
    "scale": "px_per_mm",
    "scale.px_per_mm": "px_per_mm",
    "scale.rel": "scale_rel",
}
"""Fields of a JSON request, and the query parameters that take their place for a bare picture."""

LINE = "Along a row, from before its first contact to after its last: x0,y0,x1,y1 in pixels. Repeat it for more rows."

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
"""Description of the body: the route reads the body itself, so the framework cannot describe it."""

router = APIRouter(tags=["measuring"], responses=documented(*REFUSALS))


@router.post("/measure", summary="Evaluate clicked points and readings", dependencies=[Depends(require_json)])
def measure_points(
    specimen: Annotated[MeasureRequest, Body(openapi_examples=described(MEASURE_EXAMPLES, MEASURE_TITLES))],
) -> MeasureAnswer:
    """Lengths with their uncertainty, from points clicked in pictures and from readings of tools.

    A row of at least three clicked contacts gives the pitch, two rows their spacing, four corners length and width.
    Without a scale only the ratios of lengths count. Each length has its uncertainty budget by the GUM (JCGM 100:2008);
    clicks that fit badly are listed. Send `observations` to `/v1/identify` unchanged, together with `closed_jaws`.
    Nothing is stored.
    """
    return measure(specimen)


@dataclass(frozen=True, kw_only=True)
class Sent:
    """A body and its media type: JSON, PNG or JPEG."""

    media_type: str
    body: bytes


async def _sent(request: Request) -> Sent:
    """The body, read up to the limit of this address; a body of another type is not read at all."""
    media_type = media_type_of(request)
    if not is_json(media_type) and media_type not in FORMATS:
        raise ApiError("unsupported-content", f"Content-Type is {media_type or 'missing'}")
    return Sent(media_type=media_type, body=await request.body())


def _query(
    line: Annotated[list[str] | None, Query(max_length=MOST_ROWS, description=LINE)] = None,
    width: Annotated[float | None, Query(description="Pixels to average across the row.")] = None,
    name: Annotated[str | None, Query(description="The picture's name.")] = None,
    instrument: Annotated[str | None, Query(description="photo, usb_microscope, microscope or scanner.")] = None,
    taken: Annotated[str | None, Query(description="Without a scale: by_hand, from_above or rectified.")] = None,
    px_per_mm: Annotated[float | None, Query(description="The picture's scale, if it is known.")] = None,
    scale_rel: Annotated[float | None, Query(description="Relative standard uncertainty of px_per_mm.")] = None,
    plane: Annotated[Plane | None, Query(description="Plane in the picture, if not the usual one.")] = None,
    feature: Annotated[str | None, Query(description="pitch, or tail_pitch.")] = None,
    of: Annotated[Of | None, Query(description="Which body.")] = None,
    row_count: Annotated[int | None, Query(description="Rows of the part, all equal.")] = None,
) -> dict[str, Any]:
    """The query for a bare picture: fields of a JSON request by the same names, and the scale."""
    return {name: value for name, value in locals().items() if value is not None}


def _as_form(query: Mapping[str, Any]) -> dict[str, Any]:
    """The query as fields of a `RowRequest`."""
    form = {name: value for name, value in query.items() if name not in ("line", "px_per_mm", "scale_rel")}
    if "px_per_mm" in query or "scale_rel" in query:
        form["scale"] = {"px_per_mm": query.get("px_per_mm"), "rel": query.get("scale_rel")}
    if "line" in query:
        form["lines"] = [line_in(text, f"lines[{place}]") for place, text in enumerate(query["line"])]
    return form


@router.post(
    ROW_ADDRESS,
    summary="Find the contacts of a row",
    responses=documented("invalid-picture"),
    openapi_extra={"requestBody": ROW_BODY},
)
def measure_row(sent: Annotated[Sent, Depends(_sent)], query: Annotated[dict[str, Any], Depends(_query)]) -> RowAnswer:
    """Find contacts in a profile of grey levels, or in a picture along a line on each row of the part.

    Send JSON with a `profile`, or with an `image` as base64 and a `line`; or send the bare picture with its own
    Content-Type, and the line in the query. Pixels are those of the upright picture, as picture viewers show it: the
    orientation noted by the camera is applied. Each row has its count with the probability of that, the pitch with its
    95 % interval, and all contacts, doubtful ones marked. Nothing is stored.
    """
    if is_json(sent.media_type):
        _check_no_query(query)
        return find_rows(form_of_json(RowRequest, sent.body))
    with moved_errors(IN_QUERY):
        request = form_of(RowRequest, _as_form(query))
        rows = rows_looked_at(request)
        return find_rows(request, read_picture(sent.body, field="body", media_type=sent.media_type, rows=rows))


def _check_no_query(query: Mapping[str, Any]) -> None:
    fields = [
        FieldProblem(
            field=name,
            value=shown(value),
            message="with JSON, all fields belong in the body",
            remedy="move it into the JSON object",
        )
        for name, value in query.items()
    ]
    if fields:
        raise ApiError.of_fields(fields)
