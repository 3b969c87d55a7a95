"""Merge of another catalogue's publication: new entries are added, evidence is combined, and differences are listed.
Nothing is overwritten."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from catalog.db.tables import ENTRY_TABLES, DocumentTable
from catalog.evidence.statements import Answer, Confirmation, Dispute, Sighting
from catalog.exchange.whole import DocumentHistory, EntryHistory, Heading, Histories, histories, read_heading, read_rows
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.documents import add_document, documents
from catalog.model.entries import AnyEntry, differing
from catalog.model.entry_states import ENTRIES, EntryState, substance
from catalog.model.errors import CatalogueError, EntryError
from catalog.model.land_pattern import RECORD, LandPattern
from catalog.records.read import get_records
from catalog.records.read_models import AnyRecord

STATEMENTS: Mapping[str, type[Confirmation] | type[Dispute] | type[Sighting] | type[Answer] | type[LandPattern]] = {
    "sighting": Sighting,
    "confirmation": Confirmation,
    "dispute": Dispute,
    "answer": Answer,
    RECORD: LandPattern,
}
"""The statements that are merged. Specimens are not, since their owners can only be asked in the other catalogue."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """An entry that is different in both catalogues, or was withdrawn or merged in one of them."""

    record: str
    key: str
    what: str


@dataclass(frozen=True, kw_only=True)
class Left:
    """A statement that was not merged, and why."""

    record: str
    key: str
    about: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Merged:
    """Result of a merge: for each record the numbers of entries added and unchanged, and of statements merged; entries
    that differ, and what was left out."""

    added: Mapping[str, int]
    unchanged: Mapping[str, int]
    statements: Mapping[str, int]
    differences: tuple[Difference, ...]
    left: tuple[Left, ...]


def merge_published(session: Session, act: Act, path: Path) -> Merged:
    """Merge a publication. Its people get the names "name @ origin", to distinguish them from people of this catalogue.

    Raises EntryError for a file that nobody has signed off, FileError for a damaged one.
    """
    heading = read_heading(path)
    if heading.origin is None or heading.signed_off_by is None:
        raise EntryError(
            "this file is not signed off for publication",
            field="signed_off_by",
            value=str(path),
            remedy="Ask the maintainers of its catalogue to publish it: otherhalf publish",
        )
    found = histories(read_rows(path), str(path))
    act = replace(
        act, reason=f"{act.reason or 'merged'} (from {heading.origin}, signed off by {heading.signed_off_by})"
    )
    work = _Merge(session=session, act=act, heading=heading, found=found)
    entries = work.entries()
    statements = work.statements()
    return replace(entries, statements=statements, left=tuple(work.left))


class _Merge:
    """One merge."""

    def __init__(self, *, session: Session, act: Act, heading: Heading, found: Histories) -> None:
        self.session, self.act, self.heading, self.found = session, act, heading, found
        self.left: list[Left] = []

    def entries(self) -> Merged:
        """Add new entries, and list those that differ."""
        added: dict[str, int] = {}
        unchanged: dict[str, int] = {}
        differences: list[Difference] = []
        for record in ENTRIES:
            given = {key: each for (kind, key), each in self.found.entries.items() if kind == record}
            here = get_records(self.session, record, given)
            different = {key: _difference(here[key], given[key].latest) for key in here}
            unchanged |= {record: sum(not what for what in different.values())} if different else {}
            differences += [Difference(record=record, key=key, what=what) for key, what in different.items() if what]
            new = [each for key, each in given.items() if key not in here and each.latest.state == "listed"]
            added[record] = self._add(record, new)
        return Merged(added=added, unchanged=unchanged, statements={}, differences=tuple(differences), left=())

    def _add(self, record: str, new: list[EntryHistory]) -> int:
        """A series is added without its members, which the file contains, since some may have been changed."""
        contents = [each.latest.content for each in new if each.latest.stated]
        possible = self._possible(contents)
        add(
            self.session,
            possible,
            self.act,
            clean=[each.last.key for each in new if each.latest.clean],
            from_law=[each.last.key for each in new if each.latest.from_law],
            expanded=False,
        )
        table = ENTRY_TABLES[record]
        keys = {entry.key for entry in possible}
        for each in new:
            if each.last.key in keys:
                author = self._person(each.substance[1])
                self.session.execute(update(table).where(table.__table__.c.key == each.last.key).values(author=author))
        return len(possible)

    def _possible(self, contents: Sequence[AnyEntry]) -> Sequence[AnyEntry]:
        """Those that can be added: their halves exist, and their maker and series have the same spelling here."""
        if self._why_not(contents) is None:
            return contents
        possible = []
        for entry in contents:
            why = self._why_not([entry])
            if why is None:
                possible.append(entry)
            else:
                self.left.append(Left(record=entry.record, key=entry.key, about=entry.key, why=why))
        return possible

    def _why_not(self, entries: Sequence[AnyEntry]) -> str | None:
        try:
            with self.session.begin_nested() as trial:
                add(self.session, entries, self.act, expanded=False)
                trial.rollback()
        except CatalogueError as error:
            return error.message
        return None

    def statements(self) -> dict[str, int]:
        """Merge statements about entries that have the same figures here."""
        merged: dict[str, int] = {}
        given = {key: each for (record, key), each in self.found.documents.items() if record in STATEMENTS}
        known = set(self.session.execute(select(DocumentTable.key).where(DocumentTable.key.in_(given))).scalars())
        for key, each in given.items():
            if key in known or each.last.new["state"] == "withdrawn" or each.last.private:
                continue
            why = self._add_statement(each)
            if why is None:
                merged[each.last.record] = merged.get(each.last.record, 0) + 1
            else:
                about = f"{each.last.of} {each.last.about}"
                self.left.append(Left(record=each.last.record, key=key, about=about, why=why))
        return merged

    def _add_statement(self, document: DocumentHistory) -> str | None:
        """Add one statement; returns the reason if that is not possible."""
        last = document.last
        content = dict(last.new["content"])
        if last.of in ENTRIES:
            here = get_records(self.session, last.of, [last.about or ""]).get(last.about or "")
            if here is None:
                return "this catalogue does not have the entry"
            if "revision" in content:
                if not self._same_figures(last.of, last.about or "", content["revision"], here):
                    return "the entry has other figures in this catalogue"
                content["revision"] = here.revision
        if last.record == RECORD and documents(self.session, RECORD, about=last.about, limit=1):
            return "the half has lands in this catalogue"
        statement = STATEMENTS[last.record].model_validate(content)
        add_document(
            self.session,
            replace(self.act, actor=self._person(document.first.actor)),
            last.record,
            statement,
            of=last.of,
            about=last.about,
            state=last.new["state"],
            key=last.key,
            action="merge",
        )
        return None

    def _same_figures(self, of: str, key: str, revision: int, here: AnyRecord) -> bool:
        """Whether the revision that the statement is about has the figures that the entry has here."""
        seen = self.found.entries.get((of, key))
        if seen is None:
            return False
        since = seen.substance[0]
        return since <= revision and substance(seen.latest.content) == substance(here.content)

    def _person(self, name: str) -> str:
        return f"{name} @ {self.heading.origin}"


def _difference(here: AnyRecord, there: EntryState) -> str:
    """How an entry differs; empty if it does not."""
    if there.state != here.state:
        return f"{there.state} there, {here.state} here"
    names = differing(here.content, there.content)
    return f"another {', '.join(names)}" if names else ""
