"""The pages of evidence: own figures refused, stale figures reported, disputes opened, answered and resolved."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.web.browsed import (
    HOSTILE,
    Browser,
    Fields,
    browser,
    filled,
    form_with,
    no_markup_of,
    problems_of,
    unchanged,
)
from tests.api.web.page_reading import check_form
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, MATE, PER, SERIES, WREN

PLACE = f"/halves/{HALF}"
CONFIRM, DISPUTE, SIGHTING = (f"{PLACE}/{name}" for name in ("confirm", "dispute", "sighting"))


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def measuring(person: Browser, **values: str) -> Fields:
    """The form for confirming by measurement."""
    typed = {f"values__{name}__value": text for name, text in values.items()}
    return filled(form_with(person.open(CONFIRM).text, "basis"), **typed)


def evidence(shop: Workshop) -> dict[str, list[dict[str, object]]]:
    found: dict[str, list[dict[str, object]]] = shop.server.get(f"/v1{PLACE}/evidence").json()
    return found


@pytest.mark.parametrize("path", [CONFIRM, DISPUTE, SIGHTING])
def test_giving_evidence_needs_a_session_and_a_form_of_this_server(shop: Workshop, path: str) -> None:
    page = browser(shop).open(path)
    assert "Sign in and come back here" in page.text
    assert f'action="{path}"' not in page.text
    fields = form_with(browser(shop, IDA).open(path).text, "once")
    with unchanged(shop):
        assert browser(shop).send(path, fields).status_code == 401
        assert browser(shop, IDA).elsewhere(path, fields).status_code in (401, 403)


def test_authors_cannot_confirm_their_own_figures_by_measuring_and_the_page_says_why(shop: Workshop) -> None:
    wren = browser(shop, WREN)
    assert "These figures are your own" in wren.open(CONFIRM).text
    fields = measuring(browser(shop, IDA), body_length="7.41")
    with unchanged(shop):
        refused = wren.send(CONFIRM, fields)
    assert refused.status_code == 403
    assert "nobody can confirm their own" in refused.text
    assert check_form(refused.text).values("values.body_length.value") == ["7.41"]
    assert 'name="citation.title"' in wren.open(f"{CONFIRM}?by=document").text


def test_a_measurement_is_saved_once_with_instrument_and_gaps(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = measuring(person, body_length="7.41, 7.43", pitch="3.81/6", contact_count="13")
    for _ in range(2):
        sent = person.send(CONFIRM, fields)
        assert sent.headers["location"] == f"{PLACE}?said=confirmed", problems_of(sent.text)
    (kept,) = evidence(shop)["confirmations"]
    values = {each["feature"]: each for each in kept["confirmation"]["values"]}  # type: ignore[index]
    assert values["pitch"]["value"] == pytest.approx(0.635)
    assert values["body_length"]["readings"] == [7.41, 7.43]
    assert values["body_length"]["instrument"] == "caliper"
    assert values["contact_count"]["value"] == 13


def test_a_stated_uncertainty_overrides_that_of_the_instrument(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = filled(measuring(person, body_length="7.41"), values__body_length__u="0.012")
    assert person.send(CONFIRM, fields).status_code == 303
    (value,) = evidence(shop)["confirmations"][0]["confirmation"]["values"]  # type: ignore[index]
    assert value["u"] == 0.012


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"body_length": "long"}, "values.body_length.value"),
        ({"body_length": "<=7"}, "values.body_length.value"),
        ({"contact_count": "many", "pitch": "0.635"}, "values.contact_count.value"),
    ],
)
def test_an_unreadable_reading_is_reported_at_its_field(shop: Workshop, typed: dict[str, str], field: str) -> None:
    person = browser(shop, IDA)
    refused = person.send(CONFIRM, measuring(person, **typed))
    assert refused.status_code == 422
    assert field in problems_of(refused.text)
    check_form(refused.text)


def test_an_uncertainty_that_is_not_a_number_is_reported_at_its_field(shop: Workshop) -> None:
    person = browser(shop, IDA)
    refused = person.send(CONFIRM, filled(measuring(person, body_length="7.4"), values__body_length__u="small"))
    assert "values.body_length.u" in problems_of(refused.text)


def test_an_empty_measurement_is_refused(shop: Workshop) -> None:
    person = browser(shop, IDA)
    with unchanged(shop):
        refused = person.send(CONFIRM, measuring(person))
    assert refused.status_code == 422
    assert "at least one dimension" in refused.text


def test_a_figure_in_the_wrong_unit_needs_a_reason(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = filled(measuring(person, body_length="0.2913"), values__body_length__u="0.0004")
    with unchanged(shop):
        refused = person.send(CONFIRM, fields)
    assert refused.status_code == 409
    assert "acknowledge.units-slip" in problems_of(refused.text)
    check_form(refused.text)
    again = filled(form_with(refused.text, "basis"), **{"acknowledge__units-slip": "it is a model at a small scale"})
    assert person.send(CONFIRM, again).status_code == 303


def test_a_measurement_of_changed_figures_is_refused_with_the_changes_and_keeps_what_was_typed(shop: Workshop) -> None:
    ida, wren = browser(shop, IDA), browser(shop, WREN)
    mine = measuring(ida, body_length="7.41")
    change = form_with(wren.open(f"{PLACE}/revise").text, "maker")
    assert (
        wren.send(f"{PLACE}/revise", filled(change, do="save", dimensions__body_length__value="7.6")).status_code == 303
    )
    with unchanged(shop):
        refused = ida.send(CONFIRM, mine)
    assert refused.status_code == 412
    page = check_form(refused.text)
    assert "body length 7.4 → 7.6" in page.text
    assert page.values("values.body_length.value") == ["7.41"]
    assert ida.send(CONFIRM, form_with(refused.text, "basis")).status_code == 303


def test_a_measurement_refused_for_its_values_still_shows_the_changes(shop: Workshop) -> None:
    ida, wren = browser(shop, IDA), browser(shop, WREN)
    mine = measuring(ida, body_length="long")
    change = filled(
        form_with(wren.open(f"{PLACE}/revise").text, "maker"), do="save", dimensions__body_length__value="7.6"
    )
    assert wren.send(f"{PLACE}/revise", change).status_code == 303
    unread = ida.send(CONFIRM, mine)
    assert unread.status_code == 422
    with unchanged(shop):
        refused = ida.send(CONFIRM, filled(form_with(unread.text, "basis"), values__body_length__value="7.41"))
    assert refused.status_code == 412
    assert "body length 7.4 → 7.6" in check_form(refused.text).text


def test_a_document_needs_revision_and_page(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open(f"{CONFIRM}?by=document").text, "basis")
    refused = person.send(CONFIRM, filled(fields, citation__title="SK leaflet"))
    assert refused.status_code == 422
    assert "revision and page" in refused.text
    whole = filled(
        fields, citation__title="SK leaflet", citation__revision="C", citation__page="2", stated__height__value="1"
    )
    assert person.send(CONFIRM, whole).status_code == 303


def test_a_series_is_confirmed_only_by_a_document(shop: Workshop) -> None:
    page = browser(shop, IDA).open(f"/series/{SERIES}/confirm?by=measured")
    assert 'value="document"' in page.text
    assert "I tried the fit" not in page.text
    fields = filled(form_with(page.text, "basis"), citation__title="DN40", citation__revision="B", citation__page="1")
    sent = browser(shop, IDA).send(f"/series/{SERIES}/confirm", fields)
    assert sent.headers["location"] == f"/series/{SERIES}?said=confirmed"


def test_a_trial_fit_needs_a_known_half(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open(f"{CONFIRM}?by=trial_fit").text, "basis")
    unknown = person.send(CONFIRM, filled(fields, mate="nobody:none", result="mates"))
    assert unknown.status_code == 404
    check_form(unknown.text)
    assert person.send(CONFIRM, filled(fields, mate=MATE, result="mates", once="another")).status_code == 303


def test_a_dispute_needs_a_reason_and_is_opened_once(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open(DISPUTE).text, "feature")
    with unchanged(shop):
        assert "reason" in problems_of(person.send(DISPUTE, fields).text)
    whole = filled(fields, feature="height", reason="two parts measure 1.3")
    for _ in range(2):
        assert person.send(DISPUTE, whole).headers["location"] == f"{PLACE}?said=disputed"
    assert len(evidence(shop)["disputes"]) == 1
    assert "two parts measure 1.3" in person.open(DISPUTE).text


def opened(shop: Workshop, who: str = IDA, reason: str = "two parts measure 1.3") -> str:
    person = browser(shop, who)
    person.send(DISPUTE, filled(form_with(person.open(DISPUTE).text, "feature"), reason=reason))
    return f"/disputes/{evidence(shop)['disputes'][-1]['key']}"


def test_others_answer_a_dispute_and_only_a_maintainer_resolves_it(shop: Workshop) -> None:
    place = opened(shop)
    per, keeper = browser(shop, PER), browser(shop, KEEPER)
    assert "Resolve it</button>" not in per.open(place).text
    answer = filled(form_with(per.open(place).text, "answer.reason"), answer__reason="mine measures 1.0")
    assert per.send(place, answer).headers["location"] == f"{place}?said=answered"
    assert "mine measures 1.0" in keeper.open(place).text
    settling = form_with(keeper.open(place).text, "do", "settle")
    whole = filled(settling, do="settle", settle__outcome="entry_stands", settle__reason="the tabs were measured")
    with unchanged(shop):
        assert "settle.reason" in problems_of(keeper.send(place, filled(settling, do="settle")).text)
        assert per.send(place, whole).status_code == 403
        assert keeper.send(place, filled(whole, tag="1-1")).status_code == 412
    assert keeper.send(place, whole).headers["location"] == f"{place}?said=settled"
    assert "Resolved by Mia Dunn" in check_form(keeper.open(place).text).text


def test_confirmations_to_set_aside_are_shown_with_person_and_basis(shop: Workshop) -> None:
    ida = browser(shop, IDA)
    assert ida.send(CONFIRM, measuring(ida, body_length="7.41")).status_code == 303
    document = form_with(ida.open(f"{CONFIRM}?by=document").text, "basis")
    cited = filled(document, citation__title="SK leaflet", citation__revision="C", citation__page="2")
    assert ida.send(CONFIRM, cited).status_code == 303
    page = browser(shop, KEEPER).open(opened(shop, PER)).text
    assert f"{IDA} measured it, " in page
    assert f"{IDA} read a document, " in page


def test_the_author_of_a_dispute_can_withdraw_it(shop: Workshop) -> None:
    place = opened(shop)
    person = browser(shop, IDA)
    fields = filled(form_with(person.open(place).text, "do", "settle"), do="settle", settle__reason="a slip of mine")
    assert ("settle.outcome", "dispute_withdrawn") in fields
    assert person.send(place, fields).status_code == 303


def test_a_sighting_needs_a_device_and_is_saved_once(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open(SIGHTING).text, "device")
    assert "device" in problems_of(person.send(SIGHTING, fields).text)
    for _ in range(2):
        sent = person.send(SIGHTING, filled(fields, device="reed bed recorder 3", board="power board"))
        assert sent.headers["location"] == f"{PLACE}?said=sighted"
    assert len(evidence(shop)["sightings"]) == 1


def test_hostile_text_in_evidence_appears_as_text_everywhere(shop: Workshop) -> None:
    person = browser(shop, IDA)
    place = opened(shop, reason=HOSTILE)
    person.send(place, filled(form_with(person.open(place).text, "answer.reason"), answer__reason=HOSTILE))
    sighted = filled(form_with(person.open(SIGHTING).text, "device"), device=HOSTILE, board=HOSTILE, note=HOSTILE)
    assert person.send(SIGHTING, sighted).status_code == 303
    noted = filled(measuring(person, body_length="7.41"), note=HOSTILE)
    assert person.send(CONFIRM, noted).status_code == 303
    for path in (place, DISPUTE, PLACE, "/journal?record=dispute"):
        page = person.open(path)
        assert page.status_code == 200
        if path.startswith("/journal"):
            assert "<script>alert" not in page.text
        else:
            no_markup_of(page.text)
    typed = person.send(CONFIRM, measuring(person, body_length=HOSTILE))
    assert typed.status_code == 422
    no_markup_of(typed.text)


def test_every_page_of_evidence_has_valid_markup_for_every_reader(shop: Workshop) -> None:
    for path in (CONFIRM, f"{CONFIRM}?by=document", f"{CONFIRM}?by=trial_fit", DISPUTE, SIGHTING):
        for who in (None, IDA, WREN, KEEPER):
            check_form(browser(shop, who).open(path).text)
