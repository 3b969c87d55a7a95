"""Contact maps of stated pairs: what is sure, power contacts, unstated numbering, keys and pockets, bad input."""

from __future__ import annotations

from typing import Any

import pytest

from api.fitting.wiring.contact_map import map_between
from api.fitting.wiring.contacts import contacts_of
from api.fitting.wiring.map_drawing import views_svg
from api.fitting.wiring.map_table import HEADER, csv_of
from api.fitting.wiring.misplaced import Carried, could_shift, could_turn, severity_of
from api.fitting.wiring.nets import read_nets, role_of
from api.schemas.fitting.contact_map import ContactMapAnswer, ContactMapRequest
from api.service.problems import ApiError
from catalog.model.entries import Half, Mating
from catalog.records.read_models import HalfRecord, MatingRecord
from tests.api.drawing.reading_back import ReadDrawing
from tests.catalog.model.entry_examples import half

UPPER_LEFT = {"scheme": "row_by_row", "first": "upper_left", "seen_from": "mating_face"}
UPPER_RIGHT = {**UPPER_LEFT, "first": "upper_right"}
NETS = [{"contact": str(n), "net": net} for n, net in enumerate(("BAT+", "GND", "SDA", "SCL", "GND", "IO"), 1)]


def part(name: str, **changes: Any) -> Half:
    """A half of two rows of three contacts."""
    plain: dict[str, Any] = {
        "part_number": name,
        "half_kind": "plug",
        "contact_count": 6,
        "positions": 3,
        "row_contacts": [],
        "blocked": [],
        "numbering": UPPER_LEFT,
        "dimensions": {"pitch": {"value": 0.4}, "row_spacing": {"value": 1.2}},
        "counts": {},
        "categories": {},
    }
    return half(**{**plain, **changes})


PLUG = part("P6")
RECEPTACLE = part("R6", half_kind="receptacle", numbering=UPPER_RIGHT)


def mapped(
    ours: Half = PLUG,
    theirs: Half | None = RECEPTACLE,
    correspondence: str = "identity",
    contact_map: Any = (),
    standing: Any = "reported",
    **given: Any,
) -> ContactMapAnswer:
    """The map from one half to another."""
    request = ContactMapRequest.model_validate({"half": ours.key, **given})
    if theirs is None:
        return map_between(request, listed(ours), None)
    content = {"half": ours.key, "other": theirs.key, "basis": "maker", "correspondence": correspondence}
    mating = Mating.model_validate({**content, "contact_map": contact_map})
    record = MatingRecord(revision=1, id=mating.key, mating=mating, standing=standing)
    return map_between(request, listed(ours), (record, listed(theirs)))


def listed(entry: Half) -> HalfRecord:
    """A half's record."""
    return HalfRecord(revision=1, key=entry.key, origin="listed", half=entry, series_key=entry.series_key)


def refusal(*found: dict[str, str], **given: Any) -> list[tuple[str, str, str]]:
    """Field, message and remedy of each error."""
    with pytest.raises(ApiError) as caught:
        mapped(contacts=list(found), **given)
    return [(each.field, each.message, each.remedy) for each in caught.value.errors]


def nets_at_mate(found: ContactMapAnswer) -> set[str]:
    """Every net that a view of the mate states."""
    views = [view for view in found.views if view.whose == "mate"]
    return {cell.net for view in views for row in view.rows for cell in row if cell and cell.net}


def test_a_stated_wiring_is_mapped_and_the_mates_face_is_the_mirror_of_the_halfs() -> None:
    found = mapped(contacts=NETS)
    assert found.sure
    mate = [[cell.net for cell in row if cell] for view in found.views[:1] for row in view.rows]
    assert mate == [["SDA", "GND", "BAT+"], ["IO", "GND", "SCL"]]
    assert [(each.contact, each.mate_contact) for each in found.contacts] == [(str(n), str(n)) for n in range(1, 7)]
    assert "check every supply and ground contact by continuity" in found.cautions[0]


def test_an_unknown_wiring_lists_the_contacts_and_states_no_net_for_the_mate() -> None:
    found = mapped(correspondence="unknown", contacts=NETS)
    assert not found.sure
    assert "verify by continuity" in found.doubts[0]
    assert nets_at_mate(found) == set()
    assert {each.mate_contact for each in found.contacts} == {None}
    assert found.unmet == tuple("123456")
    assert {view.name for view in found.views if view.whose == "mate"} == {"mating_face", "board_side", "in_place"}
    lines = csv_of(found).splitlines()
    assert lines[1].split(",")[HEADER.index("mate_net")] == "verify by continuity"


