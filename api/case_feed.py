"""Open cases as an Atom feed (RFC 4287): each once when it is opened, and once more whenever its answer changes."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from urllib.parse import quote
from xml.etree import ElementTree

from api.feeds import ATOM, IDS, NAMESPACE, NOT_IN_XML
from catalog.cases.finding import Case
from catalog.cases.summaries import VERDICTS
from catalog.moments import now

TITLE = "otherhalf: open cases"


def case_feed(base: str, address: str, cases: Sequence[Case]) -> bytes:
    """The feed as XML, UTF-8. ``base`` is the server's address with a slash at its end, ``address`` the feed's own."""
    root = ElementTree.Element("feed", {"xmlns": NAMESPACE})
    _text(root, "id", _id("open cases", base))
    _text(root, "title", TITLE)
    _text(root, "updated", cases[0].answer_document.changed_at if cases else now())
    _text(ElementTree.SubElement(root, "author"), "name", "otherhalf")
    _link(root, "self", address, ATOM)
    _link(root, "alternate", f"{base}v1/specimens", "application/json")
    for case in cases:
        root.append(_entry(base, case))
    return b'<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(root, encoding="unicode").encode()


def _entry(base: str, case: Case) -> ElementTree.Element:
    document, kept, answer = case.document, case.answer_document, case.answer
    made = ElementTree.Element("entry")
    # A reader shows an entry once; so every change of the answer is one of its own.
    _text(made, "id", _id("case", document.key, str(kept.revision)))
    _text(made, "title", f"{'answer changed' if case.changed_since else 'open case'}: {document.content['title']}")
    _text(made, "updated", kept.changed_at)
    _text(ElementTree.SubElement(made, "author"), "name", document.author)
    _link(made, "alternate", f"{base}v1/specimens/{quote(document.key, safe='')}", "application/json")
    told = answer.changes if case.changed_since else (VERDICTS[answer.now.verdict],)
    _text(made, "summary", "\n".join(told))
    return made


def _id(*parts: str) -> str:
    return f"urn:uuid:{uuid.uuid5(IDS, chr(10).join(parts))}"


def _text(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, name).text = NOT_IN_XML.sub("\ufffd", text)


def _link(parent: ElementTree.Element, rel: str, address: str, kind: str) -> None:
    ElementTree.SubElement(parent, "link", {"rel": rel, "href": address, "type": kind})
