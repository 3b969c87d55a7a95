"""``otherhalf search``, ``import``, ``export``, ``upgrade``, ``publish`` and ``merge``."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, TextIO, TypeVar

import typer
from rich.console import RenderableType
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from sqlalchemy.orm import Session

from api.command_line.commands.common import (
    STANDARD,
    DatabaseOption,
    ExitCode,
    JsonOption,
    check_exists,
    opened,
    print_json,
    reporting_errors,
    show,
)
from api.command_line.output.console import errors, plain
from api.command_line.output.lists import added_lines, footprint_lines, hit_table
from api.schemas.lists import SearchAnswer, SearchHit
from api.service.settings import MAX_HITS
from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.contribute.land_patterns import keep_patterns
from catalog.db.database import Catalogue, read_version
from catalog.exchange import add_file, is_exchange, stored_entries, write_csv, write_jsonl
from catalog.exchange.merge import Merged, merge_published
from catalog.exchange.replay import import_whole
from catalog.exchange.whole import is_whole, write_whole
from catalog.footprints import import_folders
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.upgrade import upgrade as upgrade_tables
from catalog.model.entries import AnyEntry
from catalog.model.errors import EntryError, FileError
from catalog.model.text_fields import plain_line
from catalog.records.read import load_halves, load_series
from catalog.snapshot.search import Searchable, SearchIndex

T = TypeVar("T")

MOST_LISTED = 50
"""Most differences, and most omissions, listed on the screen; ``--all`` lists every one."""


def search(
    text: Annotated[str, typer.Argument(help="Part of a part number, order code, maker, series or marking.")],
    limit: Annotated[int, typer.Option("--limit", min=1, max=MAX_HITS, help="Most hits to list.")] = 20,
    as_json: JsonOption = False,
    database: DatabaseOption = None,
) -> None:
    """Find halves, series and makers by text. Part of a name is enough, and typing errors are tolerated."""
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        entries = [*map(Searchable.of, load_series(session)), *map(Searchable.of, load_halves(session))]
        version, index = read_version(session), SearchIndex(entries)
    hits = index.search(text, limit)
    if as_json:
        listed = tuple(SearchHit.model_validate(hit, from_attributes=True) for hit in hits)
        found = SearchAnswer(query=text, hits=listed, catalogue_version=version)
        print_json(found)
    else:
        show([hit_table(hits)] if hits else [plain("Nothing found.")])
    raise typer.Exit(ExitCode.ANSWERED if hits else ExitCode.NO_MATCH)


def import_(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH…", help="Files and folders.", show_default=False)],
    skipped: Annotated[bool, typer.Option("--skipped", help="List every skipped footprint file.")] = False,
    licence: Annotated[
        str, typer.Option("--licence", metavar="TEXT", help="Terms of the footprint files, kept with their lands.")
    ] = "",
    database: DatabaseOption = None,
) -> None:
    """Fill the catalogue from exchange files, or from folders of open footprint files.

    \b
      .jsonl, .csv, or a folder of tables    as 'otherhalf export' writes them
      .jsonl of 'otherhalf export --history' a whole catalogue, into an empty one
      .kicad_mod, or a folder of them        each footprint becomes a half

    A file is imported as a whole or not at all. Entries that the catalogue has
    with the same content stay as they are; the same part with different content
    is refused.

    [bold]Example[/bold]

    \b
      otherhalf import my-drawings.jsonl ~/footprints/Connector.pretty
    """
    with reporting_errors(), opened(database) as catalogue:
        for path in paths:
            check_exists(path)
        for path in (path for path in paths if is_exchange(path)):
            _import_file(catalogue, path)
        footprints = [path for path in paths if not is_exchange(path)]
        taken = not footprints or _import_footprints(catalogue, footprints, every=skipped, licence=licence)
    raise typer.Exit(ExitCode.ANSWERED if taken else ExitCode.NO_MATCH)


def _import_file(catalogue: Catalogue, path: Path) -> None:
    with catalogue.writing() as session:
        if is_whole(path):
            with progress("importing the history") as tell:
                taken = import_whole(session, path, tell)
            lines = [plain(f"{record}: {number}") for record, number in taken.items()]
        else:
            lines = list(added_lines(add_file(session, path)))
    show([plain(f"{path}:"), *lines])


def export(
    path: Annotated[Path, typer.Argument(help="A .jsonl file, or a folder for tables (.csv); - prints JSON Lines.")],
    history: Annotated[
        bool, typer.Option("--history", help="Also export evidence, disputes, cases and the journal (.jsonl only).")
    ] = False,
    private: Annotated[bool, typer.Option("--private", help="With --history: private cases too.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Write the catalogue to a file or folder that 'otherhalf import' reads back without loss.

    The default is the present entries, to read and edit. --history writes the
    whole history. Tokens are never written.
    """
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        if history:
            number, what = _export_history(session, path, private=private), "rows of history"
        else:
            number, what = _export_entries(stored_entries(session), path), "entries"
    if str(path) != STANDARD:
        show([plain(f"{number} {what} written to {path}")])


def _export_history(session: Session, path: Path, *, private: bool) -> int:
    if path.suffix != ".jsonl" and str(path) != STANDARD:
        raise FileError("the history is written as JSON Lines", path=str(path), remedy="Name the file .jsonl")
    with _written_whole(path) as stream:
        return write_whole(session, stream, private=private)


