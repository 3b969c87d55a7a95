"""Printing at 1:1: lengths are measured in the PDF that Chromium makes from the print page.

A PDF's default unit is 1/72 inch (ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from tests.browser.places import LISTED, NEIGHBOUR
from tests.browser.visits import NewPage

MM_PER_UNIT = 25.4 / 72

RULER_MM = 50.0

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height, mm (ISO 216; ANSI/ASME Y14.1 size A)."""

WITHIN_MM = 0.02
"""Allowance for rounded coordinates in the PDF, far below the accuracy of any printer."""


@dataclass(frozen=True)
class Line:
    """A straight line on the paper, mm from its upper left corner."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def across(self) -> bool:
        return abs(self.y1 - self.y0) < WITHIN_MM < abs(self.x1 - self.x0)

    @property
    def length(self) -> float:
        return abs(self.x1 - self.x0) + abs(self.y1 - self.y0)


def _pdf(new_page: NewPage, address: str) -> Any:
    pypdf = pytest.importorskip("pypdf", reason="no pypdf: pip install '.[browser]'")
    page = new_page(address)
    return pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))


def _lines(sheet: Any) -> Iterator[Line]:
    """The straight segments of all paths on a page, at their position on the paper."""
    height = float(sheet.mediabox.height)
    found: list[Line] = []
    at: list[tuple[float, float]] = []

    def place(x: float, y: float, ctm: Any) -> tuple[float, float]:
        a, b, c, d, e, f = (float(each) for each in ctm)
        return (a * x + c * y + e) * MM_PER_UNIT, (height - (b * x + d * y + f)) * MM_PER_UNIT

    def watch(operator: bytes, operands: Any, ctm: Any, _: Any) -> None:
        if operator == b"re":
            x, y, wide, high = (float(each) for each in operands)
            left, right = place(x, y, ctm), place(x + wide, y, ctm)
            found.append(Line(*left, *right))
            found.append(Line(*right, *place(x + wide, y + high, ctm)))
        elif operator in (b"m", b"l"):
            to = place(float(operands[0]), float(operands[1]), ctm)
            if operator == b"l":
                found.append(Line(*at[-1], *to))
            at.append(to)

    sheet.extract_text(visitor_operand_before=watch)
    yield from found


@pytest.mark.parametrize("paper", PAPERS)
def test_the_ruler_measures_50_mm_on_paper_of_the_right_size(new_page: NewPage, paper: str) -> None:
    pdf = _pdf(new_page, f"/print?half={LISTED}&half={NEIGHBOUR}&paper={paper}")
    assert len(pdf.pages) == 1
    (sheet,) = pdf.pages
    size = (float(sheet.mediabox.width) * MM_PER_UNIT, float(sheet.mediabox.height) * MM_PER_UNIT)
    assert size == pytest.approx(PAPERS[paper], abs=0.2)  # Chromium rounds to whole points
    rulers = [line for line in _lines(sheet) if line.across and abs(line.length - RULER_MM) < 1]
    assert len(rulers) == 1
    assert rulers[0].length == pytest.approx(RULER_MM, abs=WITHIN_MM)


def test_the_marks_of_the_ruler_are_one_millimetre_apart(new_page: NewPage) -> None:
    (sheet,) = _pdf(new_page, f"/print?half={LISTED}").pages
    lines = list(_lines(sheet))
    (ruler,) = [line for line in lines if line.across and abs(line.length - RULER_MM) < 1]
    marks = sorted(
        line.x0
        for line in lines
        if abs(line.x1 - line.x0) < WITHIN_MM and abs(line.y0 - ruler.y0) < WITHIN_MM and 1.5 < line.length < 5
    )
    assert marks == pytest.approx([ruler.x0 + mm for mm in range(51)], abs=WITHIN_MM)


def test_an_outline_has_the_length_stated_in_the_catalogue(new_page: NewPage) -> None:
    world = new_page.visits.world
    stated = world.ask("GET", f"/v1/halves/{LISTED}").json()["half"]["dimensions"]["body_length"]["value"]
    (sheet,) = _pdf(new_page, f"/print?half={LISTED}").pages
    lengths = [line.length for line in _lines(sheet) if line.across]
    assert any(length == pytest.approx(stated, abs=WITHIN_MM) for length in lengths), sorted(lengths)[-10:]


def test_only_the_sheets_of_the_page_are_printed(new_page: NewPage) -> None:
    (sheet,) = _pdf(new_page, f"/print?half={LISTED}").pages
    text = sheet.extract_text()
    assert "50 mm" in text
    assert "MOSSIPET-P24" in text
    assert "Sign in" not in text
    assert "Catalogue" not in text
