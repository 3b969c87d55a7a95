"""The page for a key that the catalogue does not hold: what looks most like it."""

from __future__ import annotations

import re

from starlette.responses import Response

from api.web.page.addresses import CATALOGUE, asked, half_page, series_page
from api.web.page.rendering import Visit
from catalog.snapshot.search import LONGEST_QUERY, Hit
from catalog.snapshot.snapshot import Snapshot

NEAREST = 8
"""Entries offered in the place of one that is not there."""

_PARTING = re.compile(r"[:~]+")
"""What keys are put together with; the words between are what was meant."""


def unknown_entry(visit: Visit, snapshot: Snapshot, key: str, what: str) -> Response:
    """404 with the nearest entries by search: by the part number or name alone, then by all words of the key."""
    texts = [text[:LONGEST_QUERY] for text in (_PARTING.split(key)[-1], _PARTING.sub(" ", key))]
    found: dict[str, dict[str, str]] = {}
    for text in texts:
        for hit in snapshot.search.search(text, NEAREST):
            found.setdefault(_page_of(hit), {"page": _page_of(hit), "label": hit.label, "kind": hit.kind})
    nearest = list(found.values())[:NEAREST]
    return visit.page("unknown_entry.html", status=404, key=key, what=what, nearest=nearest, search=CATALOGUE)


def _page_of(hit: Hit) -> str:
    if hit.kind == "maker":
        return asked(CATALOGUE, {"maker": hit.key})
    return half_page(hit.key) if hit.kind == "half" else series_page(hit.key)
