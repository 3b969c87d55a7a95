"""Pending changes over HTTP; they take effect when due without any request."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api.background.due_changes import carry_out_now
from api.service.settings import Settings
from catalog.db.database import open_catalogue
from catalog.history.journal import page
from tests.api.rest.test_contributing import PLACE, problem
from tests.api.workshop import KEEPER, Workshop, app_for, workshop, written
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, longer

SOON = timedelta(milliseconds=1)
LATE = "2100-01-01T00:00:00.000000Z"
PATIENCE_S = 20


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def withdraw(shop: Workshop, who: str = IDA, key: str = HALF) -> str:
    answer = shop.change("POST", f"/v1/halves/{key}/withdraw", who, reason="no such part")
    assert answer.status_code == 202, answer.text
    return str(answer.json()["pending"]["key"])


def test_pending_changes_are_listed_publicly_and_can_be_filtered(shop: Workshop) -> None:
    first, second = withdraw(shop), withdraw(shop, PER, MEMBER)
    listed = shop.server.get("/v1/pending").json()["items"]
    assert [(each["key"], each["action"], each["about"], each["author"]) for each in listed] == [
        (first, "withdraw", HALF, IDA),
        (second, "withdraw", MEMBER, PER),
    ]
    for query, keys in (({"author": PER}, [second]), ({"of": "half", "about": HALF}, [first]), ({"state": "done"}, [])):
        assert [each["key"] for each in shop.server.get("/v1/pending", params=query).json()["items"]] == keys
    page_one = shop.server.get("/v1/pending", params={"limit": 1}).json()
    page_two = shop.server.get("/v1/pending", params={"limit": 1, "cursor": page_one["next"]}).json()
    assert [page_one["items"][0]["key"], page_two["items"][0]["key"], page_two["next"]] == [first, second, None]


def test_only_maintainers_hasten_a_change(shop: Workshop) -> None:
    key = withdraw(shop)
    for who, status in ((None, 401), (IDA, 403), (PER, 403)):
        refused = shop.ask("POST", f"/v1/pending/{key}/hasten", who, json={"reason": "now"})
        assert refused.status_code == status
    done = shop.ask("POST", f"/v1/pending/{key}/hasten", KEEPER, json={"reason": "seen by three"})
    assert (done.json()["state"], done.json()["decided_by"]) == ("done", KEEPER)
    assert shop.server.get(f"/v1/pending/{key}").json()["decision"] == "seen by three"
    assert shop.server.get(PLACE).json()["state"] == "withdrawn"


def test_only_maintainers_and_the_author_stop_a_change(shop: Workshop) -> None:
    key = withdraw(shop)
    refused = shop.ask("POST", f"/v1/pending/{key}/stop", PER, json={"reason": "I have one"})
    assert (refused.status_code, problem(refused)) == (403, "forbidden")
    own = shop.ask("POST", f"/v1/pending/{key}/stop", IDA, json={"reason": "my mistake"})
    assert (own.status_code, own.json()["state"]) == (200, "stopped")
    other = withdraw(shop)
    assert shop.ask("POST", f"/v1/pending/{other}/stop", KEEPER, json={"reason": "it exists"}).status_code == 200
    assert shop.server.get("/v1/pending").json()["items"] == []
    assert len(shop.server.get("/v1/pending", params={"state": "all"}).json()["items"]) == 2


def test_a_decided_change_cannot_be_decided_again(shop: Workshop) -> None:
    key = withdraw(shop)
    shop.ask("POST", f"/v1/pending/{key}/stop", IDA, json={"reason": "my mistake"})
    again = shop.ask("POST", f"/v1/pending/{key}/hasten", KEEPER, json={"reason": "now"})
    assert (again.status_code, problem(again)) == (422, "invalid-entry")
    unknown = shop.ask("POST", "/v1/pending/none/hasten", KEEPER, json={"reason": "now"})
    assert (unknown.status_code, problem(unknown)) == (404, "unknown-entry")


def test_a_decision_without_reason_is_refused(shop: Workshop) -> None:
    key = withdraw(shop)
    for action in ("hasten", "stop"):
        assert shop.ask("POST", f"/v1/pending/{key}/{action}", KEEPER, json={}).status_code == 422


def test_due_changes_take_effect_before_any_other_change(tmp_path: Path) -> None:
    with workshop(f"sqlite:///{tmp_path / 'due.sqlite3'}", delay=SOON) as shop:
        tag = shop.tag(PLACE)
        withdraw(shop)
        refused = shop.ask("PUT", PLACE, PER, tag=tag, json={"entry": written(longer())})
        assert (refused.status_code, problem(refused)) == (412, "stale-revision")


def test_due_changes_take_effect_without_traffic(tmp_path: Path) -> None:
    with workshop(f"sqlite:///{tmp_path / 'due.sqlite3'}", delay=SOON, looked_every_s=0.05) as shop:
        withdraw(shop)
        deadline = time.monotonic() + PATIENCE_S
        while shop.server.get(PLACE).json()["state"] == "listed" and time.monotonic() < deadline:
            time.sleep(0.05)
        assert shop.server.get(PLACE).json()["state"] == "withdrawn"


def test_a_server_that_starts_late_catches_up(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'due.sqlite3'}"
    with workshop(url, delay=SOON) as shop:
        withdraw(shop)
    with TestClient(app_for(Settings(database_url=url))) as server:
        deadline = time.monotonic() + PATIENCE_S
        while server.get(PLACE).json()["state"] == "listed" and time.monotonic() < deadline:
            time.sleep(0.05)
        assert server.get(PLACE).json()["state"] == "withdrawn"


def test_many_workers_carry_out_a_change_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = f"sqlite:///{tmp_path / 'due.sqlite3'}"
    with workshop(url) as shop:
        keys = [withdraw(shop, key=f"dunnock-sons:dn40pa-0{size}") for size in (10, 20, 40)]
        monkeypatch.setattr("api.background.due_changes.now", lambda: LATE)
        workers = [open_catalogue(url) for _ in range(6)]
        with ThreadPoolExecutor(6) as pool:
            done = list(pool.map(carry_out_now, workers))
        for worker in workers:
            worker.close()
        assert sum(done) == len(keys) == 3
        with shop.catalogue.reading() as session:
            rows = [row for row in page(session, limit=500) if row.action in ("withdraw", "carry out")]
        assert len(rows) == 6


def test_looking_for_due_changes_does_not_lock_out_writers(shop: Workshop) -> None:
    withdraw(shop)
    version = shop.catalogue.version()
    with shop.catalogue.writing():
        assert carry_out_now(shop.catalogue) == 0
    assert shop.catalogue.version() == version


def test_a_locked_catalogue_is_retried(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalog.db.database.BUSY_SECONDS", 0.05)
    key = withdraw(shop)
    monkeypatch.setattr("api.background.due_changes.now", lambda: LATE)
    with shop.catalogue.writing():
        assert carry_out_now(shop.catalogue) == 0
    assert carry_out_now(shop.catalogue) == 1
    assert shop.server.get(f"/v1/pending/{key}").json()["state"] == "done"
