"""Every page is visited once, and that visit checks everything that must hold for all pages.

A page fits a small phone and 200 % zoom, is small, does not shift, and requests nothing from any other host; axe-core
finds no violation in it, light and dark, wide and narrow; Tab reaches everything, with the focus visible.

Rules of accessibility: axe-core's own defaults (WCAG 2 A and AA and its best practices), from the package
axe-playwright-python. With OTHERHALF_SCREENSHOTS=folder each page is also saved in that folder as a screenshot.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.bench_hands import enter, settle
from tests.browser.conftest import opening
from tests.browser.places import PLACES
from tests.browser.visits import FOCUSED, HEIGHT, NARROW, WIDE, NewPage, Visits, violations

if TYPE_CHECKING:
    from playwright.sync_api import Page, Request, Response

ZOOMED = WIDE // 2
"""Width of a wide window at 200 % zoom, CSS pixels (WCAG 2.2, 1.4.4)."""

HEAVIEST_BYTES = 150_000
"""Largest size in bytes of a page with its styles and scripts, without pictures: our own choice, no source."""

MOST_SHIFT = 0.05
"""Half of 0.1, which counts as good for a whole visit (web.dev, Cumulative Layout Shift)."""

MOST_STOPS = 600
"""More stops than any page has; beyond it, the focus is trapped."""

PACKAGED = {"docs"}
"""Pages from another package: their size and tab order cannot be changed here."""

ELSEWHERE = {"docs": ["#docs"]}
"""Parts of pages that come unchanged from another package."""

WIDE_STOPS = {"bench-answer", "half", "contribute-half"}
"""Pages with another layout in a wide window: Tab is tested there too."""

SHIFTS = """
window.shifted = [];
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) {
    const nodes = entry.sources.map((source) => source.node?.className || source.node?.nodeName).join(", ");
    window.shifted.push([entry.value, nodes]);
  }
}).observe({ type: "layout-shift", buffered: true });
"""
"""Layout Instability (W3C Community Group Draft). Shifts within half a second of a key press count too, though a
visit's score leaves them out: at the bench, shifts while typing matter."""

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

REACHABLE = """() => [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
  .filter((node) => node.tabIndex >= 0)
  .filter((node) => node.checkVisibility({ visibilityProperty: true }) && !node.disabled)
  .filter((node) => !(node.type === "radio" && !node.checked) && !node.matches(".peek"))
  .length"""
"""Number of stops; a group of radio buttons is one stop. The bench's
short verdict makes room for a field's definition, and the answer follows the fields anyway."""


@dataclass(kw_only=True)
class Seen:
    """The results of one visit to a page; widths in CSS pixels."""

    name: str
    status: int
    weight: int
    shifted: list[tuple[float, str]]
    too_wide: list[str]
    violations: list[str]
    reachable: dict[int, int]
    stops: dict[int, list[dict[str, Any]]]


@pytest.fixture(scope="module", params=PLACES)
def seen(request: pytest.FixtureRequest, visits: Visits) -> Iterator[Seen]:
    """A page's results, from one visit for all tests."""
    with opening(visits) as new_page:
        yield _seen(new_page, request.param)


def _seen(new_page: NewPage, name: str) -> Seen:
    place = PLACES[name]
    page = new_page(who=place.who, width=NARROW, script=SHIFTS)
    answer, weight = _weighed(page, place.at(new_page.visits.world))
    found = Seen(
        name=name,
        status=answer.status,
        weight=weight,
        shifted=page.evaluate("window.shifted"),
        too_wide=[],
        violations=[],
        reachable={},
        stops={},
    )
    for width in (NARROW, ZOOMED, WIDE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        over, which = page.evaluate(WIDER)
        if over > 0:
            found.too_wide.append(f"{over} px too wide at {width} px: {which}")
        if width != ZOOMED:
            found.violations += violations(page, name, width, ELSEWHERE.get(name, []))
    for width in (NARROW, WIDE) if name in WIDE_STOPS else (NARROW,):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        found.reachable[width] = page.evaluate(REACHABLE)
        found.stops[width] = [] if name in PACKAGED else _stops(page)
    return found


def _weighed(page: Page, address: str) -> tuple[Response, int]:
    """Load a page with an empty cache; returns the transferred bytes of its body and of all styles and scripts."""
    finished: list[Request] = []

    def keep(request: Request) -> None:
        finished.append(request)

    page.on("requestfinished", keep)
    network = page.context.new_cdp_session(page)
    network.send("Network.enable")
    network.send("Network.setCacheDisabled", {"cacheDisabled": True})
    answer = page.goto(address)
    if page.locator("script").count():  # it may load more by itself
        page.wait_for_load_state("networkidle")
    network.detach()
    page.remove_listener("requestfinished", keep)
    assert answer is not None
    weighed = [each for each in finished if each.resource_type != "image"]
    return answer, sum(each.sizes()["responseBodySize"] for each in weighed)


def _stops(page: Page) -> list[dict[str, Any]]:
    """The stops of the Tab key, in order, from the beginning of the page to its end."""
    stops: list[dict[str, Any]] = []
    while len(stops) < MOST_STOPS:
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused is None:
            return stops
        stops.append(focused)
    raise AssertionError(f"Tab never leaves the page: {stops[-1]['name']}")


def test_a_page_answers_and_is_small(seen: Seen) -> None:
    assert seen.status == PLACES[seen.name].status
    assert seen.name in PACKAGED or seen.weight < HEAVIEST_BYTES, f"{seen.weight} bytes"


def test_a_page_does_not_shift_while_it_loads(seen: Seen) -> None:
    assert sum(value for value, _ in seen.shifted) <= MOST_SHIFT, seen.shifted


def test_a_page_never_scrolls_sideways(seen: Seen) -> None:
    assert seen.too_wide == []


def test_axe_finds_no_violation(seen: Seen) -> None:
    assert not seen.violations, "\n".join(seen.violations)


def test_tab_reaches_everything_and_the_focus_is_visible(seen: Seen) -> None:
    if seen.name in PACKAGED:
        return
    for width, stops in seen.stops.items():
        assert [stop["name"] for stop in stops if not stop["marked"]] == []
        assert [stop["name"] for stop in stops if not stop["inside"]] == []
        assert len(stops) >= seen.reachable[width]


def test_a_picture_without_text_alternative_is_found(new_page: NewPage) -> None:
    """Check that axe-core runs and that its findings are received."""
    page = new_page("/about")
    page.evaluate("document.querySelector('main').innerHTML += '<img src=\"/static/icon.svg\">'")
    found = violations(page, "about", WIDE, [])
    assert len(found) == 2  # light and dark
    assert all("image-alt" in each for each in found)


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_nothing_shifts_while_typing(new_page: NewPage, width: int) -> None:
    page = new_page("/", width=width, script=SHIFTS)
    page.locator("#contact_count").focus()
    page.wait_for_timeout(200)  # shifts while the page loads belong to the other test
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
