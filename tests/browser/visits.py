"""Opens pages (at a width, signed in or not, with or without JavaScript), records their errors, and checks them."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from tests.browser.world import World

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ConsoleMessage, Page, Request, Response

WIDE, NARROW = 1280, 360
"""Widths at which pages are checked, CSS pixels; the narrow one is that of small phones."""

HEIGHT = 800

PATIENCE_MS = 60_000
"""Time a page may take on a busy machine before a test fails."""

REPORT_VIOLATIONS = """
document.addEventListener("securitypolicyviolation", (event) => {
  const place = `${event.sourceFile}:${event.lineNumber}`;
  console.error(`policy: ${event.violatedDirective} refused ${event.blockedURI} (${place})`);
});
"""
"""W3C Content Security Policy Level 3, 5.3: the event that each violation fires at the document."""


@dataclass(kw_only=True)
class Watch:
    """Errors in the pages of one browser context: script errors, messages, refused or foreign requests."""

    address: str
    expected: set[str] = field(default_factory=set)
    """Addresses of documents with an intended error status: Chromium reports those as errors too."""
    seen: list[tuple[str, str]] = field(default_factory=list)

    def begin(self) -> None:
        """Forget the errors recorded so far: another test begins."""
        self.expected.clear()
        self.seen.clear()

    def follow(self, page: Page) -> None:
        """Listen to a page from now on."""
        page.on("pageerror", lambda error: self.seen.append((page.url, f"script error: {error}")))
        page.on("console", self._console)
        page.on("response", self._response)
        page.on("request", self._request)

    def troubles(self) -> list[str]:
        """All errors, except documents refused on purpose."""
        return [f"{where}: {what}" for where, what in self.seen if not self._refused_document(where, what)]

    def _refused_document(self, where: str, what: str) -> bool:
        return where in self.expected and what.startswith("console: Failed to load resource")

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.seen.append((str(message.location.get("url", "")), f"console: {message.text}"))

    def _response(self, response: Response) -> None:
        if response.status >= 400 and response.request.is_navigation_request():
            self.expected.add(response.url)

    def _request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https") and parts.netloc != urlsplit(self.address).netloc:
            self.seen.append((request.frame.url, f"asked another host: {request.url}"))


@dataclass(frozen=True, kw_only=True)
class Kind:
    """The settings of a tab: the person signed in, a script that runs before each page's own, context options."""

    who: str | None = None
    script: str = ""
    options: tuple[tuple[str, Any], ...] = ()


@dataclass(kw_only=True)
class Tab:
    """A page in its own browser context, with its errors."""

    kind: Kind
    page: Page
    watch: Watch
    cookies: list[Any]

    def clear(self) -> None:
        """Clear storage and cookies; opening another page closes the current one."""
        self.page.goto(f"{self.watch.address}/static/icon.svg")
        self.page.evaluate("() => { sessionStorage.clear(); localStorage.clear(); }")
        self.page.context.clear_cookies()
        self.page.context.add_cookies(self.cookies)
        self.watch.begin()


@dataclass(kw_only=True)
class Visits:
    """The browser and the server. Keeps the cookies of people who signed in, and tabs for later tests: opening a tab
    starts processes of the browser, which costs more than most tests."""

    browser: Browser
    world: World
    states: dict[str, Any] = field(default_factory=dict)
    idle: dict[Kind, list[Tab]] = field(default_factory=dict)

    def take(self, kind: Kind) -> Tab:
        """A tab for one test."""
        idle = self.idle.get(kind)
        return idle.pop() if idle else self._opened(kind)

    def give_back(self, tab: Tab) -> None:
        """Clear a tab and keep it for another test."""
        tab.clear()
        self.idle.setdefault(tab.kind, []).append(tab)

    def _opened(self, kind: Kind) -> Tab:
        state = self.state_of(kind.who) if kind.who else {"cookies": []}
        context = self.browser.new_context(
            base_url=self.world.address,
            storage_state=state,
            **{"reduced_motion": "reduce", "viewport": {"width": WIDE, "height": HEIGHT}, **dict(kind.options)},
        )
        context.set_default_timeout(PATIENCE_MS)
        context.add_init_script(REPORT_VIOLATIONS + kind.script)
        watch = Watch(address=self.world.address)
        context.on("page", watch.follow)
        return Tab(kind=kind, page=context.new_page(), watch=watch, cookies=state["cookies"])

    def state_of(self, who: str) -> Any:
        """The cookies of a person who signed in through the page."""
        if who not in self.states:
            context = self.browser.new_context(base_url=self.world.address)
            page = context.new_page()
            page.goto("/sign-in", timeout=PATIENCE_MS)
            page.get_by_label("Token").fill(self.world.tokens[who])
            page.get_by_role("button", name="Sign in").click()
            page.get_by_role("button", name="Sign out").wait_for()
            self.states[who] = context.storage_state()
            context.close()
        return self.states[who]


@dataclass(kw_only=True)
class NewPage:
    """Opens pages for one test and records their errors."""

    visits: Visits
    tabs: list[Tab] = field(default_factory=list)

    def __call__(
        self,
        address: str | None = None,
        who: str | None = None,
        *,
        width: int = WIDE,
        script: str = "",
        **options: Any,
    ) -> Page:
        """Open a page in its own context, at an address if one is given.

        ``script`` runs before each page's own; ``options`` are those of the context.
        """
        tab = self.visits.take(Kind(who=who, script=script, options=tuple(sorted(options.items()))))
        self.tabs.append(tab)
        tab.page.set_viewport_size({"width": width, "height": HEIGHT})
        if address is not None:
            tab.page.goto(address)
        return tab.page

    def expect(self, address: str) -> None:
        """Expect an error status at this address."""
        for tab in self.tabs:
            tab.watch.expected.add(address)

    def end(self) -> list[str]:
        """Give the pages back; returns their errors."""
        troubles = [trouble for tab in self.tabs for trouble in tab.watch.troubles()]
        for tab in self.tabs:
            self.visits.give_back(tab)
        return troubles


FOCUSED = """() => {
  const node = document.activeElement;
  if (!node || node === document.body) return null;
  const style = getComputedStyle(node);
  const box = node.getBoundingClientRect();
  return {
    name: node.outerHTML.slice(0, 140),
    id: node.id,
    marked: (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2) || style.boxShadow !== "none",
    inside: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0,
  };
}"""
"""The element with the focus, whether the focus is marked and visible; null: no focus."""

AXE_RUN = "async (outside) => (await axe.run({exclude: outside}, {resultTypes: ['violations']})).violations"


@lru_cache
def _axe() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def violations(page: Page, name: str, width: int, outside: list[str]) -> list[str]:
    """Violations that axe-core finds in a page as laid out, light and dark; ``outside`` lists parts to skip.

    With OTHERHALF_SCREENSHOTS=folder a screenshot is saved in that folder under the page's name and width.
    """
    if not page.evaluate("'axe' in window"):
        page.evaluate(_axe())
    found: list[str] = []
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)
        _draw(page, f"{name}-{width}-{scheme}.png")
        found += [_told(f"{name} at {width} px, {scheme}", each) for each in page.evaluate(AXE_RUN, outside)]
    return found


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
