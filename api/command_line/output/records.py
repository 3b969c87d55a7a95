"""Printed findings, changes, pending changes, contributors and tokens."""

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
"""Changed fields shown for one change; --json has all."""


def finding_lines(
    findings: Iterable[Finding | FindingOut], unacknowledged: Iterable[Finding] = ()
) -> Iterator[RenderableType]:
    """What the machine review found, with the remedy; and how to acknowledge what is correct as it is."""
    left = {finding.code for finding in unacknowledged}
    for finding in findings:
        yield indented(f"{SEVERITY_WORDS[finding.severity]} ({finding.field}): {finding.message}", 2)
        yield indented(finding.remedy, 4)
        if finding.code in left:
            yield indented(f"If it is correct as it is: --acknowledge '{finding.code}=why it is correct'", 4)


def journal_lines(rows: Sequence[JournalEntry]) -> Iterator[RenderableType]:
    """Changes, each with its changed fields."""
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
    """A table of pending changes."""
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
    """What was undone, and what was kept."""
    yield plain(f"{len(undone.taken_back)} records changed by {undone.contributor} are restored.")
    for each in undone.taken_back:
        yield indented(f"{each.record} {each.key}", 2)
    if undone.kept:
        yield plain(f"{len(undone.kept)} could not be undone completely:")
    for kept in undone.kept:
        yield indented(f"{kept.record} {kept.key}: {kept.why} ({', '.join(kept.by)})", 2)


TO_THE_MINUTE = 16
"""Characters of a date and time that are shown: 2026-11-25T14:30."""


def contributor_table(contributors: Sequence[Contributor]) -> RenderableType:
    """A table of contributors."""
    rows = table("name", "role", "since", "suspended", whole=("role", "since"))
    for each in contributors:
        suspended = f"{moment(each.suspended_at)}: {each.suspended_for}" if each.suspended_at else ""
        rows.add_row(plain(each.name), each.role.value, moment(each.added_at)[:10], plain(suspended))
    return rows


def token_table(tokens: Sequence[Token]) -> RenderableType:
    """A table of tokens."""
    rows = table("no.", "contributor", "begins", "scopes", "state", "expires", "used", "label", right=("no.",))
    for each in tokens:
        ends, used = moment(each.expires_at)[:10], moment(each.last_used_at)
        scopes = ", ".join(scope.value for scope in Scope if scope in each.scopes)
        named = plain(each.contributor), each.start, scopes
        rows.add_row(str(each.id), *named, each.state.value, ends or "never", used or "never", plain(each.label))
    return rows


def first_steps(database: str | None) -> Iterator[Text]:
    """How to add the first maintainer; ``database`` is the address if it is not the default one."""
    where = "" if database is None else f" --database {shlex.quote(database)}"
    yield plain("There are no contributors yet. To add the first maintainer, run these two commands:")
    yield plain(f"  otherhalf contributor add 'Your name' --role maintainer{where}")
    yield plain(f"  otherhalf token create 'Your name' --scopes all{where}")


def moment(written: str | None) -> str:
    """A date and time to the minute, UTC; empty for None."""
    return "" if written is None else written[:TO_THE_MINUTE].replace("T", " ")
