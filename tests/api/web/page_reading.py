"""What tests read from pages: headings, text, and anything a strict policy forbids."""

from __future__ import annotations

import re
from html.parser import HTMLParser

HTML = {"Accept": "text/html"}

FORBIDDEN = re.compile(r"<[^>]+\s(?:style|on[a-z]+)\s*=|<style|<script(?![^>]*\ssrc=)|javascript:", re.IGNORECASE)
"""Inline styles, handlers and scripts, which the pages' policy forbids."""


class Page(HTMLParser):
    """A parsed page: levels of headings, visible text, attributes by element."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.html = html
        self.levels: list[int] = []
        self.ids: list[str] = []
        self.names: list[tuple[str, dict[str, str | None]]] = []
        self._text: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.names.append((tag, given))
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))
        if given.get("id"):
            self.ids.append(str(given["id"]))

    def handle_data(self, data: str) -> None:
        self._text.append(data)

    @property
    def text(self) -> str:
        """All text with its white space collapsed."""
        return " ".join("".join(self._text).split())

    def links(self) -> list[str]:
        """The targets of the page's links."""
        return [str(given["href"]) for tag, given in self.names if tag == "a" and given.get("href")]

    def values(self, name: str) -> list[str]:
        """Values of the fields of this name."""
        return [str(given.get("value")) for tag, given in self.names if tag == "input" and given.get("name") == name]


MOST_BYTES = 150_000
"""Largest size of a page, bytes, without its pictures."""


def check_form(html: str, *, with_pictures: bool = True) -> Page:
    """Check a page's form: one h1, headings in order, unique ids, nothing inline, small enough, its drawings counted
    unless drawings are the purpose of the page."""
    page = Page(html)
    assert page.levels.count(1) == 1, page.levels
    assert all(later - earlier <= 1 for earlier, later in zip(page.levels, page.levels[1:], strict=False)), page.levels
    assert len(page.ids) == len(set(page.ids)), [each for each in page.ids if page.ids.count(each) > 1]
    assert not FORBIDDEN.search(html), FORBIDDEN.search(html)
    counted = html if with_pictures else re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)
    assert len(counted.encode()) < MOST_BYTES
    return page