def _export_entries(entries: Iterable[AnyEntry], path: Path) -> int:
    if path.suffix != ".jsonl" and str(path) != STANDARD:
        with _file_errors(path):
            return sum(write_csv(entries, path).values())
    with _written_whole(path) as stream:
        return write_jsonl(entries, stream)


def upgrade(database: DatabaseOption = None) -> None:
    """Upgrade the tables of an older catalogue to this version of the program, without loss.

    Other commands refuse an older catalogue and name this command. Make a copy
    of the file first.
    """
    with reporting_errors():
        upgrade_tables(database)
    show([plain("The catalogue's tables are up to date.")])


def _import_footprints(catalogue: Catalogue, paths: Sequence[Path], *, every: bool, licence: str) -> bool:
    """Import footprints; returns whether there were any, so that a script notices a folder of damaged files."""
    with progress("reading footprints") as tell:
        found = import_folders(paths, tell, licence)
    with catalogue.writing() as session:
        act = operators("added")
        report = add(session, found.entries, act)
        keep_patterns(session, act, found.patterns)
    show([*footprint_lines(found.report, every=every), *added_lines(report)])
    return found.report.imported > 0


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on the error stream; call what it yields with the number done and the total."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=errors(), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


@contextmanager
def _file_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(reason, path=str(path), remedy="Choose a place that you can write to") from error


def publish(
    path: Annotated[Path, typer.Argument(help="The file to write, .jsonl.")],
    signed_off_by: Annotated[
        str, typer.Option("--signed-off-by", metavar="NAME", help="The maintainer who approves it.")
    ],
    origin: Annotated[str, typer.Option("--origin", metavar="TEXT", help="The name of this catalogue for others.")],
    note: Annotated[str, typer.Option("--note", help="What others should know about it.")] = "",
    database: DatabaseOption = None,
) -> None:
    """Write the catalogue with its evidence and history to a file that other catalogues can merge.

    Private cases are left out. The file ends with a checksum: a damaged or
    changed file is refused.

    [bold]Example[/bold]

    \b
      otherhalf publish marsh-2026.jsonl --signed-off-by Wren --origin "North marsh group"
    """
    with reporting_errors(), opened(database) as catalogue, catalogue.reading() as session:
        keeper = contributors.get(session, signed_off_by)
        if keeper.role is not Role.MAINTAINER or keeper.suspended_at is not None:
            raise EntryError(
                f"{keeper.name} is not an active maintainer",
                field="signed_off_by",
                value=signed_off_by,
                remedy="Name a maintainer: otherhalf contributor list",
            )
        with _written_whole(path) as stream:
            number = write_whole(session, stream, origin=_line(origin, "origin"), signed_off_by=keeper.name, note=note)
    written = plain(f"{number} rows of history written to {path}, signed off by {keeper.name}")
    show([written], to_errors=str(path) == STANDARD)


def merge(
    path: Annotated[Path, typer.Argument(help="A file that 'otherhalf publish' wrote.")],
    every: Annotated[bool, typer.Option("--all", help="List every difference, not only the first ones.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Merge a file that another catalogue published: its new entries are added, and evidence about equal entries.

    Differences are listed and nothing is overwritten. Its contributors appear
    here as "name @ origin". Merging the same file again changes nothing.
    """
    with reporting_errors(), opened(database) as catalogue, catalogue.writing() as session:
        merged = merge_published(session, operators(f"merged {path.name}"), path)
    show(_lines(merged, None if every else MOST_LISTED))
    raise typer.Exit(ExitCode.ANSWERED)


@contextmanager
def _written_whole(path: Path) -> Iterator[TextIO]:
    """A file to write, or the standard output. An older file of this name stays until the new one is complete."""
    if str(path) == STANDARD:
        yield sys.stdout
        return
    beside = path.with_name(f".{path.name}.unfinished")
    with _file_errors(path):
        with beside.open("w", encoding="utf-8", newline="\n") as stream:
            yield stream
        beside.replace(path)


def _line(text: str, field: str) -> str:
    try:
        return plain_line(text.strip())
    except ValueError as error:
        raise EntryError(str(error), field=field, value=text, remedy="Use visible characters only") from error


def _lines(merged: Merged, most: int | None) -> Iterator[RenderableType]:
    for record, number in merged.added.items():
        yield plain(f"{record}: {number} added, {merged.unchanged.get(record, 0)} already there")
    for record, number in merged.statements.items():
        yield plain(f"{record}: {number} added")
    yield from _listed(
        "different here and left unchanged",
        merged.differences,
        lambda each: f"{each.record} {each.key}: {each.what}",
        most,
    )
    yield from _listed("not added", merged.left, lambda each: f"{each.record} about {each.about}: {each.why}", most)


def _listed(title: str, items: Sequence[T], word: Callable[[T], str], most: int | None) -> Iterator[RenderableType]:
    if not items:
        return
    yield plain(f"{len(items)} {title}:")
    for item in items[:most]:
        yield plain(f"  {word(item)}")
    if most is not None and len(items) > most:
        yield plain(f"  and {len(items) - most} more; --all lists them")
