"""``otherhalf add`` and ``otherhalf review``: entries and their machine review."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from api.command_line.commands.catalogue import progress
from api.command_line.commands.common import (
    STANDARD,
    AcknowledgeOption,
    DatabaseOption,
    ExitCode,
    OfOption,
    acknowledgements,
    acting,
    check_exists,
    reporting_errors,
    show,
)
from api.command_line.output.console import plain
from api.command_line.output.lists import added_lines
from api.command_line.output.records import finding_lines
from api.operations.entries import ADD, REVIEW
from api.operations.operation import Nothing, Task
from api.operations.transaction import Writing
from api.schemas.contributing import ContributedOut, ContributionIn
from api.schemas.evidence import FindingOut
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.exchange import read_placed
from catalog.exchange.files import Placed
from catalog.exchange.jsonl import read_jsonl
from catalog.history.addition import AddReport
from catalog.model.entry_states import ENTRIES
from catalog.model.errors import CatalogueError, DuplicateError, EntryError, FileError, FileRefusedError
from catalog.review import Finding, severe

LOOKED_AT = "only looked at, to find everything at once"
"""Reason under which refused entries are added until the transaction is rolled back."""


@dataclass(frozen=True, kw_only=True)
class Reviewed:
    """An entry of the file, its findings, and those that were not acknowledged."""

    placed: Placed
    findings: tuple[FindingOut, ...]
    unacknowledged: tuple[Finding, ...] = ()


class _RefusedError(Exception):
    """The machine review refused some entries; raised to roll the transaction back."""


def add(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A .jsonl or .csv file of entries; - reads JSON Lines.")],
    acknowledge: AcknowledgeOption = None,
    reason: Annotated[str, typer.Option("--reason", help="Why, or from where; saved in the journal.")] = "",
    as_: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="The contributor who adds; by default the operator.")
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Review entries automatically and add them to the catalogue.

    The machine review compares each entry with the laws of its series, with
    similar entries and with plain geometry. A severe finding must be corrected, or
    acknowledged with a reason. A file is added as a whole or not at all.

    [bold]Examples[/bold]

    \b
      otherhalf add my-drawing.jsonl --as "Wren Ashby" --reason "drawing C"
      otherhalf table drawing.txt … --json | otherhalf add -
      otherhalf add odd.jsonl --acknowledge "off-law=measured on two parts"
    """
    with reporting_errors(), acting(database, as_) as writing:
        entries = _read(file)
        reviewed, report = _add(writing, entries, acknowledgements(acknowledge), reason)
        refused = report is None
        for each in reviewed:
            if each.findings:
                show([plain(f"{each.placed.entry.record} {each.placed.entry.key}:")], to_errors=refused)
                show(list(finding_lines(each.findings, each.unacknowledged)), to_errors=refused)
        if report is not None:
            show(list(added_lines(report)))
            return
    number = sum(bool(each.unacknowledged) for each in reviewed)
    show([plain(f"Nothing was saved: {number} of {len(reviewed)} entries must be looked at.")], to_errors=True)
    raise typer.Exit(ExitCode.BAD_INPUT)


def review(
    keys: Annotated[list[str], typer.Argument(metavar="KEY…", help="Entries, as 'otherhalf search' lists them.")],
    of: OfOption = "half",
    database: DatabaseOption = None,
) -> None:
    """Run the machine review on entries of the catalogue, for example on imported ones.

    Only an entry that passes can get the standing 'documented'.

    [bold]Example[/bold]

    \b
      otherhalf review siskin-works:sk-7 siskin-works:sk-8
    """
    passed = True
    with reporting_errors(), acting(database) as writing:
        for key in keys:
            found = writing.carry_out(REVIEW, Nothing(), record=of, key=key).result
            passed = passed and found.clean
            show([plain(f"{of} {key}: {'passes' if found.clean else 'does not pass'} the machine review")])
            show(list(finding_lines(found.findings)))
    raise typer.Exit(ExitCode.ANSWERED if passed else ExitCode.NO_MATCH)


def _read(file: str) -> list[Placed]:
    if file == STANDARD:
        return read_jsonl(sys.stdin.read(), STANDARD)
    check_exists(Path(file))
    return read_placed(Path(file))


def _add(
    writing: Writing, entries: Sequence[Placed], reasons: Mapping[str, str], reason: str
) -> tuple[list[Reviewed], AddReport | None]:
    """The findings about each entry, and what was added; None instead of that if anything was refused."""
    # Entries that others refer to come first, whatever the order of the file.
    ordered = sorted(entries, key=lambda placed: ENTRIES.index(placed.entry.record))
    reviewed: list[Reviewed] = []
    added, unchanged = dict.fromkeys(ENTRIES, 0), dict.fromkeys(ENTRIES, 0)
    try:
        with progress("looking entries over") as tell, writing.task(ADD, reason) as task:
            for number, placed in enumerate(ordered, start=1):
                one, made = _add_one(task, placed, reasons)
                reviewed.append(one)
                for record in ENTRIES:
                    added[record] += made.added.get(record, 0)
                    unchanged[record] += made.unchanged.get(record, 0)
                tell(number, len(ordered))
            if any(each.unacknowledged for each in reviewed):
                raise _RefusedError
    except _RefusedError:
        return reviewed, None
    return reviewed, AddReport(added=added, unchanged=unchanged)


def _add_one(task: Task, placed: Placed, reasons: Mapping[str, str]) -> tuple[Reviewed, ContributedOut]:
    """Add one entry, for now even if it is refused, so that entries that depend on it can be reviewed too."""
    left: tuple[Finding, ...] = ()
    try:
        made = _run(task, placed, reasons)
    except ReviewRefusedError as refusal:
        left = refusal.unacknowledged
        made = _run(task, placed, {finding.code.value: LOOKED_AT for finding in severe(refusal.findings)})
    return Reviewed(placed=placed, findings=made.findings, unacknowledged=left), made


def _run(task: Task, placed: Placed, reasons: Mapping[str, str]) -> ContributedOut:
    """Add an entry; errors name its line in the file."""
    try:
        return ADD.run(task, ContributionIn(entry=placed.entry, acknowledge=dict(reasons)))
    except (DuplicateError, EntryError) as error:
        if (error.field or "").startswith("acknowledge."):
            raise
        raise FileRefusedError([_at(error, placed)], more=False) from error


def _at(error: CatalogueError, placed: Placed) -> FileError:
    return FileError(
        error.message,
        path=placed.path,
        line=placed.line,
        column=1,
        field=(error.field or "").removeprefix("entry").removeprefix(".") or None,
        value=error.value,
        remedy=error.remedy,
    )
