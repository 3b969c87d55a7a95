"""A person with a browser on the workshop's server, who opens pages, fills in their forms and sends them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urlencode

from httpx2 import Response
from starlette.testclient import TestClient

from api.service.access import SESSION_COOKIE
from api.web.page.forms import URLENCODED
from tests.api.workshop import Workshop

FROM_HERE = {"Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7}}"
"""Text from an attacker who wants it to be interpreted as markup."""

Fields = list[tuple[str, str]]


@dataclass
class _Form:
    action: str
    fields: Fields = field(default_factory=list)
    buttons: Fields = field(default_factory=list)


class _Forms(HTMLParser):
    """The forms of a page with the values they would send."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[_Form] = []
        self._name = ""
        self._text: list[str] | None = None
        self._options: list[tuple[str, bool]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self.forms.append(_Form(str(given["action"])))
        name = str(given.get("name") or "")
        if not self.forms:
            return
        if tag == "input" and name:
            if given.get("type") != "checkbox" or "checked" in given:
                self.forms[-1].fields.append((name, str(given.get("value") or "")))
        elif tag == "button" and name:
            self.forms[-1].buttons.append((name, str(given.get("value") or "")))
        elif tag == "textarea":
            self._name, self._text = name, []
        elif tag == "select":
            self._name, self._options = name, []
        elif tag == "option":
            self._options.append((str(given.get("value") or ""), "selected" in given))

    def handle_data(self, data: str) -> None:
        if self._text is not None:
            self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea" and self._text is not None:
            self.forms[-1].fields.append((self._name, "".join(self._text)))
            self._text = None
        elif tag == "select" and self._options:
            chosen = [value for value, selected in self._options if selected] or [self._options[0][0]]
            self.forms[-1].fields.append((self._name, chosen[0]))


def form_with(html: str, name: str, value: str | None = None) -> Fields:
    """The values that the form with a field or button of this name (and value) sends when nothing is changed."""
    for form in _Forms(html).forms:
        if any(own == name and value in (None, given) for own, given in [*form.fields, *form.buttons]):
            return form.fields
    raise AssertionError(f"no form has {name}={value}")


def filled(fields: Fields, **typed: str) -> Fields:
    """The form with other text in some fields; a double underscore in a name stands for a dot."""
    names = {name.replace("__", "."): value for name, value in typed.items()}
    kept = [(name, value) for name, value in fields if name not in names]
    return [*kept, *names.items()]


@dataclass(frozen=True)
class Browser:
    """A person's browser; without a name, nobody is signed in."""

    server: TestClient
    secret: str = ""

    def _cookie(self) -> dict[str, str]:
        return {"Cookie": f"{SESSION_COOKIE}={self.secret}"} if self.secret else {}

    def open(self, path: str) -> Response:
        """Open a page."""
        return self.server.get(path, headers=FROM_HERE | self._cookie(), follow_redirects=False)

    def send(self, path: str, fields: Fields, **headers: str) -> Response:
        """Send a form from a page of this server, unless the headers say otherwise."""
        sent = FROM_HERE | self._cookie() | {"Content-Type": URLENCODED} | headers
        return self.server.post(path, headers=sent, content=urlencode(fields), follow_redirects=False)

    def elsewhere(self, path: str, fields: Fields) -> Response:
        """Send the same form from another site's page, with the browser's cookie."""
        return self.send(path, fields, **{"Sec-Fetch-Site": "cross-site"})


def browser(shop: Workshop, who: str | None = None) -> Browser:
    """A person's browser, signed in with their token."""
    return Browser(shop.server, shop.tokens[who] if who else "")


def problems_of(html: str) -> list[str]:
    """The summary of a refused form, with the fields it links to."""
    found = re.search(r'<div class="summary".*?</div>', html, re.DOTALL)
    return re.findall(r'<a href="#([^"]+)"', found[0]) if found else []


@contextmanager
def unchanged(shop: Workshop) -> Iterator[None]:
    """Check that the code inside changes nothing in the catalogue."""
    before = shop.catalogue.version()
    yield
    assert shop.catalogue.version() == before


def no_markup_of(html: str) -> None:
    """Check that hostile text appears only as text."""
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    assert "&lt;script&gt;alert(1)" in html
