"""Timestamps: UTC, ISO 8601 with microseconds, so that their text sorts in order of time."""

from __future__ import annotations

from datetime import UTC, datetime

from catalog.model.errors import EntryError


def now() -> str:
    """The present time."""
    return written(datetime.now(UTC))


def written(moment: datetime) -> str:
    """A time as text; raises ValueError if it has no time zone."""
    if moment.tzinfo is None:
        raise ValueError("a timestamp needs a time zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def read(text: str, *, field: str) -> datetime:
    """The time given as ISO 8601 text, in UTC if it states no zone. Raises EntryError naming the field."""
    try:
        moment = datetime.fromisoformat(text)
        zoned = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
        return zoned.astimezone(UTC)  # overflows if the zone leads beyond the first or last year
    except (ValueError, OverflowError) as error:
        raise EntryError(
            f"{text!r} is not a date or time",
            field=field,
            value=text,
            remedy="Write it as 2026-11-25 or 2026-11-25T14:30:00Z",
        ) from error
