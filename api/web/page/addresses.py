"""Addresses of the pages about entries. Keys are readable, and stay so in an address as far as it allows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import quote, urlencode

READABLE = ":~"
"""What keys hold beside letters and figures that an address takes as it is, in its path and in its query."""

BENCH, CATALOGUE, COMPARE, PRINT, JOURNAL = "/", "/catalogue", "/compare", "/print", "/journal"


def half_page(key: str, tail: str = "") -> str:
    """The page of a half; ``tail`` is what is done about it (confirm, dispute, sighting, revise)."""
    return f"/halves/{quote(key, safe=READABLE)}{tail}"


def series_page(key: str, tail: str = "") -> str:
    """The page of a series, the same."""
    return f"/series/{quote(key, safe=READABLE)}{tail}"


def of_halves(page: str, keys: Iterable[str], **more: str) -> str:
    """A page about several halves: compare, print."""
    return asked(page, [*(("half", key) for key in keys), *more.items()])


def asked(page: str, parameters: Mapping[str, str] | Iterable[tuple[str, str]]) -> str:
    """A page with parameters; those that hold nothing are left out."""
    pairs = parameters.items() if isinstance(parameters, Mapping) else parameters
    text = urlencode([(name, value) for name, value in pairs if value], safe=READABLE)
    return f"{page}?{text}" if text else page


def history_of(record: str, key: str) -> str:
    """The journal of one entry and of what was said about it."""
    return asked(JOURNAL, {"record": record, "key": key})
