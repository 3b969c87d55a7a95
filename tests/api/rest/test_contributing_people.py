"""Contributors, one's own account and tokens over HTTP, and undoing a contributor in one call."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.rest.test_contributing import NEW, PLACE, problem
from tests.api.workshop import KEEPER, PEOPLE, Workshop, workshop, written
from tests.catalog.history.changed_entries import HALF, IDA, PER, longer


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def test_everyone_can_list_contributors(shop: Workshop) -> None:
    listed = shop.server.get("/v1/contributors").json()["items"]
    assert {each["name"]: each["role"] for each in listed} == {name: role.value for name, role in PEOPLE.items()}


def test_the_token_identifies_the_contributor(shop: Workshop) -> None:
    me = shop.ask("GET", "/v1/me", IDA).json()
    assert (me["name"], me["role"]) == (IDA, "contributor")
    assert "contribute" in me["permissions"]
    assert "maintain" not in me["permissions"]
    assert "maintain" in shop.ask("GET", "/v1/me", KEEPER).json()["permissions"]
    assert problem(shop.ask("GET", "/v1/me")) == "unauthorised"


def test_one_call_undoes_a_contributor_and_lists_what_is_kept_for_others(shop: Workshop) -> None:
    assert shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW)}).status_code == 201
    assert shop.change("PUT", PLACE, IDA, entry=written(longer())).status_code == 200
    assert shop.change("PUT", PLACE, PER, entry=written(longer(by_mm=0.6))).status_code == 200
    body = {"since": "2020-01-01", "reason": "a spree"}
    for who, status in ((None, 401), (IDA, 403)):
        assert shop.ask("POST", f"/v1/contributors/{IDA}/undo", who, json=body).status_code == status
    done = shop.ask("POST", f"/v1/contributors/{IDA}/undo", KEEPER, key="u1", json=body)
    assert done.status_code == 200, done.text
    answer = done.json()
    assert answer["taken_back"] == [{"record": "half", "key": NEW.key}]
    assert [(each["key"], each["by"]) for each in answer["kept"]] == [(HALF, [PER])]
    assert shop.server.get(f"/v1/halves/{NEW.key}").json()["state"] == "withdrawn"
    rows = [row for row in shop.server.get("/v1/journal").json()["items"] if row["batch"] == answer["batch"]]
    assert [(row["actor"], row["action"], row["reason"]) for row in rows] == [(KEEPER, "undo", "a spree")]
    again = shop.ask("POST", f"/v1/contributors/{IDA}/undo", KEEPER, json=body).json()
    assert again["taken_back"] == []


@pytest.mark.parametrize(
    ("name", "body", "status"),
    [
        ("Nobody", {"since": "2020-01-01", "reason": "r"}, 404),
        (IDA, {"since": "last week", "reason": "r"}, 422),
        (IDA, {"since": "2020-01-01"}, 422),
        (IDA, {"reason": "r"}, 422),
    ],
)
def test_an_undo_needs_a_contributor_a_time_and_a_reason(
    shop: Workshop, name: str, body: dict[str, str], status: int
) -> None:
    assert shop.ask("POST", f"/v1/contributors/{name}/undo", KEEPER, json=body).status_code == status


def test_a_suspension_takes_effect_at_once_and_can_be_lifted(shop: Workshop) -> None:
    place = f"/v1/contributors/{IDA}"
    assert shop.ask("POST", f"{place}/suspend", PER, json={"reason": "r"}).status_code == 403
    assert shop.ask("POST", f"{place}/suspend", KEEPER, json={"reason": "a slip"}).json()["suspended_for"] == "a slip"
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW)})
    assert (refused.status_code, problem(refused)) == (403, "suspended")
    assert shop.ask("POST", f"{place}/lift", KEEPER, json={}).json()["suspended_at"] is None
    assert shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW)}).status_code == 201


def test_a_maintainer_gives_roles_but_not_to_themselves(shop: Workshop) -> None:
    given = shop.ask("POST", f"/v1/contributors/{IDA}/role", KEEPER, json={"role": "maintainer"})
    assert given.json()["role"] == "maintainer"
    for action, body in (("role", {"role": "contributor"}), ("suspend", {"reason": "r"}), ("lift", {})):
        own = shop.ask("POST", f"/v1/contributors/{KEEPER}/{action}", KEEPER, json=body)
        assert (own.status_code, problem(own)) == (403, "forbidden")
    assert shop.ask("POST", f"/v1/contributors/{PER}/role", KEEPER, json={"role": "operator"}).status_code == 422


def test_a_token_is_made_shown_once_used_and_revoked(shop: Workshop) -> None:
    body = {"label": "laptop", "scopes": ["contribute"], "expires_days": 30}
    made = shop.ask("POST", "/v1/tokens", IDA, key="t1", json=body)
    assert made.status_code == 201, made.text
    secret, number = made.json()["secret"], made.json()["id"]
    headers = {"Authorization": f"Bearer {secret}"}
    assert shop.server.get("/v1/me", headers=headers).json()["scopes"] == ["contribute"]
    again = shop.ask("POST", "/v1/tokens", IDA, key="t1", json=body)
    assert (again.json()["id"], again.json()["secret"]) == (number, None)
    listed = shop.ask("GET", "/v1/tokens", IDA)
    assert secret not in listed.text
    assert "laptop" in [each["label"] for each in listed.json()["items"]]
    ended = shop.ask("POST", f"/v1/tokens/{number}/revoke", IDA)
    assert ended.json()["state"] == "revoked"
    assert shop.server.get("/v1/me", headers=headers).status_code == 401


def test_the_secret_is_nowhere_in_the_database(shop: Workshop) -> None:
    made = shop.ask("POST", "/v1/tokens", IDA, key="t1", json={})
    with shop.catalogue.reading() as session:
        connection = session.connection().connection
        dump = "\n".join(connection.iterdump())
    assert made.json()["secret"] not in dump
    assert made.json()["start"] in dump


def test_a_token_can_be_revoked_by_its_prefix_too(shop: Workshop) -> None:
    start = shop.ask("POST", "/v1/tokens", IDA, json={}).json()["start"]
    assert shop.ask("POST", f"/v1/tokens/{start}/revoke", IDA).json()["state"] == "revoked"
    assert shop.ask("POST", "/v1/tokens/oh_zzzzz/revoke", IDA).status_code == 422


def test_only_a_maintainer_revokes_tokens_of_others(shop: Workshop) -> None:
    number = shop.ask("POST", "/v1/tokens", IDA, json={}).json()["id"]
    assert shop.ask("POST", f"/v1/tokens/{number}/revoke", PER).status_code == 403
    assert shop.ask("GET", "/v1/tokens", PER, params={"contributor": IDA}).status_code == 403
    assert shop.ask("GET", "/v1/tokens", KEEPER, params={"contributor": IDA}).status_code == 200
    assert shop.ask("POST", f"/v1/tokens/{number}/revoke", KEEPER).json()["revoked_by"] == KEEPER


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"scopes": ["maintain"]}, 403),
        ({"scopes": []}, 422),
        ({"scopes": ["everything"]}, 422),
        ({"expires_days": 731}, 422),
        ({"expires_days": 0}, 422),
        ({"label": "a\u202eb"}, 422),
        ({"contributor": PER}, 422),
    ],
)
def test_an_invalid_token_request_is_refused(shop: Workshop, body: dict[str, object], status: int) -> None:
    assert shop.ask("POST", "/v1/tokens", IDA, json=body).status_code == status
