"""The maintainers' page and the page of one's own tokens: secrets are shown once, and nobody acts on themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from catalog.accounts.token_format import PREFIX
from tests.api.web.browsed import HOSTILE, Browser, Fields, browser, filled, form_with, problems_of, unchanged
from tests.api.web.page_reading import check_form
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, PER

SECRET = re.compile(rf'class="secret">({PREFIX}[\w-]+)<')


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def form(person: Browser, do: str) -> Fields:
    return form_with(person.open("/maintain").text, "do", do)


def people(shop: Workshop) -> dict[str, dict[str, object]]:
    return {each["name"]: each for each in shop.server.get("/v1/contributors").json()["items"]}


@pytest.mark.parametrize(("who", "status"), [(None, 401), (IDA, 403)])
def test_the_page_is_for_maintainers(shop: Workshop, who: str | None, status: int) -> None:
    assert browser(shop, who).open("/maintain").status_code == status
    sent = filled(form(browser(shop, KEEPER), "suspend"), do="suspend", person__name=PER, person__reason="spam")
    with unchanged(shop):
        assert browser(shop, who).send("/maintain", sent).status_code == status


def test_a_form_from_another_site_is_refused(shop: Workshop) -> None:
    keeper = browser(shop, KEEPER)
    sent = filled(form(keeper, "suspend"), do="suspend", person__name=PER, person__reason="spam")
    with unchanged(shop):
        assert keeper.elsewhere("/maintain", sent).status_code in (401, 403)
        assert keeper.elsewhere("/tokens", [("label", "x"), ("scopes", "evidence")]).status_code in (401, 403)


def test_a_contributor_is_added_once_with_a_valid_token_that_is_shown_once(shop: Workshop) -> None:
    keeper = browser(shop, KEEPER)
    sent = filled(form(keeper, "add"), do="add", new__name="Ola Reed", new__reason="met at the hide")
    first, second = keeper.send("/maintain", sent), keeper.send("/maintain", sent)
    assert first.headers["cache-control"] == "no-store"
    (secret,) = SECRET.findall(check_form(first.text).html)
    assert SECRET.findall(second.text) == []
    assert "shown when this form was first sent" in check_form(second.text).text
    assert secret not in keeper.open("/maintain").text
    me = shop.server.get("/v1/me", headers={"Authorization": f"Bearer {secret}"}).json()
    assert (me["name"], me["role"]) == ("Ola Reed", "contributor")


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"new__name": "", "new__reason": "x"}, "new.name"),
        ({"new__name": "Ola Reed", "new__reason": ""}, "new.reason"),
        ({"new__name": IDA.upper(), "new__reason": "again"}, "new.name"),
        ({"new__name": "operator", "new__reason": "x"}, "new.name"),
    ],
)
def test_an_invalid_contributor_is_reported_at_the_field(shop: Workshop, typed: dict[str, str], field: str) -> None:
    keeper = browser(shop, KEEPER)
    sent = filled(form(keeper, "add"), do="add", **typed)
    with unchanged(shop):
        refused = keeper.send("/maintain", sent)
    assert refused.status_code in (409, 422)
    assert field in problems_of(refused.text)
    check_form(refused.text)


def test_suspending_needs_a_reason_can_be_lifted_and_is_refused_for_oneself(shop: Workshop) -> None:
    keeper = browser(shop, KEEPER)
    fields = form(keeper, "suspend")
    with unchanged(shop):
        assert "person.reason" in problems_of(
            keeper.send("/maintain", filled(fields, do="suspend", person__name=PER)).text
        )
        own = filled(fields, do="suspend", person__name=KEEPER, person__reason="tired")
        assert keeper.send("/maintain", own).status_code == 403
        unknown = filled(fields, do="suspend", person__name="Nobody", person__reason="spam")
        assert keeper.send("/maintain", unknown).status_code == 404
    sent = keeper.send("/maintain", filled(fields, do="suspend", person__name=PER, person__reason="spam"))
    assert sent.headers["location"] == "/maintain?said=person"
    assert people(shop)[PER]["suspended_for"] == "spam"
    assert browser(shop, PER).send("/contribute/half", [("do", "save")]).status_code == 403
    lifted = filled(form(keeper, "lift"), do="lift", person__name=PER, person__reason="a mistake")
    assert keeper.send("/maintain", lifted).status_code == 303
    assert people(shop)[PER]["suspended_at"] is None


def test_a_role_can_be_given(shop: Workshop) -> None:
    keeper = browser(shop, KEEPER)
    sent = filled(form(keeper, "role"), do="role", person__name=IDA, person__role="maintainer", person__reason="years")
    assert keeper.send("/maintain", sent).status_code == 303
    assert people(shop)[IDA]["role"] == "maintainer"


def test_an_undo_is_previewed_first_and_then_done_once(shop: Workshop) -> None:
    per, keeper = browser(shop, PER), browser(shop, KEEPER)
    place = f"/halves/{HALF}/sighting"
    per.send(place, filled(form_with(per.open(place).text, "device"), device="nowhere at all"))
    fields = filled(form(keeper, "preview"), undo__name=PER, undo__since="2020-01-01", undo__reason="invented")
    with unchanged(shop):
        shown = keeper.send("/maintain", filled(fields, do="preview"))
    assert shown.status_code == 200, problems_of(shown.text)
    assert "What undoing the changes of Per Crake" in check_form(shown.text).text
    assert len(shop.server.get(f"/v1/halves/{HALF}/evidence").json()["sightings"]) == 1
    doing = filled(form_with(shown.text, "do", "undo"), do="undo")
    for _ in range(2):
        assert keeper.send("/maintain", doing).headers["location"] == "/maintain?said=undone"
    (sighting,) = shop.server.get(f"/v1/halves/{HALF}/evidence").json()["sightings"]
    assert sighting["state"] == "withdrawn"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"undo__since": "banana"}, "undo.since"),
        ({"undo__reason": ""}, "undo.reason"),
        ({"undo__name": ""}, "undo.name"),
    ],
)
@pytest.mark.parametrize("do", ["preview", "undo"])
def test_an_invalid_undo_is_reported_at_its_field(shop: Workshop, do: str, typed: dict[str, str], field: str) -> None:
    keeper = browser(shop, KEEPER)
    whole = filled(form(keeper, "preview"), undo__name=PER, undo__since="2020-01-01", undo__reason="spam", do=do)
    with unchanged(shop):
        refused = keeper.send("/maintain", filled(whole, **typed))
    assert field in problems_of(refused.text)


def test_open_disputes_are_listed(shop: Workshop) -> None:
    ida = browser(shop, IDA)
    place = f"/halves/{HALF}/dispute"
    ida.send(place, filled(form_with(ida.open(place).text, "feature"), feature="height", reason=HOSTILE))
    text = browser(shop, KEEPER).open("/maintain").text
    assert f"{HALF}, height" in check_form(text).text
    assert "<script>alert" not in text


def test_a_maintainer_revokes_any_token_and_others_only_their_own(shop: Workshop) -> None:
    keeper, ida = browser(shop, KEEPER), browser(shop, IDA)
    listed = shop.ask("GET", "/v1/tokens", PER).json()["items"]
    number = str(listed[0]["id"])
    with unchanged(shop):
        assert ida.send("/tokens", [("do", "revoke"), ("token", number)]).status_code == 403
        assert ida.send("/tokens", [("do", "revoke"), ("token", "banana")]).status_code == 404
        assert ida.send("/tokens", [("do", "revoke"), ("token", "9" * 30)]).status_code == 404
    assert (
        keeper.send("/maintain", [("do", "revoke"), ("token", number)]).headers["location"] == "/maintain?said=revoked"
    )
    assert shop.ask("GET", "/v1/me", PER).status_code == 401


def test_a_token_for_oneself_is_made_once_and_its_secret_is_shown_once(shop: Workshop) -> None:
    ida = browser(shop, IDA)
    fields = form_with(ida.open("/tokens").text, "expires_days")
    assert dict(fields)["expires_days"] == "365"
    sent = filled(fields, label="laptop in the hide", expires_days="10")
    first, second = ida.send("/tokens", sent), ida.send("/tokens", sent)
    (secret,) = SECRET.findall(check_form(first.text).html)
    assert first.headers["cache-control"] == "no-store"
    assert SECRET.findall(second.text) == []
    assert shop.server.get("/v1/me", headers={"Authorization": f"Bearer {secret}"}).json()["name"] == IDA
    assert "laptop in the hide" in ida.open("/tokens").text
    assert secret not in ida.open("/tokens").text


def test_a_token_needs_scopes_and_no_more_than_ones_own(shop: Workshop) -> None:
    ida = browser(shop, IDA)
    assert 'value="maintain"' not in ida.open("/tokens").text
    base = [("label", "x"), ("expires_days", "10")]
    with unchanged(shop):
        assert "scopes" in problems_of(ida.send("/tokens", base).text)
        assert ida.send("/tokens", [*base, ("scopes", "maintain")]).status_code == 403
        assert "expires_days" in problems_of(
            ida.send("/tokens", [("label", "x"), ("expires_days", "soon"), ("scopes", "evidence")]).text
        )
        assert browser(shop).send("/tokens", [*base, ("scopes", "evidence")]).status_code == 401


def test_hostile_names_and_labels_appear_as_text(shop: Workshop) -> None:
    keeper = browser(shop, KEEPER)
    refused = keeper.send(
        "/maintain", filled(form(keeper, "add"), do="add", new__name=HOSTILE * 3, new__reason=HOSTILE)
    )
    assert "<script>alert" not in refused.text
    keeper.send("/tokens", [("label", "<img src=x>"), ("scopes", "evidence"), ("expires_days", "3")])
    for path in ("/maintain", "/tokens"):
        text = keeper.open(path).text
        assert "<img src=x" not in text
        check_form(text)


def test_the_page_of_tokens_explains_itself_to_visitors(shop: Workshop) -> None:
    page = check_form(browser(shop).open("/tokens").text)
    assert "acts in your name" in page.text
    assert any(link.startswith("/sign-in?to=") for link in page.links())
