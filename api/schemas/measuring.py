"""Models of requests to measure: points clicked in pictures, rows to find, and readings.

Only the form is checked here. The measuring code checks whether points form a row or corners form a rectangle.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, TypeAlias

from pydantic import ConfigDict, Discriminator, Field, StrictInt, Tag, model_validator

from api.schemas.examples import MEASURE_EXAMPLES, ROW_EXAMPLES
from api.schemas.requests import ClosedJaws, DimensionObservation, Number, OwnFigures, Request, Word
from catalog.cases.specimens import MAX_PICTURES
from matcher.features import LENGTHS, PITCHES, Plane
from matcher.imaging.clicks.clicked_rows import MOST_ROWS
from matcher.imaging.clicks.inputs import MOST_POINTS
from matcher.observations import MAX_OBSERVATIONS, Of
from matcher.uncertainty.instruments import Taken

MAX_PROFILE = 10_000
"""Most grey levels of one profile: half as much again as the largest accepted picture is wide."""

Point = tuple[Number, Number]
"""x, y in pixels: x right, y down, pixel centres at whole numbers."""

Line = tuple[Number, Number, Number, Number]
"""x0, y0, x1, y1 in pixels."""

Corners = tuple[Point, Point, Point, Point]

if TYPE_CHECKING:
    Pitch: TypeAlias = str
else:
    Pitch = Literal[PITCHES]
"""The feature that a row of contacts shows."""

_POINT = "x, y in pixels: x right, y down, pixel centres at whole numbers."


def _dimension(description: str) -> Any:
    return Field(default=None, description=description, json_schema_extra={"enum": [*LENGTHS, None]})


class _InPicture(Request):
    plane: Plane | None = Field(default=None, description="Plane in the picture, if not the feature's usual one.")


class ClickedRow(_InPicture):
    """Contact centres of one row, clicked in any order; contacts may be missing."""

    points: Annotated[tuple[Point, ...], Field(max_length=MOST_POINTS)] = Field(
        description=f"Centres of at least three contacts. {_POINT}"
    )
    feature: Pitch = Field(default="pitch", description="Pitch at the mating face or of the tails.")
    of: Of = Field(default=Of.THIS, description="Which body.")


class Outline(_InPicture):
    """Four corners of a rectangle. A clicked row tells which edges lie along the rows; without a row, the longer edges
    are taken."""

    corners: Corners = Field(description=f"In order round the rectangle, from any corner. {_POINT}")
    along: str | None = _dimension("The feature along the rows: body_length …")
    across: str | None = _dimension("The feature across the rows: body_width, land_span …")
    of: Of = Field(default=Of.THIS, description="Which body.")


class Segment(_InPicture):
    """A length between two points."""

    start: Point = Field(description=_POINT)
    end: Point = Field(description=_POINT)
    feature: str = Field(description="The name of the length.", json_schema_extra={"enum": [*LENGTHS]})
    spans: Annotated[StrictInt, Field(ge=1, le=1000)] = Field(default=1, description="For a pitch: number of gaps.")
    of: Of = Field(default=Of.THIS, description="Which body.")


class PictureScale(Request):
    """A picture's scale: something of known length in it (of a coin or washer its diameter), or a known number of
    pixels per millimetre."""

    start: Point | None = Field(default=None, description=f"One end of the known length. {_POINT}")
    end: Point | None = Field(default=None, description="Its other end.")
    length_mm: Number | None = Field(default=None, description="Its true length, mm.")
    u_mm: Number = Field(default=0.0, description="Standard uncertainty of that length, mm.")
    thickness_mm: Number = Field(
        default=0.0,
        description="Of a disc that lies on `plane`: its thickness, mm. Its upper rim is nearer to the camera, and so "
        "seen larger; `start` and `end` are opposite points of that rim.",
    )
    camera_distance_mm: Number | None = Field(
        default=None,
        description="From the lens to `plane`, mm, for a thickness; left out: any from 50 mm on.",
    )
    px_per_mm: Number | None = Field(default=None, description="Pixels per millimetre, instead of a known length.")
    rel: Number | None = Field(
        default=None, description="Relative standard uncertainty of px_per_mm; by default the instrument's."
    )
    plane: Plane = Field(default=Plane.HOUSING_TOP, description="The plane in the picture for which it is valid.")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        segment = [name for name in ("start", "end", "length_mm") if getattr(self, name) is not None]
        if len(segment) != (3 if self.px_per_mm is None else 0):
            raise ValueError("give start, end and length_mm of something known, or px_per_mm")
        if self.px_per_mm is not None and (self.thickness_mm or self.camera_distance_mm is not None):
            raise ValueError("thickness_mm and camera_distance_mm belong to a disc: leave them out beside px_per_mm")
        return self


class KnownRectangle(Request):
    """A rectangle with known sides, or a known ratio of them: it corrects the perspective."""

    corners: Corners = Field(description=f"In order round the rectangle. {_POINT}")
    length: Number = Field(description="Side from the first corner to the second.")
    width: Number = Field(description="Side from the second corner to the third.")
    in_mm: bool = Field(
        default=False, strict=True, description="Whether the sides are in mm and give the scale too; else any unit."
    )
    rel_u: Number = Field(default=0.0, description="Relative standard uncertainty of each side.")
    plane: Plane = Field(default=Plane.HOUSING_TOP, description="The plane in the picture in which it lies.")


class PlaneDepth(Request):
    """How the scale in a plane differs from that in the scale's plane: by depth and camera distance, or by `rel`."""

    plane: Plane
    depth_mm: Number | None = Field(default=None, description="How much farther from the camera the plane is, mm.")
    camera_distance_mm: Number | None = Field(default=None, description="From the lens to the scale's plane, mm.")
    u_depth_mm: Number | None = Field(
        default=None, description="Standard uncertainty of depth_mm; by default a tenth of it."
    )
    u_camera_distance_mm: Number | None = Field(
        default=None, description="Standard uncertainty of camera_distance_mm; by default a tenth of it."
    )
    rel: Number | None = Field(default=None, description="Relative standard uncertainty of the scale in this plane.")


