"""Addresses of the pages about entries. Keys stay readable as far as possible."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import quote, urlencode

READABLE = ":~"
"""Characters of keys, besides letters and digits, that need no escape in a path or query."""

BENCH, CATALOGUE, COMPARE, PRINT, JOURNAL = "/", "/catalogue", "/compare", "/print", "/journal"
PAPER_CHECK = "/print.pdf"
CONTACT_MAP = "/contact-map"


def half_page(key: str, tail: str = "") -> str:
    """The page of a half; ``tail`` is an action on it (confirm, dispute, sighting, revise, current) or a query."""
    return f"/halves/{quote(key, safe=READABLE)}{tail}"


def series_page(key: str, tail: str = "") -> str:
    """The page of a series, the same."""
    return f"/series/{quote(key, safe=READABLE)}{tail}"


def of_halves(page: str, keys: Iterable[str], **more: str) -> str:
    """A page about several halves: compare, print."""
    return asked(page, [*(("half", key) for key in keys), *more.items()])


def asked(page: str, parameters: Mapping[str, str] | Iterable[tuple[str, str]]) -> str:
    """A page with parameters; empty ones are left out."""
    pairs = parameters.items() if isinstance(parameters, Mapping) else parameters
    text = urlencode([(name, value) for name, value in pairs if value], safe=READABLE)
    return f"{page}?{text}" if text else page


def history_of(record: str, key: str) -> str:
    """The journal of one entry and of the evidence about it."""
    return asked(JOURNAL, {"record": record, "key": key})
