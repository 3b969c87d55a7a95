"""JSON Lines: one entry on each line, with the laws of series."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TextIO

from pydantic import ValidationError

from catalog.exchange.files import Placed, Problems
from catalog.exchange.json_places import JsonFaultError, parse_strictly, places
from catalog.model.entries import ENTRY, AnyEntry, document

LONGEST_LINE = 1024 * 1024
"""Most characters of a line. The longest series of the demo has a few thousand."""

_RECORDS = frozenset({"series", "half", "mating"})


def read_jsonl(text: str, path: str) -> list[Placed]:
    """All entries of a text; blank lines are ignored. Raises FileRefusedError with line and column (in characters)."""
    problems = Problems(path)
    found = []
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip():
            entry = _read_line(line, number, problems)
            if entry is not None:
                found.append(Placed(entry=entry, path=path, line=number))
    problems.refuse_if_any()
    return found


def _read_line(line: str, number: int, problems: Problems) -> AnyEntry | None:
    if len(line) > LONGEST_LINE:
        problems.add(
            f"the line has {len(line)} characters",
            line=number,
            column=LONGEST_LINE + 1,
            remedy=f"An entry has at most {LONGEST_LINE}; put each entry on a separate line",
        )
        return None
    try:
        return _validated(line, number, problems)
    except JsonFaultError as fault:
        problems.add(fault.message, line=number, column=fault.offset + 1, remedy="Write one JSON object on each line")
        return None


def _validated(line: str, number: int, problems: Problems) -> AnyEntry | None:
    try:
        return ENTRY.validate_python(parse_strictly(line))
    except ValidationError as error:
        _report(error, line, number, problems)
        return None


def _report(error: ValidationError, line: str, number: int, problems: Problems) -> None:
    offsets = places(line)
    for each in error.errors(include_url=False):
        path = tuple(each["loc"])
        path = path[1:] if path and path[0] in _RECORDS else path  # pydantic puts the record first
        known = next(path[:length] for length in range(len(path), -1, -1) if path[:length] in offsets)
        problems.add_complaint(each, path, line=number, column=offsets[known] + 1)


def write_jsonl(entries: Iterable[AnyEntry], stream: TextIO) -> int:
    """Write entries, one on each line, without default values; returns their number."""
    number = 0
    for entry in entries:
        stream.write(json.dumps(document(entry), ensure_ascii=False, separators=(",", ":")) + "\n")
        number += 1
    return number
