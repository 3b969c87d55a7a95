"""Entity tags as requests carry them (RFC 9110, 8.8.3, 13.1): If-Match and If-None-Match, with one tag or several."""

from __future__ import annotations

ANY = "*"
"""Matches any tag."""


def tags_in(header: str | None) -> tuple[str, ...]:
    """The tags in a header, without quotation marks; none if the header is missing.

    A weak tag counts as the strong one: proxies weaken tags when they compress an answer.
    """
    parts = (part.strip().removeprefix("W/").strip('"') for part in (header or "").split(","))
    return tuple(part for part in parts if part)


def is_known(tag: str, if_none_match: str | None) -> bool:
    """Whether the client's copy has this tag."""
    known = tags_in(if_none_match)
    return tag in known or ANY in known


def quoted(tag: str) -> str:
    """A tag in the form of a header."""
    return f'"{tag}"'
