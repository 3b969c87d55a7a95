"""Moments as the catalogue writes them: UTC, ISO 8601 with microseconds, so that texts sort as times do."""

from __future__ import annotations

from datetime import UTC, datetime

from catalog.model.errors import EntryError


def now() -> str:
    """This moment."""
    return written(datetime.now(UTC))


def written(moment: datetime) -> str:
    """A moment as text; raises ValueError for one without time zone."""
    if moment.tzinfo is None:
        raise ValueError("a moment needs a time zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def read(text: str, *, field: str) -> datetime:
    """The moment that a text of ISO 8601 names; without a zone it is UTC. Raises EntryError naming the field."""
    try:
        moment = datetime.fromisoformat(text)
        zoned = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
        return zoned.astimezone(UTC)  # at the edge of the calendar the zone may lead out of it
    except (ValueError, OverflowError) as error:
        raise EntryError(
            f"{text!r} is no date or time",
            field=field,
            value=text,
            remedy="Write it as 2026-11-25 or 2026-11-25T14:30:00Z",
        ) from error
