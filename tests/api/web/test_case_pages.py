"""The pages of cases: who sees them, who may say what, how they end; a private case appears nowhere else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.web.browsed import HOSTILE, Browser, browser, filled, form_with, no_markup_of, problems_of, unchanged
from tests.api.web.page_reading import check_form
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, MATE, PER, WREN

MEASURED = "/cases/new?contact_count=13&rows=2&body_length=7.41@caliper&pitch=3.81/6"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def saved(person: Browser, visibility: str = "public", title: str = "recorder from the reed bed") -> str:
    fields = filled(form_with(person.open(MEASURED).text, "title"), title=title, visibility=visibility)
    sent = person.send("/cases/new", fields)
    assert sent.status_code == 303, problems_of(sent.text)
    return sent.headers["location"].partition("?")[0]


def test_saving_a_case_needs_a_session_and_a_form_of_this_server(shop: Workshop) -> None:
    page = browser(shop).open(MEASURED)
    assert "body length 7.41" in page.text
    assert "/sign-in?to=" in page.text
    fields = filled(form_with(browser(shop, IDA).open(MEASURED).text, "title"), title="x")
    with unchanged(shop):
        assert browser(shop).send("/cases/new", fields).status_code == 401
        assert browser(shop, IDA).elsewhere("/cases/new", fields).status_code in (401, 403)


def test_a_case_needs_a_title_and_an_observation_and_keeps_the_observations(shop: Workshop) -> None:
    person = browser(shop, IDA)
    with unchanged(shop):
        refused = person.send("/cases/new", form_with(person.open(MEASURED).text, "title"))
        nothing = person.send("/cases/new", [("title", "x")])
    assert "title" in problems_of(refused.text)
    assert "body length 7.41" in check_form(refused.text).text
    assert ("bench.pitch", "3.81/6") in form_with(refused.text, "title")
    assert nothing.status_code == 422
    assert "Begin on the bench" in person.open("/cases/new").text


def test_a_case_is_saved_once_and_shows_its_ranking(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = filled(form_with(person.open(MEASURED).text, "title"), title="reed bed", visibility="public")
    first, second = (person.send("/cases/new", fields).headers["location"] for _ in range(2))
    assert first == second
    page = check_form(person.open(first).text)
    assert "The case is saved" in page.text
    assert f"/halves/{HALF}" in page.links()
    assert any(link.startswith("/?") and "body_length=7.41" in link for link in page.links())
    listed = browser(shop).open("/cases")
    assert "reed bed" in check_form(listed.text).text


def test_a_private_case_is_on_no_list_and_in_no_cache(shop: Workshop) -> None:
    place = saved(browser(shop, IDA), "private", "a secret of the hide")
    for who in (None, PER, KEEPER):
        assert "a secret of the hide" not in browser(shop, who).open("/cases").text
        assert "a secret of the hide" not in browser(shop, who).open("/journal").text
    assert "a secret of the hide" in browser(shop, IDA).open("/cases").text
    shown = browser(shop).open(place)
    assert (shown.status_code, shown.headers["cache-control"]) == (200, "no-store")
    assert shown.headers["referrer-policy"] == "no-referrer"


def test_a_suggestion_needs_a_reason_and_a_known_half(shop: Workshop) -> None:
    place, per = saved(browser(shop, IDA)), browser(shop, PER)
    fields = form_with(per.open(place).text, "text")
    with unchanged(shop):
        assert "text" in problems_of(per.send(place, filled(fields, half=HALF, do="comment")).text)
        unknown = per.send(place, filled(fields, half="nobody:none", text="the latch", do="comment"))
        assert browser(shop).send(place, filled(fields, text="me too", do="comment")).status_code == 401
        assert per.elsewhere(place, filled(fields, text="me too", do="comment")).status_code in (401, 403)
    assert unknown.status_code in (404, 422)
    assert "the latch" in unknown.text
    whole = filled(fields, half=HALF, text="the latch is the same", do="comment")
    for _ in range(2):
        assert per.send(place, whole).headers["location"] == f"{place}?said=commented"
    shown = check_form(browser(shop).open(place).text).text
    assert shown.count("the latch is the same") == 1
    assert "The ranking puts it in place" in shown


def test_only_its_author_or_a_maintainer_closes_a_case(shop: Workshop) -> None:
    place = saved(browser(shop, IDA))
    per, ida = browser(shop, PER), browser(shop, IDA)
    fields = filled(form_with(ida.open(place).text, "accept.half"), do="accept", accept__half=HALF)
    assert "Mark as solved</button>" not in per.open(place).text
    with unchanged(shop):
        assert per.send(place, fields).status_code == 403
        assert per.send(place, filled(fields, do="withdraw", close__reason="mine")).status_code == 403
        assert per.send(place, filled(fields, do="private")).status_code == 403
        assert ida.send(place, filled(fields, tag="1-1")).status_code == 412
        assert ida.send(place, filled(fields, accept__half="nobody:none")).status_code in (404, 422)


def test_solving_a_case_confirms_the_half_with_the_measurements(shop: Workshop) -> None:
    place, ida = saved(browser(shop, IDA)), browser(shop, IDA)
    fields = filled(form_with(ida.open(place).text, "accept.half"), do="accept", accept__half=HALF)
    for _ in range(2):
        assert ida.send(place, fields).headers["location"] == f"{place}?said=solved"
    assert "The measurements now confirm that half" in check_form(ida.open(place).text).text
    (kept,) = shop.server.get(f"/v1/halves/{HALF}/evidence").json()["confirmations"]
    assert kept["author"] == IDA


def test_authors_cannot_confirm_their_own_half_with_their_own_case(shop: Workshop) -> None:
    place, wren = saved(browser(shop, WREN)), browser(shop, WREN)
    fields = filled(form_with(wren.open(place).text, "accept.half"), do="accept", accept__half=HALF)
    with unchanged(shop):
        refused = wren.send(place, filled(fields, accept__confirm="yes"))
    assert refused.status_code == 403
    assert "nobody can confirm their own" in refused.text
    sent = wren.send(place, filled(form_with(refused.text, "accept.half"), do="accept", accept__confirm=""))
    assert sent.status_code == 303
    assert "Nothing became evidence" in wren.open(place).text


def test_a_suggestion_is_accepted_with_its_own_button(shop: Workshop) -> None:
    place = saved(browser(shop, IDA))
    per, ida = browser(shop, PER), browser(shop, IDA)
    said = filled(form_with(per.open(place).text, "text"), half=MATE, text="it looks like it", do="comment")
    assert per.send(place, said).status_code == 303
    accepting = form_with(ida.open(place).text, "accept.comment")
    assert ida.send(place, filled(accepting, do="accept")).headers["location"] == f"{place}?said=solved"
    assert f"Solved: {MATE}" in check_form(browser(shop).open(place).text).text


def test_a_case_can_be_made_public_and_private_closed_and_reopened(shop: Workshop) -> None:
    place, ida = saved(browser(shop, IDA), "private"), browser(shop, IDA)

    def act(do: str, **typed: str) -> int:
        return ida.send(place, filled(form_with(ida.open(place).text, "do", do), do=do, **typed)).status_code

    assert act("public") == 303
    assert "reed bed" in browser(shop).open("/cases").text
    assert act("private") == 303
    assert browser(shop).open(place).status_code == 404  # its key was public and is no longer a secret
    assert act("withdraw") == 422
    assert act("withdraw", close__reason="given away") == 303
    assert "withdrawn" in ida.open(place).text
    keeper = browser(shop, KEEPER)
    fields = filled(form_with(keeper.open(place).text, "do", "reopen"), do="reopen", close__reason="it came back")
    assert keeper.send(place, fields).headers["location"] == f"{place}?said=reopened"


def test_hostile_text_in_a_case_appears_as_text(shop: Workshop) -> None:
    ida = browser(shop, IDA)
    fields = filled(form_with(ida.open(MEASURED).text, "title"), title=HOSTILE, note=HOSTILE, visibility="public")
    place = ida.send("/cases/new", fields).headers["location"].partition("?")[0]
    said = filled(form_with(ida.open(place).text, "text"), text=HOSTILE, do="comment")
    assert ida.send(place, said).status_code == 303
    for path in (place, "/cases"):
        no_markup_of(ida.open(path).text)
    marked = ida.open("/cases/new?marking=%3Cscript%3Ealert(1)%3C/script%3E&contact_count=13")
    no_markup_of(marked.text)
    check_form(marked.text)


def test_a_missing_case_and_a_forged_cursor_are_refused(shop: Workshop) -> None:
    assert browser(shop).open("/cases/nosuchcase").status_code == 404
    assert browser(shop).open("/cases?cursor=banana").status_code == 422
