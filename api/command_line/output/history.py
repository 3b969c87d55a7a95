"""Findings, changes, the journal and what waits, in print."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import indented, plain, table
from api.command_line.output.people import moment
from api.operations.differences import differences
from api.schemas.evidence import FindingOut
from api.schemas.history import UndoneOut
from catalog.history.documents import DocumentRecord
from catalog.history.journal import JournalEntry
from catalog.review import Finding, Severity

SEVERITY_WORDS: Mapping[Severity, str] = {
    "severe": "must be looked at",
    "warning": "looks odd",
    "notice": "worth knowing",
}
"""How the bench says how bad a finding is."""

MOST_DIFFERENCES = 12
"""Changed fields told of one change; --json has them all."""


def finding_lines(
    findings: Iterable[Finding | FindingOut], unacknowledged: Iterable[Finding] = ()
) -> Iterator[RenderableType]:
    """What the machine review found, with what to do; and how to let pass what is right as it is."""
    left = {finding.code for finding in unacknowledged}
    for finding in findings:
        yield indented(f"{SEVERITY_WORDS[finding.severity]} ({finding.field}): {finding.message}", 2)
        yield indented(finding.remedy, 4)
        if finding.code in left:
            yield indented(f"If it is right as it is: --acknowledge '{finding.code}=why it is right'", 4)


def journal_lines(rows: Sequence[JournalEntry]) -> Iterator[RenderableType]:
    """What happened, each with its changed fields."""
    for row in rows:
        yield Text(f"{moment(row.at)}  {row.actor}: {row.action} {row.record} {row.key}, revision {row.revision}")
        if row.reason:
            yield indented(row.reason, 4)
        if row.old is None:
            continue
        changed = differences(row.old, row.new)
        for each in changed[:MOST_DIFFERENCES]:
            yield indented(str(each), 4)
        if len(changed) > MOST_DIFFERENCES:
            yield indented(f"and {len(changed) - MOST_DIFFERENCES} more fields; --json has them all", 4)


def pending_table(waiting: Sequence[DocumentRecord]) -> RenderableType:
    """Every change that waits in a line."""
    rows = table("key", "due (UTC)", "what", "of", "by", "why", whole=("key", "due (UTC)"))
    for each in waiting:
        content = each.content
        into = f" into {content['successor']}" if content.get("successor") else ""
        what = f"{content['of']} {content['key']}{into}"
        rows.add_row(
            each.key,
            moment(content["due"]),
            content["action"],
            plain(what),
            plain(each.author),
            plain(content["reason"]),
        )
    return rows


def undone_lines(undone: UndoneOut) -> Iterator[RenderableType]:
    """What an undo took back and kept."""
    yield plain(f"{len(undone.taken_back)} changed records of {undone.contributor} are as they were before.")
    for each in undone.taken_back:
        yield indented(f"{each.record} {each.key}", 2)
    if undone.kept:
        yield plain(f"{len(undone.kept)} could not be taken back whole:")
    for kept in undone.kept:
        yield indented(f"{kept.record} {kept.key}: {kept.why} ({', '.join(kept.by)})", 2)
