"""Move errors to other fields: from the field that a function checks to the field that the sender knows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from api.service.problems import ApiError
from matcher.errors import ObservationError, ObservationErrors


def at(error: ObservationError, field: str) -> ObservationError:
    """The same error at another field."""
    return ObservationError(error.message, field=field, value=error.value, remedy=error.remedy)


@contextmanager
def moved_errors(places: Mapping[str, str]) -> Iterator[None]:
    """Replace the beginnings of the fields of all errors in the block; the longest match is used."""
    try:
        yield
    except ObservationError as error:
        raise at(error, moved(error.field, places)) from error
    except ObservationErrors as errors:
        raise ObservationErrors([at(error, moved(error.field, places)) for error in errors.errors]) from errors
    except ApiError as error:
        fields = [field.model_copy(update={"field": moved(field.field, places)}) for field in error.errors]
        raise ApiError(error.name, error.detail, fields) from error


def moved(field: str, places: Mapping[str, str]) -> str:
    """A field with its beginning replaced: ``lines[0]`` becomes ``line[0]`` if ``lines`` stands for ``line``."""
    fitting = [
        place for place in places if field.startswith(place) and field[len(place) : len(place) + 1] in ("", ".", "[")
    ]
    longest = max(fitting, key=len, default=None)
    return field if longest is None else f"{places[longest]}{field[len(longest) :]}"
