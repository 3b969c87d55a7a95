"""Dimensions read back from the coordinates of a drawing are those of the catalogue."""

from __future__ import annotations

from itertools import pairwise

import pytest

from api.drawing.print_sheet import print_sheets
from api.drawing.size_sources import make_sizes, sizes_of
from api.drawing.sizes import Length, Sizes, Source
from api.drawing.views import side_view, top_view
from catalog.model.entries import Half
from tests.api.drawing.drawn_edges import MICROMETRE, assert_edges_are_true
from tests.api.drawing.reading_back import ReadDrawing
from tests.seeds_demo.demo_world import world

EVERY = 13
"""Step between the drawn halves of a long list: a prime, so that it does not follow the pattern of a series."""


def sampled() -> list[Half]:
    """A sample of halves of the demo catalogue, including the first and last of every series."""
    halves = list(world().halves.values())
    ends = [half for before, half in pairwise(halves) if before.series != half.series]
    return [*halves[::EVERY], *ends, halves[-1]]


def test_every_dimension_of_the_demo_catalogue_can_be_read_back_between_its_edges() -> None:
    halves = sampled()
    assert len(halves) > 200
    assert sum(assert_edges_are_true(sizes_of(half)) for half in halves) > 8 * len(halves)


def test_body_pocket_tails_and_height_are_drawn_at_their_size() -> None:
    for half in sampled():
        sizes = sizes_of(half)
        drawn = ReadDrawing(top_view(sizes).svg)
        body = drawn.extent("plastic")
        assert (body.width, body.height) == pytest.approx(
            (sizes.mm("body_length"), sizes.mm("body_width")), abs=MICROMETRE
        )
        assert body.centre == pytest.approx((0, 0), abs=MICROMETRE)
        if sizes.kind == "receptacle" and sizes.known("opening_length", "opening_width"):
            pocket = drawn.extent("well")
            assert (pocket.width, pocket.height) == pytest.approx(
                (sizes.mm("opening_length"), sizes.mm("opening_width")), abs=MICROMETRE
            )
        if not sizes.gridded:
            assert drawn.extent("tail").height == pytest.approx(sizes.mm("tail_span"), abs=MICROMETRE)
        if sizes.only("hold_down_form", "end_tab", "wrap_round"):
            assert drawn.extent("hold-down").width == pytest.approx(sizes.mm("overall_length"), abs=MICROMETRE)
        assert_height_is_true(sizes)


def assert_height_is_true(sizes: Sizes) -> None:
    cut = ReadDrawing(side_view(sizes).svg)
    tallest = min(cut.extent("plastic").top, *(piece.top for piece in cut.pieces("metal") or cut.pieces("plastic")))
    assert -tallest == pytest.approx(sizes.mm("height"), abs=MICROMETRE), sizes.name
    assert cut.extent("plastic").width == pytest.approx(sizes.mm("body_width"), abs=MICROMETRE)


def test_contacts_are_drawn_according_to_pitch_row_spacing_and_count() -> None:
    for half in sampled():
        sizes = sizes_of(half)
        contacts = ReadDrawing(top_view(sizes).svg).pieces("metal")
        assert len(contacts) == half.contact_count, half.key
        narrowest, widest = min(piece.width for piece in contacts), max(piece.width for piece in contacts)
        assert (narrowest, widest) == pytest.approx((sizes.mm("contact_width"),) * 2, abs=MICROMETRE)
        assert_on_datum([piece.centre for piece in contacts], half)
        by_row: dict[float, list[float]] = {}
        for piece in contacts:
            by_row.setdefault(round(piece.centre[1], 3), []).append(piece.centre[0])
        assert len(by_row) == half.rows
        assert_rows_apart(sorted(by_row), sizes)
        for places in by_row.values():
            assert_pitch(places, sizes)


def assert_on_datum(centres: list[tuple[float, float]], half: Half) -> None:
    if half.blocked:
        return  # the datum includes the blocked sites
    across, down = [x for x, _ in centres], [y for _, y in centres]
    assert (min(across) + max(across), min(down) + max(down)) == pytest.approx((0, 0), abs=MICROMETRE)


def assert_rows_apart(rows: list[float], sizes: Sizes) -> None:
    for upper, lower in pairwise(rows):
        assert lower - upper == pytest.approx(sizes.mm("row_spacing"), abs=MICROMETRE)


