"""Findings, changes, the journal, what waits, contributors and tokens in print."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import indented, plain, table
from api.operations.differences import differences
from api.schemas.evidence import FindingOut
from api.schemas.history import UndoneOut
from api.schemas.words import SEVERITY_WORDS
from catalog.accounts.access import Scope
from catalog.accounts.contributors import Contributor
from catalog.accounts.tokens import Token
from catalog.history.documents import DocumentRecord
from catalog.history.journal import JournalEntry
from catalog.review import Finding

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


TO_THE_MINUTE = 16
"""Characters of a moment that are shown: 2026-11-25T14:30."""


def contributor_table(contributors: Sequence[Contributor]) -> RenderableType:
    """Everybody in a line."""
    rows = table("name", "role", "since", "suspended", whole=("role", "since"))
    for each in contributors:
        suspended = f"{moment(each.suspended_at)}: {each.suspended_for}" if each.suspended_at else ""
        rows.add_row(plain(each.name), each.role.value, moment(each.added_at)[:10], plain(suspended))
    return rows


def token_table(tokens: Sequence[Token]) -> RenderableType:
    """Every token in a line."""
    rows = table("no.", "contributor", "begins", "scopes", "state", "ends", "used", "label", right=("no.",))
    for each in tokens:
        ends, used = moment(each.expires_at)[:10], moment(each.last_used_at)
        scopes = ", ".join(scope.value for scope in Scope if scope in each.scopes)
        named = plain(each.contributor), each.start, scopes
        rows.add_row(str(each.id), *named, each.state.value, ends or "never", used or "never", plain(each.label))
    return rows


def first_steps(database: str | None) -> Iterator[Text]:
    """How the first maintainer is made; ``database`` is the address where it is not the usual one."""
    where = "" if database is None else f" --database {shlex.quote(database)}"
    yield plain("Nobody may contribute yet. To make the first maintainer, run these two:")
    yield plain(f"  otherhalf contributor add 'Your name' --role maintainer{where}")
    yield plain(f"  otherhalf token create 'Your name' --scopes all{where}")


def moment(written: str | None) -> str:
    """A moment to the minute, UTC; empty for none."""
    return "" if written is None else written[:TO_THE_MINUTE].replace("T", " ")