@pytest.mark.parametrize(
    ("changes", "doubt"),
    [
        ({"theirs": part("R6", half_kind="receptacle")}, "cannot all be right"),
        ({"standing": "disputed"}, "disputed"),
        ({"correspondence": "listed", "contact_map": [["1", "1"], ["2", "9"]]}, "R6 has not: 9"),
        ({"correspondence": "listed", "contact_map": [["1", "1"], ["9", "2"]]}, "P6 has not: 9"),
        ({"correspondence": "listed", "contact_map": [["1", "1"], ["2", "1"]]}, "R6 twice: 1"),
        ({"correspondence": "listed", "contact_map": [["1", "1"], ["1", "2"]]}, "P6 twice: 1"),
        ({"correspondence": "rows_swapped", "ours": part("P6", numbering=None)}, "not stated"),
        ({"correspondence": "rows_swapped", "theirs": part("R6", numbering=None)}, "not stated"),
        (
            {
                "correspondence": "reversed",
                "theirs": part("R6", half_kind="receptacle", contact_count=8, positions=4, numbering=UPPER_RIGHT),
            },
            "other counts",
        ),
        (
            {"ours": part("H6", half_kind="hermaphroditic"), "theirs": part("H6-T", half_kind="hermaphroditic")},
            "1 cannot meet 1",
        ),
    ],
)
def test_nothing_is_sure_where_sources_and_geometry_contradict_each_other(changes: dict[str, Any], doubt: str) -> None:
    found = mapped(contacts=NETS, **changes)
    assert not found.sure
    assert any(doubt in each and "verify by continuity" in each for each in found.doubts)
    assert nets_at_mate(found) == set()


def test_halves_of_two_kinds_or_of_one_row_may_meet_one_to_one() -> None:
    kind = {"half_kind": "hermaphroditic"}
    other_series = part("H6-T", series="Other", numbering=UPPER_RIGHT, **kind)
    assert mapped(part("H6", **kind), other_series).sure
    single = [part(name, rows=1, contact_count=3, **kind) for name in ("H3", "H3-T")]
    assert mapped(*single).sure


def test_a_half_without_stated_numbering_is_mapped_by_its_numbers_alone_and_that_is_said() -> None:
    found = mapped(part("P6", numbering=None), contacts=NETS)
    assert found.sure
    assert [each.mate_contact for each in found.contacts] == list("123456")
    assert nets_at_mate(found) == {"BAT+", "GND", "SDA", "SCL", "IO"}
    assert [view.whose for view in found.views] == ["mate"] * 3
    assert found.misplaced == ()
    assert any("find contact 1 by its mark on the board and check by continuity" in note for note in found.notes)
    assert any("cannot be said without its numbering" in note for note in found.notes)


def test_a_listed_wiring_with_names_of_its_own_is_mapped_by_them() -> None:
    ours = part("P6", numbering=None, contact_count=2, positions=1)
    theirs = part("R6", numbering=None, contact_count=2, positions=1, half_kind="receptacle")
    nets = [{"contact": "A1", "net": "BAT+"}, {"contact": "B1", "net": "GND"}]
    found = mapped(ours, theirs, "listed", [["A1", "X2"], ["B1", "X1"]], contacts=nets)
    assert [(each.contact, each.mate_contact) for each in found.contacts] == [("A1", "X2"), ("B1", "X1")]
    assert found.views == ()
    assert found.sure


