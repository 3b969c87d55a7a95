"""Overlaid halves share one datum; a printed sheet is in real millimetres."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from api.drawing.geometry import DrawingError, Motion, Polygon
from api.drawing.mating import mated
from api.drawing.print_sheet import PAPERS, print_sheets
from api.drawing.size_sources import make_sizes, sizes_of
from api.drawing.sizes import Length, Sizes, Source
from api.drawing.views import Look, mated_view, overlay_side, overlay_top
from tests.api.drawing.reading_back import ReadDrawing, subpaths
from tests.seeds_demo.demo_world import world

MICROMETRE = 0.001


def half(name: str = "A", kind: str = "receptacle", contacts: int = 12, **lengths: float) -> Sizes:
    known = {feature: Length(value=value, source=Source.STATED) for feature, value in lengths.items()}
    return make_sizes(name=name, half_kind=kind, row_contacts=(contacts, contacts), lengths=known)


def test_contacts_of_equal_halves_coincide_exactly() -> None:
    for known in list(world().halves.values())[::97]:
        sizes = sizes_of(known)
        drawn = ReadDrawing(overlay_top([sizes, sizes], Look()).svg)
        one, two = (drawn.pieces("metal", within=f"layer-{number}") for number in (1, 2))
        assert one == two
        assert len(one) == known.contact_count


def test_bodies_of_different_halves_share_one_centre() -> None:
    drawn = ReadDrawing(
        overlay_top([half(body_length=6.6, body_width=2.0), half(body_length=7.0, body_width=2.4)], Look()).svg
    )
    one, two = (drawn.extent("plastic", within=f"layer-{number}") for number in (1, 2))
    assert one.centre == pytest.approx((0, 0), abs=MICROMETRE)
    assert two.centre == pytest.approx((0, 0), abs=MICROMETRE)
    assert two.width - one.width == pytest.approx(0.4, abs=MICROMETRE)


def test_sections_share_one_board() -> None:
    drawn = ReadDrawing(overlay_side([half(height=0.7), half(height=0.9)], Look()).svg)
    one, two = (drawn.extent("plastic", within=f"layer-{number}") for number in (1, 2))
    assert one.bottom == two.bottom == 0
    assert one.top - two.top == pytest.approx(0.2, abs=MICROMETRE)


def test_a_dimension_is_marked_once_for_each_half_that_states_it() -> None:
    pair = [half(body_length=6.6, body_width=2.0), half(body_length=7.0, body_width=2.0, tail_span=2.6)]
    drawn = ReadDrawing(overlay_top(pair, Look(features=("body_length", "opening_length"))).svg)
    assert sorted(group.attrib["id"] for group in drawn.groups("differs")) == ["dim-body_length-1", "dim-body_length-2"]
    assert sorted(drawn.words()) == ["1: 6.6", "2: 7"]


@pytest.mark.parametrize("number", [0, 1, 5])
def test_too_few_and_too_many_halves_are_refused(number: int) -> None:
    with pytest.raises(DrawingError, match="over each other"):
        overlay_top([half()] * number, Look())


def test_the_boards_of_a_mated_pair_are_the_stack_height_apart() -> None:
    stack = Length(value=0.8, source=Source.STATED)
    pair = mated(half(kind="plug", height=0.7), half(height=0.75), stack_height=stack)
    assert pair.lower.half_kind == "receptacle"
    drawn = ReadDrawing(mated_view(pair).svg)
    upper, lower = sorted(drawn.pieces("board"), key=lambda board: board.top)
    assert lower.top - upper.bottom == pytest.approx(0.8, abs=MICROMETRE)
    assert drawn.between_edges()["stack_height"] == pytest.approx(0.8, abs=MICROMETRE)
    hanging = drawn.extent("plastic", within="upper")
    assert hanging.top == pytest.approx(-0.8, abs=MICROMETRE)
    assert hanging.height == pytest.approx(0.7, abs=MICROMETRE)


def test_halves_that_mate_sideways_have_no_stack_height() -> None:
    sideways = {"orientation": frozenset({"coplanar"})}
    one = make_sizes(half_kind="plug", categories=sideways)
    two = make_sizes(half_kind="receptacle", categories=sideways)
    view = mated_view(mated(one, two), Look(features=("stack_height", "mated_width")))
    assert ReadDrawing(view.svg).groups("dimension") == []
    boards = ReadDrawing(view.svg).pieces("board")
    assert boards[0].top == boards[1].top


def test_a_motion_mirrors_then_rotates_then_shifts() -> None:
    assert Motion(x=10.0, y=1.0, quarter_turns=1, mirrored=True).of((1.0, 2.0)) == (8.0, 0.0)
    assert Polygon(points=((0.0, 1.0),)).moved(Motion(quarter_turns=2)).points == ((0.0, -1.0),)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_a_sheet_has_the_paper_s_size_and_units_of_1_mm(paper: str) -> None:
    (sheet,) = print_sheets([half()], paper)
    root = ElementTree.fromstring(sheet)
    width, height = PAPERS[paper]
    assert (root.attrib["width"], root.attrib["height"]) == (f"{width:g}mm", f"{height:g}mm")
    assert root.attrib["viewBox"] == f"0 0 {width:g} {height:g}"


def test_the_ruler_of_50_mm_is_50_mm_long_and_has_a_mark_each_mm() -> None:
    drawn = ReadDrawing(print_sheets([half()])[0])
    line = drawn.extent("ruler-line")
    assert line.width == pytest.approx(50.0, abs=MICROMETRE)
    marks = sorted(piece.left for piece in drawn.pieces("ruler-marks"))
    assert [mark - marks[0] for mark in marks] == pytest.approx(list(range(51)), abs=MICROMETRE)


def test_outlines_are_printed_at_their_size() -> None:
    drawn = ReadDrawing(print_sheets([half(body_length=13.37, body_width=4.21)])[0])
    plastic = drawn.extent("plastic")
    assert (plastic.width, plastic.height) == pytest.approx((13.37, 4.21), abs=MICROMETRE)


def test_many_halves_fill_pages_without_overlap_and_inside_the_margins() -> None:
    halves = [sizes_of(known) for known in list(world().halves.values())[::23]]
    sheets = print_sheets(halves, "Letter")
    assert len(sheets) > 1
    printed = 0
    for sheet in sheets:
        drawn = ReadDrawing(sheet)
        boxes = [_box_of_group(group) for group in drawn.groups("printed-half")]
        printed += len(boxes)
        assert all(
            left > 0 and right < PAPERS["Letter"][0] and bottom < PAPERS["Letter"][1]
            for left, _, right, bottom in boxes
        )
        for index, one in enumerate(boxes):
            for other in boxes[index + 1 :]:
                assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
    assert printed == len(halves)


def _box_of_group(group: ElementTree.Element) -> tuple[float, float, float, float]:
    points = [
        point for path in group.iter() if "d" in path.attrib for piece in subpaths(path.attrib["d"]) for point in piece
    ]
    across, down = [x for x, _ in points], [y for _, y in points]
    return min(across), min(down), max(across), max(down)


def test_a_half_longer_than_the_width_of_the_paper_is_printed_upright() -> None:
    drawn = ReadDrawing(print_sheets([half(body_length=200.0, overall_length=200.0, hold_down_land_span=200.0)])[0])
    assert drawn.extent("plastic").height == pytest.approx(200.0, abs=MICROMETRE)


def test_halves_too_large_for_the_paper_an_unknown_paper_and_an_empty_list_are_refused() -> None:
    with pytest.raises(DrawingError, match="larger than the paper"):
        print_sheets([half(body_length=260.0)])
    with pytest.raises(DrawingError, match="paper"):
        print_sheets([half()], "A17")
    with pytest.raises(DrawingError, match="nothing"):
        print_sheets([])
