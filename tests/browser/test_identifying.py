"""Identifying a demo specimen on the bench: by typing, without JavaScript, from a shared link, with the back button."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pytest

from seeds_demo.loader import Specimen, demo_specimens
from tests.browser.bench_hands import enter, leader, leading, settle
from tests.browser.places import MEASURED
from tests.browser.visits import NewPage
from tests.browser.world import half_address

if TYPE_CHECKING:
    from playwright.sync_api import Page

SPECIMENS = {each.name: each for each in demo_specimens()}

TYPED = ("loose-plug", "repeated-spans", "inches")
"""Specimens whose half leads; the input includes repeats, inches and tick boxes."""


@pytest.mark.parametrize("name", TYPED)
def test_a_specimen_is_identified_by_typing(new_page: NewPage, name: str) -> None:
    page = new_page("/")
    for field, text, gaps in typed(SPECIMENS[name]):
        enter(page, field, text, gaps)
    settle(page)
    assert leading(page) == half_address(expected(name))
    assert page.locator("li.absent").count() == 1
    assert "%" in page.locator("li.row.lead .chance").inner_text()


@pytest.mark.parametrize("name", TYPED)
def test_a_specimen_is_identified_without_javascript(new_page: NewPage, name: str) -> None:
    page = new_page("/", java_script_enabled=False)
    for field, text, gaps in typed(SPECIMENS[name]):
        enter(page, field, text, gaps)
    page.get_by_role("button", name="Show the answer").click()
    page.wait_for_url(re.compile(r"/\?.*contact_count="))
    assert leading(page) == half_address(expected(name))
    leader(page).click()
    assert page.locator("h1").inner_text() == expected(name).split(":")[1].upper()


def test_a_shared_link_shows_the_same_readings_and_the_same_answer(new_page: NewPage) -> None:
    first = new_page("/")
    for field, text, gaps in typed(SPECIMENS["loose-plug"]):
        enter(first, field, text, gaps)
    settle(first)
    for more in ({}, {"java_script_enabled": False}):
        second = new_page(first.url, **more)
        assert fields(second) == fields(first)
        assert answer(second) == answer(first)


def test_the_back_button_undoes_the_last_field_and_forward_restores_it(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "contact_count", "24")
    settle(page)
    before = answer(page)
    enter(page, "body_length", "6.63")
    settle(page)
    after = answer(page)
    assert after != before
    page.go_back()
    settle(page)
    assert page.locator("#body_length").input_value() == ""
    assert page.locator("#contact_count").input_value() == "24"
    assert answer(page) == before
    page.go_forward()
    settle(page)
    assert page.locator("#body_length").input_value() == "6.63"
    assert answer(page) == after


def test_what_is_left_of_the_half_marks_the_fields_and_goes_back_with_the_back_button(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "contact_count", "24")
    settle(page)
    page.select_option("#remains", "bare_board")
    page.wait_for_selector(".dim.gone")
    assert "remains=bare_board" in page.url
    assert page.locator("#contact_count").input_value() == "24"
    gone = page.locator(".dim.gone")
    assert "body_length" in gone.evaluate_all("found => found.map(each => each.dataset.name)")
    assert "contact_count" not in gone.evaluate_all("found => found.map(each => each.dataset.name)")
    settle(page)
    page.go_back()
    page.wait_for_function("!document.querySelector('.dim.gone')")
    assert page.locator("#remains").input_value() == ""
    assert page.locator("#contact_count").input_value() == "24"


def test_unreadable_input_is_reported_at_its_field_and_the_rest_counts(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "contact_count", "24")
    enter(page, "body_length", "six and a half")
    settle(page)
    wrong = page.locator("#body_length")
    assert wrong.get_attribute("aria-invalid") == "true"
    assert page.locator("#body_length-error").inner_text() != ""
    assert leader(page).count() == 1
    enter(page, "body_length", "6.63")
    settle(page)
    assert wrong.get_attribute("aria-invalid") is None
    assert page.locator("#body_length-error").inner_text() == ""


def test_a_bound_an_inch_reading_and_the_other_half_reach_the_address(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "height", "under 0.9")
    enter(page, "body_length", "0.261in")
    enter(page, "other.body_width", "2.5")
    settle(page)
    again = new_page(page.url)
    assert again.locator('[name="height"]').input_value() == "under 0.9"
    assert again.locator('[name="body_length"]').input_value() == "0.261in"
    assert again.locator('[name="other.body_width"]').input_value() == "2.5"
    assert again.locator("[data-error]").count() == 0


def test_the_next_measurement_is_marked_on_the_drawing(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "contact_count", "24")
    enter(page, "pitch", "4.40", "11")
    page.locator(".next-strip .bits").first.wait_for()  # the advice follows the answer
    names = (page.locator("[data-next]").get_attribute("data-next") or "").split()
    assert names
    assert page.locator(f'.dim.next[data-name="{names[0]}"], fieldset.next[data-name="{names[0]}"]').count() == 1
    assert page.locator(".next-strip .expect").inner_text().startswith("expect")


def test_signing_in_returns_to_what_was_typed(new_page: NewPage) -> None:
    page = new_page("/")
    enter(page, "contact_count", "24")
    settle(page)
    page.get_by_role("link", name="Sign in").click()
    assert page.locator('[name="to"]').input_value() == "/?contact_count=24"


def test_cautions_are_shown_beside_every_answer(new_page: NewPage) -> None:
    page = new_page("/?contact_count=24&pitch=0.4")
    assert page.locator(".cautions li").first.is_visible()


def typed(specimen: Specimen) -> Iterator[tuple[str, str, str]]:
    """The specimen's observations as a person types them: field, text, gaps."""
    for given in specimen.observations:
        yield _name(given), _text(given), str(given.get("spans", ""))


