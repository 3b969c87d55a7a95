"""Lists in pages: cursors, opaque to whoever follows them, and the one way in which a page is cut from a list."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from api.service.problems import ApiError

T = TypeVar("T")

LONGEST_CURSOR = 6000
"""Characters of a cursor at most: base64 of the longest key, 1000 letters of up to four bytes."""

LARGEST_NUMBER = 2**31 - 1
"""Of a row: what the narrower of the engines counts with."""


@dataclass(frozen=True, kw_only=True)
class Part(Generic[T]):
    """One page of a list, and the cursor of the next one; None: nothing follows."""

    items: tuple[T, ...]
    next: str | None


@dataclass(frozen=True, kw_only=True)
class Listing:
    """One list under one set of filters, from a cursor on. A cursor belongs to its list and filters alone."""

    name: str
    cursor: str | None
    limit: int
    filters: Mapping[str, object] = field(default_factory=dict)

    @property
    def after(self) -> str | None:
        """The key to go on after; None: from the beginning. Raises ApiError for a cursor that was altered or belongs
        elsewhere."""
        return None if self.cursor is None else self._decoded(self.cursor)

    @property
    def after_number(self) -> int | None:
        """As `after`, for a list in the order of its rows' numbers."""
        if self.cursor is None:
            return None
        after = self._decoded(self.cursor)
        if not (after.isascii() and after.isdigit() and len(after) <= len(str(LARGEST_NUMBER))):
            raise _refusal(self.cursor, "the cursor names no row")
        return min(int(after), LARGEST_NUMBER)

    def cursor_after(self, key: object) -> str:
        """The cursor that goes on after a key."""
        text = json.dumps([self._belonging, str(key)], ensure_ascii=False, separators=(",", ":"))
        return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")

    def page(self, read: Callable[[int | None, int], Sequence[T]], number: Callable[[T], int]) -> Part[T]:
        """The page of a list of rows. ``read`` gives so many rows after the row of a number, ``number`` is a row's."""
        found = read(self.after_number, self.limit + 1)
        items = tuple(found[: self.limit])
        return Part(items=items, next=self.cursor_after(number(items[-1])) if len(found) > self.limit else None)

    def _decoded(self, cursor: str) -> str:
        try:
            padded = cursor + "=" * (-len(cursor) % 4)
            belonging, after = json.loads(base64.b64decode(padded.encode("ascii"), altchars=b"-_", validate=True))
        except (ValueError, TypeError, binascii.Error, RecursionError):
            raise _refusal(cursor, "the cursor cannot be read") from None
        if belonging != self._belonging or not isinstance(after, str):
            raise _refusal(cursor, "the cursor comes from another list or other filters")
        return after

    @property
    def _belonging(self) -> str:
        given = sorted((name, str(value)) for name, value in self.filters.items() if value is not None)
        return hashlib.sha256(json.dumps([self.name, given]).encode()).hexdigest()[:8]


def _refusal(cursor: str, message: str) -> ApiError:
    remedy = "start again without a cursor and follow next from there"
    return ApiError.at("cursor", message, remedy, value=cursor[:80], name="invalid-cursor")