@pytest.mark.parametrize(
    ("manner", "names"),
    [("apart", ["P1", "P2", "P3", "P4"]), ("after", ["7", "8", "9", "10"])],
)
def test_power_contacts_are_mapped_by_their_own_numbers_and_change_ends_in_a_turned_half(
    manner: str, names: list[str]
) -> None:
    counts = {"power_contact_count": 4, "hold_down_count": 4}
    around = {"scheme": "around", "power": manner, "hold_downs": "none"}
    ours = part("P6", counts=counts, numbering={**UPPER_LEFT, **around})
    theirs = part("R6", half_kind="receptacle", counts=counts, numbering={**UPPER_RIGHT, **around})
    supplies = [{"contact": name, "net": net} for name, net in zip(names, ("BAT+", "GND", "BAT+", "GND"), strict=True)]
    found = mapped(ours, theirs, contacts=[*({"contact": str(n)} for n in range(1, 7)), *supplies])
    assert found.sure
    face = next(view for view in found.views if view.whose == "half" and view.name == "mating_face")
    assert [(each.contact, each.x < 0, each.y < 0) for each in face.ends] == [
        (names[0], True, True),
        (names[1], False, True),
        (names[3], True, False),
        (names[2], False, False),
    ]
    mate = found.views[0]
    assert {each.contact: each.net for each in mate.ends} == {each["contact"]: each["net"] for each in supplies}
    assert [each.contact for each in mate.ends] == [names[1], names[0], names[2], names[3]]
    turned = found.misplaced[0]
    assert turned.meetings == ()  # P1 and P3 carry the same net, and so do P2 and P4
    swapped = mapped(ours, theirs, "rows_swapped")
    assert [each.mate_contact for each in swapped.contacts[6:]] == [names[3], names[2], names[1], names[0]]
    backwards = mapped(ours, theirs, "reversed")
    assert [each.mate_contact for each in backwards.contacts[6:]] == names[::-1]


def test_power_contacts_whose_numbers_are_not_stated_have_none_and_that_is_said() -> None:
    found = mapped(part("P6", counts={"power_contact_count": 2}))
    assert len(found.contacts) == 6
    assert any("how its 2 power contacts are numbered is not stated" in note for note in found.notes)
    odd = contacts_of(part("P6", counts={"power_contact_count": 3}, numbering={**UPPER_LEFT, "power": "apart"}))
    assert [each.name for each in odd.every[6:]] == ["P1", "P2", "P3"]
    assert odd.every[6].at is None
    assert odd.notes == ("P6: where its 3 power contacts stand is not known",)


def test_a_half_alone_is_drawn_from_both_sides() -> None:
    found = mapped(theirs=None, contacts=NETS)
    assert (found.mate, found.sure, found.unmet) == (None, False, ())
    assert [(view.whose, view.name) for view in found.views] == [("half", "mating_face"), ("half", "board_side")]
    assert found.misplaced[0].meetings[0].contacts[0][2] is None


def test_a_half_that_mates_sideways_is_seen_on_its_mating_face_alone() -> None:
    lying = {"orientation": ["right_angle"]}
    theirs = part("R6", half_kind="receptacle", numbering=UPPER_RIGHT, categories=lying)
    found = mapped(theirs=theirs, contacts=NETS)
    assert found.sure
    assert [view.name for view in found.views if view.whose == "mate"] == ["mating_face"]
    assert any("R6 mates sideways, so its board does not show its rows" in note for note in found.notes)
    (error,) = refusal({"contact": "1/1"}, ours=part("P6", categories=lying), theirs=None, seen_from="board_side")
    assert "mates sideways, so its board side does not show its rows" in error[1]


def test_tails_that_stand_otherwise_than_the_contacts_are_mentioned() -> None:
    alternating = {"tail_layout": ["alternating"]}
    single = part("P3", rows=1, contact_count=3, categories=alternating)
    assert any("leave one row's, to both sides in turn" in note for note in mapped(single, None).notes)
    assert not any("leave" in note for note in mapped(part("P6", categories={"tail_layout": ["aligned"]}), None).notes)


@pytest.mark.parametrize(
    "changes",
    [
        {"categories": {"contact_layout": ["staggered"]}},
        {"contact_count": 5, "positions": None, "row_contacts": [3, 2]},
        {"contact_count": 6, "positions": None, "row_contacts": [4, 2]},
    ],
)
def test_rows_that_stand_aside_of_each_other_are_compared_each_by_itself(changes: dict[str, Any]) -> None:
    ours, theirs = part("P", **changes), part("R", half_kind="receptacle", numbering=UPPER_RIGHT, **changes)
    assert mapped(ours, theirs).sure
    assert not mapped(ours, part("R", half_kind="receptacle", **changes)).sure


def test_contacts_may_be_named_by_their_place_as_either_side_shows_it() -> None:
    places = [f"{row}/{position}" for row in (1, 2) for position in (1, 2, 3)]
    given = [{"contact": place, "net": f"at {place}"} for place in places]
    face, board = mapped(contacts=given), mapped(contacts=given, seen_from="board_side")
    assert [each.net for each in face.contacts] == [f"at {place}" for place in places]
    assert [each.net for each in board.contacts] == ["at 1/3", "at 1/2", "at 1/1", "at 2/3", "at 2/2", "at 2/1"]


