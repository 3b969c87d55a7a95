"""CSV: a table of halves, of matings or of series; a folder with all three is a whole catalogue."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from rapidfuzz import process

from catalog.exchange.columns import FILE_NAMES, TABLES, Column
from catalog.exchange.files import Placed, Problems
from catalog.exchange.json_places import JsonFaultError
from catalog.model.entries import AnyEntry, Half, Mating, Series, document

DELIMITERS = (",", ";", "\t")
"""Possible delimiters; the most frequent one in the first line is used. Spreadsheets write all three, depending on the
user's language."""

Row = tuple[int, list[str]]
"""Line number and cells."""

_MODELS: Mapping[str, type[AnyEntry]] = {"half": Half, "mating": Mating, "series": Series}


def read_csv(text: str, path: str) -> list[Placed]:
    """All entries of a table; its header shows the record. Raises FileRefusedError with line and cell number."""
    problems = Problems(path)
    rows = _rows(text, problems)
    first = next(rows, None)
    if first is None:
        remedy = "Give a header line and one line for each entry"
        raise problems.refusal("the file is empty", line=1, column=1, remedy=remedy)
    record, header = _header(first, problems)
    found = []
    for line, cells in rows:
        entry = _entry(record, header, line, cells, problems)
        if entry is not None:
            found.append(Placed(entry=entry, path=path, line=line))
    problems.refuse_if_any()
    return found


def _rows(text: str, problems: Problems) -> Iterator[Row]:
    """The rows that are not empty, each with its first line."""
    top = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(DELIMITERS, key=top.count), strict=True)
    begin = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield begin, cells
            begin = reader.line_num + 1
    except csv.Error as error:
        raise problems.refusal(
            f"the table cannot be read from here on: {error}",
            line=begin,
            column=1,
            remedy=f"Check the quotation marks; a cell has at most {csv.field_size_limit()} characters",
        ) from error


def _header(row: Row, problems: Problems) -> tuple[str, list[Column]]:
    line, cells = row
    names = [cell.strip() for cell in cells]
    record = _record(names)
    if record is None:
        raise problems.refusal(
            "the header does not show what the table is",
            line=line,
            column=1,
            value=", ".join(names),
            remedy="A table of halves has a column part_number, of matings half and other, of series name",
        )
    known = {column.name: column for column in TABLES[record]}
    for number, name in enumerate(names, start=1):
        if name not in known:
            near = process.extractOne(name, list(known))
            remedy = f"Did you mean {near[0]}?" if near else "Correct its name, or leave it out"
            problems.add(f"{name!r} is not a column of {FILE_NAMES[record]}", line=line, column=number, remedy=remedy)
        elif name in names[: number - 1]:
            problems.add(f"the column {name!r} appears twice", line=line, column=number, remedy="Leave one out")
    for name, column in known.items():
        if column.required and name not in names:
            problems.add(f"the column {name!r} is missing", line=line, column=len(names), field=name, remedy="Add it")
    problems.refuse_if_any()
    return record, [known[name] for name in names]


def _record(names: Sequence[str]) -> str | None:
    if "half" in names and "other" in names:
        return "mating"
    if "part_number" in names:
        return "half"
    return "series" if "name" in names else None


def _entry(record: str, header: Sequence[Column], line: int, cells: list[str], problems: Problems) -> AnyEntry | None:
    if len(cells) != len(header):
        problems.add(
            f"row and header differ in their number of cells: {len(cells)} and {len(header)}",
            line=line,
            column=min(len(cells), len(header)) + 1,
            remedy="Give every row as many cells as the header; put cells with the delimiter in quotation marks",
        )
        return None
    values = _values(header, line, cells, problems)
    if values is None:
        return None
    try:
        return _MODELS[record].model_validate(values)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            problems.add_complaint(each, each["loc"], line=line, column=_column_of(each["loc"], header))
        return None


def _values(header: Sequence[Column], line: int, cells: list[str], problems: Problems) -> dict[str, Any] | None:
    """The entry's fields as nested dictionaries, without empty cells; None if a cell cannot be read."""
    values: dict[str, Any] = {}
    readable = True
    for number, (column, cell) in enumerate(zip(header, cells, strict=True), start=1):
        if not cell.strip():
            continue
        try:
            value = column.read(cell)
        except JsonFaultError as fault:
            message = f"invalid JSON at character {fault.offset + 1} of the cell: {fault.message}"
            problems.add(message, line=line, column=number, field=column.name, value=cell, remedy="Correct the cell")
            readable = False
            continue
        inner = values
        for step in column.path[:-1]:
            inner = inner.setdefault(str(step), {})
        inner[str(column.path[-1])] = value
    return values if readable else None


def _column_of(path: tuple[int | str, ...], header: Sequence[Column]) -> int:
    """The number of the cell at the path of an error, or of the first one below it; 1 for an error of the whole row."""
    for number, column in enumerate(header, start=1):
        shared = min(len(path), len(column.path))
        if shared and path[:shared] == column.path[:shared]:
            return number
    return 1


def write_csv(entries: Iterable[AnyEntry], folder: Path) -> dict[str, int]:
    """Write series.csv, halves.csv and matings.csv into a folder, which is created if it is missing; returns the number
    of entries for each record.

    A table has only the columns that some entry uses. A file is replaced only when the new one is complete.
    """
    folder.mkdir(parents=True, exist_ok=True)
    by_record: dict[str, list[AnyEntry]] = {record: [] for record in FILE_NAMES}
    for entry in entries:
        by_record[entry.record].append(entry)
    for record, name in FILE_NAMES.items():
        unfinished = folder / f"{name}.part"
        with unfinished.open("w", encoding="utf-8", newline="") as stream:
            _write_table(TABLES[record], by_record[record], csv.writer(stream, lineterminator="\n"))
        os.replace(unfinished, folder / name)
    return {record: len(found) for record, found in by_record.items()}


def _write_table(columns: Sequence[Column], entries: Sequence[AnyEntry], writer: Any) -> None:
    dumped = map(document, entries)
    rows = [[column.write(_at(entry, column)) for column in columns] for entry in dumped]
    used = [n for n, column in enumerate(columns) if column.required or any(row[n] for row in rows)]
    writer.writerow([columns[n].name for n in used])
    writer.writerows([row[n] for n in used] for row in rows)


def _at(entry: Mapping[str, Any], column: Column) -> Any:
    value: Any = entry
    for step in column.path:
        value = value.get(step) if value is not None else None
    return value
