"""``otherhalf measure``."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from api.command_line.commands.common import (
    STANDARD,
    JsonOption,
    bytes_of,
    object_of,
    print_json,
    reporting_errors,
    show,
    with_typed,
)
from api.command_line.output.measuring import measure_blocks, onward, row_blocks
from api.observations.checking import form_of, line_in, numbers_in
from api.observations.error_places import moved_errors
from api.observations.short_form import parse_pieces
from api.pictures.decoding import read_picture
from api.pictures.measuring import measure as measured
from api.pictures.row_finding import find_rows
from api.schemas.measured import MeasureAnswer, RowAnswer
from api.schemas.measuring import MeasureRequest, Pitch, RowRequest
from api.service.problems import ApiError
from api.service.settings import MAX_FILE_BYTES, MAX_FILE_PIXELS
from matcher.features import Plane
from matcher.observations import Of
from matcher.uncertainty.gum import rectangular
from matcher.uncertainty.instruments import Taken
from matcher.vocabulary import to_mm

REMEDY = 'give an object: {"pictures": [...], "readings": [...]}'
"""Remedy for a file with other content."""

_FIGURES = r"\d+\.?\d*|\.\d+"
_SCALE = re.compile(rf"(?P<line>[^=]+)=(?P<length>{_FIGURES})\s*(?P<unit>[^\d\s±.]*)(?:±(?P<limit>{_FIGURES}))?")
_PLAIN_NAME = re.compile(r"[^\w.-]+")
_NAMELESS = re.compile(r"\s*[-+.\d]")

PictureArgument = Annotated[
    str | None,
    typer.Argument(metavar="[PICTURE]", help="A PNG or JPEG file; - reads standard input.", show_default=False),
]
RowOption = Annotated[
    list[str] | None,
    typer.Option("--row", metavar="X0,Y0,X1,Y1", help="A line along a row of contacts, in pixels; repeat it."),
]
ScaleOption = Annotated[
    str | None,
    typer.Option(
        "--scale",
        metavar="X0,Y0,X1,Y1=LENGTH",
        help="Something of known length, ± its limit of error: …=10mm, …=0.5in±0.001.",
    ),
]
ThicknessOption = Annotated[
    float | None,
    typer.Option(
        "--scale-thickness",
        metavar="MM",
        help="--scale is the diameter of a disc (a coin, a washer) that lies beside the part: its thickness.",
    ),
]
PxPerMmOption = Annotated[float | None, typer.Option("--px-per-mm", help="The scale, if you know it: pixels per mm.")]
WidthOption = Annotated[float | None, typer.Option("--width", metavar="PX", help="Pixels averaged across a row.")]
RowsOption = Annotated[
    int | None,
    typer.Option("--rows", help="Rows of the part, all equal; by default as many as --row, if more than one."),
]
InstrumentOption = Annotated[
    Literal["photo", "usb_microscope", "microscope", "scanner"] | None,
    typer.Option("--instrument", help="What took the picture; by default a photo."),
]
TakenOption = Annotated[
    Taken | None,
    typer.Option(
        "--taken",
        help="How a picture without a scale was taken: by hand (each length may be off by 2 % more), straight from "
        "above (0.5 %) or rectified since (0); by default as is usual with the instrument, for a photo by hand.",
    ),
]
PlaneOption = Annotated[Plane | None, typer.Option("--plane", help="Plane of the rows, if not the usual one.")]
FeatureOption = Annotated[
    Pitch | None,
    typer.Option("--feature", help="tail_pitch if the picture shows the tails; by default pitch."),
]
OfOption = Annotated[Of | None, typer.Option("--of", help="Which body; by default this half.")]
NameOption = Annotated[str | None, typer.Option("--name", help="The picture's name; by default the file's.")]
ReadingsOption = Annotated[
    list[str] | None,
    typer.Option("--readings", metavar="PIECE", help="Readings in short form; repeat it. Without a name: pitch."),
]
FileOption = Annotated[
    str | None,
    typer.Option("--file", "-f", metavar="PATH", help="Clicked points and readings as JSON; - reads standard input."),
]


JawsOption = Annotated[
    list[str] | None,
    typer.Option("--closed-jaws", metavar="TOOL=MM,MM…", help="Readings of a tool with closed jaws; repeat it."),
]


def measure(
    picture: PictureArgument = None,
    row: RowOption = None,
    scale: ScaleOption = None,
    scale_thickness: ThicknessOption = None,
    px_per_mm: PxPerMmOption = None,
    width: WidthOption = None,
    rows: RowsOption = None,
    instrument: InstrumentOption = None,
    taken: TakenOption = None,
    plane: PlaneOption = None,
    feature: FeatureOption = None,
    of: OfOption = None,
    name: NameOption = None,
    readings: ReadingsOption = None,
    closed_jaws: JawsOption = None,
    file: FileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find the contacts in a picture, or evaluate readings with their uncertainty.

    [bold]A picture[/bold]: give a line along each row of contacts, from before
    the first contact to after the last, in pixels as a picture viewer shows
    them. (A picture that its camera marked as rotated is turned upright first.)
    A scale is not needed: without one the ratios of lengths still count, the
    better the straighter the picture was taken.

    \b
      otherhalf measure plug.png --row 40,212,1180,215 --rows 2
      otherhalf measure plug.jpg --row 40,212,1180,215 --row 40,390,1180,392
      otherhalf measure plug.png --row 40,212,1180,215 \\
        --scale 30,700,1304,701=10mm
      otherhalf measure plug.png --row 40,212,1180,215 \\
        --scale 30,700,1304,701=12mm --scale-thickness 1.5
      otherhalf measure plug.jpg --row 40,212,1180,215 --taken from_above

    [bold]Readings[/bold]: repeated, by several tools, over outer edges less one
    contact's width, with a tool's zero error from its closed jaws. Short form
    as for 'otherhalf identify'.

    \b
      otherhalf measure --readings 4.41,4.40,4.42/11
      otherhalf measure --readings pitch=4.62/11+less=0.21 \\
        --closed-jaws caliper=0.01,0.02
      otherhalf measure --readings width=1.98@caliper --readings width=2@vernier
      otherhalf measure --file measure.json

    The last line printed is the command for the next step. Nothing is stored.
    """
    drawn = {
        "scale_thickness": scale_thickness,
        "width": width,
        "row_count": rows,
        "instrument": instrument,
        "taken": taken,
        "plane": plane,
        "feature": feature,
        "of": of,
        "name": name,
    }
    options = {option: value for option, value in drawn.items() if value is not None}
    if picture is not None:
        _check_unused("a picture", {"--readings": readings, "--closed-jaws": closed_jaws, "--file": file})
        _print(_found(picture, row or [], scale, px_per_mm, options), as_json)
    else:
        lines = {"--row": row, "--scale": scale, "--px-per-mm": px_per_mm}
        _check_unused("readings", lines | {_OPTION.get(each, f"--{each}"): options[each] for each in options})
        _print(_reckoned(readings or [], closed_jaws or [], file), as_json)