def test_wrong_contacts_are_named_with_their_field_and_what_to_give_instead() -> None:
    unknown = refusal(*NETS[:5], {"contact": "7", "net": "IO"})
    assert unknown == [
        (
            "contacts[5].contact",
            "P6 has no contact 7",
            "it has 1 to 6; places are row/position as seen, sites left out included",
        )
    ]
    assert refusal(*NETS, {"contact": "2", "net": "GND"}) == [
        ("contacts[6].contact", "contact 2 is named 2 times (entries 2, 7)", "name it once")
    ]
    assert refusal(*NETS, {"contact": "1/2"})[0][1] == "contact 2 is named 2 times (entries 2, 7)"
    assert refusal(*NETS[:3]) == [
        (
            "contacts",
            "3 of the half's contacts are missing: 4, 5, 6",
            "give every contact; leave the net of one that was not traced empty",
        )
    ]
    assert "P6 has no contact 3/1" in refusal({"contact": "3/1"})[0][1]
    assert "does not state its numbering" in refusal({"contact": "1/1"}, ours=part("P6", numbering=None))[0][1]


def test_a_contact_left_out_is_no_contact() -> None:
    ours = part(
        "P5", contact_count=5, blocked=[{"row": 1, "position": 2}], numbering={**UPPER_LEFT, "blocked": "counted"}
    )
    assert [each.contact for each in mapped(ours, None).contacts] == ["1", "3", "4", "5", "6"]
    assert "P5 has no contact 2" in refusal({"contact": "2"}, ours=ours)[0][1]
    assert "P5 has no contact 1/2" in refusal({"contact": "1/2"}, ours=ours)[0][1]


@pytest.mark.parametrize(
    ("net", "role"),
    [
        ("GND", "ground"),
        ("agnd", "ground"),
        ("GND_2", "ground"),
        ("0V", "ground"),
        ("BAT-", "ground"),
        ("VSS", "ground"),
        ("BAT+", "supply"),
        ("vbat", "supply"),
        ("+5V", "supply"),
        ("3V3", "supply"),
        ("1.8 V", "supply"),
        ("VCC_IO", "supply"),
        ("VBUS_EN", "signal"),
        ("VBAT_SENSE", "supply"),
        ("VDD_1V8", "supply"),
        ("SDA", "signal"),
        ("B", "signal"),
        ("D+", "signal"),
        ("NC", "open"),
        ("", None),
        ("  ", None),
    ],
)
def test_the_usual_names_of_supplies_and_grounds_are_known(net: str, role: str | None) -> None:
    assert role_of(net) == role


def test_a_given_role_counts_more_than_the_name() -> None:
    found = mapped(contacts=[{**NETS[0], "role": "signal"}, *NETS[1:]])
    assert (found.contacts[0].role, found.contacts[0].role_guessed) == ("signal", False)
    assert (found.contacts[1].role, found.contacts[1].role_guessed) == ("ground", True)


@pytest.mark.parametrize(
    ("one", "two", "severity"),
    [
        ("supply", "ground", "supply_to_ground"),
        ("supply", "supply", "supply_to_other_supply"),
        ("signal", "supply", "supply_to_signal"),
        ("ground", "signal", "ground_to_signal"),
        ("signal", "signal", "signal_to_signal"),
        ("ground", "ground", None),
        ("open", "supply", None),
        (None, "supply", None),
    ],
)
def test_what_two_nets_do_to_each_other(one: Any, two: Any, severity: str | None) -> None:
    assert severity_of(Carried(net="a", role=one), Carried(net="b", role=two)) == severity
    assert severity_of(Carried(net="a", role=one), Carried(net="A", role=two)) is None


@pytest.mark.parametrize(
    ("ours", "theirs", "turns"),
    [
        (["corner_chamfer"], ["corner_chamfer"], False),
        (["corner_chamfer"], ["offset_rib"], False),
        (["corner_chamfer"], ["none"], True),
        (["corner_chamfer"], None, True),
        (["unequal_pegs"], ["unequal_pegs"], True),
        (["none"], ["none"], True),
        (None, None, True),
    ],
)
def test_a_half_goes_in_turned_unless_both_halves_have_keys_for_each_other(
    ours: list[str] | None, theirs: list[str] | None, turns: bool
) -> None:
    one, two = ({} if keys is None else {"keying": keys} for keys in (ours, theirs))
    assert could_turn(part("P6", categories=one), part("R6", categories=two))[0] == turns
    found = mapped(part("P6", categories=one), part("R6", numbering=UPPER_RIGHT, categories=two), contacts=NETS)
    assert bool(found.misplaced[0].meetings) == turns


