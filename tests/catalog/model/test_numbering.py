"""Contact numbering: published numberings, the corner and side of contact 1, blocked sites, what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from catalog.model.contact_names import first_contact, numbered_sites
from catalog.model.entries import ENTRY, document
from catalog.model.entry_states import substance
from catalog.model.numbering import HALF_TURN, SIDES, Numbering, View
from catalog.model.series_laws import expand
from tests.catalog.model.entry_examples import half, series

SCHEMES, CORNERS = ("row_by_row", "zigzag", "around"), ("upper_left", "upper_right", "lower_left", "lower_right")

numberings = st.builds(
    Numbering,
    scheme=st.sampled_from(SCHEMES),
    first=st.sampled_from(CORNERS),
    seen_from=st.sampled_from(tuple(SIDES)),
    blocked=st.sampled_from(("skipped", "counted")),
)
views = st.builds(View, x=st.sampled_from((1, -1)), y=st.sampled_from((1, -1)))


def numbering(scheme: str, first: str, seen_from: str = "mating_face", **more: Any) -> Numbering:
    """A numbering from plain words."""
    return Numbering.model_validate({"scheme": scheme, "first": first, "seen_from": seen_from, **more})


def as_seen(stated: Numbering, row_lengths: tuple[int, ...], side: str = "mating_face") -> list[list[int]]:
    """The numbers as they stand on the sheet, each row from the left, seen from a side; every row reversed by hand."""
    names = stated.numbers(row_lengths)
    rows = [[names[row, p] for p in range(1, n + 1)] for row, n in enumerate(row_lengths, 1)]
    return rows if side == "mating_face" else [row[::-1] for row in rows]


def test_a_dual_in_line_package_is_numbered_counter_clockwise_from_above() -> None:
    """JEDEC MS-001 family of dual-in-line outlines: terminal 1 beside the index, counter-clockwise seen from above
    (from memory). With the index to the left, 1 is at the lower left."""
    package = numbering("around", "lower_left")
    assert as_seen(package, (4, 4)) == [[8, 7, 6, 5], [1, 2, 3, 4]]
    assert not package.clockwise
    assert as_seen(package, (4, 4), "board_side") == [[5, 6, 7, 8], [4, 3, 2, 1]]  # its solder side, clockwise


def test_a_ribbon_cable_connector_has_odd_contacts_in_one_row_and_even_ones_in_the_other() -> None:
    """Two-row connectors for flat cable with conductors at half the pitch: conductor n meets contact n, so that the
    rows alternate (IEC 60603-13, from memory)."""
    header = numbering("zigzag", "lower_left")
    assert as_seen(header, (5, 5)) == [[2, 4, 6, 8, 10], [1, 3, 5, 7, 9]]


def test_a_nine_way_trapezoidal_connector_is_numbered_row_by_row_and_mirrored_in_its_mate() -> None:
    """Rows of five and four: 1 to 5 and 6 to 9 from left to right in the fixed pins' mating face, from right to left in
    the sockets' (IEC 60807-3, from memory)."""
    assert as_seen(numbering("row_by_row", "upper_left"), (5, 4)) == [[1, 2, 3, 4, 5], [6, 7, 8, 9]]
    assert as_seen(numbering("row_by_row", "upper_right"), (5, 4)) == [[5, 4, 3, 2, 1], [9, 8, 7, 6]]


@given(numberings, st.integers(1, 30))
def test_contact_1_stands_in_the_stated_corner_as_seen_from_the_stated_side(stated: Numbering, positions: int) -> None:
    rows = as_seen(stated, (positions, positions), stated.seen_from)
    row = rows[0] if stated.first.startswith("upper") else rows[1]
    assert (row[0] if stated.first.endswith("left") else row[-1]) == 1


@given(numberings, st.integers(1, 30))
def test_a_half_turned_over_is_described_with_left_and_right_exchanged(stated: Numbering, positions: int) -> None:
    other_side = "board_side" if stated.seen_from == "mating_face" else "mating_face"
    upper, end = stated.first.split("_")
    other = numbering(stated.scheme, f"{upper}_{'left' if end == 'right' else 'right'}", other_side, blocked="skipped")
    assert other.numbers((positions, positions)) == stated.numbers((positions, positions))
    assert other.clockwise != stated.clockwise