PERSPECTIVE_TAGS = ("by_rectangle", "by_rows")
"""Names of the kinds of perspective. Pydantic puts them into the paths of errors; our paths leave them out."""


def _perspective_kind(given: Any) -> str:
    return "by_rows" if isinstance(given, str) else "by_rectangle"


Perspective = Annotated[
    Annotated[KnownRectangle, Tag("by_rectangle")] | Annotated[Literal["lattice"], Tag("by_rows")],
    Discriminator(_perspective_kind),
]


class _Scaled(Request):
    """What took a picture, and its scale."""

    instrument: Literal["photo", "usb_microscope", "microscope", "scanner"] = Field(
        default="photo", description="What took the picture."
    )
    taken: Taken | None = Field(
        default=None,
        description="How the picture was taken. It counts where there is no scale: each length may be off by 2 % of "
        "its own in a picture taken by hand, by 0.5 % straight from above, by nothing in a rectified one. Left out: by "
        "hand for a photo and a USB microscope, straight from above for a microscope and a scanner. A `perspective` "
        "given as a rectangle rectifies the picture, whatever is said here.",
    )
    scale: PictureScale | None = Field(default=None, description="Left out: only the ratios of its readings count.")
    planes: Annotated[tuple[PlaneDepth, ...], Field(max_length=len(Plane))] = Field(
        default=(), description="Planes at another depth; other planes get the instrument's usual uncertainty."
    )
    reference_plane: Plane = Field(
        default=Plane.HOUSING_TOP, description="Without a scale: the plane from which depths are measured."
    )


class ClickedPicture(_Scaled):
    """One picture and the points clicked in it."""

    name: Word = Field(description="The picture's name; readings of one picture share its scale.")
    rows: Annotated[tuple[ClickedRow, ...], Field(max_length=MOST_ROWS)] = Field(
        default=(), description="Rows of contacts, in order across the part; neighbours give the row spacing."
    )
    outlines: Annotated[tuple[Outline, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Rectangles: body, lands …"
    )
    segments: Annotated[tuple[Segment, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Single lengths."
    )
    perspective: Perspective | None = Field(
        default=None, description="How to correct the perspective: by a known rectangle, or 'lattice' for the contacts."
    )


class MeasureRequest(Request):
    """Clicked pictures and readings of one specimen."""

    model_config = ConfigDict(json_schema_extra={"examples": [*MEASURE_EXAMPLES]})

    pictures: Annotated[tuple[ClickedPicture, ...], Field(max_length=MAX_PICTURES)] = Field(
        default=(), description="Pictures in which points were clicked."
    )
    readings: Annotated[tuple[DimensionObservation, ...], Field(max_length=MAX_OBSERVATIONS)] = Field(
        default=(), description="Lengths read from a tool, as in an identification."
    )
    closed_jaws: ClosedJaws = Field(default_factory=dict)
    instruments: OwnFigures = Field(default_factory=dict)


class ImageData(Request):
    """A picture inside JSON."""

    media_type: Literal["image/png", "image/jpeg"] = Field(description="Its format.")
    data: str = Field(description="The picture's bytes as base64.")


class RowRequest(_Scaled):
    """A profile of grey levels, or a picture with a line along each row of contacts to find."""

    model_config = ConfigDict(json_schema_extra={"examples": [*ROW_EXAMPLES]})

    profile: Annotated[tuple[Number, ...], Field(max_length=MAX_PROFILE)] | None = Field(
        default=None, description="Grey levels along a row, in any unit. Give either this, or `image` and `line`."
    )
    step: Number = Field(default=1.0, description="Pixels from one level of the profile to the next.")
    image: ImageData | None = Field(default=None, description="A picture cropped to the rows, PNG or JPEG.")
    line: Line | None = Field(
        default=None, description="Along the row, from before its first contact to after its last: x0, y0, x1, y1."
    )
    lines: Annotated[tuple[Line, ...], Field(min_length=1, max_length=MOST_ROWS)] | None = Field(
        default=None, description="A line for each row of the part, in order across it; instead of `line`."
    )
    width: Number | None = Field(default=None, description="Pixels to average across the row.")
    name: Word = Field(default="photo", description="The picture's name; readings of one picture share its scale.")
    plane: Plane | None = Field(default=None, description="Plane in the picture, if not the usual one.")
    feature: Pitch = Field(default="pitch", description="Pitch at the mating face or of the tails.")
    of: Of = Field(default=Of.THIS, description="Which body.")
    row_count: Annotated[StrictInt, Field(ge=1, le=MOST_ROWS)] | None = Field(
        default=None,
        description="Rows of the part, all equal. Left out with one line: the contact count is given as 'at least'; "
        "with several lines: as many rows as lines.",
    )
