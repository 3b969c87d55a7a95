"""The current through a half and its mate: both count, wrong input is named, and loss follows Ohm's law."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy.orm import Session
from starlette.testclient import TestClient

from api.client import Client
from api.fitting.current.current import current
from api.identification.cautions import BY_STAGE
from api.schemas.fitting.current import CurrentAnswer, CurrentRequest
from api.service.problems import ApiError
from catalog.db.database import Catalogue
from catalog.history.addition import add
from catalog.model.entries import Half, Mating
from catalog.snapshot.snapshot import take_snapshot

GOOD = {"contact_current_a": 0.5, "loaded_contacts": 8, "temperature_rise_k": 30, "upper_temperature_c": 85}
WEAK = GOOD | {"contact_current_a": 0.2}
VAGUE = {"contact_current_a": 0.5}


def made(name: str, ratings: dict[str, Any] | None, **changes: Any) -> Half:
    """An invented half of 10 contacts."""
    fields = {"maker": "Siskin Works", "series": "SK", "part_number": name, "rows": 2, "contact_count": 10}
    return Half.model_validate(fields | {"ratings": ratings} | changes)


def key(name: str) -> str:
    return f"siskin-works:{name.lower()}"


HALVES = {
    "GOOD": made("GOOD", GOOD | {"contact_resistance_mohm": 40}),
    "GOOD-MATE": made("GOOD-MATE", GOOD | {"contact_resistance_mohm": 30}),
    "WEAK-MATE": made("WEAK-MATE", WEAK),
    "VAGUE": made("VAGUE", VAGUE),
    "LONE": made("LONE", GOOD),
    "SMALL": made("SMALL", GOOD, contact_count=4),
    "TWO": made("TWO", GOOD),
    "WEAK": made("WEAK", WEAK),
}
PAIRS = (("GOOD", "GOOD-MATE"), ("TWO", "GOOD-MATE"), ("TWO", "WEAK-MATE"), ("VAGUE", "GOOD-MATE"), ("GOOD", "SMALL"))


@pytest.fixture
def session(catalogue: Catalogue) -> Iterator[Session]:
    """The catalogue of the halves above; ``WEAK`` and its mate were joined by nobody but a proposal."""
    matings = [Mating(half=key(one), other=key(two), basis="maker") for one, two in PAIRS]
    matings.append(Mating(half=key("WEAK"), other=key("WEAK-MATE"), basis="inferred"))
    with catalogue.writing() as writing:
        add(writing, [*HALVES.values(), *matings])
    with catalogue.reading() as reading:
        yield reading


def asked(session: Session, half: str, mate: str | None = None, **changes: Any) -> CurrentAnswer:
    flows = {"current_a": 1.2, "supply_contacts": 4, "return_contacts": 3, "ambient_c": 25.0}
    given = {"half": key(half), "mate": mate and key(mate), **flows, **changes}
    return current(take_snapshot(session), CurrentRequest.model_validate(given))


@pytest.mark.parametrize(
    ("half", "mate", "verdict"),
    [
        ("GOOD", "GOOD-MATE", "enough"),
        ("TWO", "WEAK-MATE", "not_enough"),
        ("WEAK", "WEAK-MATE", "not_enough"),
        ("VAGUE", "GOOD-MATE", "unknown"),
        ("GOOD-MATE", "VAGUE", "unknown"),
        ("WEAK-MATE", "VAGUE", "not_enough"),
        ("GOOD", "LONE", "unknown"),
        ("LONE", None, "unknown"),
        ("WEAK", None, "not_enough"),
        ("TWO", None, "unknown"),
        ("GOOD-MATE", None, "unknown"),
        ("TWO", "GOOD-MATE", "enough"),
    ],
)
def test_the_weaker_half_of_a_pair_counts_and_both_must_be_known(
    session: Session, half: str, mate: str | None, verdict: str
) -> None:
    # 1.2 A over three return contacts: 0.4 A each
    assert asked(session, half, mate).verdict == verdict


def test_a_half_without_a_named_mate_is_enough_only_with_all_its_listed_mates(session: Session) -> None:
    with_all = asked(session, "TWO", current_a=0.45)
    assert (with_all.verdict, [each.part_number for each in with_all.halves]) == (
        "enough",
        ["TWO", "GOOD-MATE", "WEAK-MATE"],
    )
    assert with_all.margin_a == pytest.approx(0.2 - 0.15)
    assert "which mate it is" in asked(session, "TWO").missing
    assert "its mate" in asked(session, "LONE").missing
    assert asked(session, "GOOD", "LONE").missing == ("a mating of the two",)


def test_what_an_answer_rests_on_and_the_cautions_are_always_said(session: Session) -> None:
    found = asked(session, "GOOD", "GOOD-MATE")
    told = "\n".join((found.reason, *found.rests_on))
    for words in ("7 contacts are loaded", "share the current equally", "0.8 of the base curve", "contacts loaded: 8"):
        assert words in told
    assert "approximation, common practice, no source" in told
    assert set(found.cautions) >= set(BY_STAGE["before power"])
    doubted = asked(session, "WEAK", "WEAK-MATE", current_a=0.3)
    assert doubted.verdict == "enough"
    assert "no source" in doubted.halves[1].beware[0]
    assert doubted.halves[1].beware[0] in "\n".join(doubted.rests_on)


def test_the_larger_stated_resistance_gives_loss_and_drop_over_supply_and_return(session: Session) -> None:
    # Ohm's and Joule's laws on 4 and 3 contacts of 40 mΩ in parallel, contact by contact
    found = asked(session, "GOOD", "GOOD-MATE")
    heat = sum((1.2 / number) ** 2 * 0.040 for number in (4, 3) for _ in range(number))
    assert found.contact_resistance_mohm == 40
    assert found.loss_w == pytest.approx(heat)
    assert found.voltage_drop_v == pytest.approx(heat / 1.2)
    assert asked(session, "TWO", "WEAK-MATE").loss_w is None


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"current_a": 0}, "current_a", "above 0"),
        ({"current_a": -1.5}, "current_a", "above 0"),
        ({"current_a": 1e9}, "current_a", "no such connector"),
        ({"ambient_c": -280}, "ambient_c", "absolute zero"),
        ({"ambient_c": 313.15}, "ambient_c", "no such connector"),
        ({"ambient_c": -150}, "ambient_c", "no such connector"),
        ({"supply_contacts": 8}, "return_contacts", "GOOD has 10"),
        ({"mate": "SMALL"}, "return_contacts", "SMALL has 4"),
    ],
)
def test_wrong_input_is_named_with_field_and_remedy(
    session: Session, changes: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(ApiError) as caught:
        asked(session, "GOOD", **changes)
    (error,) = caught.value.errors
    assert error.field == field
    assert words in error.message
    assert error.remedy


def test_everything_that_is_wrong_is_said_at_once(session: Session) -> None:
    with pytest.raises(ApiError) as caught:
        asked(session, "GOOD", current_a=0, ambient_c=-300, supply_contacts=400)
    assert [error.field for error in caught.value.errors] == ["current_a", "ambient_c", "return_contacts"]


def test_a_half_that_does_not_exist_is_refused_in_its_field(session: Session) -> None:
    for name, given in (("half", ("MISSING", "GOOD")), ("mate", ("GOOD", "MISSING"))):
        with pytest.raises(ApiError) as caught:
            asked(session, *given)
        assert (caught.value.name, caught.value.errors[0].field) == ("unknown-half", name)


BODY = {
    "half": "ouzelby:mossipet-p40",
    "mate": "ouzelby:mossipet-r40",
    "current_a": 0.8,
    "supply_contacts": 4,
    "return_contacts": 4,
    "ambient_c": 40,
}


def test_the_route_and_the_client_give_one_answer(server: TestClient) -> None:
    answer = server.post("/v1/current", json=BODY)
    assert (answer.status_code, answer.json()["verdict"]) == (200, "enough")
    half = BODY["half"]
    assert isinstance(half, str)
    arguments: dict[str, Any] = {name: value for name, value in BODY.items() if name != "half"}
    assert Client(http=server).current(half, **arguments).model_dump(mode="json") == answer.json()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"supply_contacts": 0}, "supply_contacts"),
        ({"supply_contacts": 1.5}, "supply_contacts"),
        ({"current_a": "much"}, "current_a"),
        ({"ambient": 40}, "ambient"),
    ],
)
def test_the_route_refuses_what_is_no_request(server: TestClient, changes: dict[str, Any], field: str) -> None:
    answer = server.post("/v1/current", json=BODY | changes)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["field"] == field
    assert error["remedy"]


def test_a_demo_half_smaller_than_its_rating_has_none(server: TestClient) -> None:
    body = BODY | {"half": "ouzelby:mossipet-p24", "mate": "ouzelby:mossipet-r24"}
    answer = server.post("/v1/current", json=body).json()
    assert answer["verdict"] == "unknown"
    assert answer["halves"][0]["ratings"]["contact_current_a"] is None
    assert "no rating for this number of contacts" in answer["reason"]
