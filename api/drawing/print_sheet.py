"""Sheets at 1:1 on which a part can be laid: outlines with lands and names, and a ruler to check the printer. mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from api.drawing.geometry import Box, DrawingError, Motion, Part, bounds_of
from api.drawing.outline import half_shape
from api.drawing.sizes import Sizes
from api.drawing.svg import NAMESPACE, element, escape, group, line_path, number, part_markup, words

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height by name, mm (ISO 216; ANSI/ASME Y14.1 size A)."""

RULER_MM = 50.0
"""Length of the check ruler."""

MARGIN = 14.0
"""Border that printers leave white, and a little more, mm."""

HEADING = 24.0
"""Room for heading and ruler at the top, mm."""

NAME, SMALL = 3.4, 2.6
"""Heights of letters, mm."""

APART = 6.0
"""Between two outlines, mm."""

CAPTION = 10.0
"""Room for the name and the figures under an outline, mm."""

LETTER_SHARE = 0.56
"""Mean width of a letter as a share of its height."""


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One half on the sheet: its parts around the datum, what they and the caption fill, and its two lines of text."""

    parts: tuple[Part, ...]
    box: Box
    lines: tuple[str, str]

    @property
    def width(self) -> float:
        """Room along the sheet's width."""
        return max(self.box.width, *(_wide(line, size) for line, size in zip(self.lines, (NAME, SMALL), strict=True)))

    @property
    def height(self) -> float:
        """Room along the sheet's height, caption included."""
        return self.box.height + CAPTION


@dataclass(frozen=True, kw_only=True)
class Put:
    """A cell at its place: the upper left corner on its page."""

    cell: Cell
    page: int
    left: float
    top: float


def print_sheets(halves: Sequence[Sizes], paper: str = "A4", *, with_lands: bool = True) -> tuple[str, ...]:
    """One SVG per page, its width and height in mm; raises DrawingError for an unknown paper, for nothing to print and
    for a half that is longer than the paper."""
    if paper not in PAPERS:
        raise DrawingError(
            f"{paper!r} is not a known paper size", field="paper", value=paper, remedy=f"choose {' or '.join(PAPERS)}"
        )
    if not halves:
        raise DrawingError("nothing to print", field="half", value=0, remedy="name at least one half")
    placed = _places([_cell(half, PAPERS[paper], with_lands) for half in halves], PAPERS[paper])
    pages = placed[-1].page + 1
    return tuple(_page([put for put in placed if put.page == page], page, pages, paper) for page in range(pages))


def _cell(sizes: Sizes, paper: tuple[float, float], with_lands: bool) -> Cell:
    """The half lying, or upright where it is longer than the paper is wide."""
    parts = half_shape(sizes, with_lands=with_lands).parts
    box = bounds_of(parts)
    across, down = paper[0] - 2 * MARGIN, paper[1] - 2 * MARGIN - HEADING - CAPTION
    if box.width > across:
        parts = tuple(part.moved(Motion(quarter_turns=1)) for part in parts)
        box = bounds_of(parts)
    if box.width > across or box.height > down:
        raise DrawingError(
            f"{sizes.name or 'this half'} is larger than the paper",
            field="paper",
            value=max(box.width, box.height),
            remedy="measure it instead of printing it, or choose larger paper",
        )
    most = int(across / (LETTER_SHARE * NAME))
    name, figures = sizes.name or "half", _figures(sizes)
    return Cell(parts=parts, box=box, lines=(_shortened(name, most), _shortened(figures, most)))


def _figures(sizes: Sizes) -> str:
    """Pitch and body, if known: the sizes that can be checked on the print; and what the mark at contact 1 means."""
    said = [f"pitch {sizes.mm('pitch'):g}"] if sizes.known("pitch") else []
    if sizes.known("body_length", "body_width"):
        said.append(f"body {sizes.mm('body_length'):g} × {sizes.mm('body_width'):g}")
    figures = f"{', '.join(said)} mm" if said else "drawn from usual proportions"
    return f"{figures}; arrowhead: contact 1, seen from the mating face" if sizes.first is not None else figures


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _wide(text: str, size: float) -> float:
    return len(text) * size * LETTER_SHARE


def _places(cells: Iterable[Cell], paper: tuple[float, float]) -> list[Put]:
    """Cells in rows from the upper left, on as many pages as needed."""
    placed: list[Put] = []
    page, left, top, tallest = 0, MARGIN, MARGIN + HEADING, 0.0
    for cell in cells:
        if left > MARGIN and left + cell.width > paper[0] - MARGIN:
            left, top, tallest = MARGIN, top + tallest + APART, 0.0
        if top > MARGIN + HEADING and top + cell.height > paper[1] - MARGIN:
            page, left, top, tallest = page + 1, MARGIN, MARGIN + HEADING, 0.0
        placed.append(Put(cell=cell, page=page, left=left, top=top))
        left, tallest = left + cell.width + APART, max(tallest, cell.height)
    return placed


def _page(placed: Sequence[Put], page: int, pages: int, paper: str) -> str:
    width, height = PAPERS[paper]
    title = f"Outlines at 1:1, sheet {page + 1} of {pages}"
    named = ", ".join(put.cell.lines[0] for put in placed)
    attributes: dict[str, str | float | None] = {
        "xmlns": NAMESPACE,
        "class": "drawing sheet",
        "width": f"{number(width)}mm",
        "height": f"{number(height)}mm",
        "viewBox": f"0 0 {number(width)} {number(height)}",
        "role": "img",
        "aria-labelledby": f"sheet-{page + 1}-title",
    }
    return element(
        "svg",
        attributes,
        element("title", {"id": f"sheet-{page + 1}-title"}, escape(f"{title}: {named}")),
        element("desc", {}, escape("Print without scaling; the ruler must measure 50 mm.")),
        words("sheet-title", MARGIN, MARGIN + NAME, NAME, title, anchor="start"),
        ruler(MARGIN, MARGIN + 12.0),
        *(_half(put) for put in placed),
    )


def ruler(left: float, top: float) -> str:
    """A ruler of 50 mm with a mark each mm, longer ones at 5 and 10."""
    lines = [((left, top), (left + RULER_MM, top))]
    for mm in range(int(RULER_MM) + 1):
        reach = 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0
        lines.append(((left + mm, top), (left + mm, top + reach)))
    figures = [words("figure", left + mm, top + 7.0, SMALL, str(mm)) for mm in range(0, int(RULER_MM) + 1, 10)]
    said = words(
        "ruler-words",
        left + RULER_MM + 5.0,
        top + 3.0,
        SMALL,
        "Check first: this ruler must measure 50 mm. If not, print again without scaling.",
        anchor="start",
    )
    return group("ruler", [line_path("ruler-line", lines[:1]), line_path("ruler-marks", lines[1:]), *figures, said])


def _half(put: Put) -> str:
    cell = put.cell
    to = Motion(x=put.left - cell.box.left, y=put.top - cell.box.top)
    base = put.top + cell.box.height
    name, figures = cell.lines
    return group(
        "printed-half",
        [
            *(part_markup(part.moved(to)) for part in cell.parts),
            words("name", put.left, base + 4.4, NAME, name, anchor="start"),
            words("figures", put.left, base + 8.2, SMALL, figures, anchor="start"),
        ],
    )
