"""The pages of the journal and of pending changes: everyone reads them, few decide."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from catalog.contribute.submission import sight
from catalog.evidence.statements import Sighting
from tests.api.web.browsed import HOSTILE, Fields, browser, filled, form_with, problems_of, unchanged
from tests.api.web.page_reading import check_form
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, PER, SERIES, WREN, by

STATE = f"/halves/{HALF}/state"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def propose(shop: Workshop, who: str = IDA, reason: str = "never made") -> str:
    """Propose the half's withdrawal; returns the key of the pending change."""
    person = browser(shop, who)
    fields = filled(form_with(person.open(STATE).text, "do", "withdraw"), do="withdraw", withdraw__reason=reason)
    assert person.send(STATE, fields).status_code == 303
    (item,) = shop.server.get("/v1/pending").json()["items"]
    return str(item["key"])


def deciding(shop: Workshop, key: str, do: str, reason: str) -> Fields:
    return [("key", key), ("do", do), (f"reason.{key}", reason), ("once", f"{do} once")]


def test_the_journal_shows_who_did_what_and_why_and_can_be_filtered(shop: Workshop) -> None:
    propose(shop)
    page = check_form(browser(shop).open("/journal").text)
    assert "never made" in page.text
    assert "/v1/journal.atom" in page.links()
    hers = check_form(browser(shop).open("/journal?actor=Ida+Finch").text)
    assert IDA in hers.text
    assert f"{WREN}:" not in hers.text
    assert "/v1/journal.atom?actor=Ida+Finch" in hers.links()
    assert "No row matches these filters" in browser(shop).open("/journal?since=2999-01-01").text
    assert "DN40" in browser(shop).open(f"/journal?series={SERIES}").text.upper()


@pytest.mark.parametrize(("query", "status", "field"), [("since=banana", 422, "since"), (f"key={HALF}", 200, "record")])
def test_an_invalid_filter_is_reported_at_its_field(shop: Workshop, query: str, status: int, field: str) -> None:
    page = browser(shop).open(f"/journal?{query}")
    assert page.status_code == status
    assert field in problems_of(page.text)
    check_form(page.text)


def test_a_forged_cursor_is_refused(shop: Workshop) -> None:
    assert browser(shop).open("/journal?cursor=banana").status_code == 422


def test_the_journal_is_read_page_by_page(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        for number in range(60):
            sight(session, by(PER), Sighting(half=HALF, device=f"recorder {number}"))
    first = check_form(browser(shop).open("/journal?record=sighting").text)
    (more,) = [link for link in first.links() if "cursor=" in link]
    second = check_form(browser(shop).open(more).text)
    assert "record=sighting" in more
    assert first.text.count(f"{PER}:") + second.text.count(f"{PER}:") == 60


def test_everyone_sees_pending_changes_and_maintainers_and_the_author_decide(shop: Workshop) -> None:
    key = propose(shop)
    for who, may in ((None, ()), (PER, ()), (IDA, ("stop",)), (KEEPER, ("hasten", "stop"))):
        text = browser(shop, who).open("/pending").text
        assert "never made" in check_form(text).text
        assert [do for do in ("hasten", "stop") if f'value="{do}"' in text] == list(may)
    with unchanged(shop):
        assert browser(shop).send("/pending", deciding(shop, key, "stop", "no")).status_code == 401
        assert browser(shop, PER).send("/pending", deciding(shop, key, "stop", "no")).status_code == 403
        assert browser(shop, IDA).send("/pending", deciding(shop, key, "hasten", "now")).status_code == 403
        assert browser(shop, KEEPER).elsewhere("/pending", deciding(shop, key, "stop", "no")).status_code in (401, 403)
        refused = browser(shop, KEEPER).send("/pending", deciding(shop, key, "stop", ""))
    assert f"reason.{key}" in problems_of(refused.text)


@pytest.mark.parametrize(("who", "do", "state"), [(KEEPER, "hasten", "withdrawn"), (IDA, "stop", "listed")])
def test_a_decision_is_carried_out_once(shop: Workshop, who: str, do: str, state: str) -> None:
    key = propose(shop)
    for _ in range(2):
        sent = browser(shop, who).send("/pending", deciding(shop, key, do, "talked over"))
        assert sent.headers["location"] == "/pending?said=decided"
    assert shop.server.get(f"/v1/halves/{HALF}").json()["state"] == state
    assert "talked over" in check_form(browser(shop).open("/pending").text).text
    again = browser(shop, who).send("/pending", [*deciding(shop, key, do, "once more")[:3], ("once", "new")])
    assert again.status_code in (404, 422)


def test_hostile_reasons_appear_as_text(shop: Workshop) -> None:
    propose(shop, reason=HOSTILE)
    for path in ("/pending", "/journal", STATE, f"/halves/{HALF}"):
        text = browser(shop, KEEPER).open(path).text
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)" in text
    filtered = browser(shop).open("/journal?actor=%3Cscript%3Ealert(1)%3C/script%3E")
    assert "<script>alert" not in filtered.text


def test_the_idempotency_key_of_one_decision_is_refused_for_the_other(shop: Workshop) -> None:
    key = propose(shop)
    keeper = browser(shop, KEEPER)
    assert keeper.send("/pending", [*deciding(shop, key, "stop", "no")[:3], ("once", "same")]).status_code == 303
    refused = keeper.send("/pending", [*deciding(shop, key, "hasten", "no")[:3], ("once", "same")])
    assert refused.status_code == 422
    assert "this form was sent before" in refused.text
