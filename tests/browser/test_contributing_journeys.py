"""Contributing in the browser from end to end: adding, review, confirming, disputing, undoing; solving a case."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.bench_hands import settle
from tests.browser.places import LISTED, MEASURED
from tests.browser.visits import NewPage
from tests.browser.world import IDA, JAY, MIA, PER, World, half_address

if TYPE_CHECKING:
    from playwright.sync_api import Page

MAKER = "Reedling Works"
PITCH, LENGTH, CONTACTS = 0.97, 13.4, 24
"""Observations of receptacles unlike any in the demo: no half has this pitch."""


def _fill_half(page: Page, number: str) -> str:
    """Fill in the form of a half; returns the address of its page."""
    for name, text in {
        "maker": MAKER,
        "series": "RW97",
        "part_number": number,
        "rows": "2",
        "contact_count": str(CONTACTS),
        "datasheet.title": "RW97 drawing",
        "datasheet.revision": "B",
        "datasheet.page": "2",
        "dimensions.pitch.value": str(PITCH),
        "dimensions.pitch.tolerance": "0.02",
        "dimensions.body_length.value": str(LENGTH),
        "dimensions.body_length.tolerance": "0.1",
    }.items():
        page.locator(f'[name="{name}"]').fill(text)
    page.locator('[name="half_kind"]').select_option("receptacle")
    return half_address(f"reedling-works:{number.lower()}")


def _add_half(new_page: NewPage, who: str, number: str) -> str:
    page = new_page("/contribute/half", who)
    address = _fill_half(page, number)
    page.locator(".sending button[value=save]").click()
    page.wait_for_url(f"**{address}?said=added")
    return address


def _standing(page: Page) -> str:
    return page.locator("#trust ~ p .stamp").first.inner_text()


def _measure(page: Page, length: str) -> None:
    """Confirm with a caliper reading."""
    page.locator('[name="values.body_length.value"]').fill(length)
    page.locator('[name="values.pitch.value"]').fill(f"{11 * PITCH:.2f}/11")
    page.get_by_role("button", name="Confirm it").click()


def test_a_half_is_added_reviewed_while_typing_and_confirmed_by_a_second_person(new_page: NewPage) -> None:
    mine = new_page("/contribute/half", IDA)
    address = _fill_half(mine, "RW97-R24")
    mine.locator("#review figure.drawn").first.wait_for()
    mine.locator("#review .fine, #review .findings").first.wait_for()
    mine.locator(".sending button[value=save]").click()
    mine.wait_for_url(f"**{address}?said=added")
    assert mine.get_by_role("status").first.inner_text() != ""
    assert _standing(mine) == "documented"

    mine.goto(f"{address}/confirm")
    assert "These figures are your own" in mine.locator("main").inner_text()
    assert mine.get_by_role("button", name="Confirm it").count() == 0

    theirs = new_page(f"{address}/confirm", PER)
    assert str(LENGTH) not in theirs.locator("main form").inner_text()
    _measure(theirs, f"{LENGTH},{LENGTH + 0.02:.2f}")
    theirs.wait_for_url(f"**{address}?said=confirmed")
    assert _standing(theirs) == "confirmed"
    assert PER in theirs.locator("main").inner_text()


def test_an_impossible_half_is_refused_with_its_fields_and_nothing_typed_is_lost(new_page: NewPage) -> None:
    page = new_page("/contribute/half", IDA)
    _fill_half(page, "RW97-R25")
    page.locator('[name="dimensions.body_length.value"]').fill("two")
    page.locator(".sending button[value=save]").click()
    page.get_by_role("alert").wait_for()
    assert page.locator('[name="dimensions.body_length.value"]').input_value() == "two"
    assert page.locator('[name="datasheet.title"]').input_value() == "RW97 drawing"
    page.get_by_role("alert").get_by_role("link").first.click()
    assert page.evaluate("document.activeElement.name") == "dimensions.body_length.value"


def test_a_half_is_added_without_javascript(new_page: NewPage) -> None:
    page = new_page("/contribute/half", IDA, java_script_enabled=False)
    address = _fill_half(page, "RW97-R26")
    page.locator(".sending button[value=review]").click()
    page.locator("#review figure.drawn").first.wait_for()
    assert page.locator('[name="part_number"]').input_value() == "RW97-R26"
    page.locator(".sending button[value=save]").click()
    page.wait_for_url(f"**{address}?said=added")
    assert page.locator("h1").inner_text() == "RW97-R26"


def test_a_dispute_is_shown_wherever_the_half_is_shown_until_a_maintainer_resolves_it(new_page: NewPage) -> None:
    address = _add_half(new_page, IDA, "RW97-R27")
    theirs = new_page(f"{address}/dispute", PER)
    theirs.locator('[name="reason"]').fill("Two parts measure 13.9 over the plastic.")
    theirs.get_by_role("button", name="Open the dispute").click()
    theirs.wait_for_url(f"**{address}?said=disputed")
    assert _standing(theirs) == "disputed"
    anybody = new_page("/catalogue?q=RW97-R27")
    assert "disputed" in anybody.locator("main").inner_text()

    keeper = new_page("/maintain", MIA)
    keeper.locator("#disputes + ul a", has_text="r27").click()
    keeper.locator('[name="settle.outcome"]').select_option("entry_stands")
    keeper.locator('[name="settle.reason"]').fill("They measured over the hold-downs.")
    keeper.get_by_role("button", name="Resolve it").click()
    keeper.wait_for_url("**?said=settled")
    anybody.goto(address)
    assert _standing(anybody) == "documented"


def test_a_maintainer_previews_and_then_undoes_the_acts_of_a_contributor(new_page: NewPage) -> None:
    first = _add_half(new_page, JAY, "RW97-R28")
    second = _add_half(new_page, JAY, "RW97-R29")
    keeper = new_page("/maintain", MIA)
    keeper.locator('[name="undo.name"]').select_option(JAY)
    keeper.locator('[name="undo.since"]').fill("2026-01-01")
    keeper.locator('[name="undo.reason"]').fill("None of these parts exists.")
    keeper.get_by_role("button", name="Show what would be reverted").click()
    told = keeper.locator('section[aria-labelledby="preview"]').inner_text()
    assert "rw97-r28" in told
    assert "rw97-r29" in told
    anybody = new_page(first)
    assert anybody.get_by_text("This entry was withdrawn").count() == 0  # so far it was only a preview
    keeper.get_by_role("button", name="Undo all of it").click()
    keeper.wait_for_url("**said=undone")
    for address in (first, second):
        anybody.goto(address)
        assert anybody.get_by_text("This entry was withdrawn").is_visible()


def test_only_a_maintainer_sees_the_maintainers_page(new_page: NewPage) -> None:
    page = new_page(who=IDA)
    answer = page.goto("/maintain")
    assert answer is not None
    assert answer.status == 403
    assert page.locator("main form").count() == 0


@pytest.mark.parametrize("scripted", [True, False])
def test_a_case_is_saved_from_the_bench_gets_a_suggestion_and_is_solved(new_page: NewPage, scripted: bool) -> None:
    title = f"recorder from the reed bed, {'with' if scripted else 'without'} script"
    mine = new_page(f"/?{MEASURED}", IDA, java_script_enabled=scripted)
    if scripted:
        settle(mine)
    mine.get_by_role("link", name="Save as a case").click()
    mine.locator('[name="title"]').fill(title)
    mine.locator('[name="visibility"]').select_option("public")
    mine.get_by_role("button", name="Save the case").click()
    mine.wait_for_url("**/cases/*?said=saved")

    theirs = new_page("/cases", PER, java_script_enabled=scripted)
    theirs.get_by_role("link", name=title).click()
    theirs.locator('[name="half"]').fill(LISTED)
    theirs.locator('[name="text"]').fill("It has four hold-downs, as this one has.")
    theirs.get_by_role("button", name="Send").click()
    theirs.wait_for_url("**?said=commented")
    assert "The ranking puts it in place" in theirs.locator(".suggests").inner_text()

    mine.reload()
    mine.get_by_role("button", name="Yes, it is this one").click()
    mine.wait_for_url("**?said=solved")
    assert LISTED in mine.locator("#solved").inner_text()
    theirs.goto("/cases")
    assert theirs.get_by_role("link", name=title).count() == 0


def test_revoking_a_token_ends_its_session_at_once(new_page: NewPage, world: World) -> None:
    theirs = new_page("/sign-in")
    theirs.get_by_label("Token").fill(world.tokens[PER])
    theirs.get_by_role("button", name="Sign in").click()
    theirs.get_by_role("button", name="Sign out").wait_for()
    keeper = new_page("/maintain", MIA)
    ends = keeper.locator("button[value=revoke]", has_text=f"of {PER}")
    newest = max(ends.all_inner_texts(), key=lambda text: int(re.findall(r"\d+", text)[0]))
    ends.filter(has_text=newest).click()
    keeper.wait_for_url("**said=revoked")
    theirs.goto("/cases")
    theirs.get_by_role("link", name="Sign in").wait_for()
