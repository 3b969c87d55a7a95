"""Correspondence, views and misplaced halves against two halves laid on each other in space."""

from __future__ import annotations

from itertools import product
from typing import Any, get_args

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from api.fitting.wiring.contact_map import map_between
from api.fitting.wiring.contacts import contacts_of
from api.fitting.wiring.correspondence import pairing
from api.fitting.wiring.misplaced import Carried, misplaced
from api.schemas.fitting.contact_map import BoardSide, ContactMapAnswer, ContactMapRequest, Fold, MapView
from catalog.model.entries import Half, Mating
from catalog.records.read_models import HalfRecord, MatingRecord
from tests.api.fitting.wiring.facing_halves import (
    Described,
    meeting,
    possible,
    pushed,
    said,
    turned_over,
    turned_round,
)

WORDS = ("identity", "reversed", "rows_swapped")
CORNERS = ("upper_left", "upper_right", "lower_left", "lower_right")
SIDES = ("mating_face", "board_side")


@st.composite
def described(draw: st.DrawFn, rows: int | None = None, positions: int | None = None) -> Described:
    """Any half with rows of equal length."""
    high = rows or draw(st.integers(1, 4))
    wide = positions or draw(st.integers(1, 7))
    every = [(row, position) for row in range(1, high + 1) for position in range(1, wide + 1)]
    left_out = draw(st.sets(st.sampled_from(every), max_size=min(2, len(every) - 1)))
    return Described(
        rows=high,
        positions=wide,
        left_out=frozenset(left_out),
        scheme=draw(st.sampled_from(("row_by_row", "zigzag", "around") if high == 2 else ("row_by_row",))),
        first=draw(st.sampled_from(CORNERS)),
        seen_from=draw(st.sampled_from(SIDES)),
        blocked=draw(st.sampled_from(("skipped", "counted"))),
    )


@st.composite
def pairs(draw: st.DrawFn) -> tuple[Described, Described]:
    """Two halves of one grid."""
    one = draw(described())
    return one, draw(described(rows=one.rows, positions=one.positions))


def listed(half: Half) -> HalfRecord:
    """A half's record."""
    return HalfRecord(revision=1, key=half.key, origin="listed", half=half, series_key=half.series_key)


def mated(ours: Half, theirs: Half, correspondence: str, contact_map: Any = ()) -> MatingRecord:
    """A mating's record."""
    content = {"half": ours.key, "other": theirs.key, "basis": "maker", "correspondence": correspondence}
    mating = Mating.model_validate({**content, "contact_map": contact_map})
    return MatingRecord(revision=1, id=mating.key, mating=mating)


def mapped(ours: Half, theirs: Half, record: MatingRecord, **given: Any) -> ContactMapAnswer:
    """The map between two halves."""
    request = ContactMapRequest.model_validate({"half": ours.key, "mate": theirs.key, **given})
    return map_between(request, listed(ours), (record, listed(theirs)))


def test_every_numbering_stands_where_walking_from_contact_1_puts_it() -> None:
    for scheme, first, side, blocked in product(
        ("row_by_row", "zigzag", "around"), CORNERS, SIDES, ("skipped", "counted")
    ):
        one = Described(
            rows=2,
            positions=5,
            left_out=frozenset({(1, 2), (2, 5)}),
            scheme=scheme,
            first=first,
            seen_from=side,
            blocked=blocked,
        )
        found = {each.name: each.at for each in contacts_of(one.entry("A", "plug")).every}
        # pitch 0.4 and row spacing 1.2, in half steps; the program's y grows downwards
        assert {(round(x / 0.2), round(-y / 0.6)): name for name, (x, y) in found.items()} == one.spots()  # type: ignore[misc]


@settings(max_examples=300, deadline=None)
@given(pairs(), st.sampled_from(WORDS))
def test_a_wiring_is_sure_exactly_where_some_way_of_mating_brings_its_contacts_together(
    halves: tuple[Described, Described], correspondence: str
) -> None:
    one, two = halves
    ours, theirs = one.entry("A", "plug"), two.entry("B", "receptacle")
    found = pairing(mated(ours, theirs, correspondence).mating, contacts_of(ours), contacts_of(theirs))
    other_counts = correspondence == "reversed" and _last(one) != _last(two)
    wanted = set() if other_counts else said(correspondence, one, two)
    assert set(found.meets.items()) == wanted
    assert found.sure == (not other_counts and possible(wanted, one, two))


def _last(one: Described) -> int:
    return one.rows * one.positions - (len(one.left_out) if one.blocked == "skipped" else 0)


