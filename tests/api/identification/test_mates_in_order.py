"""Which mate stands first, what must be said of each, and mates of halves that no measurement tells apart."""

from __future__ import annotations

import itertools
import random
from types import SimpleNamespace
from typing import Any, cast

import pytest
from starlette.testclient import TestClient

from api.identification import answer_words as words
from api.identification.answering import answer
from api.identification.mates import mates_of
from api.schemas.answers import Candidate, Mate
from api.schemas.requests import IdentifyRequest
from catalog.model.entries import Half, Mating
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.results import Candidate as Found
from matcher.results import FittingMate
from seeds_demo.loader import demo_specimens

WIRING = ("identity", "listed", "unknown", "rows_swapped", "reversed")
BASIS = ("maker", "other_maker", "trial_fit", "inferred")
LIFECYCLE = ("active", "unknown", "not_for_new_designs", "discontinued")


def half(name: str, lifecycle: str = "unknown", standing: str = "reported") -> HalfRecord:
    entry = Half.model_validate(
        {
            "maker": "Knot",
            "series": "Dunlin",
            "part_number": name,
            "rows": 2,
            "contact_count": 20,
            "lifecycle": lifecycle,
        }
    )
    return HalfRecord(
        key=name, origin="listed", half=entry, series_key="knot:dunlin", revision=1, standing=cast(Any, standing)
    )


def mating(this: str, other: str, **more: Any) -> MatingRecord:
    stated = {"basis": "maker", "correspondence": "identity", **more}
    standing = stated.pop("standing", "reported")
    if stated["correspondence"] == "listed":
        stated["contact_map"] = [["1", "1"]]
    entry = Mating.model_validate({"half": this, "other": other, **stated})
    return MatingRecord(id=f"{this}~{other}~{len(more)}", mating=entry, revision=1, standing=standing)


def ordered(
    halves: list[HalfRecord],
    matings: list[MatingRecord],
    *,
    members: tuple[str, ...] = ("A",),
    fits: tuple[bool, ...] = (),
    geometry: tuple[int, ...] = (),
) -> tuple[Mate, ...]:
    """The mates of a candidate whose halves are ``members``."""
    keys, numbers = [record.key for record in halves], geometry or range(len(halves))
    columns = SimpleNamespace(geometry=list(numbers), position=keys.index)
    snapshot = SimpleNamespace(
        halves={record.key: record for record in halves}, matings_both_ways=matings, columns=columns
    )
    found = tuple(
        FittingMate(
            half=record.mating.half,
            key=record.mating.other,
            mating=number,
            probability=1.0,
            fits_observed=fits[number] if fits else True,
        )
        for number, record in enumerate(matings)
    )
    candidate = SimpleNamespace(key=members[0], same_geometry=members[1:], mates=found)
    return mates_of(cast(Snapshot, snapshot), cast(Found, candidate))


def test_mates_stand_in_the_order_of_what_is_safest_to_order() -> None:
    """What fits the observations; what is not disputed; wiring; basis; standing; lifecycle: in this order."""
    truth = list(
        itertools.product((True, False), ("confirmed", "documented", "reported", "disputed"), WIRING, BASIS, LIFECYCLE)
    )
    truth.sort(
        key=lambda row: (
            not row[0],
            row[1] == "disputed",
            WIRING.index(row[2]),
            BASIS.index(row[3]),
            ("confirmed", "documented", "reported", "disputed").index(row[1]),
            LIFECYCLE.index(row[4]),
        )
    )
    shuffled = random.Random(5).sample(list(enumerate(truth)), len(truth))
    halves = [half(f"B{number}", row[4], row[1]) for number, row in shuffled]
    matings = [
        mating("A", f"B{number}", standing=row[1], correspondence=row[2], basis=row[3]) for number, row in shuffled
    ]
    found = ordered([half("A"), *halves], matings, fits=tuple(row[0] for _, row in shuffled))
    assert [mate.part_number for mate in found] == [f"B{number}" for number in range(len(truth))]


@pytest.mark.parametrize(
    ("of_half", "of_mating", "said"),
    [
        ({}, {}, ()),
        ({}, {"correspondence": "unknown"}, ()),
        ({}, {"correspondence": "listed"}, ()),
        ({}, {"correspondence": "rows_swapped"}, ("rows swapped",)),
        ({}, {"correspondence": "reversed"}, ("reversed",)),
        ({}, {"basis": "inferred"}, ("no source: inferred from the sizes",)),
        ({"lifecycle": "discontinued"}, {}, ("no longer made",)),
        ({"lifecycle": "not_for_new_designs"}, {}, ("made, but not for new designs",)),
        ({"standing": "disputed"}, {}, ("disputed",)),
        ({}, {"standing": "disputed"}, ("disputed",)),
        (
            {"lifecycle": "discontinued"},
            {"basis": "inferred", "correspondence": "reversed"},
            ("reversed", "no source: inferred from the sizes", "no longer made"),
        ),
    ],
)
def test_what_makes_a_mate_doubtful_is_said_beside_its_name(
    of_half: dict[str, str], of_mating: dict[str, str], said: tuple[str, ...]
) -> None:
    (mate,) = ordered([half("A"), half("B", **of_half)], [mating("A", "B", **of_mating)])
    assert mate.beware == said
    assert words.warned(mate) == (f"B ({'; '.join(said)})" if said else "B")


