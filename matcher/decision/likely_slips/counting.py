"""Mistakes of counts, of rows and of the kind of half."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from matcher.columns.columns import Bools, Columns, Ints
from matcher.decision.likely_slips.mistake import Mistake
from matcher.features import FEATURES
from matcher.likelihood.miscounts import FITTINGS, OFF_BY_ONE, ONE_PER_ROW, ONE_ROW_ONLY, miscount_probability
from matcher.observations import Reduced

ROWS_SWAPPED = 0.01
"""Prior of giving the contacts of a row where the rows were asked for. Common practice, no source."""

OPPOSITE = {"plug": "receptacle", "receptacle": "plug"}


def miscounts(reading: Reduced, columns: Columns) -> Iterator[Mistake]:
    """Hold-downs or power contacts counted in, one row only, one off in every row or at all."""
    if reading.count is None:
        return
    counted, counts = reading.count, columns.counts
    for kind, names in ADDED_IN.items():
        known = np.all([counts[name] > 0 for name in names], axis=0)
        added = np.where(known, np.sum([counts[name] for name in names], axis=0), 0)
        for extra in _numbers(added, counts["contact_count"] + added == counted):
            yield from _counted(kind, reading, counted - extra, FITTINGS, np.asarray(added == extra))
    rows = counts["rows"]
    for number in _numbers(rows, (rows > 1) & (counts["contact_count"] == counted * rows)):
        yield from _counted("one_row_only", reading, counted * number, ONE_ROW_ONLY, np.asarray(rows == number))
    for step in (-1, 1):
        yield from _counted("miscounted", reading, counted + step, OFF_BY_ONE / 2, None)
        for number in _numbers(rows, counts["contact_count"] == counted + step * rows):
            yield from _counted(
                "miscounted", reading, counted + step * number, ONE_PER_ROW / 2, np.asarray(rows == number)
            )


ADDED_IN = {
    "hold_downs_counted": ("hold_down_count",),
    "power_contacts_counted": ("power_contact_count",),
    "all_metal_counted": ("hold_down_count", "power_contact_count"),
}
"""What may be counted in with the contacts, by kind."""


def _numbers(values: Ints, where: Bools) -> list[int]:
    """The different numbers above 0 among ``values`` where something holds."""
    chosen = values[where]
    return [int(number) for number in np.unique(chosen[chosen > 0])]


def _counted(kind: str, reading: Reduced, true: int, share: float, halves: Bools | None) -> Iterator[Mistake]:
    if true < 1:
        return
    wrong = float(miscount_probability(np.array(true)))
    corrected = Reduced(index=reading.index, feature=reading.feature, of=reading.of, count=true)
    odds = wrong * share / (1.0 - wrong)
    yield Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds), change={"value": true}, halves=halves)


def swapped_rows(reading: Reduced, contacts: Reduced | None) -> Iterator[Mistake]:
    """The contacts of one row given as rows: the count tells how many rows there are then."""
    if reading.count is None or contacts is None or not contacts.count or not reading.count:
        return
    rows, left = divmod(contacts.count, reading.count)
    if left or rows == reading.count or not FEATURES["rows"].low <= rows <= FEATURES["rows"].high:
        return
    corrected = Reduced(index=reading.index, feature="rows", of=reading.of, count=rows)
    odds = ROWS_SWAPPED / (1.0 - ROWS_SWAPPED)
    yield Mistake(
        kind="rows_swapped", corrected=(corrected,), log_odds=math.log(odds), change={"value": rows}, modelled=False
    )


def other_kind(reading: Reduced) -> Iterator[Mistake]:
    """A plug taken for a receptacle or the other way about."""
    if reading.values is None or len(reading.values) != 1:
        return
    (seen,) = reading.values
    row = FEATURES["half_kind"]
    if seen not in OPPOSITE:
        return
    corrected = Reduced(index=reading.index, feature="half_kind", of=reading.of, values=frozenset({OPPOSITE[seen]}))
    odds = (1.0 - row.right_share) / (len(row.values) - 1) / row.right_share
    kind = f"{OPPOSITE[seen]}_for_{seen}"
    yield Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds), change={"value": OPPOSITE[seen]})
