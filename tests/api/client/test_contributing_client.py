"""The typed client for changes: ETags, its own idempotency keys, and one retry after a broken connection."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

from api.client import Client, ProblemError
from catalog.model.entries import Half
from tests.api.rest.test_contributing import IMPOSSIBLE, NEW
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, SERIES, longer, wider_laws
from tests.catalog.model.entry_examples import series


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def of(shop: Workshop, who: str) -> Client:
    return Client(http=shop.server, token=shop.tokens[who])


def test_an_entry_can_be_reviewed_contributed_revised_and_withdrawn(shop: Workshop) -> None:
    ida, per = of(shop, IDA), of(shop, PER)
    assert ida.review(NEW).clean
    made = ida.contribute(NEW, reason="from the leaflet")
    assert (made.key, made.added["half"]) == (NEW.key, 1)
    stands = ida.read("half", NEW.key)
    assert stands.record.author == IDA
    changed = per.revise(NEW.key, NEW.model_copy(update={"note": "seen"}), tag=stands.tag, reason="looked")
    assert changed.revision == 2
    with pytest.raises(ProblemError) as caught:
        ida.revise(NEW.key, NEW, tag=stands.tag)
    assert caught.value.problem.status == 412
    back = ida.revert("half", NEW.key, 1, tag=changed.etag, reason="not seen")
    waits = ida.withdraw("half", NEW.key, tag=back.etag, reason="no such part")
    assert waits.pending is not None
    assert [each.key for each in ida.pending()] == [waits.pending.key]
    keeper = of(shop, KEEPER)
    assert keeper.hasten(waits.pending.key, reason="agreed").state == "done"
    restored = per.restore("half", NEW.key, tag=per.read("half", NEW.key).tag, reason="I have one")
    assert restored.state == "listed"
    told = [row.action for row in per.history("half", NEW.key, page_size=2)]
    assert [action for action in told if action in ("add", "revise", "revert", "withdraw", "restore")] == [
        "restore",
        "withdraw",
        "revert",
        "revise",
        "add",
    ]
    assert per.revision("half", NEW.key, 1).actor == IDA


def test_revising_a_series_lists_the_changes_that_follow(shop: Workshop) -> None:
    ida = of(shop, IDA)
    assert ida.review(series(), page_size=3).next is not None
    changed = ida.revise(SERIES, wider_laws(), tag=ida.read("series", SERIES).tag)
    assert MEMBER in changed.changed


def test_a_merge_can_be_proposed_and_stopped(shop: Workshop) -> None:
    ida = of(shop, IDA)
    ida.contribute(NEW)
    waits = ida.merge(NEW.key, HALF, tag=ida.read("half", NEW.key).tag, reason="one part")
    assert waits.pending is not None
    assert ida.stop(waits.pending.key, reason="two parts").state == "stopped"


def test_a_severe_finding_is_raised_with_the_code_to_acknowledge(shop: Workshop) -> None:
    ida = of(shop, IDA)
    entry = {"record": "half", **IMPOSSIBLE}
    with pytest.raises(ProblemError) as caught:
        ida.contribute(entry)
    codes = [each.acknowledge for each in caught.value.problem.errors]
    assert all(codes)
    made = ida.contribute(entry, acknowledge={code: "measured twice so" for code in codes if code})
    assert made.findings


def test_people_and_tokens_can_be_managed(shop: Workshop) -> None:
    ida, keeper = of(shop, IDA), of(shop, KEEPER)
    assert ida.me().name == IDA
    made = ida.make_token(label="laptop", scopes=["contribute"], expires_days=3)
    assert Client(http=shop.server, token=made.secret).me().scopes == ("contribute",)
    assert made.id in [each.id for each in ida.tokens().items]
    assert ida.revoke_token(made.id).state == "revoked"
    ida.contribute(NEW)
    undone = keeper.undo(IDA, since="2020-01-01", reason="a spree")
    assert [each.key for each in undone.taken_back] == [NEW.key]
    assert keeper.suspend(IDA, reason="a spree").suspended_at
    assert keeper.lift(IDA).suspended_at is None
    assert keeper.give_role(PER, "maintainer").role == "maintainer"
    assert IDA in [each.name for each in keeper.contributors().items]
    assert {row.actor for row in keeper.journal(actor=IDA)} == {IDA}


def test_without_a_token_nothing_changes(shop: Workshop) -> None:
    with pytest.raises(ProblemError) as caught:
        Client(http=shop.server).contribute(NEW)
    assert caught.value.problem.status == 401


def test_an_unknown_kind_of_entry_is_refused_before_anything_is_sent(shop: Workshop) -> None:
    with pytest.raises(ValueError, match="half, series, mating"):
        of(shop, IDA).withdraw("plug", HALF, tag="1-1", reason="r")


class Flaky(httpx2.BaseTransport):
    """Fails the first requests: breaks the connection before or after reaching the server, or says that it is busy."""

    def __init__(self, shop: Workshop, *faults: str) -> None:
        self.shop, self.faults, self.keys = shop, list(faults), list[str]()

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        self.keys.append(request.headers["Idempotency-Key"])
        fault = self.faults.pop(0) if self.faults else "none"
        if fault == "busy":
            return httpx2.Response(503, headers={"Retry-After": "0"}, json={})
        if fault == "before":
            raise httpx2.ConnectError("no route")
        answer = self.shop.server.request(
            request.method, request.url.path, content=request.read(), headers=dict(request.headers)
        )
        if fault == "after":
            raise httpx2.ReadError("the line was cut")
        return httpx2.Response(
            answer.status_code, content=answer.content, headers={"ETag": answer.headers.get("etag", "")}
        )


@pytest.mark.parametrize("fault", ["before", "after", "busy"])
def test_a_broken_or_busy_connection_is_retried_once_with_the_same_key(shop: Workshop, fault: str) -> None:
    transport = Flaky(shop, fault)
    with httpx2.Client(transport=transport, base_url="http://server") as http:
        made = Client(http=http, token=shop.tokens[IDA]).contribute(NEW)
    assert (made.key, made.added["half"]) == (NEW.key, 1)
    assert len(transport.keys) == 2
    assert len(set(transport.keys)) == 1
    assert len(list(of(shop, IDA).history("half", NEW.key))) == 1


def test_two_broken_connections_are_an_error(shop: Workshop) -> None:
    transport = Flaky(shop, "before", "before")
    with httpx2.Client(transport=transport, base_url="http://server") as http, pytest.raises(httpx2.ConnectError):
        Client(http=http, token=shop.tokens[IDA]).contribute(NEW)
    assert len(transport.keys) == 2


def test_every_change_has_its_own_idempotency_key(shop: Workshop) -> None:
    transport = Flaky(shop)
    with httpx2.Client(transport=transport, base_url="http://server") as http:
        client = Client(http=http, token=shop.tokens[IDA])
        client.contribute(NEW)
        client.revise(HALF, longer(), tag=of(shop, IDA).read("half", HALF).tag)
    assert len(set(transport.keys)) == 2


def test_an_entry_is_read_typed(shop: Workshop) -> None:
    record = of(shop, IDA).read("half", HALF).record
    assert isinstance(record.content, Half)