def test_of_several_sources_for_one_pair_the_best_one_counts() -> None:
    sources = [mating("A", "B", basis="trial_fit", correspondence="rows_swapped"), mating("A", "B")]
    (mate,) = ordered([half("A"), half("B")], sources)
    assert (mate.basis, mate.correspondence, mate.beware) == ("maker", "identity", ())


def test_a_mate_that_suits_every_tied_half_comes_first_and_says_so() -> None:
    halves = [half(name) for name in ("A1", "A2", "B", "C")]
    matings = [mating("A1", "C"), mating("A1", "B", basis="other_maker"), mating("A2", "B", basis="other_maker")]
    both, one = ordered(halves, matings, members=("A1", "A2"))
    assert (both.part_number, both.suits_all, set(both.suits)) == ("B", True, {"A1", "A2"})
    assert (one.part_number, one.suits_all, one.suits) == ("C", False, ("A1",))


def test_mates_of_one_geometry_suit_each_others_halves_by_their_sizes() -> None:
    """A maker and its clone list only their own receptacles; these are tied as well."""
    halves = [half(name) for name in ("A", "A2", "B", "B2", "C")]
    matings = [mating("A", "B"), mating("A2", "B2"), mating("A2", "C", correspondence="reversed")]
    found = candidate(ordered(halves, matings, members=("A", "A2"), geometry=(0, 0, 1, 1, 2)), ("A2",))
    assert [(mate.part_number, mate.suits, mate.suits_all) for mate in found.mates] == [
        ("B", ("A",), True),
        ("B2", ("A2",), True),
        ("C", ("A2",), False),
    ]
    assert words.order(found) == "B"
    assert words.suited(found.mates[0], found) == "suits whichever it is, by its sizes"
    assert words.suited(found.mates[2], found) == "only for A2"


def test_tied_halves_that_are_wired_differently_to_one_part_show_it_twice() -> None:
    halves = [half(name) for name in ("A1", "A2", "B")]
    matings = [mating("A1", "B"), mating("A2", "B", correspondence="rows_swapped")]
    straight, swapped = ordered(halves, matings, members=("A1", "A2"))
    assert (straight.suits, straight.suits_all, straight.beware) == (("A1",), False, ())
    assert (swapped.suits, swapped.suits_all, swapped.beware) == (("A2",), False, ("rows swapped",))


def candidate(mates: tuple[Mate, ...], tied: tuple[str, ...] = ()) -> Candidate:
    named = SimpleNamespace(id="A", part_number="A")
    others = tuple(SimpleNamespace(id=key, part_number=key) for key in tied)
    return cast(Candidate, SimpleNamespace(half=named, same_geometry=others, mates=mates))


def test_where_the_stack_is_open_no_mate_stands_alone() -> None:
    heights = {"B": 1.5, "C": 2.0, "D": 3.5}
    matings = [mating("A", name, stack_height={"value": height}) for name, height in heights.items()]
    matings.append(mating("A", "E", stack_height={"value": 5.0}, correspondence="reversed"))
    found = candidate(ordered([half(name) for name in "ABCDE"], matings))
    assert words.order(found) == "choose the stack: 1.50, 2.00, 3.50 mm"
    assert words.stack_to_order(found) == ""


def test_tied_halves_that_take_different_mates_leave_the_order_open() -> None:
    halves = [half(name) for name in ("A", "A2", "B", "C")]
    found = candidate(ordered(halves, [mating("A", "B"), mating("A2", "C")], members=("A", "A2")), ("A2",))
    assert words.order(found) == "it depends, see below"
    assert words.stack_to_order(found) == ""
    assert "what to order stays open" in words.differing_mates(found)
    assert {words.suited(mate, found) for mate in found.mates} == {"only for A", "only for A2"}


def test_without_a_listed_mate_the_answer_says_so() -> None:
    assert words.order(candidate(())) == "none listed"


@pytest.mark.parametrize("specimen", demo_specimens(), ids=lambda each: each.name)
def test_no_miswired_or_doubtful_mate_stands_above_a_safe_one(snapshot: Snapshot, specimen: Any) -> None:
    request = IdentifyRequest.model_validate({"observations": specimen.observations})
    for each in answer(snapshot, request).candidates:
        wiring = [WIRING.index(mate.correspondence) for mate in each.mates if mate.fits_observed]
        assert wiring == sorted(wiring)
        assert {mate.mating for mate in each.mates} <= {record.id for record in snapshot.matings}


def test_the_interface_names_what_must_be_said_of_a_mate(server: TestClient) -> None:
    seen = [{"feature": "contact_count", "value": 24}, {"feature": "rows", "value": 2}]
    found = server.post("/v1/identify", json={"observations": seen, "limit": 100}).json()
    mates = [mate for each in found["candidates"] for mate in each["mates"]]
    assert {"beware", "suits", "suits_all", "standing", "lifecycle", "citation", "ratings", "note"} <= set(mates[0])
    swapped = [mate for mate in mates if mate["correspondence"] in ("rows_swapped", "reversed")]
    assert all(set(mate["beware"]) & {"rows swapped", "reversed"} for mate in swapped)
