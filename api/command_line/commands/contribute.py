"""``otherhalf add``: entries through the machine review into the catalogue, as its operator or as a contributor."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from sqlalchemy.orm import Session

from api.command_line.commands.catalogue import progress
from api.command_line.commands.common import DatabaseOption, ExitCode, opened, show, told
from api.command_line.output.console import plain
from api.command_line.output.history import finding_lines
from api.command_line.output.lists import added_lines
from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.contribute.contributing import Contributed, contribute, review_standing
from catalog.db.database import Catalogue
from catalog.exchange import read_placed
from catalog.exchange.jsonl import read_jsonl
from catalog.exchange.placed import Placed
from catalog.history.acts import Act, operators
from catalog.model.errors import CatalogueError, DuplicateError, EntryError, FileError, FileRefusedError, SuspendedError
from catalog.records.adding import AddReport
from catalog.review import Finding, is_clean, severe

ORDER = ("series", "half", "mating")
"""What others need comes first, in whatever order a file has it."""

LOOKED_AT = "only looked at, to find everything at once"
"""Reason under which refused entries go in until the transaction is taken back."""


@dataclass(frozen=True, kw_only=True)
class Reviewed:
    """An entry of the file, what was found in it, and what of that was not acknowledged."""

    placed: Placed
    findings: tuple[Finding, ...]
    unacknowledged: tuple[Finding, ...] = ()


class _RefusedError(Exception):
    """The machine review refused some entries; raised so that nothing of the transaction is kept."""


def add(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A .jsonl or .csv file of entries; - reads JSON Lines.")],
    acknowledge: Annotated[
        list[str] | None,
        typer.Option(
            "--acknowledge", metavar="CODE=REASON", help="Why a severe finding is right as it is. Repeatable."
        ),
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why, or from where; the journal keeps it.")] = "",
    as_: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="The contributor who adds; else the operator.")
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Add entries to the catalogue, looked over first as a careful reader would.

    Each entry is held against its series' laws, its neighbours and plain geometry. What must be looked at is not saved
    until you correct it, or say why it is right as it is. A file goes in as a whole or not at all.

    [bold]Examples[/bold]

    \b
      otherhalf add my-drawing.jsonl --as "Wren Ashby" --reason "drawing C, page 2"
      otherhalf table drawing.csv | otherhalf add -
      otherhalf add odd.jsonl --acknowledge "off-law=two parts measured, both so"
    """
    with told(), opened(database) as catalogue:
        entries = _read(file)
        reviewed, report = _add(catalogue, entries, _reasons(acknowledge or []), as_, reason)
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
    of: Annotated[
        str, typer.Option("--of", metavar="KIND", help="half, mating or series: what the keys name.")
    ] = "half",
    database: DatabaseOption = None,
) -> None:
    """Look entries over that came from a file, as a careful reader would; what passes can be documented.

    [bold]Example[/bold]

    \b
      otherhalf review siskin-works:sk-7 siskin-works:sk-8
    """
    if of not in ORDER:
        raise typer.BadParameter("give half, mating or series", param_hint="--of")
    passed = True
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        for key in keys:
            findings = review_standing(session, operators("looked over"), of, key)
            passed = passed and is_clean(findings)
            show([plain(f"{of} {key}: {'passes' if is_clean(findings) else 'does not pass'} the machine review")])
            show(list(finding_lines(findings)))
    raise typer.Exit(ExitCode.ANSWERED if passed else ExitCode.NO_MATCH)


def act_as(session: Session, name: str | None, reason: str = "") -> Act:
    """An act of the operator, or of a contributor, by name. Raises NotFoundError, SuspendedError."""
    if name is None:
        return operators(reason)
    person = contributors.get(session, name)
    if person.suspended_at is not None:
        raise SuspendedError(
            f"{person.name} is suspended since {person.suspended_at}: {person.suspended_for}",
            field="as",
            value=person.name,
            remedy="Lift the suspension first, or leave --as out",
        )
    return Act(actor=person.name, reason=reason, maintainer=person.role is Role.MAINTAINER)


def _read(file: str) -> list[Placed]:
    if file == "-":
        return read_jsonl(sys.stdin.read(), "-")
    path = Path(file)
    if not path.exists():
        raise FileError("there is no such file or folder", path=file, remedy="Check the path")
    return read_placed(path)


def _reasons(given: Sequence[str]) -> dict[str, str]:
    found = {}
    for each in given:
        code, equals, why = each.partition("=")
        if not equals:
            raise EntryError(
                "an acknowledgement has no reason",
                field="--acknowledge",
                value=each,
                remedy="Write it as code=reason, with the code that the finding names",
            )
        found[code.strip()] = why.strip()
    return found


def _add(
    catalogue: Catalogue, entries: Sequence[Placed], reasons: Mapping[str, str], name: str | None, reason: str
) -> tuple[list[Reviewed], AddReport | None]:
    """What was found in each entry, and what was added; None for that where something was refused."""
    ordered = sorted(entries, key=lambda placed: ORDER.index(placed.entry.record))
    reviewed: list[Reviewed] = []
    reports: list[AddReport] = []
    try:
        with progress("looking entries over") as tell, catalogue.writing() as session:
            act = act_as(session, name, reason)
            for number, placed in enumerate(ordered, start=1):
                one, made = _contribute(session, act, placed, reasons)
                reviewed.append(one)
                reports.append(made.report)
                tell(number, len(ordered))
            if any(each.unacknowledged for each in reviewed):
                raise _RefusedError
    except _RefusedError:
        return reviewed, None
    return reviewed, _summed(reports)


def _contribute(session: Session, act: Act, placed: Placed, reasons: Mapping[str, str]) -> tuple[Reviewed, Contributed]:
    """One entry; a refused one too, for now, so that what builds on it can be looked at as well."""
    try:
        made = _placed(lambda: contribute(session, act, placed.entry, reasons), placed)
    except ReviewRefusedError as refusal:
        codes = {finding.code.value: LOOKED_AT for finding in severe(refusal.findings)}
        made = _placed(lambda: contribute(session, act, placed.entry, codes), placed)
        return Reviewed(placed=placed, findings=made.findings, unacknowledged=refusal.unacknowledged), made
    return Reviewed(placed=placed, findings=made.findings), made


def _placed(work: Callable[[], Contributed], placed: Placed) -> Contributed:
    """What an entry is refused for, told with its line in the file."""
    try:
        return work()
    except (DuplicateError, EntryError) as error:
        if (error.field or "").startswith("acknowledge."):
            raise
        raise FileRefusedError([_at(error, placed)], more=False) from error


def _at(error: CatalogueError, placed: Placed) -> FileError:
    field = (error.field or "").removeprefix("entries[0]").removeprefix(".") or None
    return FileError(
        error.message,
        path=placed.path,
        line=placed.line,
        column=1,
        field=field,
        value=error.value,
        remedy=error.remedy,
    )


def _summed(reports: Sequence[AddReport]) -> AddReport:
    def total(name: str) -> dict[str, int]:
        return {record: sum(getattr(report, name)[record] for report in reports) for record in ORDER}

    return AddReport(added=total("added"), unchanged=total("unchanged"))
