"""Open cases as an Atom feed (RFC 4287): each once when it is opened, and once more whenever its answer changes."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote
from xml.etree import ElementTree

from api.rest.feeds import ATOM, NAMESPACE, add_link, add_text, as_xml, feed_id
from catalog.cases.answers import VERDICTS
from catalog.cases.retrieval import Case
from catalog.model.timestamps import now

TITLE = "otherhalf: open cases"


def case_feed(base: str, address: str, cases: Sequence[Case]) -> bytes:
    """The feed as XML, UTF-8. ``base`` is the server's address with a slash at its end, ``address`` the feed's own."""
    root = ElementTree.Element("feed", {"xmlns": NAMESPACE})
    add_text(root, "id", feed_id("open cases", base))
    add_text(root, "title", TITLE)
    add_text(root, "updated", cases[0].answer_document.changed_at if cases else now())
    add_text(ElementTree.SubElement(root, "author"), "name", "otherhalf")
    add_link(root, "self", address, ATOM)
    add_link(root, "alternate", f"{base}v1/specimens", "application/json")
    for case in cases:
        root.append(_entry(base, case))
    return as_xml(root)


def _entry(base: str, case: Case) -> ElementTree.Element:
    document, kept, answer = case.document, case.answer_document, case.answer
    made = ElementTree.Element("entry")
    # A reader shows an entry once; so every change of the answer is one of its own.
    add_text(made, "id", feed_id("case", document.key, str(kept.revision)))
    add_text(made, "title", f"{'answer changed' if case.changed_since else 'open case'}: {document.content['title']}")
    add_text(made, "updated", kept.changed_at)
    add_text(ElementTree.SubElement(made, "author"), "name", document.author)
    add_link(made, "alternate", f"{base}v1/specimens/{quote(document.key, safe='')}", "application/json")
    told = answer.changes if case.changed_since else (VERDICTS[answer.now.verdict],)
    add_text(made, "summary", "\n".join(told))
    return made
