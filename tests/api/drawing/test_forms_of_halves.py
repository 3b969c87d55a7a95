"""Features seen by eye change the drawing: keys, hold-downs, pegs, latches, shield, power contacts, tails."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from api.drawing.size_sources import make_sizes, sizes_of
from api.drawing.sizes import Length, Sizes, Source
from api.drawing.views import side_view, top_view
from catalog.model.entries import Half
from catalog.model.entry_parts import BlockedPosition, Dimension
from tests.api.drawing.reading_back import ReadDrawing, subpaths


def half(kind: str = "plug", counts: dict[str, int] | None = None, **categories: str) -> Sizes:
    lengths = {
        name: Length(value=value, source=Source.STATED)
        for name, value in {"body_length": 8.0, "body_width": 3.0, "overall_length": 9.0, "pitch": 0.5}.items()
    }
    return make_sizes(
        half_kind=kind,
        row_contacts=(10, 10),
        lengths=lengths,
        counts=counts,
        categories={name: frozenset({value}) for name, value in categories.items()},
    )


def seen(sizes: Sizes) -> ReadDrawing:
    return ReadDrawing(top_view(sizes).svg)


def corners(sizes: Sizes) -> set[tuple[float, float]]:
    (body,) = seen(sizes).paths("plastic")
    return {point for piece in subpaths(body.attrib["d"]) for point in piece}


def test_a_cut_corner_is_the_upper_left_one_and_the_body_keeps_its_size() -> None:
    assert {(-4.0, -1.5), (4.0, -1.5), (4.0, 1.5), (-4.0, 1.5)} == corners(half())
    cut = corners(half(keying="corner_chamfer"))
    assert (-4.0, -1.5) not in cut
    assert {(4.0, -1.5), (4.0, 1.5), (-4.0, 1.5)} <= cut


def test_a_shaped_end_is_drawn_at_the_right() -> None:
    shaped = corners(half(keying="end_shape"))
    assert {(-4.0, -1.5), (-4.0, 1.5)} <= shaped
    assert not {(4.0, -1.5), (4.0, 1.5)} & shaped
    assert max(x for x, _ in shaped) == 4.0


def test_an_offset_rib_is_drawn_beside_the_middle_line() -> None:
    (rib,) = seen(half("receptacle", keying="offset_rib")).pieces("key")
    assert abs(rib.centre[1]) > 0.3


@pytest.mark.parametrize("form", ["end_tab", "side_tab", "wrap_round", "through_board"])
def test_each_form_of_hold_downs_is_drawn_with_full_lines_where_known(form: str) -> None:
    drawn = seen(half(hold_down_form=form))
    assert drawn.pieces("hold-down")
    assert not drawn.paths("hold-down", "assumed")


def test_hold_downs_are_dashed_where_unknown_and_not_drawn_where_there_are_none() -> None:
    assert seen(half(hold_down_form="none")).pieces("hold-down") == []
    assert seen(half()).paths("hold-down", "assumed")


def test_two_end_tabs_are_drawn_in_the_middle_and_four_beside_it() -> None:
    assert len(seen(half(counts={"hold_down_count": 2}, hold_down_form="end_tab")).pieces("hold-down")) == 2
    assert len(seen(half(counts={"hold_down_count": 4}, hold_down_form="end_tab")).pieces("hold-down")) == 4


def test_pegs_are_drawn_only_where_they_are_certain() -> None:
    assert len(seen(half(pegs="present")).pieces("peg")) == 2
    assert seen(half()).pieces("peg") == []


def test_unequal_pegs_are_drawn_unequal() -> None:
    one, two = seen(half(keying="unequal_pegs")).pieces("peg")
    assert one.width > two.width


def test_power_contacts_are_drawn_once() -> None:
    assert len(seen(half(counts={"power_contact_count": 4, "hold_down_count": 2})).pieces("power")) == 4
    assert seen(half(counts={"power_contact_count": 2, "hold_down_count": 2})).pieces("power") == []


def test_shield_and_latches_are_drawn() -> None:
    assert len(seen(half(shield="partial")).pieces("shield")) == 2
    assert len(seen(half(shield="full")).pieces("shield")) == 4
    assert seen(half(shield="none")).pieces("shield") == []
    assert len(seen(half(latch_style="metal_snap")).pieces("latch")) == 2
    assert len(seen(half(latch_style="screwed")).pieces("latch")) == 2
    assert seen(half(latch_style="click_felt")).pieces("latch") == []


def test_tails_under_the_body_are_hidden_lines_and_gull_wing_tails_extend_beyond_it() -> None:
    assert seen(half(tail_form="under_body")).paths("tail", "hidden")
    out = seen(half(tail_form="gull_out"))
    assert not out.paths("tail", "hidden")
    assert out.extent("tail").height > 3.0


def test_pins_go_through_the_board_and_balls_stand_on_it() -> None:
    pins = ReadDrawing(side_view(half(tail_form="pin")).svg)
    assert pins.extent("tail").bottom > 0.5
    balls = ReadDrawing(side_view(half(tail_form="ball")).svg)
    assert balls.extent("tail").bottom == pytest.approx(0, abs=0.001)
    assert balls.extent("plastic").bottom < 0


def test_plug_and_receptacle_differ_in_top_view_and_section() -> None:
    plug, receptacle = seen(half("plug")), seen(half("receptacle"))
    assert len(receptacle.pieces("raised")) == 1
    assert receptacle.extent("well").height > 2 * plug.extent("well").height
    sections = [ReadDrawing(side_view(half(kind)).svg) for kind in ("plug", "receptacle")]
    assert len(sections[0].pieces("wire")) == 2
    assert len(sections[1].pieces("wire")) == 4


def test_a_hermaphroditic_face_is_half_tongue_and_half_pocket() -> None:
    drawn = seen(half("hermaphroditic"))
    assert drawn.extent("raised").bottom < 0 < drawn.extent("well").top


def test_the_sizes_of_a_record_are_drawn_and_predictions_are_marked() -> None:
    entry = Half(
        maker="Fenwick Invented",
        series="Wren",
        part_number="WREN-P12",
        half_kind="plug",
        rows=2,
        positions=6,
        contact_count=11,
        blocked=(BlockedPosition(row=1, position=2),),
        dimensions={"pitch": Dimension(value=1.0, tolerance=0.03, bound="max")},
    )
    sizes = sizes_of(entry)
    assert sizes.lengths["pitch"] == Length(value=1.0, source=Source.STATED, tolerance=0.03, bound="max")
    assert sizes.lengths["body_length"].source is Source.ASSUMED
    assert sizes.row_contacts == (6, 6)
    drawn = seen(sizes)
    assert len(drawn.pieces("metal")) == 11
    described = ElementTree.fromstring(top_view(sizes).svg).findtext("{http://www.w3.org/2000/svg}desc")
    assert described is not None
    assert "11 contacts in 2 rows" in described
