"""Pages fit a small telephone and 200 % zoom, weigh little, do not jump, and ask nothing of any other host."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.browser.bench_hands import enter, settle
from tests.browser.places import PLACES
from tests.browser.visits import HEIGHT, NARROW, WIDE, NewPage

if TYPE_CHECKING:
    from playwright.sync_api import Page

ZOOMED = WIDE // 2
"""Width that is left of a wide window at 200 % zoom, CSS pixels (WCAG 2.2, 1.4.4)."""

HEAVIEST_BYTES = 150_000
"""Of a page with its styles and scripts, without pictures: the work order's own bound."""

MOST_SHIFT = 0.05
"""Half of what counts as good for a whole visit, 0.1 (web.dev, Cumulative Layout Shift)."""

PACKAGED = {"docs"}
"""Pages whose scripts come whole from a package of their own; nothing here makes them lighter."""

SHIFTS = """
window.shifted = [];
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) {
    const nodes = entry.sources.map((source) => source.node?.className || source.node?.nodeName).join(", ");
    window.shifted.push([entry.value, nodes]);
  }
}).observe({ type: "layout-shift", buffered: true });
"""
"""Layout Instability (W3C Community Group Draft). Shifts within half a second of a key are counted too, though a
visit's score leaves them out: what moves while one types is what matters at the bench."""

WIDER = """() => {
  const wide = document.documentElement.clientWidth;
  const scrolls = (node) => {
    for (let up = node.parentElement; up; up = up.parentElement) {
      if (getComputedStyle(up).overflowX !== "visible") return true;
    }
    return false;
  };
  const beyond = [...document.querySelectorAll("main *, header *, footer *")].filter(
    (node) => node.getBoundingClientRect().right > wide + 1 && !scrolls(node));
  return [document.scrollingElement.scrollWidth - wide, beyond.slice(0, 3).map((node) => node.outerHTML.slice(0, 120))];
}"""


@pytest.mark.parametrize("name", PLACES)
def test_a_page_is_light_does_not_jump_and_never_scrolls_sideways(new_page: NewPage, name: str) -> None:
    place = PLACES[name]
    page = new_page(who=place.who, width=NARROW)
    page.add_init_script(SHIFTS)
    weight = _weighed(page, place.at(new_page.visits.world))
    assert name in PACKAGED or weight < HEAVIEST_BYTES, f"{weight} bytes"
    shifted = page.evaluate("window.shifted")
    assert sum(value for value, _ in shifted) <= MOST_SHIFT, shifted
    for width in (NARROW, ZOOMED):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        over, which = page.evaluate(WIDER)
        assert over <= 0, f"{over} px too wide at {width} px: {which}"


def _weighed(page: Page, address: str) -> int:
    """Load a page; bytes of its body and of all styles and scripts, as they come over the wire."""
    sizes: list[int] = []
    page.on("requestfinished", lambda request: sizes.append(0 if request.resource_type == "image" else _size(request)))
    page.goto(address, wait_until="networkidle")
    return sum(sizes)


def _size(request: object) -> int:
    return int(request.sizes()["responseBodySize"])  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_nothing_jumps_while_one_types(new_page: NewPage, width: int) -> None:
    page = new_page(width=width)
    page.add_init_script(SHIFTS)
    page.goto("/")
    page.locator("#contact_count").focus()
    page.wait_for_timeout(200)  # what moves as the page arrives is the other test's
    page.evaluate("window.shifted = []")
    for name, text, gaps in (
        ("contact_count", "24", ""),
        ("pitch", "4.40", "11"),
        ("body_length", "6.63", ""),
        ("body_width", "1.99", ""),
    ):
        enter(page, name, text, gaps)
        settle(page)
    shifted = page.evaluate("window.shifted")
    assert sum(value for value, _ in shifted) <= MOST_SHIFT, shifted


def test_reduced_motion_is_respected(new_page: NewPage) -> None:
    page = new_page("/?contact_count=24&pitch=0.4")
    moving = page.evaluate(
        "() => [...document.querySelectorAll('*')].filter((node) => {"
        " const style = getComputedStyle(node);"
        " return style.transitionDuration.split(', ').some((time) => time !== '0s') || style.animationName !== 'none';"
        "}).map((node) => node.outerHTML.slice(0, 100))"
    )
    assert moving == []
