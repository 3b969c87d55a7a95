"""The mark at contact 1: at its place in every drawing from above, and nowhere where the numbering is not stated."""

from __future__ import annotations

import pytest

from api.drawing.print_sheet import print_sheets
from api.drawing.size_sources import sizes_of
from api.drawing.views import top_view
from catalog.model.entries import Half
from catalog.model.numbering import Numbering
from tests.api.drawing.reading_back import ReadDrawing
from tests.catalog.model.entry_examples import half


def numbered(first: str, seen_from: str, rows: int = 2) -> Half:
    """A half of ten positions in each row."""
    numbering = {"scheme": "row_by_row", "first": first, "seen_from": seen_from}
    return half(rows=rows, contact_count=10 * rows, positions=10, row_contacts=[], blocked=[], numbering=numbering)


@pytest.mark.parametrize(
    ("first", "seen_from", "end", "above"),
    [
        ("upper_left", "mating_face", -1, True),
        ("upper_right", "mating_face", 1, True),
        ("lower_left", "mating_face", -1, False),
        ("lower_right", "mating_face", 1, False),
        ("upper_left", "board_side", 1, True),
        ("upper_right", "board_side", -1, True),
        ("lower_left", "board_side", 1, False),
        ("lower_right", "board_side", -1, False),
    ],
)
def test_the_mark_points_at_contact_1_as_the_mating_face_shows_it(
    first: str, seen_from: str, end: int, above: bool
) -> None:
    drawing = ReadDrawing(top_view(sizes_of(numbered(first, seen_from))).svg)
    (mark,) = drawing.pieces("first")
    contacts = [piece.centre for piece in drawing.pieces("metal")]
    outermost = max(x * end for x, _ in contacts) * end
    assert mark.centre[0] == pytest.approx(outermost, abs=1e-3)
    body = drawing.extent("plastic")
    assert mark.bottom < body.top if above else mark.top > body.bottom


def test_a_single_row_and_a_print_are_marked_too_and_the_view_is_named() -> None:
    sizes = sizes_of(numbered("upper_right", "mating_face", rows=1))
    assert len(ReadDrawing(top_view(sizes).svg).pieces("first")) == 1
    assert "arrowhead points at contact 1, seen from the mating face" in top_view(sizes).svg
    (sheet,) = print_sheets([sizes])
    assert len(ReadDrawing(sheet).pieces("first")) == 1
    assert "contact 1, seen from the mating face" in sheet


def test_nothing_is_marked_where_the_numbering_is_not_stated_or_contact_1_is_left_out() -> None:
    unstated = numbered("upper_left", "mating_face").model_copy(update={"numbering": None})
    counted = Numbering(scheme="row_by_row", first="upper_left", seen_from="mating_face", blocked="counted")
    left_out = half(contact_count=19, positions=10, row_contacts=[], blocked=[{"row": 1, "position": 1}])
    for each in (unstated, left_out.model_copy(update={"numbering": counted})):
        assert ReadDrawing(top_view(sizes_of(each)).svg).pieces("first") == []
        assert "contact 1" not in print_sheets([sizes_of(each)])[0]
