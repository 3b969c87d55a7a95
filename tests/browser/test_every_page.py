"""Every page is visited once, and everything that holds for all pages is looked at in that one visit.

A page fits a small telephone and 200 % zoom, weighs little, does not jump, and asks nothing of any other host; axe-core
finds nothing to complain of in it, light and dark, wide and narrow; Tab stops at everything, with the focus in sight.

Rules of accessibility: axe-core's own defaults (WCAG 2 A and AA and its best practices), from the package
axe-playwright-python. With OTHERHALF_SCREENSHOTS=folder each page is also drawn into that folder as it was looked at.
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
"""Width that is left of a wide window at 200 % zoom, CSS pixels (WCAG 2.2, 1.4.4)."""

HEAVIEST_BYTES = 150_000
"""Of a page with its styles and scripts, without pictures: the work order's own bound."""

MOST_SHIFT = 0.05
"""Half of what counts as good for a whole visit, 0.1 (web.dev, Cumulative Layout Shift)."""

MOST_STOPS = 600
"""More places to stop at than any page has; beyond it the focus is caught somewhere."""

PACKAGED = {"docs"}
"""Pages that come from a package of their own: nothing here makes them lighter or orders their places to stop at."""

ELSEWHERE = {"docs": ["#docs"]}
"""Parts of pages that come whole from a package of their own."""

WIDE_STOPS = {"bench-answer", "half", "contribute-half"}
"""Pages that are laid out otherwise in a wide window: Tab is tried there too."""

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

REACHABLE = """() => [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
  .filter((node) => node.tabIndex >= 0)
  .filter((node) => node.checkVisibility({ visibilityProperty: true }) && !node.disabled)
  .filter((node) => !(node.type === "radio" && !node.checked) && !node.matches(".peek"))
  .length"""
"""How many places there are to stop at; of radio buttons that belong together only one is. The bench's
peek at the verdict makes room for a field's definition, and the answer follows the fields anyway."""


@dataclass(kw_only=True)
class Seen:
    """What one visit saw of a page; widths in CSS pixels."""

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
    """A page, visited once for all tests."""
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
    """Load a page with an empty cache; bytes of its body and of all styles and scripts, as they come over the wire."""
    finished: list[Request] = []

    def keep(request: Request) -> None:
        finished.append(request)

    page.on("requestfinished", keep)
    network = page.context.new_cdp_session(page)
    network.send("Network.enable")
    network.send("Network.setCacheDisabled", {"cacheDisabled": True})
    answer = page.goto(address)
    if page.locator("script").count():  # it may ask for more by itself
        page.wait_for_load_state("networkidle")
    network.detach()
    page.remove_listener("requestfinished", keep)
    assert answer is not None
    weighed = [each for each in finished if each.resource_type != "image"]
    return answer, sum(each.sizes()["responseBodySize"] for each in weighed)


def _stops(page: Page) -> list[dict[str, Any]]:
    """Where Tab stops, in order, from the beginning of the page to its end."""
    stops: list[dict[str, Any]] = []
    while len(stops) < MOST_STOPS:
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused is None:
            return stops
        stops.append(focused)
    raise AssertionError(f"Tab never leaves the page: {stops[-1]['name']}")


def test_a_page_is_there_and_light(seen: Seen) -> None:
    assert seen.status == PLACES[seen.name].status
    assert seen.name in PACKAGED or seen.weight < HEAVIEST_BYTES, f"{seen.weight} bytes"


def test_a_page_does_not_jump_while_it_loads(seen: Seen) -> None:
    assert sum(value for value, _ in seen.shifted) <= MOST_SHIFT, seen.shifted


def test_a_page_never_scrolls_sideways(seen: Seen) -> None:
    assert seen.too_wide == []


def test_axe_finds_no_violation(seen: Seen) -> None:
    assert not seen.violations, "\n".join(seen.violations)


def test_tab_stops_at_everything_and_the_focus_is_in_sight(seen: Seen) -> None:
    if seen.name in PACKAGED:
        return
    for width, stops in seen.stops.items():
        assert [stop["name"] for stop in stops if not stop["marked"]] == []
        assert [stop["name"] for stop in stops if not stop["inside"]] == []
        assert len(stops) >= seen.reachable[width]


def test_a_picture_without_words_is_found(new_page: NewPage) -> None:
    """That axe-core looks at all, and that what it finds arrives here."""
    page = new_page("/about")
    page.evaluate("document.querySelector('main').innerHTML += '<img src=\"/static/icon.svg\">'")
    found = violations(page, "about", WIDE, [])
    assert len(found) == 2  # light and dark
    assert all("image-alt" in each for each in found)


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_nothing_jumps_while_one_types(new_page: NewPage, width: int) -> None:
    page = new_page("/", width=width, script=SHIFTS)
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
