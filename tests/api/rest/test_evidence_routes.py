"""Evidence over HTTP: who may give it and about what, how it is judged, disputed, resolved and withdrawn."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.api.rest.test_contributing import problem
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, PER, WREN
from tests.catalog.model.entry_examples import half

PITCH = half().dimensions["pitch"].value
EVIDENCE = f"/v1/halves/{HALF}/evidence"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def measured(revision: int = 1, value: float = PITCH, **more: Any) -> dict[str, Any]:
    values = [{"feature": "pitch", "value": value, "u": 0.004}]
    return {"of": "half", "key": HALF, "revision": revision, "basis": "measured", "values": values} | more


def confirm(shop: Workshop, who: str, acknowledge: dict[str, str] | None = None, **said: Any) -> Any:
    body = {"confirmation": measured(**said), "acknowledge": acknowledge or {}}
    return shop.ask("POST", "/v1/confirmations", who, json=body)


def dispute(shop: Workshop, who: str, reason: str = "the drawing has two rows more") -> str:
    body = {"of": "half", "key": HALF, "revision": 1, "reason": reason}
    made = shop.ask("POST", "/v1/disputes", who, json=body)
    assert made.status_code == 201, made.text
    return str(made.json()["key"])


def standing(shop: Workshop) -> str:
    return str(shop.server.get(EVIDENCE).json()["standing"])


def test_two_agreeing_measurements_by_others_confirm_a_half(shop: Workshop) -> None:
    assert confirm(shop, IDA).status_code == 201
    assert standing(shop) == "reported"
    told = shop.server.get(EVIDENCE).json()
    assert any("by a person other" in sentence for sentence in told["why"])
    assert confirm(shop, PER).status_code == 201
    assert standing(shop) == "confirmed"
    assert shop.server.get(f"/v1/halves/{HALF}").json()["standing"] == "confirmed"
    (first, _) = shop.server.get(EVIDENCE).json()["confirmations"]
    assert (first["author"], first["counts"], first["agrees"]) == (IDA, True, True)
    assert first["agreement"][0]["e_n"] < 1


def test_two_measurements_by_one_person_count_as_one(shop: Workshop) -> None:
    confirm(shop, IDA)
    confirm(shop, IDA)
    assert standing(shop) == "reported"


def test_the_author_cannot_confirm_their_own_figures_by_measuring(shop: Workshop) -> None:
    refused = confirm(shop, WREN)
    assert (refused.status_code, problem(refused)) == (403, "own-evidence")
    assert shop.server.get("/v1/confirmations").json()["items"] == []


def test_the_author_may_cite_a_drawing(shop: Workshop) -> None:
    citation = {"title": "SK leaflet", "revision": "B", "page": "4"}
    said = measured(basis="document", values=[], citation=citation)
    made = shop.ask("POST", "/v1/confirmations", WREN, json={"confirmation": said})
    assert made.status_code == 201, made.text


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"values": []}, "confirmation"),
        ({"values": [{"feature": "pitch", "value": PITCH}]}, "values"),
        ({"values": [{"feature": "stack_height", "value": 1.0, "u": 0.01}]}, "confirmation"),
        ({"basis": "document"}, "confirmation"),
        ({"basis": "trial_fit", "values": []}, "confirmation"),
        ({"note": "a\u202eb"}, "note"),
        ({"note": "x" * 3000}, "note"),
    ],
)
def test_evidence_without_the_fields_of_its_basis_is_refused_with_the_field(
    shop: Workshop, changes: dict[str, Any], field: str
) -> None:
    refused = shop.ask("POST", "/v1/confirmations", IDA, json={"confirmation": measured(**changes)})
    assert (refused.status_code, problem(refused)) == (422, "invalid-request")
    error = refused.json()["errors"][0]
    assert field in error["field"]
    assert error["message"]
    assert shop.server.get("/v1/confirmations").json()["items"] == []


def test_evidence_about_figures_changed_since_is_stale(shop: Workshop) -> None:
    entry = shop.server.get(f"/v1/halves/{HALF}").json()["half"]
    entry["dimensions"]["pitch"]["value"] = PITCH + 0.002
    revised = shop.change("PUT", f"/v1/halves/{HALF}", IDA, entry=entry)
    assert revised.status_code == 200, revised.text
    refused = confirm(shop, PER, revision=1)
    assert (refused.status_code, problem(refused)) == (412, "stale-revision")
    assert "revision 2" in refused.json()["detail"]


def test_evidence_about_a_missing_revision_is_refused(shop: Workshop) -> None:
    assert problem(confirm(shop, IDA, revision=99)) == "stale-revision"


def test_a_figure_that_fits_only_in_another_unit_needs_a_reason(shop: Workshop) -> None:
    length = half().dimensions["body_length"].value
    values = [{"feature": "body_length", "value": round(length / 25.4, 4), "u": 0.0005}]
    refused = confirm(shop, IDA, values=values)
    assert (refused.status_code, problem(refused)) == (409, "review-refused")
    assert "7.399 mm would" in refused.json()["errors"][0]["message"]
    taken = confirm(shop, IDA, acknowledge={"units-slip": "read twice, the display says mm"}, values=values)
    assert taken.status_code == 201
    assert standing(shop) == "disputed"


def test_a_measurement_far_off_disputes_the_entry_and_a_maintainer_may_set_it_aside(shop: Workshop) -> None:
    far = confirm(shop, IDA, value=PITCH * 1.3).json()["key"]
    assert standing(shop) == "disputed"
    key = dispute(shop, PER, "the measurement must be another part")
    place = f"/v1/disputes/{key}"
    resolution = {"outcome": "entry_stands", "reason": "measured over the wrong gaps", "set_aside": [far]}
    stranger = shop.ask("POST", f"{place}/resolve", IDA, tag=_tag(shop, place), json={"resolution": resolution})
    assert (stranger.status_code, problem(stranger)) == (403, "forbidden")
    settled = shop.ask("POST", f"{place}/resolve", KEEPER, tag=_tag(shop, place), json={"resolution": resolution})
    assert settled.status_code == 200, settled.text
    assert settled.json()["state"] == "resolved"
    assert standing(shop) == "reported"
    again = shop.ask("POST", f"{place}/resolve", KEEPER, tag=_tag(shop, place), json={"resolution": resolution})
    assert problem(again) == "invalid-entry"


def test_an_open_dispute_is_shown_until_it_is_resolved_and_can_be_answered(shop: Workshop) -> None:
    key = dispute(shop, IDA)
    assert standing(shop) == "disputed"
    answered = shop.ask("POST", f"/v1/disputes/{key}/answers", WREN, json={"reason": "that is the longer sister"})
    assert answered.status_code == 201, answered.text
    told = shop.server.get(EVIDENCE).json()
    assert [each["content"]["text"] for each in told["answers"]] == ["that is the longer sister"]
    withdrawn = {"outcome": "dispute_withdrawn", "reason": "I had the sister in hand"}
    place = f"/v1/disputes/{key}"
    settled = shop.ask("POST", f"{place}/resolve", IDA, tag=_tag(shop, place), json={"resolution": withdrawn})
    assert settled.status_code == 200, settled.text
    assert standing(shop) == "reported"


def test_resolving_a_dispute_needs_its_etag(shop: Workshop) -> None:
    key = dispute(shop, IDA)
    body = {"resolution": {"outcome": "dispute_withdrawn", "reason": "a slip"}}
    missing = shop.ask("POST", f"/v1/disputes/{key}/resolve", IDA, json=body)
    assert (missing.status_code, problem(missing)) == (428, "precondition-missing")
    tag = _tag(shop, f"/v1/disputes/{key}")
    shop.ask("POST", f"/v1/disputes/{key}/answers", PER, json={"reason": "wait, look here"})
    stale = shop.ask("POST", f"/v1/disputes/{key}/resolve", IDA, tag=tag, json=body)
    assert (stale.status_code, problem(stale)) == (412, "stale-revision")


def test_only_ones_own_confirmation_can_be_withdrawn(shop: Workshop) -> None:
    key = confirm(shop, IDA).json()["key"]
    place = f"/v1/confirmations/{key}"
    refused = shop.ask("POST", f"{place}/withdraw", PER, tag=_tag(shop, place), json={"reason": "I dislike it"})
    assert problem(refused) == "forbidden"
    taken = shop.ask("POST", f"{place}/withdraw", IDA, tag=_tag(shop, place), json={"reason": "another part"})
    assert taken.json()["state"] == "withdrawn"
    assert shop.server.get(EVIDENCE).json()["confirmations"][0]["counts"] is False


def test_a_sighting_names_the_device_and_is_listed_with_the_half(shop: Workshop) -> None:
    body = {"half": HALF, "device": "reed-bed recorder", "board": "lid board"}
    made = shop.ask("POST", "/v1/sightings", IDA, json=body)
    assert made.status_code == 201, made.text
    assert [each["content"]["device"] for each in shop.server.get(EVIDENCE).json()["sightings"]] == [body["device"]]
    unknown = shop.ask("POST", "/v1/sightings", IDA, json=body | {"half": "nobody:nothing"})
    assert problem(unknown) == "unknown-entry"


def test_evidence_with_one_idempotency_key_is_given_once(shop: Workshop) -> None:
    body = {"confirmation": measured()}
    first = shop.ask("POST", "/v1/confirmations", IDA, key="one", json=body)
    second = shop.ask("POST", "/v1/confirmations", IDA, key="one", json=body)
    assert first.json() == second.json()
    assert second.headers["idempotency-replayed"] == "true"
    assert len(shop.server.get("/v1/confirmations").json()["items"]) == 1
    other = shop.ask("POST", "/v1/confirmations", IDA, key="one", json={"confirmation": measured(note="else")})
    assert problem(other) == "key-reused"


def test_statements_come_in_pages(shop: Workshop) -> None:
    keys = [confirm(shop, who).json()["key"] for who in (IDA, PER, IDA)]
    found: list[str] = []
    cursor = None
    while True:
        query = {"limit": 2, "of": "half", "about": HALF} | ({"cursor": cursor} if cursor else {})
        page = shop.server.get("/v1/confirmations", params=query).json()
        found += [each["key"] for each in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert found == keys
    assert problem(shop.server.get("/v1/confirmations", params={"cursor": "nonsense"})) == "invalid-cursor"


@pytest.mark.parametrize("record", ["confirmations", "disputes", "sightings"])
def test_an_unknown_statement_is_not_found(shop: Workshop, record: str) -> None:
    assert problem(shop.server.get(f"/v1/{record}/nothing")) == "unknown-entry"


def _tag(shop: Workshop, place: str) -> str:
    return f'"{shop.server.get(place).json()["etag"]}"'


def test_a_cursor_of_a_list_of_statements_is_valid_only_for_its_filters(shop: Workshop) -> None:
    first, second = dispute(shop, IDA), dispute(shop, PER)
    begun = shop.server.get("/v1/disputes", params={"limit": 1}).json()
    assert [each["key"] for each in begun["items"]] == [first]
    following = shop.server.get("/v1/disputes", params={"limit": 1, "cursor": begun["next"]}).json()
    assert ([each["key"] for each in following["items"]], following["next"]) == ([second], None)
    other = shop.server.get("/v1/disputes", params={"limit": 1, "cursor": begun["next"], "author": PER})
    assert (other.status_code, problem(other)) == (422, "invalid-cursor")
