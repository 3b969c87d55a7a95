"""The journal as an Atom feed (RFC 4287), and the parts that other feeds are made of too."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote
from xml.etree import ElementTree

from api.operations.differences import differences
from api.schemas.history import LISTED_AT
from catalog.history.journal import JournalEntry
from catalog.model.timestamps import now

ATOM = "application/atom+xml"
NAMESPACE = "http://www.w3.org/2005/Atom"

IDS = uuid.UUID("3f0f4b2e-7a53-4a0e-9d5c-6b1f0c1d8e42")
"""Namespace of the ids (RFC 9562, version 5), made once: an entry keeps its id wherever the catalogue is served."""

NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 (2.2, Char) cannot carry, however it is escaped."""

MOST_DIFFERENCES = 20
"""Changed fields in one entry of the feed; the rest is behind its link, and their number is told."""


@dataclass(frozen=True, kw_only=True)
class Feed:
    """Where the feed is served and what it is about. ``base`` ends with a slash; ``first`` is the journal's first row,
    if there is any: what makes this catalogue this catalogue."""

    base: str
    address: str
    filters: Mapping[str, str]
    first: Sequence[JournalEntry]


def atom(feed: Feed, rows: Sequence[JournalEntry]) -> bytes:
    """The feed as XML, UTF-8."""
    root = ElementTree.Element("feed", {"xmlns": NAMESPACE})
    about = ", ".join(f"{name} {value}" for name, value in feed.filters.items())
    beginning = _identity(feed.first[0]) if feed.first else feed.base
    add_text(root, "id", feed_id("feed", beginning, about))
    add_text(root, "title", f"otherhalf: {about or 'everything that happened'}")
    add_text(root, "updated", rows[0].at if rows else now())
    add_text(ElementTree.SubElement(root, "author"), "name", "otherhalf")
    add_link(root, "self", feed.address, ATOM)
    add_link(root, "alternate", f"{feed.base}v1/journal", "application/json")
    for row in rows:
        root.append(_entry(feed, row))
    return as_xml(root)


def _entry(feed: Feed, row: JournalEntry) -> ElementTree.Element:
    made = ElementTree.Element("entry")
    add_text(made, "id", feed_id("row", _identity(row)))
    add_text(made, "title", f"{row.action}: {row.record} {row.key}, revision {row.revision}")
    add_text(made, "updated", row.at)
    add_text(ElementTree.SubElement(made, "author"), "name", row.actor)
    add_link(made, "alternate", _address(feed.base, row), "application/json")
    add_text(made, "summary", "\n".join(_told(row)))
    return made


def _told(row: JournalEntry) -> list[str]:
    lines = [row.reason] if row.reason else []
    changed = [str(each) for each in differences(row.old, row.new)]
    lines += changed[:MOST_DIFFERENCES]
    more = len(changed) - MOST_DIFFERENCES
    return [*lines, f"and {more} more fields"] if more > 0 else lines


def _address(base: str, row: JournalEntry) -> str:
    path = LISTED_AT.get(row.record)
    if path is None:
        return f"{base}v1/journal?record={quote(row.record, safe='')}&key={quote(row.key, safe='')}"
    return f"{base}v1/{path}/{quote(row.key, safe='')}/revisions/{row.revision}"


def _identity(row: JournalEntry) -> str:
    return "\n".join((row.record, row.key, str(row.revision), row.at))


def as_xml(root: ElementTree.Element) -> bytes:
    """A feed as it is sent."""
    return b'<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(root, encoding="unicode").encode()


def feed_id(*parts: str) -> str:
    """The id of a feed or of an entry in one: always the same for the same parts."""
    return f"urn:uuid:{uuid.uuid5(IDS, chr(10).join(parts))}"


def add_text(parent: ElementTree.Element, name: str, text: str) -> None:
    """Put an element that holds a text into another; what XML cannot carry shows as U+FFFD."""
    ElementTree.SubElement(parent, name).text = NOT_IN_XML.sub("\ufffd", text)


def add_link(parent: ElementTree.Element, rel: str, address: str, kind: str) -> None:
    """Put a link to an address, whose media type is ``kind``, into a feed or an entry."""
    ElementTree.SubElement(parent, "link", {"rel": rel, "href": address, "type": kind})
