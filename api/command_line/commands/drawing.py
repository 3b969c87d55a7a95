"""``otherhalf table``: a drawing's table of dimensions, pasted as text, becomes a series with laws."""

from __future__ import annotations

import io
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from pydantic import ValidationError
from rich.console import RenderableType

from api.command_line.commands.common import STANDARD, DatabaseOption, opened, reporting_errors, show, write_new
from api.command_line.output.console import plain, table
from api.command_line.output.lists import added_lines
from catalog.exchange import write_jsonl
from catalog.exchange.drawing_table import IGNORE, Drawing, FittedTable, Residual, fit_table
from catalog.exchange.files import Problems, message_of, read_text, remedy_for
from catalog.exchange.pasted_table import LONGEST_TABLE
from catalog.history.addition import AddReport, add
from catalog.model.entries import Series
from catalog.model.entry_parts import DIGITS_MM, DimensionLaw, HalfKind
from catalog.model.series_laws import expand
from matcher.plus_minus import DRAWING

LONGEST_CHARACTER = 4
"""Bytes of one character in UTF-8 (RFC 3629)."""


def table_of_drawing(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The table as text; - reads standard input.")],
    maker: Annotated[str, typer.Option("--maker", help="Maker of the series.")],
    series: Annotated[str, typer.Option("--series", help="Name of the series.")],
    kind: Annotated[HalfKind, typer.Option("--kind", help="Which half the drawing shows.")],
    rows: Annotated[int, typer.Option("--rows", help="Rows of contacts.")],
    part_number: Annotated[
        str, typer.Option("--part-number", metavar="PATTERN", help="With {contacts}, {contacts:3} or {positions}.")
    ],
    letter: Annotated[
        list[str], typer.Option("--letter", metavar="A=DIMENSION", help=f"Meaning of a column, or {IGNORE}; repeat it.")
    ],
    pitch: Annotated[float | None, typer.Option("--pitch", help="Pitch in mm, if no column gives it.")] = None,
    size: Annotated[
        Literal["positions", "contacts"] | None,
        typer.Option("--size", help="What the first column counts, if its header does not say."),
    ] = None,
    unit: Annotated[
        Literal["mm", "in", "mil", "um"], typer.Option("--unit", help="Unit of columns whose header has none.")
    ] = "mm",
    category: Annotated[
        list[str] | None,
        typer.Option("--category", metavar="NAME=VALUE[,VALUE…]", help="The same for all halves; repeat it."),
    ] = None,
    count: Annotated[
        list[str] | None, typer.Option("--count", metavar="NAME=NUMBER", help="The same for all halves; repeat it.")
    ] = None,
    order_code: Annotated[
        list[str] | None, typer.Option("--order-code", metavar="PATTERN", help="May also contain {part}; repeat it.")
    ] = None,
    datasheet: Annotated[str | None, typer.Option("--datasheet", help="Title of the drawing or datasheet.")] = None,
    revision: Annotated[str | None, typer.Option("--revision", help="Its revision.")] = None,
    page: Annotated[str | None, typer.Option("--page", help="Its page.")] = None,
    address: Annotated[str | None, typer.Option("--address", help="Where it can be read.")] = None,
    tolerate: Annotated[
        float | None,
        typer.Option("--tolerate", help="Largest residual accepted, mm; by default half a step of the last digit."),
    ] = None,
    output: Annotated[
        str | None,
        typer.Option("--output", "-o", metavar="PATH", help="A new .jsonl file for the series; - prints it."),
    ] = None,
    adding: Annotated[bool, typer.Option("--add", help="Add the series to the catalogue.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the series only, as one line of JSON.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Turn a drawing's table of dimensions into a series: fit its laws and check each row.

    The first column is the size: contacts, or positions (contacts of one row).
    The other columns are the drawing's letters; --letter says what each one
    means ('otherhalf features' lists the dimensions). Tolerances are in the
    header or in a row that begins with ±. Cells are separated by tabs,
    vertical bars, semicolons, commas or spaces.

    A row that disagrees with the others is refused, and the expected value is
    shown: usually a number was copied wrongly. Nothing is saved without
    --output or --add.

    [bold]Example[/bold], the plug of a bird-song recorder's microphone board in twitlet.txt:

    \b
      contacts | A ±0.1 | B   | C
      10       | 3.80   | 2.0 | x
      20       | 5.80   | 2.0 | y
      30       | 7.80   | 2.0 | y

    \b
      otherhalf table twitlet.txt --maker Ouzelby --series Twitlet --kind plug \\
        --rows 2 --part-number 'TWL-P{contacts:2}' --pitch 0.4 \\
        --letter A=body_length --letter B=body_width --letter C=ignore \\
        --category mounting=surface_mount --output twitlet.jsonl
      otherhalf import twitlet.jsonl
    """
    letters = _pairs("--letter", letter)
    _check_options(letters, tolerate, output)
    described = {
        "maker": maker,
        "name": series,
        "half_kind": kind,
        "part_number": part_number,
        "rows": rows,
        "size": size,
        "unit": unit,
        "pitch": pitch,
        "counts": _pairs("--count", count or []),
        "categories": {name: _values(text) for name, text in _pairs("--category", category or []).items()},
        "order_codes": tuple(order_code or ()),
        "datasheet": _citation(datasheet, {"revision": revision, "page": page, "address": address}),
    }
    with reporting_errors():
        fitted = fit_table(_text(file), letters=letters, drawing=_drawing(described), tolerate=tolerate)
        _check_letters_used(letters, fitted)
        parts = [half.part_number for half in expand(fitted.series).halves]
        report = _keep(fitted.series, output, database, adding=adding)
    if as_json or output == STANDARD:
        write_jsonl([fitted.series], sys.stdout)
    if not as_json:
        show([*_blocks(fitted, parts), *_kept_lines(output, report)], to_errors=output == STANDARD)


def _pairs(option: str, given: Sequence[str]) -> dict[str, str]:
    """NAME=VALUE pairs; each name once."""
    found: dict[str, str] = {}
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals and value):
            raise typer.BadParameter(f"{option} {text!r} is not of the form NAME=VALUE")
        if name in found:
            raise typer.BadParameter(f"{option} {name} is given twice; leave one out")
        found[name] = value
    return found


def _values(text: str) -> tuple[str, ...]:
    return tuple(value.strip() for value in text.split(","))


def _check_options(letters: Mapping[str, str], tolerate: float | None, output: str | None) -> None:
    meanings = [meaning for meaning in letters.values() if meaning != IGNORE]
    for meaning in meanings:
        if meanings.count(meaning) > 1:
            raise typer.BadParameter(f"two letters are {meaning}; give {IGNORE} for one of them")
    if tolerate is not None and not (math.isfinite(tolerate) and tolerate >= 0):
        raise typer.BadParameter(f"--tolerate {tolerate:g}: give 0 or more, in mm")
    if output not in (None, STANDARD) and Path(str(output)).suffix.lower() != ".jsonl":
        raise typer.BadParameter(f"--output {output}: name it .jsonl, so that 'otherhalf import' can read it")


def _citation(title: str | None, more: Mapping[str, str | None]) -> dict[str, str] | None:
    stated = {name: text for name, text in more.items() if text is not None}
    if title is None and stated:
        raise typer.BadParameter(f"--{next(iter(stated))} needs --datasheet: give the title too")
    return None if title is None else {"title": title, **stated}


def _drawing(described: Mapping[str, Any]) -> Drawing:
    problems = Problems("options")
    try:
        return Drawing.model_validate(described)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            field = ".".join(map(str, each["loc"]))
            problems.add(message_of(each), field=field, value=each["input"], remedy=remedy_for(each))
        problems.refuse_if_any()
        raise


def _text(file: str) -> str:
    if file != STANDARD:
        return read_text(Path(file))
    # One byte more than the longest table is enough for the reader to refuse it. A byte that is not UTF-8 becomes a
    # character that occurs in no number, letter or size, and is refused in its cell.
    data = sys.stdin.buffer.read(LONGEST_CHARACTER * LONGEST_TABLE + 1)
    return data.decode("utf-8", errors="replace").removeprefix("\ufeff")


def _check_letters_used(letters: Mapping[str, str], fitted: FittedTable) -> None:
    """Refuse a letter that the table does not have: it is a typing error, and its dimension would be lost silently."""
    read = {each.feature for each in fitted.residuals}
    problems = Problems("table")
    for letter, meaning in letters.items():
        if meaning != IGNORE and meaning not in read:
            remedy = "Correct the letter, or leave the option out"
            problems.add(f"no column has the heading {letter!r}", field="--letter", value=letter, remedy=remedy)
    problems.refuse_if_any()


def _keep(series: Series, output: str | None, database: str | None, *, adding: bool) -> AddReport | None:
    """Write the file and add to the catalogue: both or neither."""
    if not adding:
        _write(series, output)
        return None
    with opened(database) as catalogue, catalogue.writing() as session:
        report = add(session, [series])
        _write(series, output)  # last: where it fails, nothing is added
    return report


def _write(series: Series, output: str | None) -> None:
    if output is None or output == STANDARD:
        return
    text = io.StringIO()
    write_jsonl([series], text)
    write_new(Path(output), text.getvalue(), "Name a new file, or append to this one with --json >> FILE")


def _blocks(fitted: FittedTable, parts: Sequence[str]) -> Iterator[RenderableType]:
    """The series, its laws, and every number of the table compared with its law."""
    (law,) = fitted.series.kinds
    span = parts[0] if len(parts) == 1 else f"{parts[0]} to {parts[-1]}"
    yield plain(f"{fitted.series.maker} {fitted.series.name}, {law.half_kind}, rows: {law.rows}, halves: {len(parts)}")
    yield plain(f"{span}; lengths in mm, ± the {DRAWING}, positions are contacts of one row")
    yield plain("")
    yield _law_table(law.dimensions, fitted.residuals)
    yield plain("")
    yield _residual_table(fitted.residuals)


def _law_table(laws: Mapping[str, DimensionLaw], residuals: Sequence[Residual]) -> RenderableType:
    made = table("dimension", "law", "±", "bound", "largest residual", right=("±", "largest residual"))
    for name, law in laws.items():
        tolerance = "" if law.tolerance is None else _number(law.tolerance)
        of_this = [each.residual for each in residuals if each.feature == name]
        largest = _signed(max(of_this, key=abs)) if of_this else ""
        made.add_row(name, plain(_formula(law)), tolerance, law.bound, largest)
    return made


def _residual_table(residuals: Sequence[Residual]) -> RenderableType:
    numbers = ("line", "positions", "printed", "by law", "residual")
    made = table("line", "positions", "dimension", "printed", "by law", "residual", right=numbers)
    for each in sorted(residuals, key=lambda residual: residual.line):
        lengths = (_number(each.printed), _number(each.expected), _signed(each.residual))
        made.add_row(str(each.line), str(each.positions), each.feature, *lengths)
    return made


def _formula(law: DimensionLaw) -> str:
    if law.slope == 0:
        return _number(law.intercept)
    sign = "+" if law.slope > 0 else "-"
    return f"{_number(law.intercept)} {sign} {abs(law.slope):.10g} × positions"


def _number(length: float) -> str:
    return f"{round(length, DIGITS_MM):.10g}"


def _signed(length: float) -> str:
    rounded = round(length, DIGITS_MM)
    return f"{rounded:+.10g}" if rounded else "0"


def _kept_lines(output: str | None, report: AddReport | None) -> Iterator[RenderableType]:
    if output is not None and output != STANDARD:
        yield plain(f"written to {output}")
    if report is not None:
        yield from added_lines(report)
