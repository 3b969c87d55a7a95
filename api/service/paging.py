"""Lists in pages: opaque cursors, and how a page is taken from a list."""

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
"""Most characters of a cursor: base64 of the longest key, 1000 letters of up to four bytes."""

LARGEST_NUMBER = 2**31 - 1
"""Largest number of a row: the engine with the smaller integers has this limit."""


@dataclass(frozen=True, kw_only=True)
class Part(Generic[T]):
    """One page of a list, and the cursor of the next page; None: this is the last one."""

    items: tuple[T, ...]
    next: str | None


@dataclass(frozen=True, kw_only=True)
class Listing:
    """A list with its filters, from a cursor on. A cursor is valid only for its own list and filters."""

    name: str
    cursor: str | None
    limit: int
    filters: Mapping[str, object] = field(default_factory=dict)

    @property
    def after(self) -> str | None:
        """The key after which the page begins; None: from the beginning. Raises ApiError for a cursor that was changed
        or comes from another list."""
        return None if self.cursor is None else self._decoded(self.cursor)

    @property
    def after_number(self) -> int | None:
        """As `after`, for a list in the order of row numbers."""
        if self.cursor is None:
            return None
        after = self._decoded(self.cursor)
        if not (after.isascii() and after.isdigit() and len(after) <= len(str(LARGEST_NUMBER))):
            raise _refusal(self.cursor, "the cursor does not name a row")
        return min(int(after), LARGEST_NUMBER)

    def cursor_after(self, key: object) -> str:
        """The cursor of the page that begins after a key."""
        text = json.dumps([self._belonging, str(key)], ensure_ascii=False, separators=(",", ":"))
        return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")

    def page(self, read: Callable[[int | None, int], Sequence[T]], number: Callable[[T], int]) -> Part[T]:
        """A page of a list of rows. ``read`` gives so many rows after a row number, ``number`` the number of a row."""
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
    remedy = "start again without a cursor, and follow next from there"
    return ApiError.at("cursor", message, remedy, value=cursor[:80], name="invalid-cursor")
