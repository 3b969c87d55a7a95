"""Hostile, damaged and odd footprint files: each is refused with a reason and in bounded time."""

from __future__ import annotations

from pathlib import Path

import pytest

from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import LARGEST_FILE, Box, parse_footprint, read_footprint
from tests.catalog.footprints.footprint_drawings import drawing, hole, line, pad, rectangle, two_rows


def reason(text: str) -> str:
    with pytest.raises(UnusableFootprint) as refusal:
        parse_footprint(text)
    return refusal.value.reason


def file_reason(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    with pytest.raises(UnusableFootprint) as refusal:
        read_footprint(path)
    return refusal.value.reason


def test_an_old_head_reads_like_a_new_one() -> None:
    new = parse_footprint(drawing("Wren_A_1x02", pad("1", 0, 0), rectangle(0, 0, 2, 1)))
    old = parse_footprint(drawing("Wren_A_1x02", pad("1", 0, 0), rectangle(0, 0, 2, 1), head="module"))
    assert old == new
    assert new.name == "Wren_A_1x02"


def test_the_library_is_not_part_of_the_name() -> None:
    assert parse_footprint(drawing("Recorders:Wren_A")).name == "Wren_A"


def test_a_rotated_land_is_measured_as_it_lies() -> None:
    (land,) = parse_footprint(drawing("Wren", pad("1", 5, 1, size=(0.4, 2.0), turn=90))).pads
    assert land.box.width == pytest.approx(2.0)
    assert land.box.height == pytest.approx(0.4)


def test_a_land_with_an_offset_is_measured_at_its_copper() -> None:
    text = '(footprint "W" (pad "1" thru_hole oval (at 2 3) (size 1 2) (drill 0.6 (offset 0 0.5)) (layers *.Cu)))'
    (land,) = parse_footprint(text).pads
    assert (land.x, land.y) == (2, 3)
    assert land.box == Box(left=1.5, top=2.5, right=2.5, bottom=4.5)


def test_a_drill_beyond_any_connector_is_not_in_millimetres() -> None:
    assert reason(drawing("Wren", hole(0, 0).replace("(drill 1)", "(drill 1000)"))) == "not in millimetres"


def test_paste_alone_is_not_a_land_and_the_back_is_distinguished() -> None:
    parts = (pad("", 0, 0, layers='"F.Paste"'), pad("2", 0, 0, layers='"B.Cu" "B.Mask"', kind="connect"))
    paste, back = parse_footprint(drawing("Wren", *parts)).pads
    assert not paste.copper
    assert back.copper
    assert back.back


def test_only_the_fabrication_layer_is_the_outline() -> None:
    read = parse_footprint(drawing("Wren", line(0, 0, 9, 0, "F.SilkS"), line(0, 0, 3, 0)))
    assert [stroke.box.width for stroke in read.outline] == [3]


def test_circles_arcs_and_polygons_have_the_right_extent() -> None:
    circle = '(fp_circle (center 1 1) (end 1 3) (layer "F.Fab") (width 0.1))'
    new_arc = '(fp_arc (start 0 0) (mid 1 1) (end 2 0) (layer "F.Fab") (width 0.1))'
    old_arc = '(fp_arc (start 0 0) (end 1 0) (angle 90) (layer "F.Fab") (width 0.1))'
    polygon = '(fp_poly (pts (xy 0 0) (xy 4 0) (xy 4 -2)) (layer "F.Fab") (width 0.1))'
    boxes = [stroke.box for stroke in parse_footprint(drawing("Wren", circle, new_arc, old_arc, polygon)).outline]
    assert (boxes[0].left, boxes[0].bottom) == (-1, 3)
    assert (boxes[1].width, boxes[1].height) == (2, 1)
    assert boxes[2].bottom == pytest.approx(1)
    assert (boxes[3].width, boxes[3].height) == (4, 2)


@pytest.mark.parametrize("cut", [60, 200, 500])
def test_a_truncated_file_is_reported(cut: int) -> None:
    assert reason(two_rows("Wren_A_2x05", 5)[:cut]) in ("cut off or damaged", "no well-formed expression")


def test_a_file_cut_off_inside_a_string_is_reported() -> None:
    assert reason('(footprint "Wren') == "cut off or damaged"


def test_deep_nesting_is_refused_before_it_is_parsed() -> None:
    assert reason("(footprint A " + "(" * 10_000 + ")" * 10_000 + ")") == "nested deeper than a footprint can be"
    assert reason("(footprint A " + "[" * 10_000 + "]" * 10_000 + ")") == "nested deeper than a footprint can be"


def test_a_chain_of_quotes_cannot_exhaust_the_parser() -> None:
    assert reason("(footprint A " + "'" * 100_000 + "x)") == "no well-formed expression"


def test_brackets_inside_strings_do_not_count() -> None:
    assert parse_footprint(drawing("Wren", '(descr "' + "(" * 500 + '")')).name == "Wren"


def test_an_oversized_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "large.kicad_mod"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    with pytest.raises(UnusableFootprint) as refusal:
        read_footprint(path)
    assert refusal.value.reason == "larger than a footprint can be"
    assert f"{LARGEST_FILE:,}" in refusal.value.detail


def test_binary_and_empty_files_are_reported(tmp_path: Path) -> None:
    assert file_reason(tmp_path / "a", bytes(range(256)) * 8) == "no text"
    assert file_reason(tmp_path / "b", b"") == "empty"
    assert file_reason(tmp_path / "c", b" \n\t ") == "empty"


def test_a_missing_file_is_reported(tmp_path: Path) -> None:
    with pytest.raises(UnusableFootprint, match="cannot be opened"):
        read_footprint(tmp_path / "nobody.kicad_mod")


@pytest.mark.parametrize("text", ["42", "()", "(symbol A)", "just words", '"a string"', "(footprint)"])
def test_other_text_is_not_a_footprint(text: str) -> None:
    assert reason(text) == "no footprint"


@pytest.mark.parametrize("number", ["1e999", "nan", "-inf", "9" * 5000, "2500000"])
def test_numbers_that_cannot_be_millimetres_are_refused(number: str) -> None:
    text = f'(footprint A (pad "1" smd rect (at {number} 0) (size 1 1) (layers F.Cu)))'
    assert reason(text) == "not in millimetres"


@pytest.mark.parametrize(
    "part", ['(pad "1" smd)', '(pad "1" smd rect (at 1) (size 1 1))', '(pad "1" smd rect (at 1 one) (size 1 1))']
)
def test_a_land_without_its_numbers_is_refused(part: str) -> None:
    assert reason(f"(footprint A {part})") == "a shape without its numbers"


def test_a_stroke_without_its_end_is_refused() -> None:
    assert reason("(footprint A (fp_line (start 0 0) (layer F.Fab)))") == "a shape without its numbers"
    assert reason("(footprint A (fp_poly (layer F.Fab)))") == "a shape without its numbers"


@pytest.mark.parametrize("part", ['"\\', '("', '("\\" ', "(a", '("a" ', "[a"])
def test_parsing_time_is_proportional_to_the_length_of_the_text(part: str) -> None:
    """A pattern that started again at every quote would take hours on such a text."""
    text = f"(footprint A {part * (LARGEST_FILE // 10)}"
    assert reason(text) in ("cut off or damaged", "nested deeper than a footprint can be")


@pytest.mark.parametrize(("text", "name"), [(r'(footprint "W\"1\" \\a")', r'W"1" \a'), ("[module  W;1'2\n]", "W;1'2")])
def test_a_name_is_read_with_its_quoting(text: str, name: str) -> None:
    assert parse_footprint(text).name == name


@pytest.mark.parametrize(
    "text", ["(footprint A]", "(footprint (A ]))", "(footprint A) (B)", "(footprint A) 1", "(a) )"]
)
def test_brackets_that_do_not_match_and_a_second_expression_are_refused(text: str) -> None:
    assert reason(text) in ("cut off or damaged", "no footprint")
