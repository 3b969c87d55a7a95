"""Files that a command reads: bounded, and refused in words."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from api.schemas.problems import FieldProblem
from api.service.problems import ApiError
from api.service.settings import MAX_BODY_BYTES

STANDARD = "-"
"""The file name that means standard input."""


def bytes_of(file: str, max_bytes: int, field: str) -> bytes:
    """The whole file; raises ApiError, at ``field``, where it cannot be read or is larger than ``max_bytes``."""
    try:
        if file == STANDARD:
            content = sys.stdin.buffer.read(max_bytes + 1)
        else:
            with Path(file).open("rb") as stream:
                content = stream.read(max_bytes + 1)
    except OSError as error:
        problem = FieldProblem(
            field=field, value=file, message=error.strerror or str(error), remedy="name a file that can be read"
        )
        raise ApiError("invalid-request", problem.message, [problem]) from error
    if len(content) > max_bytes:
        raise ApiError("body-too-large", f"{file} is larger than {max_bytes} bytes")
    return content


def object_of(file: str, remedy: str) -> dict[str, Any]:
    """The JSON object in a file; raises ApiError where there is none, with ``remedy``."""
    text = bytes_of(file, MAX_BODY_BYTES, "--file").decode("utf-8", errors="replace")
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ApiError("malformed-json", f"{file}: {error}") from error
    if not isinstance(given, dict):
        problem = FieldProblem(field=file, value=None, message="the file holds no JSON object", remedy=remedy)
        raise ApiError("invalid-request", problem.message, [problem])
    return given
