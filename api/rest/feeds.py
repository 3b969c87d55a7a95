"""Atom feeds (RFC 4287) of the journal and of open cases."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote
from xml.etree import ElementTree

from api.operations.differences import differences
from api.schemas.history import LISTED_AT
from catalog.cases.retrieval import Case
from catalog.history.journal import JournalEntry
from catalog.model.timestamps import now
from matcher.results import VERDICT_WORDS

ATOM = "application/atom+xml"
NAMESPACE = "http://www.w3.org/2005/Atom"

IDS = uuid.UUID("3f0f4b2e-7a53-4a0e-9d5c-6b1f0c1d8e42")
"""Namespace of the ids (RFC 9562, version 5): an entry has the same id wherever the catalogue is served."""

NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (2.2, Char) cannot contain, even escaped."""

MOST_DIFFERENCES = 20
"""Changed fields shown in one entry of the feed; the others are counted, and its link leads to them."""


@dataclass(frozen=True, kw_only=True)
class Feed:
    """The address and the filters of a feed. ``base`` ends with a slash; ``first`` is the journal's first row, if there
    is one, and identifies the catalogue."""

    base: str
    address: str
    filters: Mapping[str, str]
    first: Sequence[JournalEntry]


def atom(feed: Feed, rows: Sequence[JournalEntry]) -> bytes:
    """The changes of the journal as XML in UTF-8."""
    about = ", ".join(f"{name} {value}" for name, value in feed.filters.items())
    beginning = _identity(feed.first[0]) if feed.first else feed.base
    entries = [
        _entry(
            id=_id("row", _identity(row)),
            title=f"{row.action}: {row.record} {row.key}, revision {row.revision}",
            updated=row.at,
            author=row.actor,
            address=_address(feed.base, row),
            summary=_summary(row),
        )
        for row in rows
    ]
    return _feed(
        entries,
        id=_id("feed", beginning, about),
        title=f"otherhalf: {about or 'all changes'}",
        updated=rows[0].at if rows else now(),
        address=feed.address,
        alternate=f"{feed.base}v1/journal",
    )


def case_feed(base: str, address: str, cases: Sequence[Case]) -> bytes:
    """Open cases as XML in UTF-8: one entry when a case is opened, and another whenever its answer changes.

    ``base`` is the server's address with a slash at the end, ``address`` the feed's own.
    """
    entries = [
        _entry(
            # A feed reader shows an entry only once, so every change of the answer is a new entry.
            id=_id("case", case.document.key, str(case.answer_document.revision)),
            title=f"{'answer changed' if case.changed_since else 'open case'}: {case.document.content['title']}",
            updated=case.answer_document.changed_at,
            author=case.document.author,
            address=f"{base}v1/specimens/{quote(case.document.key, safe='')}",
            summary=case.answer.changes if case.changed_since else (VERDICT_WORDS[case.answer.now.verdict],),
        )
        for case in cases
    ]
    return _feed(
        entries,
        id=_id("open cases", base),
        title="otherhalf: open cases",
        updated=cases[0].answer_document.changed_at if cases else now(),
        address=address,
        alternate=f"{base}v1/specimens",
    )


def _feed(
    entries: Sequence[ElementTree.Element], *, id: str, title: str, updated: str, address: str, alternate: str
) -> bytes:
    root = ElementTree.Element("feed", {"xmlns": NAMESPACE})
    _add_head(root, id=id, title=title, updated=updated, author="otherhalf")
    _add_link(root, "self", address, ATOM)
    _add_link(root, "alternate", alternate, "application/json")
    root.extend(entries)
    return b'<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(root, encoding="unicode").encode()


def _entry(
    *, id: str, title: str, updated: str, author: str, address: str, summary: Sequence[str]
) -> ElementTree.Element:
    made = ElementTree.Element("entry")
    _add_head(made, id=id, title=title, updated=updated, author=author)
    _add_link(made, "alternate", address, "application/json")
    _add_text(made, "summary", "\n".join(summary))
    return made


def _add_head(element: ElementTree.Element, *, id: str, title: str, updated: str, author: str) -> None:
    """Add the elements that begin a feed and an entry alike."""
    _add_text(element, "id", id)
    _add_text(element, "title", title)
    _add_text(element, "updated", updated)
    _add_text(ElementTree.SubElement(element, "author"), "name", author)


def _add_text(parent: ElementTree.Element, name: str, text: str) -> None:
    """Add an element with a text; characters that XML cannot contain become U+FFFD."""
    ElementTree.SubElement(parent, name).text = NOT_IN_XML.sub("\ufffd", text)


def _add_link(parent: ElementTree.Element, rel: str, address: str, kind: str) -> None:
    ElementTree.SubElement(parent, "link", {"rel": rel, "href": address, "type": kind})


def _id(*parts: str) -> str:
    """The id of a feed or of an entry; the same parts always give the same id."""
    return f"urn:uuid:{uuid.uuid5(IDS, chr(10).join(parts))}"


def _summary(row: JournalEntry) -> list[str]:
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
