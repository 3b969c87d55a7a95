"""Entity tags as requests carry them (RFC 9110, 8.8.3, 13.1): If-Match and If-None-Match, with one tag or several."""

from __future__ import annotations

ANY = "*"
"""Stands for whatever tag there is."""


def tags_in(header: str | None) -> tuple[str, ...]:
    """The tags that a header names, without their quotation marks, none for a header that was not sent.

    A weak tag counts as its strong one: servers in between weaken tags when they compress an answer.
    """
    parts = (part.strip().removeprefix("W/").strip('"') for part in (header or "").split(","))
    return tuple(part for part in parts if part)


def is_known(tag: str, if_none_match: str | None) -> bool:
    """Whether the sender's copy is the one of this tag."""
    known = tags_in(if_none_match)
    return tag in known or ANY in known


def quoted(tag: str) -> str:
    """A tag as a header carries it."""
    return f'"{tag}"'
