"""What keeps a drawing from being made."""

from __future__ import annotations


class DrawingError(ValueError):
    """A half cannot be drawn from these values. Carries ``field``, ``value`` and ``remedy``; knows no HTTP."""

    def __init__(self, message: str, *, field: str, value: object, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.value = value
        self.remedy = remedy