def assert_pitch(places: list[float], sizes: Sizes) -> None:
    """Neighbours are one pitch apart, several where sites are blocked, and a gap apart between groups."""
    pitch, gaps = sizes.mm("pitch"), 0
    for before, after in pairwise(sorted(places)):
        steps = (after - before) / pitch
        if sizes.blocked:
            assert steps == pytest.approx(round(steps), abs=0.01)
        elif abs(steps - 1) > 0.01:
            assert after - before == pytest.approx(sizes.mm("bank_gap"), abs=MICROMETRE)
            gaps += 1
    assert gaps == (0 if sizes.blocked else sizes.banks - 1)


def known(**lengths: float) -> dict[str, Length]:
    return {name: Length(value=value, source=Source.STATED) for name, value in lengths.items()}


def test_a_staggered_row_is_shifted_by_half_a_pitch_and_the_datum_stays_in_the_middle() -> None:
    sizes = make_sizes(
        half_kind="plug",
        row_contacts=(10, 10),
        lengths=known(pitch=0.5, row_spacing=2.0),
        categories={"contact_layout": frozenset({"staggered"})},
    )
    contacts = ReadDrawing(top_view(sizes).svg).pieces("metal")
    upper = sorted(piece.centre[0] for piece in contacts if piece.centre[1] < 0)
    lower = sorted(piece.centre[0] for piece in contacts if piece.centre[1] > 0)
    assert [b - a for a, b in zip(upper, lower, strict=True)] == pytest.approx([0.25] * 10)
    assert upper[0] + lower[-1] == pytest.approx(0, abs=MICROMETRE)


def test_unequal_rows_of_an_aligned_half_keep_to_one_grid() -> None:
    sizes = make_sizes(half_kind="plug", row_contacts=(10, 9), lengths=known(pitch=0.5))
    contacts = ReadDrawing(top_view(sizes).svg).pieces("metal")
    upper = {round(piece.centre[0], 3) for piece in contacts if piece.centre[1] < 0}
    assert {round(piece.centre[0], 3) for piece in contacts if piece.centre[1] > 0} < upper


def test_a_blocked_site_is_drawn_as_missing_at_its_position() -> None:
    sizes = make_sizes(half_kind="plug", row_contacts=(5, 5), blocked=[(2, 3)], lengths=known(pitch=1.0))
    drawn = ReadDrawing(top_view(sizes).svg)
    (missing,) = drawn.pieces("blocked")
    assert len(drawn.pieces("metal")) == 9
    assert missing.centre == pytest.approx((0.0, sizes.mm("row_spacing") / 2), abs=MICROMETRE)


def test_tails_are_drawn_at_their_own_pitch() -> None:
    sizes = make_sizes(
        half_kind="plug",
        row_contacts=(12,),
        lengths=known(pitch=0.5, tail_pitch=1.02),
        categories={"tail_layout": frozenset({"alternating"})},
    )
    drawn = ReadDrawing(top_view(sizes).svg)
    for side in (-1, 1):
        places = sorted(piece.centre[0] for piece in drawn.pieces("tail") if piece.centre[1] * side > 0)
        assert len(places) == 6
        assert [b - a for a, b in pairwise(places)] == pytest.approx([1.02] * 5, abs=MICROMETRE)
    assert drawn.between_edges()["tail_pitch"] == pytest.approx(1.02, abs=MICROMETRE)


def places(drawn: ReadDrawing, role: str) -> tuple[list[float], list[float]]:
    """Places along the upper and the lower row of pieces, mm; what stands in the middle belongs to neither."""
    extent, centres = drawn.extent(role), sorted(piece.centre for piece in drawn.pieces(role))
    middle = (extent.top + extent.bottom) / 2
    return [x for x, y in centres if y < middle - MICROMETRE], [x for x, y in centres if y > middle + MICROMETRE]


@pytest.mark.parametrize(
    ("contacts", "tails", "shifts"),
    [
        (None, None, (0.0, 0.0)),
        ("staggered", None, (0.25, 0.25)),
        (None, "staggered", (0.25, 0.25)),
        ("aligned", "staggered", (0.0, 0.25)),
        ("staggered", "aligned", (0.25, 0.0)),
        ("staggered", "one_row", (0.25, 0.25)),
    ],
)
def test_contacts_and_tails_each_stand_as_stated_and_as_the_other_where_only_one_is(
    contacts: str | None, tails: str | None, shifts: tuple[float, float]
) -> None:
    """How far the lower row stands aside of the upper one, modulo the pitch: of contacts, and of tails and lands."""
    stated = {"contact_layout": contacts, "tail_layout": tails}
    sizes = make_sizes(
        half_kind="plug",
        row_contacts=(10, 10),
        lengths=known(pitch=0.5, row_spacing=2.0, land_span=6.0),
        categories={name: frozenset({value}) for name, value in stated.items() if value},
    )
    drawn, (sheet,) = ReadDrawing(top_view(sizes).svg), print_sheets([sizes], with_lands=True)
    for role, read, shift in (
        ("metal", drawn, shifts[0]),
        ("tail", drawn, shifts[1]),
        ("land", ReadDrawing(sheet), shifts[1]),
    ):
        upper, lower = places(read, role)
        assert [abs(b - a) for a, b in zip(upper, lower, strict=True)] == pytest.approx([shift] * 10, abs=MICROMETRE)


