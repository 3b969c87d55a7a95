"""Contributions: an entry is reviewed by machine, then added or revised together with its acknowledgements."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from sqlalchemy.orm import Session

from catalog.contribute.acknowledgements import acknowledge
from catalog.history.acts import Act
from catalog.history.addition import AddReport, add
from catalog.history.pending import DELAY, Submitted, submit_revision
from catalog.history.revision import rewrite
from catalog.model.entries import AnyEntry, Series
from catalog.model.errors import DuplicateError
from catalog.model.series_laws import Expansion, expand
from catalog.records.read import get_record, get_records
from catalog.records.read_models import state_of
from catalog.review import Finding, is_clean, read_neighbours, review


@dataclass(frozen=True, kw_only=True)
class Preview:
    """Preview of a contribution: findings of the machine review, and for a series the members that its laws make."""

    findings: tuple[Finding, ...]
    made: Expansion | None


@dataclass(frozen=True, kw_only=True)
class Contributed:
    """The result of an addition, and the findings of the machine review."""

    report: AddReport
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class Revised:
    """The result of a revision (done or pending), and the findings of the machine review."""

    submitted: Submitted
    findings: tuple[Finding, ...]


def preview(session: Session, entry: AnyEntry) -> Preview:
    """Review an entry without saving it. Raises EntryError for laws that cannot be carried out."""
    made = expand(entry) if isinstance(entry, Series) else None
    return Preview(findings=_reviewed(session, entry), made=made)


def contribute(session: Session, act: Act, entry: AnyEntry, acknowledged: Mapping[str, str]) -> Contributed:
    """Add an entry. ``acknowledged`` gives a reason for each severe finding, by its code; the journal keeps them.

    Raises what `acknowledge` and `catalog.history.addition.add` raise, and DuplicateError for a withdrawn or merged
    entry.
    """
    _require_not_removed(session, entry)
    findings = _reviewed(session, entry)
    act = acknowledge(act, findings, acknowledged)
    report = add(session, [entry], act, clean=_keys(entry) if is_clean(findings) else ())
    return Contributed(report=report, findings=findings)


def revise_entry(
    session: Session,
    act: Act,
    key: str,
    entry: AnyEntry,
    acknowledged: Mapping[str, str],
    *,
    delay: timedelta = DELAY,
) -> Revised:
    """Revise an entry; changes of confirmed figures wait. Raises what `acknowledge` and
    `catalog.history.changes.revise` raise."""
    findings = _reviewed(session, entry)
    act = acknowledge(act, findings, acknowledged)
    submitted = submit_revision(session, act, key, entry, clean=is_clean(findings), delay=delay)
    return Revised(submitted=submitted, findings=findings)


def review_standing(session: Session, act: Act, record: str, key: str) -> tuple[Finding, ...]:
    """Review a listed entry, e.g. one from a file, and mark it as clean if nothing is found. Raises NotFoundError."""
    entry = get_record(session, record, key)
    findings = _reviewed(session, entry.content)
    if is_clean(findings) and not entry.clean:
        rewrite(session, act, "review", replace(state_of(entry), clean=True))
    return findings


def _require_not_removed(session: Session, entry: AnyEntry) -> None:
    """Refuse to add a withdrawn or merged entry again: it can be restored, or its successor used."""
    for record in get_records(session, entry.record, [entry.key]).values():
        if record.state != "listed":
            raise DuplicateError(
                f"{entry.record} {entry.key} was {record.state}",
                field="entry",
                value=entry.key,
                remedy=f"Use {record.successor} instead" if record.successor else "Restore it, then revise it",
            )


def _reviewed(session: Session, entry: AnyEntry) -> tuple[Finding, ...]:
    return review(entry, read_neighbours(session, entry))


def _keys(entry: AnyEntry) -> tuple[str, ...]:
    members = expand(entry).members if isinstance(entry, Series) else []
    return tuple(each.key for each in (entry, *members))
