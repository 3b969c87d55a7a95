"""``otherhalf publish`` and ``otherhalf merge``: catalogues that learn from each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, TypeVar

import typer
from rich.console import RenderableType

from api.command_line.commands.common import DatabaseOption, ExitCode, opened, show, told
from api.command_line.output.console import plain
from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.exchange.merging import Merged, merge_published
from catalog.exchange.whole import write_whole
from catalog.history.acts import operators
from catalog.model.errors import EntryError, FileError
from catalog.model.text_fields import plain_line

T = TypeVar("T")

MOST_LISTED = 50
"""Differences and leavings that are listed on the screen, unless all are asked for."""


def publish(
    path: Annotated[Path, typer.Argument(help="The file to write, .jsonl.")],
    signed_off_by: Annotated[
        str, typer.Option("--signed-off-by", metavar="NAME", help="The maintainer who stands for it.")
    ],
    origin: Annotated[str, typer.Option("--origin", metavar="TEXT", help="What others shall call this catalogue.")],
    note: Annotated[str, typer.Option("--note", help="What others should know about it.")] = "",
    database: DatabaseOption = None,
) -> None:
    """Write the catalogue, evidence and history included, to a file that other catalogues can merge.

    Private cases stay out. The file ends with a check sum, so that a damaged or altered one is refused.

    [bold]Example[/bold]

    \b
      otherhalf publish marsh-2026.jsonl --signed-off-by Wren --origin "North marsh group"
    """
    with told(), opened(database) as catalogue, catalogue.reading() as session, written_whole(path) as unfinished:
        keeper = contributors.get(session, signed_off_by)
        if keeper.role is not Role.MAINTAINER or keeper.suspended_at is not None:
            raise EntryError(
                f"{keeper.name} is no active maintainer",
                field="signed_off_by",
                value=signed_off_by,
                remedy="Name a maintainer: otherhalf contributor list",
            )
        with unfinished.open("w", encoding="utf-8", newline="\n") as stream:
            number = write_whole(session, stream, origin=_line(origin, "origin"), signed_off_by=keeper.name, note=note)
    show([plain(f"{number} rows of history written to {path}, signed off by {keeper.name}")])


def merge(
    path: Annotated[Path, typer.Argument(help="A file that 'otherhalf publish' wrote.")],
    every: Annotated[bool, typer.Option("--all", help="List every difference, not only the first ones.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Merge what another catalogue published: new entries are added, evidence on equal entries is united.

    Differences are listed and nothing is overwritten. Its people become "name @ origin", so that they are nobody of
    this catalogue. Merging the same file again changes nothing.
    """
    with told(), opened(database) as catalogue, catalogue.writing() as session:
        merged = merge_published(session, operators(f"merged {path.name}"), path)
    show(_lines(merged, None if every else MOST_LISTED))
    raise typer.Exit(ExitCode.ANSWERED)


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """A file beside the wanted one to write into; it takes its place when all went well."""
    beside = path.with_name(f".{path.name}.unfinished")
    try:
        yield beside
        beside.replace(path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(reason, path=str(path), remedy="Name a place that can be written") from error


def _line(text: str, field: str) -> str:
    try:
        return plain_line(text.strip())
    except ValueError as error:
        raise EntryError(str(error), field=field, value=text, remedy="Write it in visible characters") from error


def _lines(merged: Merged, most: int | None) -> Iterator[RenderableType]:
    for record, number in merged.added.items():
        yield plain(f"{record}: {number} added, {merged.unchanged.get(record, 0)} already here")
    for record, number in merged.statements.items():
        yield plain(f"{record}: {number} taken")
    yield from _listed(
        "different here, left as they are",
        merged.differences,
        lambda each: f"{each.record} {each.key}: {each.what}",
        most,
    )
    yield from _listed("not taken", merged.left, lambda each: f"{each.record} about {each.about}: {each.why}", most)


def _listed(title: str, items: Sequence[T], word: Callable[[T], str], most: int | None) -> Iterator[RenderableType]:
    if not items:
        return
    yield plain(f"{len(items)} {title}:")
    for item in items[:most]:
        yield plain(f"  {word(item)}")
    if most is not None and len(items) > most:
        yield plain(f"  and {len(items) - most} more; --all lists them")
