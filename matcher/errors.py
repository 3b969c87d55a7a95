"""Errors of the measuring and matching core: they carry facts and know no HTTP."""

from __future__ import annotations

from collections.abc import Sequence


class ObservationError(ValueError):
    """An observation cannot be used. ``field`` is the path of the offending part, e.g. ``observations[2].unit``.

    ``value`` is what was given and ``remedy`` says what to do instead.
    """

    def __init__(self, message: str, *, field: str, value: object, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.value = value
        self.remedy = remedy


class ObservationErrors(ValueError):  # noqa: N818 (it holds errors, plural)
    """Everything that is wrong with one list of observations: ``errors`` holds at least one `ObservationError`."""

    def __init__(self, errors: Sequence[ObservationError]) -> None:
        if not errors:
            raise TypeError("ObservationErrors needs at least one error")
        super().__init__(f"{len(errors)} faults; the first: {errors[0].field}: {errors[0].message}")
        self.errors = tuple(errors)


class UnknownHalfError(LookupError):
    """No half of this key is in the columns."""

    def __init__(self, key: str) -> None:
        super().__init__(f"no half is called {key!r}")
        self.key = key
