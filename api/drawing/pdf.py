"""PDF sheets in mm, from the upper left corner: parts of a drawing at any scale, lines of text, and check rulers."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from api.drawing.geometry import Blocks, Discs, Part, Point, Polygon, Shape, Wire

Mover = Callable[[Point], Point]
"""Where a point of a drawing lies on the sheet."""

POINTS = 72.0 / 25.4
"""PDF points of a millimetre (ISO 32000-1, 8.3.2.3)."""

PLAIN, BOLD = "Helvetica", "Helvetica-Bold"
"""Fonts that every reader of PDF has (ISO 32000-1, 9.6.2.2); letters that they lack are printed as a question mark."""

ENCODING = "cp1252"
"""The letters of these fonts."""

HAIRLINE, FIRM = 0.1, 0.2
"""Widths of lines, mm."""

DASHES = (0.6, 0.4)
"""Dashes of what is assumed or hidden, mm."""

LINE_SPACING = 1.35
"""Distance of lines of text by the height of letters."""


@dataclass(frozen=True, kw_only=True)
class Ink:
    """How a role is drawn: grey levels of outline and filling, 0 black to 1 white; None: without."""

    outline: float | None = 0.0
    filling: float | None = None
    width: float = HAIRLINE


INKS: Mapping[str, Ink] = {
    "plastic": Ink(width=FIRM),
    "metal": Ink(outline=None, filling=0.0),
    "first": Ink(outline=None, filling=0.0),
    "wire": Ink(outline=0.0),
    "land": Ink(outline=0.5, filling=0.82),
}
"""Roles that are not drawn as a hairline; the same as on the printed page of the browser."""


class PdfSheets:
    """A PDF under construction. All lengths are mm, x to the right and y down from the upper left corner."""

    def __init__(self, paper: tuple[float, float], title: str) -> None:
        """A file of sheets of this width and height."""
        self._file = io.BytesIO()
        self._height = paper[1]
        size = (paper[0] * POINTS, paper[1] * POINTS)
        # "invariant" leaves out the time, so that equal sheets are equal files.
        self._canvas = Canvas(self._file, pagesize=size, invariant=1)
        self._canvas.setTitle(_printable(title))

    def next_sheet(self) -> None:
        """Go on with a new sheet."""
        self._canvas.showPage()

    def finished(self) -> bytes:
        """The file."""
        self._canvas.save()
        return self._file.getvalue()

    def text(self, x: float, y: float, size: float, said: str, *, bold: bool = False) -> None:
        """One line of text on the base line y; ``size`` is the height of its letters."""
        self._canvas.setFont(BOLD if bold else PLAIN, size * POINTS)
        self._canvas.drawString(x * POINTS, self._y(y), _printable(said))

    def passage(self, x: float, y: float, width: float, size: float, said: str, *, bold: bool = False) -> float:
        """Text in lines of this width; the base line of the line after it."""
        font = BOLD if bold else PLAIN
        for line in simpleSplit(_printable(said), font, size * POINTS, width * POINTS) or [""]:
            self.text(x, y, size, line, bold=bold)
            y += size * LINE_SPACING
        return y

    def lines(self, lines: Iterable[Sequence[Point]], width: float = HAIRLINE) -> None:
        """Open lines in black."""
        self._stroke(0.0, width, dashed=False)
        path = self._canvas.beginPath()
        for line in lines:
            self._line(path, line)
        self._canvas.drawPath(path, stroke=1, fill=0)

    def parts(self, parts: Iterable[Part], x: float = 0.0, y: float = 0.0, scale: float = 1.0) -> None:
        """Parts enlarged about their origin, which lies at x and y."""
        for part in parts:
            ink = INKS.get(part.role, Ink())
            if ink.outline is not None:
                width = part.shape.thickness * scale if isinstance(part.shape, Wire) else ink.width
                self._stroke(ink.outline, width, dashed=part.assumed or part.hidden)
            if ink.filling is not None:
                self._canvas.setFillGray(ink.filling)
            path = self._canvas.beginPath()
            self._shape(path, part.shape, x, y, scale)
            self._canvas.drawPath(path, stroke=int(ink.outline is not None), fill=int(ink.filling is not None))
        self._canvas.setFillGray(0.0)

    def _stroke(self, grey: float, width: float, *, dashed: bool) -> None:
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width * POINTS)
        self._canvas.setDash([each * POINTS for each in DASHES] if dashed else [])

    def _shape(self, path: PDFPathObject, shape: Shape, x: float, y: float, scale: float) -> None:
        def at(point: Point) -> Point:
            return x + scale * point[0], y + scale * point[1]

        if isinstance(shape, Polygon):
            self._line(path, [at(point) for point in shape.points])
            path.close()
        elif isinstance(shape, Wire):
            for line in shape.lines:
                self._line(path, [at(point) for point in line])
        elif isinstance(shape, Discs):
            for centre in shape.centres:
                across, down = at(centre)
                path.circle(across * POINTS, self._y(down), shape.radius * scale * POINTS)
        else:
            self._blocks(path, shape, at, scale)

    def _blocks(self, path: PDFPathObject, shape: Blocks, at: Mover, scale: float) -> None:
        width, height = shape.width * scale, shape.height * scale
        for centre in shape.centres:
            across, down = at(centre)
            corner = (across - width / 2) * POINTS, self._y(down + height / 2)
            path.rect(*corner, width * POINTS, height * POINTS)

    def _line(self, path: PDFPathObject, line: Sequence[Point]) -> None:
        (x, y), *rest = line
        path.moveTo(x * POINTS, self._y(y))
        for x, y in rest:
            path.lineTo(x * POINTS, self._y(y))

    def _y(self, y: float) -> float:
        """PDF counts upwards from the lower edge."""
        return (self._height - y) * POINTS


def _printable(said: str) -> str:
    """The text with a question mark for each letter that the fonts lack."""
    return said.encode(ENCODING, "replace").decode(ENCODING)
