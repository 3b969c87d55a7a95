"""Entries looked up by key: one that a form is about, several that were chosen, those similar to an unknown key."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.identification.nearest import nearest
from api.web.page.addresses import CATALOGUE, asked, half_page, series_page
from api.web.page.forms import Filled
from api.web.page.history import Happened, PendingChange, happened_since, pending_changes, row_of
from api.web.page.rendering import Visit
from catalog.db.database import Catalogue
from catalog.evidence.standing import EntryRecord
from catalog.history.preconditions import tag_of
from catalog.model.errors import NotFoundError
from catalog.records import queries
from catalog.records.read import get_record
from catalog.records.read_models import AnyRecord, HalfRecord
from catalog.snapshot.search import Hit
from catalog.snapshot.snapshot import Snapshot

PAGES: Mapping[str, Callable[..., str]] = {
    "half": half_page,
    "series": series_page,
    "mating": lambda key, tail="": half_page(key.partition("~")[0], f"{tail}#mates"),
}
"""The page of an entry by its key; that of a mating is its first half's."""

MOST_ASKED = 100
"""Most keys in one address: far more than any page shows, so that each page can refuse what is too many by itself."""

KeysQuery = Annotated[list[str] | None, Query(max_length=MOST_ASKED)]


@dataclass(frozen=True, kw_only=True)
class About:
    """The entry that a form is about, as it is now: its tag, what happened to it since the form was made, and changes
    of it that are pending."""

    of: EntryRecord
    key: str
    record: AnyRecord
    name: str
    maker: str
    page: str
    tag: str
    since: tuple[Happened, ...]
    pending: tuple[PendingChange, ...]


def about(catalogue: Catalogue, of: EntryRecord, key: str, filled: Filled) -> About:
    """The entry of this key. Tells what happened to it where the form is stale. Raises NotFoundError."""
    with catalogue.reading() as session:
        record = get_record(session, of, key)
        content = record.content
        made_at = filled.form.tag if filled.stale else None
        return About(
            of=of,
            key=key,
            record=record,
            name=str(getattr(content, "part_number", "") or getattr(content, "name", "") or key),
            maker=str(getattr(content, "maker", "")),
            page=PAGES[of](key),
            tag=tag_of(session, of, key),
            since=happened_since(session, of, key, row_of(made_at)) if made_at else (),
            pending=pending_changes(session, of, key),
        )


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """The chosen halves in their order, each once, and keys that no half has."""

    records: tuple[HalfRecord, ...]
    unknown: tuple[str, ...]

    @property
    def keys(self) -> list[str]:
        """The keys of the halves found."""
        return [record.key for record in self.records]


def chosen_halves(session: Session, snapshot: Snapshot, keys: Sequence[str] | None) -> Chosen:
    """The halves of these keys: listed, withdrawn, merged, or inferred from their series."""
    found: list[HalfRecord] = []
    unknown: list[str] = []
    for key in dict.fromkeys(keys or ()):
        record = find_half(session, snapshot, key)
        if record is None:
            unknown.append(key)
        else:
            found.append(record)
    return Chosen(records=tuple(found), unknown=tuple(unknown))


def find_half(session: Session, snapshot: Snapshot, key: str) -> HalfRecord | None:
    """The half of this key in any state, or the one inferred from its series; None where there is none."""
    try:
        return queries.get_half(session, key)
    except NotFoundError:
        return snapshot.halves.get(key)


def unknown_entry(visit: Visit, snapshot: Snapshot, key: str, what: str) -> Response:
    """404 with the entries that look most like the key."""
    found = [{"page": _page_of(hit), "label": hit.label, "kind": hit.kind} for hit in nearest(snapshot, key)]
    return visit.page("unknown_entry.html", status=404, key=key, what=what, nearest=found)


def _page_of(hit: Hit) -> str:
    if hit.kind == "maker":
        return asked(CATALOGUE, {"maker": hit.key})
    return half_page(hit.key) if hit.kind == "half" else series_page(hit.key)
