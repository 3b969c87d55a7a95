"""Lands calculated for a dummy follow from the tails by the stated goals, and say what they are."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from api.fitting.lands.calculated_lands import METHOD, NotCalculableError, calculated_pattern
from api.fitting.lands.pattern_geometry import first_mark, places
from catalog.model.entries import Half
from catalog.snapshot.snapshot import Snapshot

SIZES = {"pitch": 0.8, "body_length": 10.0, "body_width": 4.0, "tail_span": 5.0, "contact_width": 0.3}
FORM = {"mounting": ["surface_mount"], "orientation": ["vertical"], "tail_form": ["gull_out"]}
ZIGZAG = {"scheme": "zigzag", "first": "upper_left", "seen_from": "mating_face"}


def made(*without: str, sizes: dict[str, float] | None = None, **changes: Any) -> Half:
    """An invented half of two rows of five contacts."""
    stated = {name: {"value": value} for name, value in (SIZES | (sizes or {})).items() if name not in without}
    fields = {"maker": "Siskin Works", "series": "SK", "part_number": "SK-10", "rows": 2, "contact_count": 10}
    return Half.model_validate(fields | {"dimensions": stated, "categories": FORM, "numbering": ZIGZAG} | changes)


def lands(half: Half) -> dict[str, tuple[float, float, float, float]]:
    """Centre x and y, width and height of each land by number."""
    pattern = calculated_pattern(half)
    assert pattern.basis == "calculated"
    return {
        name: ((box.left + box.right) / 2, (box.top + box.bottom) / 2, box.width, box.height)
        for name, box in places(pattern)
    }


def test_lands_reach_beyond_the_tails_by_the_goals_for_toe_heel_and_side() -> None:
    # Toe and heel 0.35 mm, side 0.03 mm (IPC-7351B, level B, from memory): outer 5.0 + 0.7, inner 4.0 - 0.7.
    found = lands(made())
    outer, inner = 5.7, 3.3
    assert len(found) == 10
    assert found["1"] == pytest.approx((-1.6, -(outer + inner) / 4, 0.36, (outer - inner) / 2))
    assert found["2"] == pytest.approx((-1.6, (outer + inner) / 4, 0.36, (outer - inner) / 2))
    assert found["10"][0] == pytest.approx(1.6)
    assert lands(made(sizes={"pitch": 0.5}))["1"][2] == pytest.approx(0.3 - 0.04)


@pytest.mark.parametrize(
    ("sizes", "centre", "width", "height"),
    [
        ({"land_span": 6.0}, (6.0 + 3.3) / 4, 0.36, 1.35),
        ({"land_span": 6.0, "land_row_spacing": 5.0}, 2.5, 0.36, 1.0),
        ({"land_span": 6.0, "land_length": 1.2, "land_width": 0.4}, 2.4, 0.4, 1.2),
    ],
)
def test_stated_sizes_of_lands_go_first(sizes: dict[str, float], centre: float, width: float, height: float) -> None:
    assert lands(made(sizes=sizes))["1"][1:] == pytest.approx((-centre, width, height))


@pytest.mark.parametrize(
    ("sizes", "right", "bottom"),
    [({}, 5.25, 3.1), ({"body_width": 6.4, "tail_span": 6.6}, 5.25, 3.9), ({"body_length": 3.0}, 2.03, 3.1)],
)
def test_the_courtyard_is_closed_around_lands_and_body(sizes: dict[str, float], right: float, bottom: float) -> None:
    # 0.25 mm (from memory) beyond whichever reaches farther: lands to ±1.78 and ±2.85, or the body.
    pattern = calculated_pattern(made(sizes=sizes))
    assert pattern.body == pytest.approx(
        tuple(sign * (SIZES | sizes)[name] / 2 for sign in (-1, 1) for name in ("body_length", "body_width"))
    )
    ends = [(stroke[:2], stroke[2:]) for stroke in pattern.courtyard]
    assert [end for _, end in ends] == [start for start, _ in (*ends[1:], ends[0])]
    corners = [(-right, -bottom), (right, -bottom), (right, bottom), (-right, bottom)]
    assert [start for start, _ in ends] == [pytest.approx(corner) for corner in corners]


def test_blocked_sites_have_no_land() -> None:
    blocked = [{"row": 1, "position": 2}]
    found = lands(made(contact_count=9, positions=5, blocked=blocked, numbering={**ZIGZAG, "blocked": "skipped"}))
    assert len(found) == 9
    assert (-0.8, -1.0) not in {(round(x, 3), y) for x, y, *_ in found.values() if y < 0}


def test_without_a_stated_numbering_no_land_passes_for_contact_1() -> None:
    pattern = calculated_pattern(made(numbering=None))
    assert {name for name, _ in places(pattern)} == {f"{row}{n}" for row in "XY" for n in range(1, 6)}
    assert first_mark(pattern) == ()
    assert "numbering not stated" in pattern.source
    assert calculated_pattern(made()).source == METHOD


def test_one_row_of_tails_that_leave_alternately_has_lands_on_both_sides() -> None:
    categories = {**FORM, "tail_layout": ["alternating"]}
    half = made(rows=1, contact_count=5, numbering={**ZIGZAG, "scheme": "row_by_row"}, categories=categories)
    found = lands(half)
    assert {name for name, land in found.items() if land[1] < 0} == {"1", "3", "5"}
    assert [round(found[str(n)][0], 6) for n in range(1, 6)] == [-1.6, -0.8, 0.0, 0.8, 1.6]


@pytest.mark.parametrize(
    ("without", "changes", "why"),
    [
        (("tail_span",), {}, "tail_span or land_span"),
        (("contact_width",), {}, "contact_width or land_width"),
        (("pitch", "body_width"), {}, "not stated: pitch, body_width"),
        ((), {"rows": 4, "contact_count": 20, "numbering": None}, "one or two rows"),
        ((), {"categories": {**FORM, "mounting": ["through_hole"]}}, "surface mount"),
        ((), {"categories": {**FORM, "orientation": ["right_angle"]}}, "vertical"),
        ((), {"categories": {**FORM, "tail_form": ["under_body"]}}, "gull out"),
        ((), {"categories": {}}, "surface mount"),
        ((), {"sizes": {"contact_width": 0.9}}, "no room"),
        ((), {"sizes": {"tail_span": 3.0, "body_width": 5.0}}, "no room"),
    ],
)
def test_what_cannot_be_calculated_says_why(without: tuple[str, ...], changes: dict[str, Any], why: str) -> None:
    with pytest.raises(NotCalculableError) as caught:
        calculated_pattern(made(*without, **changes))
    assert why in caught.value.why


def test_every_half_of_the_demo_has_all_its_lands_apart_or_a_reason(snapshot: Snapshot) -> None:
    calculated = 0
    for record in snapshot.halves.values():
        try:
            pattern = calculated_pattern(record.half)
        except NotCalculableError:
            continue
        calculated += 1
        boxes = [box for _, box in places(pattern)]
        assert len({name for name, _ in places(pattern)}) == len(boxes) == record.half.contact_count
        row = sorted((box for box in boxes if box.top < 0), key=lambda box: box.left)
        assert all(one.right < other.left for one, other in pairwise(row))
    assert calculated > len(snapshot.halves) / 2