def test_walls_stop_a_half_from_going_in_aside_where_sizes_say_so() -> None:
    plug = part("P6", dimensions={"pitch": {"value": 0.4}, "body_length": {"value": 2.0}})
    tight = part("R6", half_kind="receptacle", dimensions={"opening_length": {"value": 2.1}})
    wide = part("R6", half_kind="receptacle", dimensions={"opening_length": {"value": 2.5}})
    block = part("R6", half_kind="receptacle", dimensions={}, categories={"tail_form": ["pin"]})
    assert could_shift(plug, tight) == (False, "the pocket leaves the plug 0.1 mm of room between its ends")
    assert could_shift(tight, plug) == could_shift(plug, tight)
    assert could_shift(plug, wide) == (True, "the pocket leaves the plug 0.5 mm of room between its ends")
    assert could_shift(plug, block) == (True, "a plain block of sockets is open at its ends")
    assert could_shift(plug, part("R6", half_kind="receptacle", dimensions={}))[0]
    assert could_shift(plug, None)[0]


def test_a_table_and_json_say_the_same() -> None:
    table = "\ufeffContact;Net;Note\r\n1;GND;'=5\r\n\r\n2;;x\r\n"
    assert read_nets(table) == [{"contact": "1", "net": "GND", "note": "=5"}, {"contact": "2", "note": "x"}]
    rows = '[{"contact": "1", "net": "GND"}]'
    assert read_nets(rows) == read_nets(f'{{"contacts": {rows}}}') == [{"contact": "1", "net": "GND"}]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "there is nothing in it"),
        ("net,note\nGND,x\n", "contact included"),
        ("contact,contact\n1,1\n", "each column once"),
        ("contact,nett\n1,GND\n", "'nett' is no column"),
        ("contact,net\n1,a,b\n", "line 2 has 3 cells"),
        ('{"contacts": 3}', "no list of contacts"),
        ("[1]", "no list of contacts"),
        ('[{"contact": ', "cannot be read"),
    ],
)
def test_what_is_no_table_of_contacts_is_refused(text: str, said: str) -> None:
    with pytest.raises(ApiError) as caught:
        read_nets(text, "nets.csv")
    (error,) = caught.value.errors
    assert (error.field, said in error.message, bool(error.remedy)) == ("nets.csv", True, True)


def test_the_table_gives_the_place_in_every_view_and_no_cell_begins_as_a_formula() -> None:
    nets = [{**each, "net": "=1+1" if each["contact"] == "1" else each["net"]} for each in NETS]
    lines = [line.split(",") for line in csv_of(mapped(contacts=nets, mate_on="bottom")).splitlines()]
    assert tuple(lines[0]) == HEADER
    assert lines[1] == ["1", "'=1+1", "signal", "", "", "1", "'=1+1", "1/3", "1/1", "1/1"]
    assert lines[6][-3:] == ["2/1", "2/3", "2/3"]


@pytest.mark.parametrize("rows", [1, 2, 3])
def test_the_drawing_has_a_mark_for_each_contact_by_what_it_carries(rows: int) -> None:
    ours = part("P", rows=rows, contact_count=3 * rows)
    nets = [{"contact": str(n), "net": {1: "BAT+", 2: "GND", 3: "NC"}.get(n, f"S{n}")} for n in range(1, 3 * rows)]
    found = mapped(ours, None, contacts=[*nets, {"contact": str(3 * rows), "net": ""}])
    drawing = ReadDrawing(views_svg(found.views[:1], "x"))
    marks = {css: len(drawing.paths(css)) for css in ("supply", "ground", "open", "signal", "unknown", "first")}
    expected_open = 0 if rows == 1 else 1
    assert marks == {
        "supply": 1,
        "ground": 1,
        "open": expected_open,
        "signal": max(3 * rows - 4, 0),
        "unknown": 1,
        "first": 1,
    }
    (first,) = drawing.pieces("first")
    (supply,) = drawing.pieces("supply")
    assert first.centre[0] == pytest.approx(supply.centre[0])
    assert first.bottom < supply.top
    assert "1 BAT+" in drawing.words()
