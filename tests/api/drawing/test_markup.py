"""The markup of drawings: well-formed, escaped, without style or script, small, and readable at any size."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from api.drawing.geometry import DrawingError
from api.drawing.mating import mated
from api.drawing.measures import ACROSS, ALONG
from api.drawing.print_sheet import print_sheets
from api.drawing.size_sources import make_sizes
from api.drawing.sizes import Length, Sizes, Source
from api.drawing.svg import element, escape, number
from api.drawing.views import Look, View, mated_view, overlay_top, side_view, top_view
from tests.api.drawing.reading_back import SVG, ReadDrawing

LIMIT_BYTES = 40_000
"""Largest size in bytes of the drawing of a half with 200 contacts: pages show dozens of drawings at once."""

HOSTILE = (
    "</svg><script>alert(1)</script>",
    '" onload="alert(1)" x=\'',
    "<![CDATA[ & ]]> &amp; &#0; &unknown;",
    "one\x00two\x1bthree\x7f\ufffe\ud800four",
    "\u202egnirts\u200b ‹›",
    "javascript:alert(1)\n\t\r",
)


def half(**given: float) -> Sizes:
    lengths = {name: Length(value=value, source=Source.STATED, tolerance=0.1) for name, value in given.items()}
    return make_sizes(name="A 24", half_kind="plug", row_contacts=(12, 12), lengths=lengths)


def every_drawing(sizes: Sizes) -> list[str]:
    pair = mated(sizes, make_sizes(name=sizes.name))
    views = [top_view(sizes), side_view(sizes), mated_view(pair), overlay_top([sizes, sizes], Look(features=ALONG))]
    return [view.svg for view in views] + list(print_sheets([sizes]))


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_come_out_as_text(name: str) -> None:
    for svg in every_drawing(make_sizes(name=name, half_kind="plug")):
        root = ElementTree.fromstring(svg)
        names = {element.tag for element in root.iter()}
        assert names <= {f"{SVG}{tag}" for tag in ("svg", "title", "desc", "g", "path", "text", "circle")}
        attributes = {key for element in root.iter() for key in element.attrib}
        assert not [key for key in attributes if key.startswith("on") or key in ("style", "href")]
        assert "title" in svg


def test_a_name_survives_escaping_and_what_xml_cannot_hold_is_replaced() -> None:
    root = ElementTree.fromstring(top_view(make_sizes(name="a<b>&\"c'\x00d")).svg)
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == "a<b>&\"c'\ufffdd, seen from above"
    assert escape("\ud800\ufffe\x1f") == "\ufffd" * 3


def test_a_drawing_names_itself_for_screen_readers_and_has_no_style() -> None:
    for svg in every_drawing(half(pitch=0.4, body_length=6.6)):
        root = ElementTree.fromstring(svg)
        ids = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
        assert root.attrib["role"] == "img"
        assert set(root.attrib["aria-labelledby"].split()) <= set(ids)
        assert len(ids) == len(set(ids))
        assert "style=" not in svg


def test_a_half_of_200_contacts_stays_under_40_kb() -> None:
    names = (*ALONG, *ACROSS, "height")
    big = make_sizes(half_kind="receptacle", row_contacts=(100, 100), counts={"bank_count": 2})
    assert len(top_view(big, Look(features=names)).svg.encode()) < LIMIT_BYTES
    (sheet,) = print_sheets([big], with_lands=True)
    assert len(sheet.encode()) < LIMIT_BYTES
    assert len(side_view(big, Look(features=names)).svg.encode()) < LIMIT_BYTES / 4


def test_unknown_sizes_are_dashed_and_have_no_figure() -> None:
    drawn = ReadDrawing(top_view(half(body_width=2.0), Look(features=(*ALONG, *ACROSS))).svg)
    assert [word for word in drawn.words() if word] == ["2 ±0.1"]
    assumed = {group.attrib["data-feature"] for group in drawn.groups("assumed")}
    assert {"body_length", "pitch", "tail_span"} <= assumed
    assert "body_width" not in assumed
    assert drawn.paths("plastic", "assumed")
    assert not [group for group in drawn.groups("assumed") if "data-mm" in group.attrib]


def test_known_sizes_are_drawn_with_full_lines() -> None:
    drawn = ReadDrawing(top_view(half(body_width=2.0, body_length=6.6, pitch=0.4, row_spacing=1.2)).svg)
    assert not drawn.paths("plastic", "assumed")
    assert not drawn.paths("metal", "assumed")


def test_figures_are_written_as_in_technical_drawings() -> None:
    lengths = {
        "body_length": Length(value=6.6, source=Source.STATED, tolerance=0.15),
        "overall_length": Length(value=7.04, source=Source.STATED, bound="max"),
        "peg_hole_span": Length(value=5.0, source=Source.STATED, bound="reference"),
        "body_width": Length(value=2.123, source=Source.PREDICTED),
        "pitch": Length(value=0.4012, source=Source.MEASURED, tolerance=0.0021),
    }
    words = ReadDrawing(top_view(make_sizes(half_kind="plug", lengths=lengths)).svg).words()
    assert sorted(words) == sorted(["6.6 ±0.15", "7.04 max", "(5)", "≈ 2.12", "0.4012, u 0.0021"])


@pytest.mark.parametrize("width", [220.0, 340.0, 640.0, 1200.0])
@pytest.mark.parametrize("contacts", [4, 24, 400])
def test_letters_keep_their_size_on_screen_and_the_view_its_width(width: float, contacts: int) -> None:
    sizes = make_sizes(half_kind="receptacle", row_contacts=(contacts // 2,) * 2)
    view = top_view(sizes, Look(width_px=width, features=ALONG))
    assert view.box.width * view.px_per_mm <= width * 1.01
    root = ElementTree.fromstring(view.svg)
    assert float(root.attrib["width"]) == pytest.approx(view.box.width * view.px_per_mm, abs=0.01)


def boxes_of_figures(view: View) -> list[tuple[float, float, float, float]]:
    """Boxes of the texts, px; a digit is taken to be 0.55 of its height wide, like tabular numerals."""
    root, scale = ElementTree.fromstring(view.svg), view.px_per_mm
    found = []
    for text in root.iter(f"{SVG}text"):
        size = float(text.attrib["font-size"]) * scale
        wide = 0.55 * size * len(text.text or "")
        x, y = float(text.attrib["x"]) * scale, float(text.attrib["y"]) * scale
        turned = "transform" in text.attrib
        found.append((x - size, y - wide / 2, x, y + wide / 2) if turned else (x - wide / 2, y - size, x + wide / 2, y))
    return found


@pytest.mark.parametrize("width", [340.0, 700.0])
def test_figures_do_not_overlap(width: float) -> None:
    sizes = half(**{name: 2.0 + index / 3 for index, name in enumerate((*ALONG[3:], *ACROSS))}, pitch=0.4)
    boxes = boxes_of_figures(top_view(sizes, Look(width_px=width)))
    assert len(boxes) >= 12
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            assert apart, (one, other)


def test_edges_can_be_found_by_their_feature() -> None:
    drawn = ReadDrawing(top_view(half(body_length=6.6)).svg)
    (dimension,) = drawn.groups("dimension")
    assert dimension.attrib["id"] == "dim-body_length"
    assert [edge.attrib["data-feature"] for edge in drawn.paths("edge")] == ["body_length"]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 0.0, -1.0, 1e9])
def test_an_invalid_length_is_refused_with_its_field(value: float) -> None:
    with pytest.raises(DrawingError) as refused:
        half(body_length=value)
    assert refused.value.field == "body_length"
    assert refused.value.remedy


def test_an_unknown_feature_and_no_contacts_are_refused() -> None:
    with pytest.raises(DrawingError, match="not a dimension"):
        half(girth=3.0)
    with pytest.raises(DrawingError, match="contacts"):
        make_sizes(row_contacts=(0, 0))
    with pytest.raises(DrawingError, match="contacts"):
        make_sizes(row_contacts=(5, -1))
    with pytest.raises(DrawingError, match="contacts"):
        make_sizes(row_contacts=(1_000_000,))
    with pytest.raises(DrawingError, match="coordinate"):
        number(float("nan"))


@pytest.mark.parametrize(
    ("rows", "lengths"),
    [
        ((500, 500), {"pitch": 0.2}),
        ((1000,), {"pitch": 0.15, "body_length": 1.0}),
        ((1,), {}),
        ((2, 2), {"body_width": 60.0}),
        ((12, 12), {"body_width": 0.5, "opening_width": 9.0, "tail_span": 0.6, "row_spacing": 30.0}),
        ((12, 12), {"body_length": 1.0, "opening_length": 240.0, "overall_length": 1.1}),
        ((12, 12), {"height": 40.0, "body_width": 0.5}),
        ((40,) * 10, {"pitch": 1.27}),
    ],
)
@pytest.mark.parametrize("kind", ["plug", "receptacle", "hermaphroditic", None])
@pytest.mark.parametrize("tails", ["gull_out", "under_body", "flush", "pin", "ball"])
def test_absurd_sizes_still_give_a_drawing(
    rows: tuple[int, ...], lengths: dict[str, float], kind: str | None, tails: str
) -> None:
    known = {name: Length(value=value, source=Source.MEASURED) for name, value in lengths.items()}
    sizes = make_sizes(half_kind=kind, row_contacts=rows, lengths=known, categories={"tail_form": frozenset({tails})})
    for view in (top_view(sizes), side_view(sizes), mated_view(mated(sizes, make_sizes()))):
        ElementTree.fromstring(view.svg)
        assert re.search(r"nan|inf", view.svg.split("<desc")[1]) is None
    assert len(ReadDrawing(top_view(sizes).svg).pieces("metal")) == sum(rows)


def test_an_attribute_without_a_value_is_left_out() -> None:
    assert element("g", {"id": None}) == "<g/>"
