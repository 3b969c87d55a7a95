"""A PDF to hold a part against: the halves of a shortlist at 1:1 and enlarged, each with the mate beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from api.drawing.geometry import Box, DrawingError, Motion, Part, bounds_of
from api.drawing.outline import half_shape
from api.drawing.pdf import PdfSheets
from api.drawing.print_sheet import PAPERS, RULER_MM
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Sizes
from api.identification.mates import listed_mates
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot

MARGIN = 14.0
"""Border that printers leave white, and a little more, mm."""

LEFT = MARGIN + 12.0
"""Left edge of the drawings, beside the upright ruler, mm."""

TOP = MARGIN + 26.0
"""Upper edge of the drawings, below title and ruler, mm."""

TITLE, NAME, SMALL = 5.0, 3.4, 2.6
"""Heights of letters, mm."""

APART, CAPTION = 10.0, 14.0
"""Room between two outlines, and for the lines of text under one, mm."""

ENLARGED = (20, 10, 5, 4, 3, 2)
"""Scales that are tried, largest first: those that drawings use (ISO 5455), and 3 and 4 for long halves."""

SHOWS = (
    "Check both rulers first. Where one is off, the printer scales that direction, and the outlines with it.",
    "Paper shows the count, whether all contacts lie on their marks from end to end, the outline, hold-downs and pegs.",
    "Paper does not show heights, which half has the springs, keys inside the opening, or a difference of less than "
    "about 0.2 mm: a printed line is that wide, and paper stretches.",
    "What is dashed was not stated and is drawn from usual proportions. Do not judge by it.",
    "Grey areas are the lands of the board as recommended. A board that was found may have larger ones.",
)
"""What paper can and cannot show: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One half on the sheet: its parts with their middle in the origin, their box, and the lines of text under it."""

    parts: tuple[Part, ...]
    box: Box
    lines: tuple[str, ...]


Pair = tuple[Sizes, Sizes | None]
"""A half and the mate that is drawn beside it."""


def paper_check(pairs: Sequence[Pair], paper: str = "A4") -> bytes:
    """The PDF. Raises DrawingError for an unknown paper, for nothing to draw, and for a half that is longer than it."""
    if paper not in PAPERS:
        remedy = f"choose {' or '.join(PAPERS)}"
        raise DrawingError(f"{paper!r} is not a known paper size", field="paper", value=paper, remedy=remedy)
    if not pairs:
        raise DrawingError("nothing to print", field="half", value=0, remedy="name at least one half")
    rows = [[_drawn(half, role) for half, role in zip(pair, ROLES, strict=True) if half is not None] for pair in pairs]
    width, height = PAPERS[paper]
    sheets = PdfSheets(PAPERS[paper], "Paper check")
    _at_full_size(sheets, rows, width, height)
    for row in rows:
        _enlarged(sheets, row, width, height)
    sheets.next_sheet()
    y = _title(sheets, "What this paper can show, and what not")
    for said in SHOWS:
        y = sheets.passage(MARGIN, y, width - 2 * MARGIN, NAME, said) + NAME
    return sheets.finished()


ROLES = ("the half", "its mate")


def pair_of(snapshot: Snapshot, record: HalfRecord) -> Pair:
    """A half, and its mate that is safest to order."""
    mates = listed_mates(snapshot, record.key) if record.key in snapshot.halves else ()
    return sizes_of(record.half), sizes_of(snapshot.halves[mates[0].id].half) if mates else None


def _drawn(sizes: Sizes, role: str) -> Drawn:
    parts = half_shape(sizes, with_lands=True).parts
    box = bounds_of(parts)
    figures = [f"pitch {sizes.mm('pitch'):g} mm"] if sizes.known("pitch") else []
    if sizes.known("body_length", "body_width"):
        figures.append(f"body {sizes.mm('body_length'):g} × {sizes.mm('body_width'):g} mm")
    first = "arrowhead: contact 1" if sizes.first is not None else "where contact 1 is, is not stated"
    said = (f"{role}: {sizes.name}", ", ".join(figures), f"Seen from the mating face; {first}.")
    return Drawn(parts=parts, box=box, lines=tuple(line for line in said if line))


def _at_full_size(sheets: PdfSheets, rows: Sequence[Sequence[Drawn]], width: float, height: float) -> None:
    """All halves at 1:1, a row for each pair."""
    y = _begin(sheets, "Outlines at 1:1", 1)
    for row in rows:
        wide = [_standing(drawn, width - LEFT - MARGIN) for drawn in row]
        for line in _lines_of(wide, width - LEFT - MARGIN):
            tall = max(drawn.box.height for drawn in line) + CAPTION
            if y + tall > height - MARGIN:
                if y == TOP or tall > height - TOP - MARGIN:
                    raise _too_large(line[0])
                sheets.next_sheet()
                y = _begin(sheets, "Outlines at 1:1, continued", 1)
            x = LEFT
            for drawn in line:
                _put(sheets, drawn, x, y, 1)
                x += max(drawn.box.width, _text_width(drawn)) + APART
            y += tall + APART


def _lines_of(row: Sequence[Drawn], room: float) -> Iterator[Sequence[Drawn]]:
    """Half and mate side by side if there is room, else one below the other."""
    needed = sum(max(drawn.box.width, _text_width(drawn)) + APART for drawn in row) - APART
    yield from [row] if needed <= room else [[drawn] for drawn in row]


def _standing(drawn: Drawn, room: float) -> Drawn:
    """The half lying, or upright where it is longer than the paper is wide."""
    if drawn.box.width <= room:
        return drawn
    parts = tuple(part.moved(Motion(quarter_turns=1)) for part in drawn.parts)
    turned = Drawn(parts=parts, box=bounds_of(parts), lines=drawn.lines)
    if turned.box.width > room:
        raise _too_large(drawn)
    return turned


def _too_large(drawn: Drawn) -> DrawingError:
    longest = max(drawn.box.width, drawn.box.height)
    return DrawingError(
        f"{drawn.lines[0]} is larger than the paper",
        field="paper",
        value=longest,
        remedy="measure it instead of printing it, or choose larger paper",
    )


def _enlarged(sheets: PdfSheets, row: Sequence[Drawn], width: float, height: float) -> None:
    """A half and its mate at the largest scale at which both go onto one sheet; none where that is not even 2."""
    room = width - LEFT - MARGIN, (height - TOP - MARGIN) / len(row) - CAPTION - APART
    fitting = (
        scale
        for scale in ENLARGED
        if all(scale * d.box.width <= room[0] and scale * d.box.height <= room[1] for d in row)
    )
    scale = next(fitting, None)
    if scale is None:
        return
    sheets.next_sheet()
    y = _begin(sheets, f"Enlarged {scale}:1", scale)
    for drawn in row:
        _put(sheets, drawn, LEFT, y, scale)
        y += scale * drawn.box.height + CAPTION + APART


def _put(sheets: PdfSheets, drawn: Drawn, x: float, y: float, scale: int) -> None:
    """The half with its upper left corner there, and its lines of text below."""
    sheets.parts(drawn.parts, x - scale * drawn.box.left, y - scale * drawn.box.top, scale)
    base = y + scale * drawn.box.height + 1.5 * NAME
    for number, line in enumerate(drawn.lines):
        sheets.text(x, base, NAME if number == 0 else SMALL, line, bold=number == 0)
        base += 1.35 * NAME


def _text_width(drawn: Drawn) -> float:
    return max(len(line) * (NAME if number == 0 else SMALL) * 0.5 for number, line in enumerate(drawn.lines))


def _title(sheets: PdfSheets, said: str) -> float:
    sheets.text(MARGIN, MARGIN + TITLE, TITLE, said, bold=True)
    return MARGIN + 3 * TITLE


def _begin(sheets: PdfSheets, title: str, scale: int) -> float:
    """Title and rulers of a sheet; where its drawings begin."""
    _title(sheets, title)
    shown = RULER_MM / scale
    stand = "" if scale == 1 else f" On this sheet they stand for {shown:g} mm."
    sheets.text(LEFT, MARGIN + 12.0, SMALL, f"Both rulers must measure {RULER_MM:g} mm on paper.{stand}")
    for upright in (False, True):
        _ruler(sheets, LEFT, MARGIN + 15.0, upright=upright)
    return TOP


def _ruler(sheets: PdfSheets, x: float, y: float, *, upright: bool) -> None:
    """50 mm with a mark each mm, longer ones at 5 and 10; the upright one hangs in the margin."""

    def at(along: float, reach: float) -> tuple[float, float]:
        return (x - 4.0 - reach, y + along) if upright else (x + along, y + reach)

    reaches = [4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0 for mm in range(int(RULER_MM) + 1)]
    marks = [(at(mm, 0.0), at(mm, reach)) for mm, reach in enumerate(reaches)]
    sheets.lines([(at(0.0, 0.0), at(RULER_MM, 0.0)), *marks])
    for mm in range(0, int(RULER_MM) + 1, 10):
        across, down = at(mm, 7.0)
        sheets.text(across, down, SMALL, str(mm))
