"""Orders of the catalogue: by a property of the part, or by its distance from a known figure."""

from __future__ import annotations

import json
import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType

from api.service.problems import ApiError
from catalog.records.read_models import HalfRecord

Place = tuple[int, float, str]
"""Place of a half in an order: 1 where it has no such figure (else 0), the figure, and its name."""

STANDING_ORDER = ("confirmed", "documented", "reported", "disputed", "withdrawn")

BY_FIT, BY_NAME = "fit", "name"

DIMENSION_OF = MappingProxyType(
    {"pitch": "pitch", "length": "body_length", "width": "body_width", "height": "height", "tails": "tail_span"}
)
"""Orders by a dimension."""

ORDERS: Mapping[str, str] = MappingProxyType(
    {
        BY_FIT: "match with the name",
        BY_NAME: "maker and series",
        "contacts": "number of contacts",
        "pitch": "pitch, mm",
        "length": "body length, mm",
        "width": "body width, mm",
        "tails": "span over the tails, mm",
        "height": "height, mm",
        "standing": "standing",
        "changed": "last changed",
    }
)
"""Orders, in words."""

NEAREST = frozenset({"contacts", *DIMENSION_OF})
"""Orders that can go by the distance from a figure."""


@dataclass(frozen=True, kw_only=True)
class Order:
    """An order: its name, the value searched for, and how well each half's names fit the search text."""

    by: str
    near: float | None = None
    fits: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def place(self, record: HalfRecord) -> Place:
        """The place of a half in the order."""
        figure = _FIGURES[self.by](record) if self.by in _FIGURES else self._fit(record)
        if figure is None:
            return 1, 0.0, _name(record)
        return 0, figure if self.near is None else round(abs(figure - self.near), 9), _name(record)

    def _fit(self, record: HalfRecord) -> float:
        return -self.fits.get(record.key, 0.0)


def _name(record: HalfRecord) -> str:
    half = record.half
    return f"{half.maker.casefold()}\n{half.series.casefold()}\n{half.contact_count:06d}\n{record.key}"


def _dimension(name: str) -> Callable[[HalfRecord], float | None]:
    def figure(record: HalfRecord) -> float | None:
        stated = record.half.dimensions.get(name)
        return None if stated is None else stated.value

    return figure


def _last_changed(record: HalfRecord) -> float | None:
    """Seconds before the epoch, so that the newest comes first."""
    return -datetime.fromisoformat(record.changed_at).timestamp() if record.changed_at else None


_FIGURES: Mapping[str, Callable[[HalfRecord], float | None]] = {
    BY_NAME: lambda record: 0.0,
    "contacts": lambda record: float(record.half.contact_count),
    "standing": lambda record: float(STANDING_ORDER.index(record.standing)),
    "changed": _last_changed,
    **{order: _dimension(name) for order, name in DIMENSION_OF.items()},
}


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A page of an ordered list: its halves, the number of the first, and the place of the last (None: nothing
    follows)."""

    records: tuple[HalfRecord, ...]
    first: int
    after: Place | None


def page_of(records: Sequence[HalfRecord], order: Order, after: Place | None, limit: int) -> Shown:
    """The next halves after a place. Entries added meanwhile shift nothing."""
    ordered = sorted(((order.place(record), record) for record in records), key=lambda pair: pair[0])
    start = 0 if after is None else bisect_right(ordered, after, key=lambda pair: pair[0])
    part = ordered[start : start + limit]
    follows = start + limit < len(ordered)
    return Shown(
        records=tuple(record for _, record in part), first=start + 1, after=part[-1][0] if part and follows else None
    )


def written(place: Place) -> str:
    """A place as a cursor carries it."""
    return json.dumps(place)


def place_of(text: str | None) -> Place | None:
    """What `written` wrote; raises ApiError for anything else."""
    if text is None:
        return None
    try:
        missing, figure, name = json.loads(text)
    except (ValueError, TypeError, RecursionError):
        raise _unreadable() from None
    plain = isinstance(missing, int) and isinstance(figure, int | float) and isinstance(name, str)
    if not plain or not math.isfinite(figure):
        raise _unreadable()
    return missing, figure, name


def _unreadable() -> ApiError:
    return ApiError.at("cursor", "the cursor cannot be read", "Start at the first page", name="invalid-cursor")
