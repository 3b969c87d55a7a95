"""What footprints of all shapes say about a half. Drawings and names are invented; numbers follow from the drawing."""

from __future__ import annotations

import pytest

from catalog.footprints.body import HOLD_DOWN_DOUBT
from catalog.footprints.conversion import half_and_body
from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import parse_footprint
from catalog.model.entries import Half
from tests.catalog.footprints.footprint_drawings import drawing, hole, line, one_row, pad, rectangle, two_rows, zigzag


def half(text: str) -> Half:
    return half_and_body(parse_footprint(text))[0]


def sizes(read: Half) -> dict[str, float]:
    return {name: dimension.value for name, dimension in read.dimensions.items()}


def turned(text_parts: list[tuple[str, float, float]], name: str) -> str:
    """The same lands and a body, drawn with rows along y."""
    lands = [pad(number, y, x, size=(1.2, 0.3)) for number, x, y in text_parts]
    return drawing(name, *lands, rectangle(0, -1.5, 4, 3.5))


def test_two_rows_on_the_surface() -> None:
    read = half(two_rows("Wren_SA", 5))
    assert (read.rows, read.contact_count, read.positions) == (2, 10, 5)
    assert sizes(read) == pytest.approx(
        {
            "pitch": 0.5,
            "land_row_spacing": 4.0,
            "land_span": 5.2,
            "land_width": 0.3,
            "land_length": 1.2,
            "body_length": 5.0,
            "body_width": 4.0,
        }
    )
    assert read.categories == {
        "mounting": ("surface_mount",),
        "orientation": ("vertical",),
        "contact_layout": ("aligned",),
        "tail_layout": ("aligned",),
        "pegs": ("none",),
    }
    assert read.counts == {"hold_down_count": 0, "bank_count": 1}
    assert read.half_kind is None
    assert (read.maker, read.part_number, read.key) == ("Wren", "Wren_SA", "wren:wren_sa")
    assert read.datasheet is not None
    assert read.datasheet.title == "footprint file"
    assert read.datasheet.address == ""


def test_one_row_through_holes() -> None:
    read = half(one_row("Linnet_1x06_P2.00mm_Vertical", 6))
    assert (read.rows, read.contact_count, read.positions) == (1, 6, 6)
    assert read.categories["mounting"] == ("through_hole",)
    assert "contact_layout" not in read.categories
    assert read.categories["tail_layout"] == ("one_row",)
    assert sizes(read) == pytest.approx({"pitch": 2.0, "land_span": 1.2, "body_length": 12.0, "body_width": 3.0})


def test_rows_along_y_give_the_same_half_as_rows_along_x() -> None:
    lands = [(str(2 * n + row + 1), n * 0.5, row * 4.0) for n in range(5) for row in (0, 1)]
    straight, across = half(two_rows("Wren_SA", 5)), half(turned(lands, "Wren_SA"))
    assert across == straight


def test_staggered_rows_keep_the_pitch_of_one_row() -> None:
    read = half(drawing("Wren_ST", *zigzag(6, 0.8, 3.0, shift=0.4), rectangle(-1, 0, 5.4, 3)))
    assert read.categories["tail_layout"] == ("staggered",)
    assert "contact_layout" not in read.categories, "tails half a pitch apart may belong to contacts that are opposite"
    assert sizes(read)["pitch"] == pytest.approx(0.8)
    assert read.positions == 6


def test_tails_of_one_row_that_leave_alternately() -> None:
    lands = [pad(str(n + 1), n * 1.0, (-1.5, 1.5)[n % 2]) for n in range(6)]
    read = half(drawing("Wren_AT_1x06_P1.00mm", *lands, rectangle(-0.5, -1, 5.5, 1)))
    assert (read.rows, read.positions) == (1, 6)
    assert read.categories["tail_layout"] == ("alternating",)
    assert "contact_layout" not in read.categories
    assert sizes(read)["pitch"] == pytest.approx(1.0)
    assert sizes(read)["tail_pitch"] == pytest.approx(2.0)


def test_a_body_beside_its_lands_mates_sideways() -> None:
    lands = [pad(str(n + 1), n * 1.25, 0) for n in range(4)]
    assert half(drawing("Wren_RA", *lands, rectangle(-2, 0, 5.75, 6))).categories["orientation"] == ("right_angle",)


def test_a_body_a_little_beside_its_lands_leaves_the_direction_open() -> None:
    lands = [pad(str(n + 1), n * 1.25, 0) for n in range(4)]
    read = half(drawing("Wren_RB", *lands, rectangle(-2, -1.5, 5.75, 3)))
    assert read.categories["orientation"] == ("vertical", "right_angle")


