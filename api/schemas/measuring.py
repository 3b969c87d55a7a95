"""What is measured, as it goes over the wire: points clicked in pictures, rows to be found in them, readings.

Only the form is checked here; whether points make a row or corners a rectangle is the measuring code's to say.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, StrictInt

from api.pictures import FORMATS
from api.schemas.examples import MEASURE_EXAMPLES, ROW_EXAMPLES
from api.schemas.requests import ClosedJaws, DimensionObservation, Number, OwnFigures, Request, Word
from api.settings import MAX_OBSERVATIONS, MAX_PICTURES, MAX_POINTS, MAX_PROFILE, MAX_ROWS
from matcher.features import FEATURES, Kind, Plane
from matcher.observations import Of

Point = tuple[Number, Number]
"""x, y in pixels: x right, y down, pixel centres at whole numbers."""

Line = tuple[Number, Number, Number, Number]
"""x0, y0, x1, y1 in pixels."""

Corners = tuple[Point, Point, Point, Point]

PICTURE_TOOLS = ("photo", "unscaled_photo", "usb_microscope", "microscope", "scanner")
"""Instruments that take pictures."""

_DIMENSIONS: list[Any] = [feature.name for feature in FEATURES.values() if feature.kind is Kind.DIMENSION]

_POINT = "x, y in pixels: x right, y down, pixel centres at whole numbers."


def _dimension(default: str | None = None, description: str = "") -> Any:
    told = description or "What it is: the name of a length."
    return Field(default=default, description=told, json_schema_extra={"enum": [*_DIMENSIONS, None]})


class _InPicture(Request):
    plane: Plane | None = Field(
        default=None, description="Depth in the picture, where it is not the feature's usual one."
    )


class ClickedRow(_InPicture):
    """Contact centres of one row, clicked in any order; contacts may be left out."""

    points: Annotated[tuple[Point, ...], Field(max_length=MAX_POINTS)] = Field(
        description=f"At least three contacts' centres. {_POINT}"
    )
    feature: Literal["pitch", "tail_pitch"] = Field(default="pitch", description="At the mating face, or the tails.")
    of: Of = Field(default=Of.THIS, description="Which body.")


class Outline(_InPicture):
    """Four corners of something rectangular."""

    corners: Corners = Field(description=f"In order round it, the first side along the rows. {_POINT}")
    along: str | None = _dimension(description="What the first side is, along the rows: body_length …")
    across: str | None = _dimension(description="What the second side is, across the rows: body_width, land_span …")
    of: Of = Field(default=Of.THIS, description="Which body.")


class Segment(_InPicture):
    """A length from one point to another."""

    start: Point = Field(description=_POINT)
    end: Point = Field(description=_POINT)
    feature: str = Field(description="What it is: the name of a length.", json_schema_extra={"enum": _DIMENSIONS})
    spans: Annotated[StrictInt, Field(ge=1, le=1000)] = Field(default=1, description="Gaps it goes over, for a pitch.")
    of: Of = Field(default=Of.THIS, description="Which body.")


class ScaleSegment(_InPicture):
    """Something of known length in the picture."""

    start: Point = Field(description=_POINT)
    end: Point = Field(description=_POINT)
    length_mm: Number = Field(description="Its true length, mm.")
    u_mm: Number | None = Field(default=None, description="Standard uncertainty of that length, mm.")


class KnownRectangle(_InPicture):
    """A rectangle whose sides, or their proportions, are known: it takes the perspective out."""

    corners: Corners = Field(description=f"In order round it. {_POINT}")
    length_mm: Number | None = Field(default=None, description="True length of the first side, mm.")
    width_mm: Number | None = Field(default=None, description="True length of the second side, mm.")
    proportions: Number | None = Field(default=None, description="First side over second, where no length is known.")


class PlaneDepth(Request):
    """How a plane's scale differs from that of the plane the scale lies in. Give a depth and distance, or `rel_u`."""

    plane: Plane
    depth_mm: Number | None = Field(default=None, description="How much farther from the camera it lies, mm.")
    camera_distance_mm: Number | None = Field(default=None, description="From the camera to the scale's plane, mm.")
    rel_u: Number | None = Field(default=None, description="Relative standard uncertainty of the scale in this plane.")


