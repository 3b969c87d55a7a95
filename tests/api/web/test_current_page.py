"""The page of the current through a half, and how ratings and cautions stand on the half's own page."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from api.identification.cautions import CAUTIONS, cautions_before
from api.schemas.words import NOT_RATED
from api.web.page.addresses import asked, half_page
from catalog.history.changes import withdraw
from tests.api.web.page_reading import HTML, Page, check_form
from tests.api.web.test_entry_pages import act, revised
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import HALF, WREN

RATED, TOO_SMALL = "ouzelby:mossipet-p40", "ouzelby:mossipet-p24"
FLOWS = {"current_a": "0,8", "supply_contacts": "4", "return_contacts": "4", "ambient_c": "40"}


@pytest.fixture
def shop(empty_url: str) -> Iterator[Workshop]:
    with workshop(empty_url) as made:
        yield made


def read(server: TestClient, key: str, tail: str = "", status: int = 200, **typed: str) -> Page:
    answer = server.get(asked(half_page(key, tail), typed), headers=HTML)
    assert answer.status_code == status, answer.text
    return check_form(answer.text)


def test_the_page_asks_and_keeps_what_was_typed_beside_the_answer(server: TestClient) -> None:
    assert half_page(RATED, "/current") in read(server, RATED).links()
    form = read(server, RATED, "/current")
    assert "Allowed" not in form.text
    answered = read(server, RATED, "/current", **FLOWS, mate="ouzelby:mossipet-r40")
    for words in ("Enough by the stated ratings", "It rests on:", "contacts loaded: 30", "19.2 mW", "24 mV", "0.2939"):
        assert words in answered.text
    assert answered.values("current_a") == ["0,8"]
    assert 'value="ouzelby:mossipet-r40" selected' in answered.html


def test_what_is_missing_is_listed_where_nothing_can_be_said(server: TestClient) -> None:
    page = read(server, TOO_SMALL, "/current", **FLOWS)
    assert "Not known" in page.text
    assert f"{NOT_RATED}; the stated one was taken with 30 contacts loaded" in page.text
    assert "Missing to say enough: a current taken with 8 to 24 contacts loaded" in page.text


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("current_a", "0", "must be above 0"),
        ("current_a", "", "Field required"),
        ("supply_contacts", "four", "give a whole number"),
        ("supply_contacts", "40", "supply and return need 44 contacts"),
        ("ambient_c", "−300", "below absolute zero"),
        ("mate", "ouzelby:mossipet-r4O", "no half has the key"),
    ],
)
def test_wrong_input_is_said_at_its_field(server: TestClient, field: str, typed: str, words: str) -> None:
    page = read(server, RATED, "/current", status=422, **{**FLOWS, field: typed})
    assert words in page.text
    assert "Enough" not in page.text


def test_a_half_that_is_not_listed_has_no_such_page(server: TestClient, shop: Workshop) -> None:
    assert RATED in read(server, "ouzelby:mossipet-p4O", "/current", status=404).html
    with shop.catalogue.writing() as session:
        withdraw(session, act(WREN), "half", HALF)
    assert half_page(HALF, "/current") not in read(shop.server, HALF).links()
    read(shop.server, HALF, "/current", status=404)


def test_a_rating_is_shown_with_its_loaded_contacts_and_never_beside_a_smaller_half(
    server: TestClient, shop: Workshop
) -> None:
    assert "0.3 A, with 30 contacts loaded at once, 30 K above the ambient" in read(server, RATED).text
    small = read(server, TOO_SMALL).text
    assert NOT_RATED in small
    assert "0.3 A" not in small
    assert "60 mΩ" in small
    # The half has 13 contacts and no power contact.
    for loaded, words in ((13, "2 A, with 13 contacts loaded at once"), (14, NOT_RATED)):
        revised(shop, ratings={"power_contact_current_a": 2, "loaded_contacts": loaded})
        assert f"Current of a power contact{words}" in read(shop.server, HALF).text


def test_cautions_stand_by_stage_on_the_half_and_the_bench_and_before_power_beside_a_current(
    server: TestClient,
) -> None:
    for page in (read(server, RATED), check_form(server.get("/").text)):
        assert all(caution in page.text for caution in CAUTIONS)
        assert "Before soldering" in page.text
    page = read(server, RATED, "/current", **FLOWS)
    assert all(caution in page.text for cautions in cautions_before("before power").values() for caution in cautions)
