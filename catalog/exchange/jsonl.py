"""JSON Lines: one entry a line. The complete form of a catalogue; series keep their laws."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TextIO

from pydantic import ValidationError

from catalog.exchange.files import Placed, Problems
from catalog.exchange.json_places import JsonFaultError, parse_strictly, places
from catalog.model.entries import ENTRY, AnyEntry, document

LONGEST_LINE = 1024 * 1024
"""Characters. The longest series of the demo has a few thousand."""

_RECORDS = frozenset({"series", "half", "mating"})


def read_jsonl(text: str, path: str) -> list[Placed]:
    """All entries of a text; blank lines are passed over. Raises FileRefusedError with line and character column."""
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
            remedy=f"One entry has at most {LONGEST_LINE}; put each on a line of its own",
        )
        return None
    try:
        return _validated(line, number, problems)
    except JsonFaultError as fault:
        problems.add(fault.message, line=number, column=fault.offset + 1, remedy="Write one JSON object for each line")
        return None


def _validated(line: str, number: int, problems: Problems) -> AnyEntry | None:
    try:
        return ENTRY.validate_python(parse_strictly(line))
    except ValidationError as error:
        _tell(error, line, number, problems)
        return None


def _tell(error: ValidationError, line: str, number: int, problems: Problems) -> None:
    offsets = places(line)
    for each in error.errors(include_url=False):
        path = tuple(each["loc"])
        path = path[1:] if path and path[0] in _RECORDS else path  # which of the entries it was read as
        known = next(path[:length] for length in range(len(path), -1, -1) if path[:length] in offsets)
        problems.add_complaint(each, path, line=number, column=offsets[known] + 1)


def write_jsonl(entries: Iterable[AnyEntry], stream: TextIO) -> int:
    """Write entries, one a line, leaving out what is not stated; returns their number."""
    number = 0
    for entry in entries:
        stream.write(json.dumps(document(entry), ensure_ascii=False, separators=(",", ":")) + "\n")
        number += 1
    return number
