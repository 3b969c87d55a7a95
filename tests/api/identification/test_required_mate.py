"""What a mate must be where none is listed: against the demo's own matings, and figure by figure."""

from __future__ import annotations

import random
from collections import defaultdict
from types import SimpleNamespace
from typing import Any, cast

import pytest
from starlette.testclient import TestClient

from api.identification import answer_words as words
from api.identification import required_mate as module
from api.identification.required_mate import required_mate
from api.schemas.answers import RequiredMate
from catalog.model.entries import Half
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from seeds_demo.loader import demo_specimens

SAMPLED = 60


def half(name: str, kind: str | None, **changes: Any) -> HalfRecord:
    described = {
        "maker": "Knot",
        "series": "Dunlin",
        "part_number": name,
        "half_kind": kind,
        "rows": 2,
        "contact_count": 20,
        "dimensions": {"pitch": 0.4},
        "categories": {"orientation": ["vertical"]},
        **changes,
    }
    described["dimensions"] = {feature: {"value": size} for feature, size in described["dimensions"].items()}
    entry = Half.model_validate(described)
    return HalfRecord(key=name, origin="listed", half=entry, series_key="knot:dunlin", revision=1, standing="reported")


def required(record: HalfRecord, *others: HalfRecord) -> RequiredMate:
    snapshot = SimpleNamespace(halves={each.key: each for each in (record, *others)})
    return required_mate(cast(Snapshot, snapshot), record)


def names(found: RequiredMate) -> list[str]:
    return [each.half.part_number for each in found.could_fit]


PLUG = half("P", "plug", dimensions={"pitch": 0.4, "body_length": 6.0, "body_width": 2.0})


def test_a_plug_says_what_its_receptacle_must_be() -> None:
    told = {each.feature: each for each in required(PLUG).requirements}
    assert told["half_kind"].value == "receptacle"
    assert (told["contact_count"].value, told["rows"].value) == (20, 2)
    assert (told["opening_length"].least, told["opening_width"].least) == (6.0, 2.0)
    # Over 9 gaps each end may be off by a quarter of the pitch: 2 × 0.1 / 9 either way.
    assert told["pitch"].least == pytest.approx(0.4 - 0.2 / 9)
    assert told["pitch"].most == pytest.approx(0.4 + 0.2 / 9)


def test_a_receptacle_says_what_goes_into_it() -> None:
    sizes = {"pitch": 0.4, "body_length": 7.0, "opening_length": 6.1, "body_width": 3.0}
    record = half("R", "receptacle", dimensions=sizes, categories={"centre_island": ["yes"]})
    told = {each.feature: each for each in required(record).requirements}
    assert told["half_kind"].value == "plug"
    assert told["body_length"].most == 6.1
    assert told["body_width"].most == 3.0
    assert "not stated" in told["body_width"].why
    assert told["centre_island"].value == "no"


def test_without_a_kind_the_person_is_told_to_look() -> None:
    first = required(half("X", None)).requirements[0]
    assert (first.feature, first.value) == ("half_kind", None)
    assert "look which one goes into the other" in words.requirement(first)


@pytest.mark.parametrize(
    "changes",
    [
        {"rows": 1},
        {"contact_count": 22},
        {"dimensions": {"pitch": 0.5}},
        {"dimensions": {}},
        {"dimensions": {"pitch": 0.4, "opening_length": 5.0}},
        {"dimensions": {"pitch": 0.4, "opening_width": 1.0}},
        {"dimensions": {"pitch": 0.4, "body_length": 5.0}},
        {"counts": {"power_contact_count": 2}},
        {"categories": {"contact_layout": ["staggered"]}},
        {"half_kind": "plug"},
        {"half_kind": "hermaphroditic"},
    ],
)
def test_one_figure_that_speaks_against_it_is_enough(changes: dict[str, Any]) -> None:
    plug = half(
        "P",
        "plug",
        dimensions={"pitch": 0.4, "body_length": 6.0, "body_width": 2.0},
        counts={"power_contact_count": 0},
        categories={"orientation": ["vertical"], "contact_layout": ["aligned"]},
    )
    assert names(required(plug, half("R", "receptacle"))) == ["R"]
    kind = changes.pop("half_kind", "receptacle")
    assert names(required(plug, half("R", kind, **changes))) == []


def test_those_with_the_most_figures_that_agree_come_first_and_say_which() -> None:
    snug = {"pitch": 0.4, "opening_length": 6.1, "opening_width": 2.05}
    found = required(PLUG, half("BARE", "receptacle"), half("SNUG", "receptacle", dimensions=snug))
    assert names(found) == ["SNUG", "BARE"]
    assert found.could_fit[0].clearance == pytest.approx(0.05)
    assert found.could_fit[1].clearance is None
    assert words.could_fit(found.could_fit[0]).endswith("opening width agree; room in the opening 0.05 mm")
    assert words.could_fit(found.could_fit[1]) == "kind of half, contacts, rows, pitch agree"


def test_halves_beyond_the_first_are_counted() -> None:
    others = [half(f"R{number}", "receptacle") for number in range(module.SHOWN + 3)]
    found = required(PLUG, *others)
    assert (len(found.could_fit), found.could_fit_in_all) == (module.SHOWN, module.SHOWN + 3)
    assert words.found_in_all(found).startswith("3 more could fit by size. ")
    assert words.found_in_all(required(PLUG)).startswith("No listed half could fit by size. ")


def test_a_hermaphroditic_half_could_mate_with_another_of_itself() -> None:
    assert names(required(half("H", "hermaphroditic"))) == ["H"]
    assert names(required(half("P", "plug"))) == []


def test_every_listed_mate_of_the_demo_would_have_been_found(
    snapshot: Snapshot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "SHOWN", 10**6)
    mates = defaultdict(set)
    for each in snapshot.matings:
        mates[each.mating.half].add(each.mating.other)
        mates[each.mating.other].add(each.mating.half)
    sampled = random.Random(1).sample(sorted(mates), SAMPLED)
    found = {key: {each.half.id for each in required_mate(snapshot, snapshot.halves[key]).could_fit} for key in sampled}
    assert all(mates[key] <= found[key] for key in sampled)
    assert sorted(map(len, found.values()))[SAMPLED // 2] <= 5, "half of them leave five halves or fewer to try"


def test_the_answer_and_the_page_say_it_of_a_variant_that_nobody_lists(server: TestClient) -> None:
    (specimen,) = [each for each in demo_specimens() if each.name == "unlisted-variant"]
    answered = server.post("/v1/identify", json={"observations": specimen.observations}).json()
    first, told = answered["candidates"][0], answered["required_mate"]
    assert not first["mates"]
    assert told["half"]["id"] == first["half"]["id"]
    assert {"half_kind", "contact_count", "rows", "pitch"} <= {each["feature"] for each in told["requirements"]}
    page = server.get(f"/halves/{first['half']['id']}").text
    assert "What it must be" in page
    assert "the opposite of this half" in page


def test_the_answer_leaves_it_out_where_a_mate_is_listed(server: TestClient) -> None:
    seen = [{"feature": "contact_count", "value": 24}, {"feature": "rows", "value": 2}]
    answered = server.post("/v1/identify", json={"observations": seen}).json()
    assert answered["candidates"][0]["mates"]
    assert answered["required_mate"] is None