@settings(max_examples=200, deadline=None)
@given(described(), st.sampled_from(("x", "y")), st.data())
def test_the_turned_and_the_pushed_half_meet_what_space_says(one: Described, about: str, data: st.DataObject) -> None:
    """The mate is what stands over the half, so it has a contact over each of the half's and names of its own."""
    mine = one.spots()
    above = {spot: f"m{name}" for spot, name in mine.items()}
    nets = {
        name: data.draw(st.sampled_from(("BAT+", "3V3", "GND", "AGND", "SDA", "SCL", ""))) for name in mine.values()
    }
    wired = {above[spot]: nets[name] for spot, name in mine.items()}
    assert meeting(mine, turned_over(turned_over(above, about), about)) == {(n, f"m{n}") for n in mine.values()}
    entry = one.entry("A", "plug")
    roles: dict[str, Any] = {"BAT+": "supply", "3V3": "supply", "GND": "ground", "AGND": "ground", "": None}
    carried = {name: Carried(net=net, role=roles.get(net, "signal")) for name, net in nets.items()}
    cases = misplaced(contacts_of(entry), carried, {name: f"m{name}" for name in mine.values()}, None)
    moved = {
        "turned": turned_round(mine),
        "one_position_right": pushed(mine, 1, 0),
        "one_position_left": pushed(mine, -1, 0),
        "one_row_down": pushed(mine, 0, -1),
        "one_row_up": pushed(mine, 0, 1),
    }
    assert {case.displacement for case in cases} == set(moved if one.rows > 1 else list(moved)[:3])
    for case in cases:
        wrong = {
            (nets[name], wired[other], name, other)
            for name, other in meeting(moved[case.displacement], above)
            if _harms(nets[name], wired[other])
        }
        told = {(each.net, each.meets, name, mate) for each in case.meetings for name, _, mate in each.contacts}
        assert told == wrong
        ranks = [RANK[each.severity] for each in case.meetings]
        assert ranks == sorted(ranks)
        assert all(each.severity == _harms(each.net, each.meets) for each in case.meetings)


RANK = {
    "supply_to_ground": 0,
    "supply_to_other_supply": 1,
    "supply_to_signal": 2,
    "ground_to_signal": 3,
    "signal_to_signal": 4,
}


def _harms(one: str, two: str) -> str | None:
    """What two of the test's nets do to each other, as a table by hand."""
    kind = {"BAT+": "s", "3V3": "s", "GND": "g", "AGND": "g", "SDA": "i", "SCL": "i", "": "-"}
    if one == two:
        return None
    return {
        "gs": "supply_to_ground",
        "ss": "supply_to_other_supply",
        "is": "supply_to_signal",
        "gi": "ground_to_signal",
        "ii": "signal_to_signal",
    }.get("".join(sorted(kind[one] + kind[two])))


def numbers_of(view: MapView) -> list[list[str]]:
    """A view as a picture: names in rows from above, each from the left; an empty text where a site is left out."""
    return [["" if cell is None else cell.contact for cell in row] for row in view.rows]


def nets_of(view: MapView) -> list[list[str]]:
    """A view as a picture of what each contact carries."""
    return [["" if cell is None else cell.net for cell in row] for row in view.rows]


def as_seen(picture: list[list[str]], side: str, on: str, fold: str) -> list[list[str]]:
    """A picture of the mating face as somebody above the board sees it, by turning paper over: each turn shows the
    back, about an upright axis with left and right exchanged, about a level one with above and below."""
    turns = [name for name, is_so in (("upright", on == "bottom"), ("upright", fold == "across_rows")) if is_so]
    turns += ["level"] if fold == "along_rows" else []
    turns += ["upright"] if side == "board_side" else []
    for axis in turns:
        picture = [row[::-1] for row in picture] if axis == "upright" else picture[::-1]
    return picture


@settings(max_examples=150, deadline=None)
@given(described(), st.sampled_from(get_args(BoardSide)), st.sampled_from(get_args(Fold)))
def test_every_view_is_the_mating_face_turned_over_as_often_as_the_half_is(one: Described, on: str, fold: str) -> None:
    entry = one.entry("A", "receptacle")
    other = Described(**{**vars(one), "first": _mirrored(one.first)}).entry("B", "plug")
    answer = mapped(other, entry, mated(other, entry, "unknown"), mate_on=on, fold=fold)
    views = {view.name: view for view in answer.views if view.whose == "mate"}
    face = [
        [one.spots().get((2 * p - one.positions - 1, one.rows + 1 - 2 * r), "") for p in range(1, one.positions + 1)]
        for r in range(1, one.rows + 1)
    ]
    assert numbers_of(views["mating_face"]) == face
    assert numbers_of(views["board_side"]) == as_seen(face, "board_side", "top", "none")
    assert numbers_of(views["in_place"]) == as_seen(face, "mating_face", on, fold)
    over = (on == "bottom") + (fold != "none")
    assert views["in_place"].side == ("board_side" if over == 1 else "mating_face")
    for view in views.values():
        cells = [cell for row in view.rows for cell in row if cell is not None]
        places = [(round(cell.y, 3), round(cell.x, 3)) for cell in cells]
        assert places == sorted(places)
        assert [cell.contact for cell in cells if cell.first] == [c.contact for c in cells if c.contact == "1"]


def _mirrored(first: str) -> str:
    upper, end = first.split("_")
    return f"{upper}_{'left' if end == 'right' else 'right'}"


