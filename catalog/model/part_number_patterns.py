"""Group footprints into series by their names' skeletons and what they have in common.

A run of figures in a name is left open only where it states the positions or contacts and so makes the names of a
group alike; everything else in the name keeps series apart.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

from catalog.model.entries import Half, Series, half_key
from matcher.features import CONSTRUCTION

RUN = re.compile(r"\d+")
OPEN = "*"
"""Stands in a series' name where the members' names state their size."""

WIDEST_PADDING = 4
"""Counts are looked for with up to this many figures, zeros in front."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One way in which a run of figures may state a size: which one, padded to how many figures, and where."""

    by_contacts: bool
    padding: int
    place: str

    def size(self, contacts: int, positions: int) -> str:
        """The figures that state this size."""
        return str(contacts if self.by_contacts else positions).zfill(self.padding)

    def opened(self, run: str, contacts: int, positions: int) -> str:
        """The run with the size taken out, or the run itself where it does not state it so."""
        size = self.size(contacts, positions)
        if self.place == "whole":
            return OPEN if run == size else run
        if self.place == "prefix":
            return OPEN + run[len(size) :] if run.startswith(size) else run
        return run[: -len(size)] + OPEN if run.endswith(size) else run


_READINGS = tuple(
    Reading(by_contacts=by_contacts, padding=padding, place=place)
    for place, paddings in (
        ("whole", range(1, WIDEST_PADDING + 1)),
        ("prefix", range(WIDEST_PADDING, 0, -1)),
        ("suffix", range(WIDEST_PADDING, 0, -1)),
    )
    for by_contacts in (False, True)
    for padding in paddings
)
"""In order of preference among equals: a whole run with no needless zeros; inside a longer run as many figures as fit,
which keeps the run's length for other sizes."""


def alike(half: Half) -> tuple[object, ...]:
    """What members of one series have in common besides the name."""
    pitch = half.dimensions.get("pitch")
    return (
        half.maker,
        RUN.sub("#", half.part_number),
        half.rows,
        *(half.categories.get(name, half.counts.get(name)) for name in CONSTRUCTION),
        None if pitch is None else round(pitch.value, 2),
    )


def readings(members: Sequence[Half]) -> tuple[Reading | None, ...]:
    """For each run of figures in names of one form: how it states the size, or None where it is better left closed.

    A run is opened when that leaves fewer distinct values among the members than leaving it does.
    """
    columns = zip(*(RUN.findall(half.part_number) for half in members), strict=True)
    return tuple(_reading(column, members) for column in columns)


def _reading(column: Sequence[str], members: Sequence[Half]) -> Reading | None:
    runs = len(set(column))
    if runs == 1:
        return None
    sizes = [(half.contact_count, half.contacts_per_row) for half in members]
    stated = set(zip(column, sizes, strict=True))

    def distinct(reading: Reading) -> int:
        return len({reading.opened(run, *size) for run, size in stated})

    best = min(_READINGS, key=distinct)
    return best if distinct(best) < runs else None


def skeleton(half: Half, form: Sequence[Reading | None]) -> str:
    """The half's name with its sizes left open."""
    following, size = iter(form), (half.contact_count, half.contacts_per_row)

    def opened(match: re.Match[str]) -> str:
        reading = next(following)
        return match[0] if reading is None else reading.opened(match[0], *size)

    return RUN.sub(opened, half.part_number)


def filled(skeleton_name: str, form: Sequence[Reading | None], *, contacts: int, positions: int) -> str | None:
    """The name of another size; None where the name states no size that could be filled in."""
    open_readings = iter([reading for reading in form if reading is not None])
    if skeleton_name.count(OPEN) == 0 or skeleton_name.count(OPEN) != sum(reading is not None for reading in form):
        return None
    parts = skeleton_name.split(OPEN)
    sizes = (reading.size(contacts, positions) for reading in open_readings)
    return parts[0] + "".join(size + part for size, part in zip(sizes, parts[1:], strict=True))


def group(halves: Sequence[Half]) -> tuple[list[Half], list[Series]]:
    """Give every half its series; returns the halves in their order, and the series.

    Series of one skeleton that differ in rows, pitch or the like get a number behind their name.
    """
    forms: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for index, half in enumerate(halves):
        forms[alike(half)].append(index)
    named = list(halves)
    taken: set[str] = set()
    series: list[Series] = []
    for indices in forms.values():
        members = [halves[index] for index in indices]
        parts: dict[str, list[int]] = defaultdict(list)
        form = readings(members)
        for index in indices:
            parts[skeleton(halves[index], form)].append(index)
        for name, own in parts.items():
            entry = _series(halves[own[0]], name, taken)
            series.append(entry)
            for index in own:
                named[index] = halves[index].model_copy(update={"series": entry.name})
    return named, series


def _series(first: Half, name: str, taken: set[str]) -> Series:
    # Names that differ only in what a key leaves out (case, most signs) are numbered apart as well.
    numbered = (name if number == 1 else f"{name} ({number})" for number in count(1))
    free = next(each for each in numbered if half_key(first.maker, each) not in taken)
    taken.add(half_key(first.maker, free))
    return Series(maker=first.maker, name=free, datasheet=first.datasheet)
