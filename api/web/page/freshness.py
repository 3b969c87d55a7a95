"""ETags of pages: from the catalogue's version, who looks, and the program's own files."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from starlette.responses import Response

from api.service.dependencies import program_version
from api.service.etags import is_known, quoted
from api.web.page.rendering import PAGE_POLICY, WITH_TEMPLATES, Visit

DIGITS = 16
"""Hexadecimal figures of a tag's digest: 64 bits, far more than the states a page is ever kept in."""


def tag_of_page(visit: Visit, version: int) -> str:
    """The ETag of a page for one visitor at a version of the catalogue."""
    seen = f"{program_version()} {_templates()} {version} {visit.who.name} {visit.who.role} {visit.who.state}"
    return hashlib.sha256(seen.encode()).hexdigest()[:DIGITS]


def kept(visit: Visit, version: int) -> Response | None:
    """304 where the browser's copy is still current; None: make the page."""
    tag = tag_of_page(visit, version)
    known = is_known(tag, visit.request.headers.get("if-none-match"))
    return Response(status_code=304, headers=_headers(tag)) if known else None


def keep(visit: Visit, version: int, page: Response) -> Response:
    """The page with its tag. Browsers ask again each time, and shared caches keep nothing."""
    page.headers.update(_headers(tag_of_page(visit, version)))
    return page


def _headers(tag: str) -> Mapping[str, str]:
    # The policy too: what a 304 carries takes the place of the kept answer's.
    return {
        "ETag": quoted(tag),
        "Cache-Control": "private, no-cache",
        "Vary": "Cookie",
        "Content-Security-Policy": PAGE_POLICY,
    }


@lru_cache(maxsize=1)
def _templates() -> str:
    """Digest of the templates, so that a changed program changes the tag."""
    digest = hashlib.sha256()
    for name in WITH_TEMPLATES:
        for text in _texts(files(f"api.web.{name}") / "templates"):
            digest.update(text)
    return digest.hexdigest()


def _texts(folder: Traversable) -> Iterator[bytes]:
    for each in sorted(folder.iterdir(), key=lambda found: found.name):
        if each.is_dir():
            yield from _texts(each)
        else:
            yield each.read_bytes()
