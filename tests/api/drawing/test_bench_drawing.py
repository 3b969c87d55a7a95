"""The bench's drawing: a line and a place for every dimension, on a phone as well."""

from __future__ import annotations

from itertools import combinations

import pytest

from api.drawing.bench import BenchDrawing, bench_drawing
from api.drawing.geometry import Box
from api.drawing.mating import mated
from api.drawing.sizes import Length, Sizes, Source, make_sizes, pair_lengths, sizes_of_observed
from matcher.features import DIMENSIONS, PAIR_DIMENSIONS
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.api.drawing.reading_back import SVG, ReadDrawing

PHONE = 340.0
"""Width of a view on a phone of 360 px, px."""

FIELD = (92.0, 26.0)
"""A field for a figure, px."""


def drawn(sizes: Sizes, width: float = PHONE, field: tuple[float, float] = (24.0, 24.0)) -> BenchDrawing:
    return bench_drawing(mated(sizes, make_sizes(half_kind="plug")), sizes, width_px=width, field_px=field)


def test_with_nothing_known_every_dimension_has_its_line_but_the_gap_of_a_second_group() -> None:
    bench = drawn(make_sizes())
    assert bench.not_drawn == ("bank_gap",)
    assert {anchor.feature for anchor in bench.anchors} == {*DIMENSIONS, *PAIR_DIMENSIONS} - {"bank_gap"}


def test_with_two_groups_the_gap_has_its_line_too() -> None:
    bench = drawn(make_sizes(row_contacts=(20, 20), counts={"bank_count": 2}))
    assert bench.not_drawn == ()


def test_what_a_plug_cannot_have_is_told() -> None:
    sizes = make_sizes(half_kind="plug", categories={"pegs": frozenset({"none"})})
    assert set(drawn(sizes).not_drawn) == {"opening_length", "opening_width", "bank_gap", "peg_hole_span"}


@pytest.mark.parametrize(("width", "field"), [(PHONE, (24.0, 24.0)), (700.0, FIELD)])
@pytest.mark.parametrize("contacts", [2, 12, 200])
@pytest.mark.parametrize("kind", ["plug", "receptacle", "hermaphroditic"])
def test_places_for_fields_do_not_overlap_and_lie_within_the_view(
    kind: str, contacts: int, width: float, field: tuple[float, float]
) -> None:
    bench = drawn(make_sizes(half_kind=kind, row_contacts=(contacts, contacts)), width, field)
    for name, view in (("top", bench.top), ("side", bench.side), ("mated", bench.mated)):
        places = [Box.centred(a.width, a.height, a.x, a.y) for a in bench.anchors if a.view == name]
        assert places
        assert not [pair for pair in combinations(places, 2) if pair[0].meets(pair[1])]
        assert all(view.box.around(place) == view.box for place in places)
        assert view.box.width * view.px_per_mm <= width * 1.01


def test_each_anchor_s_letter_stands_at_its_line() -> None:
    bench = drawn(make_sizes())
    by_letter = {anchor.letter: anchor for anchor in bench.anchors}
    written = [word for view in (bench.top, bench.side, bench.mated) for word in ReadDrawing(view.svg).words()]
    assert sorted(written) == sorted(by_letter)
    assert len(by_letter) == len(bench.anchors)


def test_a_known_figure_stands_beside_its_letter_not_under_it() -> None:
    known = {name: Length(value=9.0, source=Source.MEASURED, tolerance=0.03) for name in ("body_length", "height")}
    bench = drawn(make_sizes(lengths=known))
    for view, turned in ((bench.top, False), (bench.side, True)):
        (figure,) = [text for text in ReadDrawing(view.svg).root.iter(f"{SVG}text") if text.text == "9, u 0.03"]
        (place,) = [a for a in bench.anchors if a.feature == ("height" if turned else "body_length")]
        apart = place.y - float(figure.attrib["y"]) if turned else float(figure.attrib["x"]) - place.x
        assert figure.attrib["text-anchor"] == "start"
        assert apart * view.px_per_mm == pytest.approx(12.0, abs=0.1)


def test_a_pitch_is_drawn_over_all_gaps_as_it_is_measured() -> None:
    bench = drawn(make_sizes(row_contacts=(12, 12)))
    (pitch,) = [anchor for anchor in bench.anchors if anchor.feature == "pitch"]
    assert pitch.spans == 11


def seen(feature: str, value: float | None = None, **more: object) -> Reduced:
    return Reduced(index=0, feature=feature, value=value, **more)  # type: ignore[arg-type]


def test_the_drawing_takes_the_proportions_of_what_was_entered() -> None:
    sizes = sizes_of_observed(
        [
            seen("pitch", 0.4, total_u=0.002),
            seen("body_length", 9.0, total_u=0.02),
            seen("contact_count", count=30),
            seen("half_kind", values=frozenset({"plug"})),
            seen("tail_form", values=frozenset({"gull_out"})),
            seen("body_width", 2.5, of=Of.OTHER),
            seen("stack_height", 0.8, of=Of.PAIR),
        ]
    )
    assert sizes.half_kind == "plug"
    assert sizes.row_contacts == (15, 15)
    assert sizes.lengths["pitch"] == Length(value=0.4, source=Source.MEASURED, tolerance=0.002)
    assert not sizes.known("body_width")
    plastic = ReadDrawing(drawn(sizes).top.svg).extent("plastic")
    assert plastic.width == pytest.approx(9.0, abs=0.001)


def test_the_other_half_s_and_the_pair_s_readings_are_kept_apart() -> None:
    readings = [seen("body_width", 2.5, of=Of.OTHER), seen("stack_height", 0.8, of=Of.PAIR, total_u=0.03)]
    assert sizes_of_observed(readings, of=Of.OTHER).mm("body_width") == 2.5
    assert pair_lengths(readings) == {"stack_height": Length(value=0.8, source=Source.MEASURED, tolerance=0.03)}


def test_bounds_and_pixels_without_a_scale_shape_nothing() -> None:
    unscaled = SharedError(group="photo", kind=SharedKind.SCALE, sd=10.0, unscaled=True)
    sizes = sizes_of_observed([seen("height", at_most=0.9), seen("body_length", 700.0, shared=unscaled)])
    assert not sizes.known("height")
    assert not sizes.known("body_length")


def test_an_odd_count_is_shared_out_over_the_rows() -> None:
    assert sizes_of_observed([seen("contact_count", count=25)]).row_contacts == (13, 12)
    assert sizes_of_observed([seen("contact_count", count=1)]).row_contacts == (1,)
    assert sizes_of_observed([seen("rows", count=3)]).rows == 3
    assert not sizes_of_observed([seen("rows", count=3)]).counted


def test_one_known_length_sets_the_scale_of_all_others() -> None:
    for feature in ("body_length", "overall_length", "body_width", "tail_span", "land_span", "opening_length"):
        one, two = (make_sizes(lengths={feature: Length(value=value, source=Source.MEASURED)}) for value in (5.0, 10.0))
        assert two.mm("pitch") == pytest.approx(2 * one.mm("pitch"))
        assert two.mm("body_width") == pytest.approx(2 * one.mm("body_width"))
        assert two.mm("body_length") == pytest.approx(2 * one.mm("body_length"), rel=0.01)
