"""A pitch at the board that an entry does not state: the pitch, or maybe twice that where tails leave alternately."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow
from matcher.identify import identify
from matcher.observations import Reduced
from tests.matcher.invented import invented_rows

ROWS, MATINGS = invented_rows(12)
PITCH = Dim(value=0.8, tolerance=0.03, bound="reference", extra_u=0.004)


def half(*layout: str, **dimensions: Dim) -> HalfRow:
    """A half of 0.8 mm pitch."""
    categories = {"tail_layout": frozenset(layout)} if layout else {}
    counts = {"contact_count": 20, "rows": 2}
    return HalfRow(
        key="half", series="series", dimensions={"pitch": PITCH, **dimensions}, counts=counts, categories=categories
    )


def cells(row: HalfRow, feature: str) -> tuple[float, ...]:
    """Stated, centre, half-width and extra uncertainty."""
    column = build_columns([row], []).dimensions[feature]
    return tuple(float(cell[0]) for cell in (column.stated, column.centre, column.half_width, column.extra_u))


@pytest.mark.parametrize("layout", [(), ("aligned",), ("staggered",), ("one_row",), ("aligned", "staggered")])
def test_where_it_is_not_stated_it_is_the_pitch_with_its_tolerance(layout: tuple[str, ...]) -> None:
    assert cells(half(*layout), "tail_pitch") == cells(half(*layout), "pitch")


@pytest.mark.parametrize("layout", [("alternating",), ("aligned", "alternating")])
def test_where_tails_may_leave_alternately_it_is_the_pitch_or_twice_the_pitch(layout: tuple[str, ...]) -> None:
    stated, centre, half_width, extra_u = cells(half(*layout), "tail_pitch")
    assert np.isnan(stated)
    assert (centre, half_width, extra_u) == pytest.approx((1.2, 0.0, 0.4)), "mean and spread of 0.8 and 1.6"


def test_what_an_entry_states_stands() -> None:
    assert cells(half("alternating", tail_pitch=Dim(value=2.4)), "tail_pitch")[:2] == (2.4, 2.4)


def test_without_a_pitch_nothing_is_known() -> None:
    for layout in ((), ("alternating",)):
        cell = cells(replace(half(*layout), dimensions={}), "tail_pitch")
        assert np.isnan(cell[0])
        assert np.isnan(cell[1])
        assert cell[2:] == (0.0, 0.0)


def test_halves_that_state_it_and_halves_that_do_not_are_one_geometry() -> None:
    columns = build_columns([half(), replace(half(tail_pitch=PITCH), key="other")], [])
    assert columns.geometry.tolist() == [0, 0]


def test_an_unlisted_mate_has_the_pitch_at_the_board_too() -> None:
    columns = build_columns(ROWS, MATINGS)
    own = columns.dimensions["pitch"]
    assert columns.unlisted_mate["tail_pitch"].centre == pytest.approx(own.centre)


def readings(columns: Columns, key: str, tail: float | None) -> list[Reduced]:
    """The contacts, pitch, length and width of a half, and a pitch at the board of so many pitches."""
    at = columns.position(key)
    found = [Reduced(index=0, feature="contact_count", count=int(columns.counts["contact_count"][at]))]
    sizes = {name: float(columns.dimensions[name].centre[at]) for name in ("pitch", "body_length", "body_width")}
    if tail is not None:
        sizes["tail_pitch"] = tail * sizes["pitch"]
    for index, (name, size) in enumerate(sizes.items(), start=1):
        found.append(Reduced(index=index, feature=name, value=size + 0.005, u=0.02, total_u=0.02))
    return found


@pytest.mark.parametrize("key", ["receptacle-4-30", "plug-2-20", "plug-7-50"])
def test_measuring_the_pitch_again_at_the_board_changes_little(key: str) -> None:
    """It follows from the pitch, listed or not: so it neither settles nor shakes an answer."""
    columns = build_columns(ROWS, MATINGS)
    model = fit_absent(columns)
    before = identify(columns, model, readings(columns, key, None))
    after = identify(columns, model, readings(columns, key, 1.0))
    assert before.candidates[0].key == after.candidates[0].key == key
    odds = [(1 / answer.probability_absent - 1) for answer in (before, after)]
    assert 1 / 1.5 < odds[1] / odds[0] < 1.5
    (line,) = (line for line in after.candidates[0].evidence if line.feature == "tail_pitch")
    assert line.reading == "fits"


def test_a_bare_board_shows_the_pitch_at_its_lands() -> None:
    columns = build_columns(ROWS, MATINGS)
    pitch = columns.dimensions["pitch"].centre
    true = pitch[columns.position("plug-2-20")]
    lands = [Reduced(index=0, feature="tail_pitch", value=float(true) + 0.001, u=0.01, total_u=0.01, spans=5)]
    answer = identify(columns, fit_absent(columns), lands, limit=len(columns))
    near = [each for each in answer.candidates if abs(pitch[columns.position(each.key)] - true) < 0.01]
    assert sum(each.probability for each in near) > 0.9 * (1 - answer.probability_absent)