_OPTION = {"row_count": "--rows", "scale_thickness": "--scale-thickness"}


def _check_unused(beside: str, options: Mapping[str, object]) -> None:
    used = [option for option, value in options.items() if value is not None]
    if used:
        raise typer.BadParameter(f"{used[0]} has no effect with {beside}: give either a picture or readings")


def _print(found: RowAnswer | MeasureAnswer, as_json: bool) -> None:
    if as_json:
        print_json(found)
    else:
        show(row_blocks(found) if isinstance(found, RowAnswer) else measure_blocks(found))
        sys.stdout.write(f"\nNext, add your other observations to this command:\n{onward(found)}\n")


def _found(
    picture: str, rows: Sequence[str], scale: str | None, px_per_mm: float | None, options: dict[str, Any]
) -> RowAnswer:
    """The rows in a picture. Errors name the options."""
    places = {f"lines[{place}]": f"--row {text}" for place, text in enumerate(rows)}
    scaled = {"px_per_mm": px_per_mm, "thickness_mm": options.pop("scale_thickness", None)}
    scaled = {name: value for name, value in scaled.items() if value is not None}
    fields = {"row_count": "--rows", "scale.px_per_mm": "--px-per-mm", "lines": "--row", "line": "--row"}
    fields["scale.thickness_mm"] = "--scale-thickness"
    fields |= {option: f"--{option}" for option in ("scale", "width", "instrument", "plane", "feature", "name")}
    fields |= {"scale": "--px-per-mm"} if scale is None else {}
    if not rows:
        raise typer.BadParameter("give a line along each row of contacts: --row X0,Y0,X1,Y1")
    with reporting_errors(), moved_errors(fields | places):
        lines = [line_in(text, f"lines[{place}]") for place, text in enumerate(rows)]
        given = {"name": _name(picture), "lines": lines, **options}
        if scale is not None or scaled:
            given["scale"] = _scale(scale) | scaled
        request = form_of(RowRequest, given)
        data = bytes_of(picture, MAX_FILE_BYTES, picture)
        return find_rows(request, read_picture(data, field=picture, max_pixels=MAX_FILE_PIXELS))