def test_words_in_the_name_take_precedence_over_the_position_of_the_body() -> None:
    lands = [pad(str(n + 1), n * 1.25, 0) for n in range(4)]
    read = half(drawing("Wren_Vertical", *lands, rectangle(-2, 0, 5.75, 6)))
    assert read.categories["orientation"] == ("vertical",)


def hold_down_half(end: float, *strokes: str) -> Half:
    """Five contacts 1 mm apart, hold-down lands from 1.5 to 3.5 mm beyond them, an outline that ends at ``end``."""
    lands = [pad(str(n + 1), n * 1.0, 0) for n in range(5)]
    downs = [pad("MP", -2.5, 1.5, size=(2, 1.5)), pad("MP", 6.5, 1.5, size=(2, 1.5))]
    return half(drawing("Wren_HD", *lands, *downs, rectangle(-end, -1, 4 + end, 2), *strokes))


def test_hold_downs_are_counted_apart_from_contacts() -> None:
    read = hold_down_half(1.5)
    assert read.contact_count == 5
    assert read.counts["hold_down_count"] == 2
    assert sizes(read)["hold_down_land_span"] == pytest.approx(11.0)


def test_an_outline_over_the_hold_down_lands_is_doubtful() -> None:
    length = hold_down_half(3.0).dimensions["body_length"]
    assert length.value == pytest.approx(10.0)
    assert length.extra_u == HOLD_DOWN_DOUBT
    assert "hold-down" in length.doubt
    assert hold_down_half(3.0).dimensions["overall_length"].value == pytest.approx(10.0)


def test_an_outline_that_ends_before_the_hold_down_lands_is_not_doubtful() -> None:
    read = hold_down_half(1.5)
    assert read.dimensions["body_length"].extra_u == 0
    assert read.dimensions["body_length"].doubt == ""
    assert "overall_length" not in read.dimensions


def test_separately_drawn_hold_downs_give_the_overall_length() -> None:
    read = hold_down_half(1.5, rectangle(-3.4, 1, -1.6, 2), rectangle(5.6, 1, 7.4, 2))
    assert sizes(read)["body_length"] == pytest.approx(7.0)
    assert sizes(read)["overall_length"] == pytest.approx(10.8)
    assert read.dimensions["body_length"].doubt == ""


def test_touching_hold_down_copper_is_one_conductor() -> None:
    lands = [pad(str(n + 1), n * 1.0, 0) for n in range(3)]
    downs = [pad("SH", -3, 0), pad("SH", -2.9, 0), pad("", 5, 0)]
    assert half(drawing("Wren_HE", *lands, *downs, rectangle(-2, -1, 4, 1))).counts["hold_down_count"] == 2


def test_unnumbered_paste_is_not_a_hold_down() -> None:
    lands = [pad(str(n + 1), n * 1.0, 0) for n in range(3)]
    read = half(drawing("Wren_PA", *lands, pad("", -3, 0, layers='"F.Paste"'), rectangle(-2, -1, 4, 1)))
    assert read.counts["hold_down_count"] == 0


def test_pegs_are_holes_without_copper() -> None:
    read = half(drawing("Wren_PG", *zigzag(5, 0.5, 4), hole(-1.2, 2), hole(3.2, 2), rectangle(-2, 0, 4, 4)))
    assert read.categories["pegs"] == ("present",)
    assert sizes(read)["peg_hole_span"] == pytest.approx(4.4)


def test_one_peg_has_no_span() -> None:
    read = half(drawing("Wren_PH", *zigzag(5, 0.5, 4), hole(1, 2), rectangle(-2, 0, 4, 4)))
    assert read.categories["pegs"] == ("present",)
    assert "peg_hole_span" not in read.dimensions
    assert sizes(read)["peg_hole_diameter"] == pytest.approx(1.0)


def half_on_lands(*lands: str, pegs: tuple[str, ...] = ()) -> dict[str, float]:
    """Sizes of a half of one row on these lands."""
    return sizes(half(drawing("Wren_LS", *lands, *pegs, rectangle(-1, -1, 6, 1))))


def row(count: int, size: tuple[float, float], *, start: int = 0, kind: str = "smd") -> list[str]:
    return [pad(str(n + 1), n * 1.0, 0, size=size, kind=kind) for n in range(start, start + count)]


def test_the_size_that_most_lands_have_is_that_of_the_half() -> None:
    first_longer = half_on_lands(*row(1, (0.4, 1.8)), *row(5, (0.4, 1.5), start=1))
    assert (first_longer["land_width"], first_longer["land_length"]) == pytest.approx((0.4, 1.5))


