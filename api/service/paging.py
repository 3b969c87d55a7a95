"""Cursors: where a list goes on, opaque to whoever follows it."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Mapping

from api.schemas.problems import FieldProblem
from api.service.problems import ApiError

LONGEST_CURSOR = 2000
"""Characters of a cursor at most; keys are two short texts."""


def encode_cursor(after: str, listing: str, filters: Mapping[str, object]) -> str:
    """A cursor that goes on after a key, and belongs to one list under one set of filters."""
    text = json.dumps([_belonging(listing, filters), after], ensure_ascii=False, separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def decode_cursor(cursor: str | None, listing: str, filters: Mapping[str, object]) -> str | None:
    """The key to go on after. Raises ApiError for a cursor that was altered or belongs elsewhere."""
    if cursor is None:
        return None
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        belonging, after = json.loads(base64.b64decode(padded.encode("ascii"), altchars=b"-_", validate=True))
    except (ValueError, TypeError, binascii.Error, RecursionError):
        raise _refusal(cursor, "the cursor cannot be read") from None
    if belonging != _belonging(listing, filters) or not isinstance(after, str):
        raise _refusal(cursor, "the cursor comes from another list or other filters")
    return after


LARGEST_NUMBER = 2**31 - 1
"""Of a row: what the narrower of the engines counts with."""


def decode_number(cursor: str | None, listing: str, filters: Mapping[str, object]) -> int | None:
    """As `decode_cursor`, for a list that goes on after a row's number."""
    after = decode_cursor(cursor, listing, filters)
    if cursor is None or after is None:
        return None
    if not (after.isascii() and after.isdigit() and len(after) <= len(str(LARGEST_NUMBER))):
        raise _refusal(cursor, "the cursor names no row")
    return min(int(after), LARGEST_NUMBER)


def _belonging(listing: str, filters: Mapping[str, object]) -> str:
    given = sorted((name, str(value)) for name, value in filters.items() if value is not None)
    return hashlib.sha256(json.dumps([listing, given]).encode()).hexdigest()[:8]


def _refusal(cursor: str, message: str) -> ApiError:
    remedy = "start again without a cursor and follow next from there"
    field = FieldProblem(field="cursor", value=cursor[:80], message=message, remedy=remedy)
    return ApiError("invalid-cursor", message, [field])
