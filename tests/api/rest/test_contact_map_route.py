"""POST /v1/contact-map: a map over HTTP, and each refusal with its field and remedy."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from api.schemas.fitting.contact_map import NETS_EXAMPLES
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import HALF, MATE
from tests.catalog.model.entry_examples import mating

PLUG, RECEPTACLE = "ouzelby:mossipet-p24", "ouzelby:mossipet-r24"


def asked(server: TestClient, status: int = 200, **body: Any) -> dict[str, Any]:
    """The answer to a request."""
    answer = server.post("/v1/contact-map", json=body)
    assert answer.status_code == status, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_a_map_is_answered_in_the_form_of_the_documentation(server: TestClient) -> None:
    example = {**NETS_EXAMPLES[0], "half": "siskinmoor:sisklet-p04", "mate": "siskinmoor:sisklet-r04"}
    found = asked(server, **{**example, "contacts": [*example["contacts"], {"contact": "5"}, {"contact": "6"}]})
    assert found["sure"]
    assert [each["mate_contact"] for each in found["contacts"]] == ["1", "2", "3", "4", "5", "6"]
    assert {view["side"] for view in found["views"]} == {"mating_face", "board_side"}
    assert found["misplaced"][0]["displacement"] == "turned"


@pytest.mark.parametrize(
    ("body", "field", "said"),
    [
        ({"half": "ouzelby:mossipet-p25"}, "half", "no half of the catalogue has the key"),
        ({"half": PLUG, "mate": "ouzelby:nothing"}, "mate", "no half of the catalogue has the key"),
        ({"half": PLUG, "mate": "ouzelby:mossipet-r30"}, "mate", "no mating of"),
        ({"half": PLUG, "mate": RECEPTACLE, "mating": "x"}, "mating", "have no mating 'x'"),
        ({"half": PLUG, "contacts": [{"contact": "25"}]}, "contacts[0].contact", "has no contact 25"),
        ({"half": PLUG, "contacts": [{"contact": "1"}]}, "contacts", "23 of the half's contacts are missing"),
        ({"half": PLUG, "contacts": [{"contact": "1", "nett": "GND"}]}, "contacts[0].nett", ""),
        ({"half": PLUG, "seen_from": "behind"}, "seen_from", ""),
        ({"half": PLUG, "fold": "twice"}, "fold", ""),
        ({"half": PLUG, "contacts": [{"contact": "1", "net": "x" * 61}]}, "contacts[0].net", ""),
    ],
)
def test_bad_input_is_named_with_its_field_and_remedy(
    server: TestClient, body: dict[str, Any], field: str, said: str
) -> None:
    problem = asked(server, 422, **body)
    (error,) = problem["errors"]
    assert error["field"] == field
    assert said in error["message"]
    assert error["remedy"]


@pytest.fixture
def shop(empty_url: str) -> Any:
    with workshop(empty_url) as made:
        yield made


def test_where_sources_disagree_the_mating_has_to_be_chosen(shop: Workshop) -> None:
    other = mating(half=HALF, other=MATE, correspondence="identity", contact_map=[], basis="inferred")
    listed = mating(half=HALF, other=MATE)
    from catalog.history.acts import Act
    from catalog.history.addition import add

    with shop.catalogue.writing() as session:
        add(session, [other, listed], Act(actor="Ida Finch"))
    problem = asked(shop.server, 422, half=HALF, mate=MATE)
    (error,) = problem["errors"]
    assert error["field"] == "mating"
    assert "sources disagree" in error["message"]
    assert other.faced().key in error["remedy"]
    assert asked(shop.server, half=HALF, mate=MATE, mating=other.key)["correspondence"] == "identity"
    assert asked(shop.server, half=HALF, mate=MATE, mating=listed.key)["correspondence"] == "listed"