def _name(picture: str) -> str:
    """A name for the picture that needs no quoting in a shell."""
    return "photo" if picture == STANDARD else _PLAIN_NAME.sub("_", Path(picture).stem)[:100] or "photo"


def _scale(text: str | None) -> dict[str, Any]:
    """A segment of known length: ``x0,y0,x1,y1=10mm±0.02``."""
    if text is None:
        return {}
    match = _SCALE.fullmatch(text.replace("+-", "±"))
    if match is None:
        remedy = "give its ends and length, as in 30,700,1304,701=10mm"
        raise ApiError.at("scale", "this is not a scale", remedy, value=text)
    x0, y0, x1, y1 = line_in(match["line"], "scale")
    unit = match["unit"] or "mm"
    limit = rectangular(to_mm(float(match["limit"] or 0), unit, field="scale"))
    length = to_mm(float(match["length"]), unit, field="scale")
    return {"start": [x0, y0], "end": [x1, y1], "length_mm": length, "u_mm": limit}


def _reckoned(pieces: Sequence[str], closed_jaws: Sequence[str], file: str | None) -> MeasureAnswer:
    """The evaluation of readings and clicked points. Errors of readings name their pieces."""
    if not pieces and file is None:
        raise typer.BadParameter("give a picture with --row X0,Y0,X1,Y1, or --readings 4.41,4.40/11, or --file PATH")
    named = [f"pitch={piece}" if _NAMELESS.match(piece) else piece for piece in pieces]
    with reporting_errors():
        typed = parse_pieces(named)
        given = {} if file is None else object_of(file, REMEDY)
        jaws = closed_jaws_of(closed_jaws)
    asked, before = with_typed(given, "readings", typed)
    if jaws is not None:
        asked["closed_jaws"] = jaws
    typed_at = {f"readings[{place}]": f"observations[{place}]" for place in range(before, before + len(typed))}
    at_option = {} if jaws is None else {"closed_jaws": "--closed-jaws"}
    with reporting_errors(named, before), moved_errors(typed_at | at_option):
        return measured(form_of(MeasureRequest, asked))


def closed_jaws_of(texts: Sequence[str]) -> dict[str, list[float]] | None:
    """Readings of closed jaws by tool, or None if there are none; raises ApiError at the option."""
    found: dict[str, list[float]] = {}
    for text in texts:
        tool, readings = _jaws(text)
        found.setdefault(tool, []).extend(readings)
    return found or None


def _jaws(text: str) -> tuple[str, list[float]]:
    tool, _, numbers = text.partition("=")
    readings = numbers_in(numbers)
    if not tool.strip() or not readings:
        remedy = "give the tool and what it shows with closed jaws, in mm: caliper=0.01,0.02"
        raise ApiError.at("--closed-jaws", "these are not readings of closed jaws", remedy, value=text)
    return tool.strip(), readings