def _flipped(first: str) -> str:
    upper, end = first.split("_")
    return f"{'lower' if upper == 'upper' else 'upper'}_{end}"


@settings(max_examples=200, deadline=None)
@given(
    described(),
    st.sampled_from(("identity", "rows_swapped", "reversed", "listed")),
    st.booleans(),
    st.sampled_from(SIDES),
    st.sampled_from(get_args(BoardSide)),
    st.sampled_from(get_args(Fold)),
)
def test_the_map_of_the_map_is_what_was_found(
    one: Described, correspondence: str, turned: bool, side: str, on: str, fold: str
) -> None:
    two = _counterpart(one, correspondence, turned)
    ours, theirs = one.entry("A", "plug"), two.entry("B", "receptacle")
    every = [(spot, name) for spot, name in one.spots().items()]
    listing = []
    if correspondence == "listed":
        listing = sorted(meeting(one.spots(), turned_over(two.spots(), "x" if turned else "y")))
    record = mated(ours, theirs, correspondence, listing)
    nets = {name: f"net {name}" for _, name in every}
    found = mapped(ours, theirs, record, seen_from=side, contacts=_by_place(one, nets, side), mate_on=on, fold=fold)
    assert {each.contact: each.net for each in found.contacts} == nets
    assert found.sure, found.doubts
    through = {view.name: nets_of(view) for view in found.views if view.whose == "mate"}
    face = next(nets_of(view) for view in found.views if view.whose == "half" and view.name == "mating_face")
    assert through["mating_face"] == (face[::-1] if turned else [row[::-1] for row in face])
    assert through["board_side"] == ([row[::-1] for row in face[::-1]] if turned else face)  # seen through the mate
    in_place = next(view for view in found.views if view.name == "in_place")
    carried = {cell.contact: cell.net for row in in_place.rows for cell in row if cell is not None}
    upright = next(view for view in found.views if view.whose == "mate" and view.name == in_place.side)
    back = mapped(theirs, ours, record, seen_from=in_place.side, contacts=_read_off(in_place, numbers_of(upright)))
    assert {each.contact: each.net for each in back.contacts} == carried
    faces = [view for view in back.views if view.whose == "mate" and view.name == "mating_face"]
    assert {cell.contact: cell.net for row in faces[0].rows for cell in row if cell} == nets


def _counterpart(one: Described, correspondence: str, turned: bool) -> Described:
    """A mate whose stated numbering fits the wiring, found by trying all numberings in space."""
    mirrored_out = frozenset(
        (one.rows + 1 - row, position) if turned else (row, one.positions + 1 - position)
        for row, position in one.left_out
    )
    schemes = ("row_by_row", "zigzag", "around") if one.rows == 2 else ("row_by_row",)
    for scheme, first, side in product(schemes, CORNERS, SIDES):
        two = Described(**{**vars(one), "scheme": scheme, "first": first, "seen_from": side, "left_out": mirrored_out})
        met = meeting(one.spots(), turned_over(two.spots(), "x" if turned else "y"))
        if correspondence == "listed" or said(correspondence, one, two) == met:
            return two
    return reject()  # no numbering makes this wiring possible, so there is no pair to map


def _by_place(one: Described, nets: dict[str, str], side: str) -> list[dict[str, str]]:
    """Contacts named by the place where a person sees them from this side, reading the half's own spots."""
    found = []
    for (x, y), name in one.spots().items():
        from_left = x if side == "mating_face" else -x
        position, row = (from_left + one.positions + 1) // 2, (one.rows + 1 - y) // 2
        found.append({"contact": f"{row}/{position}", "net": nets[name]})
    return found


def _read_off(view: MapView, upright: list[list[str]]) -> list[dict[str, str]]:
    """Nets by place, read off a view that may lie turned by 180°; a person turns the sheet until contact 1 lies as the
    drawing of that side shows it."""
    rows = [list(row) for row in view.rows]
    if numbers_of(view) != upright:
        rows = [row[::-1] for row in rows[::-1]]
    assert [["" if cell is None else cell.contact for cell in row] for row in rows] == upright
    return [
        {"contact": f"{r}/{p}", "net": cell.net}
        for r, row in enumerate(rows, 1)
        for p, cell in enumerate(row, 1)
        if cell is not None
    ]


@pytest.mark.parametrize("correspondence", ["identity", "reversed", "rows_swapped"])
def test_the_map_is_the_same_whichever_half_the_mating_names_first(correspondence: str) -> None:
    one = Described(
        rows=2, positions=6, left_out=frozenset(), scheme="zigzag", first="upper_left", seen_from="mating_face",
        blocked="skipped",
    )  # fmt: skip
    two = Described(**{**vars(one), "first": "upper_right"})
    ours, theirs = one.entry("A", "plug"), two.entry("B", "receptacle")
    straight = pairing(mated(ours, theirs, correspondence).mating, contacts_of(ours), contacts_of(theirs))
    swapped = pairing(mated(theirs, ours, correspondence).mating, contacts_of(ours), contacts_of(theirs))
    assert straight == swapped
