"""The places of values in a line of JSON, which are only determined if the line has an error."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

Path = tuple[str | int, ...]

DEEPEST = 30
"""Most levels of nesting; a series with laws has seven."""

_SPACE = re.compile(r"[ \t\n\r]*")


class JsonFaultError(ValueError):
    """The text is not acceptable as JSON; ``offset`` is the index of the character."""

    def __init__(self, message: str, offset: int) -> None:
        super().__init__(message)
        self.message = message
        self.offset = offset


def parse_strictly(text: str) -> object:
    """The value of a JSON text. Raises JsonFaultError, also for repeated names, NaN, infinities and deep nesting."""
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise JsonFaultError(error.msg, error.pos) from error
    except (ValueError, RecursionError) as error:
        places(text)  # raises the error with the place of the repeated name, the constant or the nesting
        raise JsonFaultError(str(error), 0) from error


def _once_each(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name appears twice")
    return found


def _no_constant(name: str) -> object:
    raise ValueError(f"{name} is not a number")


_DECODER = json.JSONDecoder(parse_constant=_no_constant)


def places(text: str) -> dict[Path, int]:
    """The offset of each value by its path; for a member of an object, that of its name. Raises JsonFaultError."""
    found: dict[Path, int] = {}
    for path, offset in _walk(text, _skip(text, 0), (), [0]):
        if path in found:
            raise JsonFaultError(f"the name {path[-1]!r} appears twice", offset)
        found[path] = offset
    return found


def _walk(text: str, start: int, path: Path, end: list[int]) -> Iterator[tuple[Path, int]]:
    """Walk through the value at ``start``; sets ``end[0]`` to the offset after it."""
    if not path:
        yield path, start
    if len(path) > DEEPEST:
        raise JsonFaultError(f"nested deeper than {DEEPEST} levels", start)
    opening = text[start : start + 1]
    if opening in ("{", "["):
        yield from _walk_members(text, start, path, end, is_object=opening == "{")
    else:
        end[0] = _scalar(text, start)[1]


def _walk_members(text: str, start: int, path: Path, end: list[int], *, is_object: bool) -> Iterator[tuple[Path, int]]:
    at = _skip(text, start + 1)
    number = 0
    while text[at : at + 1] not in ("}", "]"):
        name: str | int = number
        member = at
        if is_object:
            written, at = _scalar(text, at)
            name = str(written)
            at = _skip(text, _skip(text, at) + 1)  # the colon
        yield (*path, name), member
        yield from _walk(text, at, (*path, name), end)
        number += 1
        at = _skip(text, end[0])
        if text[at : at + 1] == ",":
            at = _skip(text, at + 1)
    end[0] = at + 1


def _scalar(text: str, start: int) -> tuple[object, int]:
    try:
        value, end = _DECODER.raw_decode(text, start)
    except json.JSONDecodeError as error:
        raise JsonFaultError(error.msg, error.pos) from error
    except ValueError as error:
        raise JsonFaultError(str(error), start) from error
    return value, end


def _skip(text: str, at: int) -> int:
    match = _SPACE.match(text, at)
    return at if match is None else match.end()
