"""Using the bench as a person does: type into a field, leave it, and wait for the answer."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, unquote

from tests.browser.visits import PATIENCE_MS

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

STANDS = """() => [
  document.querySelector("[data-address]").dataset.address,
  location.search.slice(1),
  document.querySelector("main .waiting") !== null,
]"""
"""The request the page's answer belongs to, the address, and whether the script is still waiting."""


def enter(page: Page, field: str, text: str, gaps: str = "") -> None:
    """Type into a field, or tick the box; then leave the field."""
    box = page.locator(f'input[type="checkbox"][name="{field}"][value="{text}"]')
    if box.count():
        box.check()
        return
    page.locator(f'[name="{field}"]').fill(text)
    if gaps:
        page.locator(f'[name="{field}.gaps"]').fill(gaps)
    page.keyboard.press("Tab")


def settle(page: Page) -> None:
    """Wait until the answer and its advice belong to the current address."""
    until = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < until:
        stands, asked, waiting = page.evaluate(STANDS)
        if not waiting and sorted(parse_qsl(stands)) == sorted(parse_qsl(asked)):
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"the answer is of {stands!r}, the address says {asked!r}")


def leader(page: Page) -> Locator:
    """The link to the first candidate."""
    return page.locator("li.row.lead h3 a")


def leading(page: Page) -> str:
    """Where that link leads."""
    return unquote(leader(page).get_attribute("href") or "")