def test_lands_without_a_common_length_have_none_but_may_have_a_common_width() -> None:
    mixed = half_on_lands(*row(3, (0.4, 1.8)), *row(3, (0.4, 1.5), start=3))
    assert mixed["land_width"] == pytest.approx(0.4)
    assert "land_length" not in mixed


def test_rings_around_plated_holes_are_no_lands() -> None:
    assert not {"land_width", "land_length"} & half_on_lands(*row(5, (1.2, 1.2), kind="thru_hole")).keys()


def test_a_land_of_a_shape_that_its_size_does_not_tell_has_none() -> None:
    odd = [each.replace("rect", "custom") for each in row(5, (0.4, 1.5))]
    assert not {"land_width", "land_length"} & half_on_lands(*odd).keys()


def test_a_rotated_land_counts_as_it_lies() -> None:
    lands = [pad(str(n + 1), n * 1.0, 0, size=(1.5, 0.4), turn=90) for n in range(5)]
    assert (half_on_lands(*lands)["land_width"], half_on_lands(*lands)["land_length"]) == pytest.approx((0.4, 1.5))


def test_small_second_lands_of_a_contact_do_not_count() -> None:
    second = [pad(str(n + 1), n * 1.0, 3, size=(0.2, 0.2)) for n in range(5)]
    assert half_on_lands(*row(5, (0.4, 1.5)), *second)["land_width"] == pytest.approx(0.4)


def test_peg_holes_of_two_sizes_and_slots_have_no_diameter() -> None:
    lands = row(5, (0.4, 1.5))
    slot = hole(4, 0.5).replace("(drill 1)", "(drill oval 1 1.6)")
    assert half_on_lands(*lands, pegs=(hole(0, 0.5), hole(4, 0.5)))["peg_hole_diameter"] == pytest.approx(1.0)
    assert "peg_hole_diameter" not in half_on_lands(*lands, pegs=(hole(0, 0.5, 0.8), hole(4, 0.5)))
    assert "peg_hole_diameter" not in half_on_lands(*lands, pegs=(hole(0, 0.5), slot))


def test_holes_for_each_contact_are_no_pegs() -> None:
    """They hold the wires that are soldered beside them."""
    wires = tuple(hole(n * 1.0, 0.8, 0.9) for n in range(5))
    assert "peg_hole_diameter" not in half_on_lands(*row(5, (0.4, 1.5)), pegs=wires)
    assert half_on_lands(*row(5, (0.4, 1.5)), pegs=wires[:4])["peg_hole_diameter"] == pytest.approx(0.9)
    assert half_on_lands(*row(2, (0.4, 1.5)), pegs=wires[:2])["peg_hole_diameter"] == pytest.approx(0.9)


def test_a_peg_hole_is_as_wide_as_its_drill() -> None:
    wide = hole(4, 0.5).replace("(size 1 1)", "(size 1.4 1.4)")
    assert half_on_lands(*row(5, (0.4, 1.5)), pegs=(wide,))["peg_hole_diameter"] == pytest.approx(1.0)


def test_positions_left_out_of_a_regular_grid_are_blocked() -> None:
    lands = [text for n, text in enumerate(zigzag(6, 1.0, 4)) if n != 7]
    read = half(drawing("Wren_BL", *lands, rectangle(-1, 0, 6, 4)))
    assert (read.contact_count, read.positions) == (11, 6)
    assert [(site.row, site.position) for site in read.blocked] == [(2, 4)]
    assert sizes(read)["pitch"] == pytest.approx(1.0)


def test_groups_of_contacts_are_banks_and_pitch_never_spans_their_gap() -> None:
    lands = [pad(str(n + 1), n * 0.5 + (0.7 if n >= 5 else 0.0), 0) for n in range(10)]
    read = half(drawing("Wren_BK", *lands, rectangle(-1, -1, 6.5, 1)))
    assert read.counts["bank_count"] == 2
    assert sizes(read)["pitch"] == pytest.approx(0.5)
    assert sizes(read)["bank_gap"] == pytest.approx(1.2)


def test_unequal_rows_are_listed() -> None:
    lands = [pad(str(n + 1), n * 1.0, 0) for n in range(5)] + [pad(str(n + 6), n * 1.0 + 0.5, 3) for n in range(4)]
    read = half(drawing("Wren_UN", *lands, rectangle(-1, 0, 5, 3)))
    assert read.row_contacts == (5, 4)
    assert (read.contact_count, read.positions) == (9, 5)


