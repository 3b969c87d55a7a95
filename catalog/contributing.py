"""Taking what somebody contributes: reviewed by machine first, then added or revised, with what was acknowledged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from sqlalchemy.orm import Session

from catalog.adding import AddReport, add
from catalog.entries import AnyEntry, Series
from catalog.errors import CatalogueError, EntryError
from catalog.history.acts import Act
from catalog.history.pending import DELAY, Submitted, submit_revision
from catalog.review import Finding, is_clean, review, severe, surroundings
from catalog.series_laws import Expansion, expand

SHORTEST_REASON = 10
"""Characters of a reason that acknowledges a severe finding: "ok" explains nothing to whoever reads it later."""


class ReviewRefusedError(CatalogueError):
    """The machine review found something severe that was not acknowledged; ``findings`` are all that it found."""

    def __init__(self, findings: Sequence[Finding], unacknowledged: Sequence[Finding]) -> None:
        first = unacknowledged[0]
        super().__init__(
            first.message,
            field=first.field,
            value=first.value,
            remedy=f"{first.remedy}; if it is right as it is, acknowledge {first.code} with a reason",
        )
        self.findings = tuple(findings)
        self.unacknowledged = tuple(unacknowledged)


@dataclass(frozen=True, kw_only=True)
class Preview:
    """What would happen: what the machine review finds, and for a series every half and mating of its laws."""

    findings: tuple[Finding, ...]
    made: Expansion | None


@dataclass(frozen=True, kw_only=True)
class Contributed:
    """What was added, and what the machine review found about it."""

    report: AddReport
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class Revised:
    """What became of a revision (done, or waiting), and what the machine review found about it."""

    submitted: Submitted
    findings: tuple[Finding, ...]


def preview(session: Session, entry: AnyEntry) -> Preview:
    """Review an entry without saving it. Raises EntryError for laws that cannot be carried out."""
    made = expand(entry) if isinstance(entry, Series) else None
    return Preview(findings=review(entry, surroundings(session, entry)), made=made)


def contribute(session: Session, act: Act, entry: AnyEntry, acknowledged: Mapping[str, str]) -> Contributed:
    """Add an entry. ``acknowledged`` gives a reason for each severe finding, by its code; the journal keeps them.

    Raises ReviewRefusedError, EntryError for an acknowledgement without a reason, and what `catalog.adding.add` raises.
    """
    findings, clean = _reviewed(session, entry, acknowledged)
    keys = _keys(entry) if clean else ()
    report = add(session, [entry], _with_reasons(act, findings, acknowledged), clean=keys)
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
    """Revise an entry; a confirmed one's values wait. Raises as `contribute` and `catalog.history.changing.revise`."""
    findings, clean = _reviewed(session, entry, acknowledged)
    act = _with_reasons(act, findings, acknowledged)
    return Revised(submitted=submit_revision(session, act, key, entry, clean=clean, delay=delay), findings=findings)


def _reviewed(session: Session, entry: AnyEntry, acknowledged: Mapping[str, str]) -> tuple[tuple[Finding, ...], bool]:
    findings = review(entry, surroundings(session, entry))
    for code, reason in acknowledged.items():
        if len(reason.strip()) < SHORTEST_REASON:
            raise EntryError(
                f"the acknowledgement of {code} gives no reason",
                field=f"acknowledge.{code}",
                value=reason,
                remedy=f"Say in {SHORTEST_REASON} characters or more why it is right as it is",
            )
    left = [finding for finding in severe(findings) if finding.code not in acknowledged]
    if left:
        raise ReviewRefusedError(findings, left)
    return findings, is_clean(findings)


def _with_reasons(act: Act, findings: Sequence[Finding], acknowledged: Mapping[str, str]) -> Act:
    found = dict.fromkeys(finding.code for finding in severe(findings))
    told = [act.reason, *(f"acknowledged {code}: {acknowledged[code]}" for code in found)]
    return replace(act, reason="; ".join(part for part in told if part))


def _keys(entry: AnyEntry) -> tuple[str, ...]:
    if not isinstance(entry, Series):
        return (entry.key,)
    made = expand(entry)
    return (entry.key, *(half.key for half in made.halves), *(mating.key for mating in made.matings))
