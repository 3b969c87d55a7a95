"""Errors told at another place: the measuring code names a point of its picture, the sender wanted the request's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from api.service.problems import ApiError
from matcher.errors import ObservationError, ObservationErrors


def at(error: ObservationError, field: str) -> ObservationError:
    """The same error at another place."""
    return ObservationError(error.message, field=field, value=error.value, remedy=error.remedy)


@contextmanager
def told_at(places: Mapping[str, str]) -> Iterator[None]:
    """Errors of the block, with the beginnings of their fields replaced; the longest that fits counts."""
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
    """A field with its beginning replaced: ``lines[0]`` is ``line[0]`` where ``lines`` is to be ``line``."""
    fitting = [
        place for place in places if field.startswith(place) and field[len(place) : len(place) + 1] in ("", ".", "[")
    ]
    longest = max(fitting, key=len, default=None)
    return field if longest is None else f"{places[longest]}{field[len(longest) :]}"
