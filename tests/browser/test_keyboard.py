"""With the keyboard alone: identifying on the bench, skipping the navigation, signing in and out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.browser.bench_hands import leading, settle
from tests.browser.places import LISTED
from tests.browser.visits import FOCUSED, NewPage
from tests.browser.world import IDA, World, half_address

if TYPE_CHECKING:
    from playwright.sync_api import Page

MOST_STOPS = 600
"""More places to stop at than any page has; beyond it the focus is caught somewhere."""


def _to(page: Page, wanted: str) -> None:
    """Press Tab until the element of this id is focused."""
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        if (page.evaluate(FOCUSED) or {}).get("id") == wanted:
            return
    raise AssertionError(f"Tab does not stop at {wanted}")


def test_a_half_can_be_identified_with_the_keyboard_alone(new_page: NewPage) -> None:
    page = new_page("/")
    for name, text in (
        ("contact_count", "24"),
        ("pitch", "4.40"),
        ("pitch-gaps", "11"),
        ("body_length", "6.63"),
        ("body_width", "1.99"),
    ):
        page.evaluate("document.activeElement.blur()")
        page.locator("h1").evaluate("(node) => { node.tabIndex = -1; node.focus(); }")
        _to(page, name)
        page.keyboard.type(text)
    _to_hold_downs(page)
    settle(page)
    assert leading(page) == half_address(LISTED)


def _to_hold_downs(page: Page) -> None:
    """Four hold-downs distinguish it from its neighbour."""
    page.locator("h1").evaluate("(node) => node.focus()")
    _to(page, "hold_down_count")
    page.keyboard.type("4")
    page.keyboard.press("Tab")


def test_the_skip_link_skips_the_navigation(new_page: NewPage) -> None:
    page = new_page("/about")
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUSED)["inside"]
    page.keyboard.press("Enter")
    assert page.url.endswith("#main")


def test_signing_in_and_out_works_with_the_keyboard_alone(new_page: NewPage, world: World) -> None:
    page = new_page("/sign-in?to=%2Fabout")
    _to(page, "token")
    page.keyboard.type(world.tokens[IDA])
    page.keyboard.press("Enter")
    page.wait_for_url("**/about")
    assert page.locator(".person").inner_text().startswith(IDA)
    (cookie,) = page.context.cookies()
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    assert page.evaluate("document.cookie") == ""
    out = page.get_by_role("button", name="Sign out")
    out.focus()
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Sign in").wait_for()
    assert page.context.cookies() == []


def test_a_wrong_token_is_reported_at_its_field(new_page: NewPage) -> None:
    page = new_page("/sign-in")
    _to(page, "token")
    page.keyboard.type("oh_nothing")
    page.keyboard.press("Enter")
    page.get_by_role("alert").wait_for()
    assert page.locator("#token").get_attribute("aria-describedby") == "token-hint token-error"
    assert page.locator("#token-error").inner_text() != ""