class _Scaled(Request):
    """A picture's name, what took it, and its scale."""

    instrument: Literal[PICTURE_TOOLS] | None = Field(  # type: ignore[valid-type]
        default=None, description="What took it; left out: photo, or unscaled_photo where there is no scale."
    )
    scale: ScaleSegment | None = Field(default=None, description="Something of known length in it.")
    px_per_mm: Number | None = Field(default=None, description="Its scale, where that is known otherwise.")
    scale_rel: Number | None = Field(default=None, description="Relative standard uncertainty of px_per_mm.")
    planes: Annotated[tuple[PlaneDepth, ...], Field(max_length=len(Plane))] = Field(
        default=(), description="Planes at another depth; those not named get the instrument's usual doubt."
    )


class ClickedPicture(_Scaled):
    """One picture with what was clicked in it."""

    name: Word = Field(description="Its name; readings of one picture share its scale.")
    rows: Annotated[tuple[ClickedRow, ...], Field(max_length=MAX_ROWS)] = Field(
        default=(), description="Rows of contacts, in order across the part."
    )
    outlines: Annotated[tuple[Outline, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Rectangles: body, lands …"
    )
    segments: Annotated[tuple[Segment, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Single lengths."
    )
    perspective: KnownRectangle | Literal["lattice"] | None = Field(
        default=None, description="What takes the perspective out: a known rectangle, or the rows of contacts."
    )


class MeasureRequest(Request):
    """Clicked pictures and readings of one specimen."""

    model_config = ConfigDict(json_schema_extra={"examples": [*MEASURE_EXAMPLES]})

    pictures: Annotated[tuple[ClickedPicture, ...], Field(max_length=MAX_PICTURES)] = Field(
        default=(), description="Pictures in which points were clicked."
    )
    readings: Annotated[tuple[DimensionObservation, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Lengths read off a tool, as in an identification."
    )
    closed_jaws: ClosedJaws = Field(default_factory=dict)
    instruments: OwnFigures = Field(default_factory=dict)


class ImageData(Request):
    """A picture inside JSON."""

    media_type: Literal[*FORMATS] = Field(description="What it is.")  # type: ignore[valid-type]
    data: str = Field(description="The picture's bytes as base64.")


class RowRequest(_Scaled):
    """A profile of grey levels, or a picture with a line drawn along each row of contacts that is to be found."""

    model_config = ConfigDict(json_schema_extra={"examples": [*ROW_EXAMPLES]})

    profile: Annotated[tuple[Number, ...], Field(max_length=MAX_PROFILE)] | None = Field(
        default=None, description="Grey levels along a row, in any unit. Give this, or `image` and `line`."
    )
    step: Number = Field(default=1.0, description="Pixels from one level of the profile to the next.")
    image: ImageData | None = Field(default=None, description="A crop round the rows, PNG or JPEG.")
    line: Line | None = Field(
        default=None, description="Along the row, from before its first contact to behind its last: x0, y0, x1, y1."
    )
    lines: Annotated[tuple[Line, ...], Field(min_length=1, max_length=MAX_ROWS)] | None = Field(
        default=None, description="A line for each row of the part, in order across it; instead of `line`."
    )
    width: Number | None = Field(default=None, description="Pixels across the row that are averaged.")
    name: Word = Field(default="photo", description="The picture's name; readings of one picture share its scale.")
    plane: Plane | None = Field(default=None, description="Depth in the picture, where it is not the usual one.")
    feature: Literal["pitch", "tail_pitch"] = Field(default="pitch", description="At the mating face, or the tails.")
    of: Of = Field(default=Of.THIS, description="Which body.")
    row_count: Annotated[StrictInt, Field(ge=1, le=MAX_ROWS)] | None = Field(
        default=None,
        description="Rows the part has, all alike. Left out with one line: the contacts of that row are counted as "
        "'at least'; with several lines: as many rows as lines.",
    )