def test_both_sides_of_a_board_edge_are_two_rows() -> None:
    front = [pad(str(2 * n + 1), n * 1.0, 0, kind="connect", layers='"F.Cu"') for n in range(5)]
    back = [pad(str(2 * n + 2), n * 1.0, 0, kind="connect", layers='"B.Cu"') for n in range(5)]
    read = half(drawing("Wren_ED", *front, *back, rectangle(-1, -1, 5, 3)))
    assert (read.rows, read.contact_count) == (2, 10)


def test_a_second_land_of_a_contact_adds_no_contact_and_no_row() -> None:
    lands = [pad(str(n + 1), n * 2.0, row * 5.0) for n in range(4) for row in (0, 1)]
    read = half(drawing("Wren_DB", *lands, rectangle(-1, -1, 7, 6)))
    assert (read.rows, read.contact_count) == (1, 4)
    assert sizes(read)["land_span"] == pytest.approx(6.2)


def test_drawn_pins_beyond_the_body_do_not_widen_it() -> None:
    legs = [rectangle(n * 2.0 - 0.2, 1.5, n * 2.0 + 0.2, 6.0) for n in range(6)]
    body = one_row("Linnet_1x06", 6)
    with_legs = body.rstrip(")") + "\n".join(legs) + ")"
    assert sizes(half(with_legs)) == sizes(half(body))


def test_one_leg_joined_to_the_body_does_not_widen_it() -> None:
    leg = (line(-1.0, 1.5, -1.0, 2.4), line(-1.0, 2.4, -0.6, 2.4), line(-0.6, 2.4, -0.6, 1.5))
    joined = one_row("Linnet_1x06", 6).rstrip(")") + "\n".join(leg) + ")"
    assert sizes(half(joined))["body_width"] == pytest.approx(3.0)


def test_a_row_of_single_wires_has_no_body() -> None:
    lands = [pad(str(n + 1), n * 4.0, 0, size=(1.5, 1.5), kind="thru_hole") for n in range(4)]
    rings = [f'(fp_circle (center {n * 4} 0) (end {n * 4 + 1} 0) (layer "F.Fab") (width 0.1))' for n in range(4)]
    with pytest.raises(UnusableFootprint, match="no body outline around the contacts"):
        half(drawing("Wren_wires", *lands, *rings))


def test_no_outline_gives_no_half() -> None:
    with pytest.raises(UnusableFootprint, match="no body outline"):
        half(drawing("Wren_NO", *zigzag(5, 0.5, 4)))


def test_one_numbered_land_gives_no_half() -> None:
    with pytest.raises(UnusableFootprint, match="fewer than two numbered lands"):
        half(drawing("Wren_ONE", pad("1", 0, 0), pad("MP", 3, 0), rectangle(-1, -1, 4, 1)))


def test_a_drawing_in_inches_gives_no_half() -> None:
    inch = 25.4
    with pytest.raises(UnusableFootprint, match="not in millimetres"):
        half(drawing("Wren_IN", *zigzag(5, 0.5 / inch, 4 / inch), rectangle(-2 / inch, 0, 4 / inch, 4 / inch)))


def test_a_drawing_in_mils_gives_no_half() -> None:
    mil = 1 / 0.0254
    with pytest.raises(UnusableFootprint, match="not in millimetres"):
        half(drawing("Wren_MI", *zigzag(20, 0.5 * mil, 4 * mil), rectangle(-2 * mil, 0, 12 * mil, 4 * mil)))


def test_scattered_lands_give_no_half() -> None:
    lands = [pad(str(n + 1), (n * 7) % 25 * 0.9, n * 0.9) for n in range(25)]
    with pytest.raises(UnusableFootprint, match="lands in no rows"):
        half(drawing("Wren_SC", *lands, rectangle(-1, -1, 25, 25)))


@pytest.mark.parametrize("name", ["", "W" * 201])
def test_a_half_needs_a_usable_name(name: str) -> None:
    with pytest.raises(UnusableFootprint, match="no usable name"):
        half(two_rows(name, 5))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("Wren_Receptacle_2x05", "receptacle"),
        ("Wren_Female_2x05", "receptacle"),
        ("Wren_PinSocket_2x05", "receptacle"),
        ("Wren_Male_2x05", "plug"),
        ("WrenPinHeader_2x05_Pin1Left", "plug"),
        ("Wren_Header_2x05", None),
        ("Wren_Plug_Socket_2x05", None),
        ("Wren_2x05_Pin1Left", None),
    ],
)
def test_the_kind_comes_only_from_whole_words(name: str, kind: str | None) -> None:
    assert half(two_rows(name, 5)).half_kind == kind
