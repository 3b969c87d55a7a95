"""axe-core finds nothing to complain of on any page, light and dark, wide and narrow.

Rules: axe-core's own defaults (WCAG 2 A and AA and its best practices), from the package axe-playwright-python.
With OTHERHALF_SCREENSHOTS=folder each page is also drawn into that folder as it was looked at.
"""

from __future__ import annotations

import os
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.places import PLACES
from tests.browser.visits import HEIGHT, NARROW, WIDE, NewPage

if TYPE_CHECKING:
    from playwright.sync_api import Page

LOOKS = [(width, scheme) for width in (WIDE, NARROW) for scheme in ("light", "dark")]

ELSEWHERE = {"docs": ["#docs"]}
"""Parts of pages that come whole from a package of their own."""

RUN = "async (outside) => (await axe.run({exclude: outside}, {resultTypes: ['violations']})).violations"


@lru_cache
def _axe() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PLACES)
def test_axe_finds_no_violation(new_page: NewPage, name: str) -> None:
    place = PLACES[name]
    page = new_page(who=place.who, bypass_csp=True)
    answer = page.goto(place.at(new_page.visits.world), wait_until="networkidle")
    assert answer is not None
    assert answer.status == place.status
    page.evaluate(_axe())
    found = [violation for look in LOOKS for violation in _look(page, name, *look)]
    assert not found, "\n".join(found)


def _look(page: Page, name: str, width: int, scheme: Any) -> list[str]:
    page.set_viewport_size({"width": width, "height": HEIGHT})
    page.emulate_media(color_scheme=scheme)
    _draw(page, f"{name}-{width}-{scheme}.png")
    violations = page.evaluate(RUN, ELSEWHERE.get(name, []))
    return [_told(f"{name} at {width} px, {scheme}", violation) for violation in violations]


def _told(where: str, violation: dict[str, Any]) -> str:
    nodes = [f"    {node['html'][:160]}\n      {node['failureSummary']}" for node in violation["nodes"][:5]]
    more = len(violation["nodes"]) - len(nodes)
    return "\n".join(
        [f"{where}: {violation['id']}: {violation['help']}", *nodes, *([f"    and {more} more"] if more else [])]
    )


def _draw(page: Page, name: str) -> None:
    folder = os.environ.get("OTHERHALF_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / name, full_page=True)


def test_a_picture_without_words_is_found(new_page: NewPage) -> None:
    """That the tool looks at all, and that what it finds arrives here."""
    page = new_page("/about", bypass_csp=True)
    page.evaluate("document.querySelector('main').innerHTML += '<img src=\"/static/icon.svg\">'")
    page.evaluate(_axe())
    assert [violation["id"] for violation in page.evaluate(RUN, [])] == ["image-alt"]
