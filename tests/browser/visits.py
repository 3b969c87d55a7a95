"""Opening pages: at a width, light or dark, signed in or not, with or without JavaScript, and with an eye on errors."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from tests.browser.world import World

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Response

WIDE, NARROW = 1280, 360
"""Widths at which pages are looked at, CSS pixels; the narrow one is that of small telephones."""

HEIGHT = 800

PATIENCE_MS = 60_000
"""How long a page may take on a loaded machine before a test gives up."""

REPORT_VIOLATIONS = """
document.addEventListener("securitypolicyviolation", (event) => {
  const place = `${event.sourceFile}:${event.lineNumber}`;
  console.error(`policy: ${event.violatedDirective} refused ${event.blockedURI} (${place})`);
});
"""
"""W3C Content Security Policy Level 3, 5.3: the event that each violation fires at the document."""


@dataclass(kw_only=True)
class Watch:
    """What went wrong in the pages of one browser context: script errors, messages, refused or foreign requests."""

    address: str
    expected: set[str] = field(default_factory=set)
    """Addresses of documents that came with an error status on purpose: Chromium reports those as errors too."""
    seen: list[tuple[str, str]] = field(default_factory=list)

    def follow(self, page: Page) -> None:
        """Listen to a page from now on."""
        page.on("pageerror", lambda error: self.seen.append((page.url, f"script error: {error}")))
        page.on("console", self._console)
        page.on("response", self._response)
        page.on("request", self._request)

    def troubles(self) -> list[str]:
        """All that went wrong, but for documents that were refused on purpose."""
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


@dataclass(kw_only=True)
class Visits:
    """The browser and the server; keeps the cookies of who signed in once."""

    browser: Browser
    world: World
    states: dict[str, Any] = field(default_factory=dict)

    def state_of(self, who: str) -> Any:
        """The cookies of somebody who signed in through the page."""
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
    """Opens pages and keeps watch over all of them."""

    visits: Visits
    stack: ExitStack
    watches: list[Watch] = field(default_factory=list)

    def __call__(
        self, address: str | None = None, who: str | None = None, *, width: int = WIDE, dark: bool = False, **more: Any
    ) -> Page:
        """A page in a context of its own, at an address if one is given; ``more`` goes to the context."""
        context: BrowserContext = self.visits.browser.new_context(
            base_url=self.visits.world.address,
            viewport={"width": width, "height": HEIGHT},
            color_scheme="dark" if dark else "light",
            storage_state=self.visits.state_of(who) if who else None,
            **{"reduced_motion": "reduce", **more},
        )
        self.stack.callback(context.close)
        context.set_default_timeout(PATIENCE_MS)
        context.add_init_script(REPORT_VIOLATIONS)
        watch = Watch(address=self.visits.world.address)
        self.watches.append(watch)
        context.on("page", watch.follow)
        page = context.new_page()
        if address is not None:
            page.goto(address)
        return page

    def troubles(self) -> list[str]:
        """What went wrong in any of the pages."""
        return [trouble for watch in self.watches for trouble in watch.troubles()]