@given(numberings, st.integers(2, 30))
def test_each_scheme_keeps_its_rule(stated: Numbering, positions: int) -> None:
    place = {number: at for at, number in stated.numbers((positions, positions)).items()}
    assert sorted(place) == list(range(1, 2 * positions + 1))
    for number in range(1, positions + 1):
        (row, position), across = (
            place[number],
            {
                "row_by_row": number + positions,
                "zigzag": 0,
                "around": 2 * positions + 1 - number,
            }[stated.scheme],
        )
        if across:
            assert row == place[1][0]
            assert place[across] == (3 - row, position)
        else:
            assert place[2 * number - 1][0] == place[1][0]
            assert place[2 * number] == (3 - place[1][0], place[2 * number - 1][1])


@given(numberings, st.sets(st.tuples(st.integers(1, 2), st.integers(1, 9))))
def test_blocked_positions_take_a_number_only_where_they_are_counted(
    stated: Numbering, blocked: set[tuple[int, int]]
) -> None:
    full, names = stated.numbers((9, 9)), stated.numbers((9, 9), blocked)
    left = [number for at, number in full.items() if at not in blocked]
    if stated.blocked == "counted":
        assert list(names.values()) == left
    else:
        assert list(names.values()) == list(range(1, len(left) + 1))
    assert list(names) == [at for at in full if at not in blocked]


@given(views, views, st.lists(st.integers(1, 9), min_size=1, max_size=4), st.data())
def test_views_are_their_own_inverse_and_an_odd_number_of_reversals_shows_the_board_side(
    one: View, other: View, lengths: list[int], data: st.DataObject
) -> None:
    both = one.then(other)
    assert (both.side == "mating_face") == (one.side == other.side)
    row = data.draw(st.integers(1, len(lengths)))
    place = (row, data.draw(st.integers(1, lengths[row - 1])))
    seen_lengths = lengths if one.y > 0 else lengths[::-1]
    assert one.of_place(one.of_place(place, lengths), seen_lengths) == place
    assert one.then(one) == View()
    assert HALF_TURN.of(2.0, 3.0) == (-2.0, -3.0)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"seen_from": None}, "mating_face"),
        ({"scheme": "spiral"}, "row_by_row"),
        ({"scheme": "zigzag", "rows": 4, "row_contacts": []}, "needs two rows, not 4"),
        ({"scheme": "around", "blocked": None}, "skipped or counted"),
        ({"scheme": "zigzag", "row_contacts": [8, 5]}, "zigzag numbers alternate"),
        ({"scheme": "zigzag", "row_contacts": [6, 7]}, "zigzag numbers alternate"),
        ({"scheme": "zigzag", "row_contacts": [7, 6], "first": "lower_left"}, "zigzag numbers alternate"),
    ],
)
def test_a_numbering_that_the_half_cannot_have_is_refused_at_its_field(changes: dict[str, Any], said: str) -> None:
    stated = {"scheme": "row_by_row", "first": "upper_left", "seen_from": "mating_face", "blocked": "counted"}
    stated |= {name: value for name, value in changes.items() if name in stated}
    others = {name: value for name, value in changes.items() if name not in stated}
    with pytest.raises(ValidationError, match=said) as caught:
        half(numbering=stated, **others)
    assert caught.value.errors()[0]["loc"][0] == "numbering"


def test_the_halves_of_a_series_inherit_its_numbering() -> None:
    stated = numbering("around", "lower_left", hold_downs="apart")
    assert [kind.numbering for kind in series().kinds] == [stated, stated]
    assert {made.numbering for made in expand(series()).halves} == {stated}


def test_a_series_with_blocked_sites_must_say_whether_they_are_counted() -> None:
    plug = {**document(series())["kinds"][0], "blocked": [{"row": 1, "position": 2}]}
    with pytest.raises(ValidationError, match="skipped or counted"):
        series(kinds=[plug])


def test_an_older_entry_opens_unchanged_and_an_unstated_numbering_is_not_written() -> None:
    older = {name: value for name, value in document(half()).items() if name != "numbering"}
    opened = ENTRY.validate_python(older)
    assert document(opened) == older
    assert numbered_sites(half(numbering=None)) == {}
    assert first_contact(half(numbering=None)) is None


def test_another_numbering_is_another_substance_so_that_evidence_and_the_three_days_go_by_it() -> None:
    assert substance(half()) != substance(half(numbering=None))


def test_no_names_are_given_where_the_entry_does_not_say_which_sites_are_left_out() -> None:
    odd = half(rows=2, contact_count=13, positions=7, row_contacts=[], blocked=[])
    assert odd.numbering is not None
    assert numbered_sites(odd) == {}
    assert len(numbered_sites(half(contact_count=14, row_contacts=[], blocked=half().blocked))) == 14