def test_tails_all_in_one_row_are_drawn_on_one_side() -> None:
    sizes = make_sizes(
        half_kind="plug",
        row_contacts=(12,),
        lengths=known(pitch=0.5),
        categories={"tail_layout": frozenset({"one_row"})},
    )
    tails = ReadDrawing(top_view(sizes).svg).pieces("tail")
    assert {piece.centre[1] > 0 for piece in tails} == {True}
    lower = sorted(piece.centre[0] for piece in tails)
    assert [b - a for a, b in pairwise(lower)] == pytest.approx([0.5] * 11, abs=MICROMETRE)


def test_lands_and_pegs_are_drawn_at_their_spans() -> None:
    lengths = known(land_span=4.4, hold_down_land_span=9.0, peg_hole_span=6.5, land_row_spacing=3.6)
    sizes = make_sizes(half_kind="plug", row_contacts=(10, 10), lengths=lengths)
    (sheet,) = print_sheets([sizes], with_lands=True)
    drawn = ReadDrawing(sheet)
    lands = drawn.extent("land")
    assert (lands.width, lands.height) == pytest.approx((9.0, 4.4), abs=MICROMETRE)
    one, two = sorted(piece.centre[0] for piece in drawn.pieces("peg"))
    assert two - one == pytest.approx(6.5, abs=MICROMETRE)


def test_each_land_and_peg_hole_is_drawn_at_its_own_size() -> None:
    lengths = known(
        pitch=0.5, land_span=4.4, land_width=0.23, land_length=0.7, peg_hole_span=6.5, peg_hole_diameter=0.9
    )
    categories = {"hold_down_form": frozenset({"none"}), "tail_form": frozenset({"gull_out"})}
    sizes = make_sizes(half_kind="plug", row_contacts=(10, 10), lengths=lengths, categories=categories)
    (sheet,) = print_sheets([sizes], with_lands=True)
    drawn = ReadDrawing(sheet)
    lands = drawn.pieces("land")
    assert len(lands) == 20
    assert drawn.extent("land").height == pytest.approx(4.4, abs=MICROMETRE)
    for land in lands:
        assert (land.width, land.height) == pytest.approx((0.23, 0.7), abs=MICROMETRE)
    assert [peg.height for peg in drawn.pieces("peg")] == pytest.approx([0.9] * 2, abs=MICROMETRE)


def test_the_pocket_or_trough_is_as_wide_as_the_walls_leave_it() -> None:
    for kind in ("plug", "receptacle"):
        lengths = known(pitch=0.5, body_width=4.0, wall_thickness=0.45)
        drawn = ReadDrawing(top_view(make_sizes(half_kind=kind, row_contacts=(10, 10), lengths=lengths)).svg)
        assert drawn.extent("well").height == pytest.approx(4.0 - 2 * 0.45, abs=MICROMETRE)
    stated = known(pitch=0.5, body_width=4.0, opening_width=3.3, wall_thickness=0.45)
    drawn = ReadDrawing(top_view(make_sizes(half_kind="receptacle", row_contacts=(10, 10), lengths=stated)).svg)
    assert drawn.extent("well").height == pytest.approx(3.3, abs=MICROMETRE)


def test_tails_reach_as_far_as_they_are_long() -> None:
    gull = make_sizes(
        half_kind="plug",
        row_contacts=(10, 10),
        lengths=known(pitch=0.5, body_width=4.0, tail_length=0.6),
        categories={"tail_form": frozenset({"gull_out"})},
    )
    assert ReadDrawing(top_view(gull).svg).extent("tail").height == pytest.approx(4.0 + 2 * 0.6, abs=MICROMETRE)
    pins = make_sizes(
        half_kind="plug",
        row_contacts=(10, 10),
        lengths=known(pitch=2.54, tail_length=3.1),
        categories={"tail_form": frozenset({"pin"})},
    )
    assert ReadDrawing(side_view(pins).svg).extent("tail").bottom == pytest.approx(3.1, abs=MICROMETRE)