def _name(given: Mapping[str, Any]) -> str:
    of = given.get("of", "this")
    return given["feature"] if of == "this" else f"{of}.{given['feature']}"


def _text(given: Mapping[str, Any]) -> str:
    unit = given.get("unit", "mm")
    readings = given.get("readings", [given.get("value")])
    text = ",".join(f"{reading:g}" if isinstance(reading, float) else str(reading) for reading in readings)
    tool = given.get("instrument", "caliper")
    return text + ("" if unit == "mm" else unit) + ("" if tool == "caliper" else f"@{tool}")


def answer(page: Page) -> list[str]:
    """The verdict, the candidates and their probabilities."""
    return [page.locator("[data-verdict]").inner_text(), *page.locator("li.row h3, li.row .chance").all_inner_texts()]


def fields(page: Page) -> dict[str, str]:
    """The values of the fields."""
    filled = "input[name]:not([type=checkbox]), select[name], input:checked"
    pairs = page.locator(filled).evaluate_all("all => all.map(each => [each.name, each.value])")
    return {name: value for name, value in pairs if value}


def expected(name: str) -> str:
    """Key of the half that is the specimen's truth."""
    key = SPECIMENS[name].expected.half
    assert key is not None
    return key


SCREENS = [(1280, 900), (1024, 768), (390, 844)]
"""Widths and heights of a desk's, a small desk's and a phone's screen, px."""


@pytest.mark.parametrize("measured", ["", MEASURED], ids=["empty", "measured"])
@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_the_drawing_the_verdict_and_the_next_step_are_on_the_first_screen(
    new_page: NewPage, width: int, height: int, measured: str
) -> None:
    page = new_page(f"/?{measured}" if measured else "/", width=width)
    page.set_viewport_size({"width": width, "height": height})
    settle(page)
    sheet, step = _box(page, ".sheet.above"), _box(page, ".next-strip")
    assert sheet["y"] < 0.55 * height, "the drawing begins about half way down, or above"
    assert step["y"] + step["height"] < sheet["y"]
    if measured:
        said = _box(page, "[data-verdict]" if width > 992 else ".peek")
        assert said["y"] >= 0
        assert said["y"] + said["height"] <= height
    if width > 900:
        for field in page.locator(".sheet.above .dim input:visible").all():
            box = field.bounding_box()
            assert box is not None
            assert sheet["x"] <= box["x"]
            assert box["x"] + box["width"] <= sheet["x"] + sheet["width"]


def _box(page: Page, selector: str) -> dict[str, float]:
    found = page.locator(selector).first.bounding_box()
    assert found is not None, selector
    return dict(found)
