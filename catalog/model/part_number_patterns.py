"""Groups halves into series by their part numbers.

The skeleton of a name has a placeholder for each number that states the positions or contacts. A number is replaced
only if that makes names of the group equal; all other parts of a name distinguish series.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from catalog.model.entries import Half, Series, half_key
from matcher.features import CONSTRUCTION

RUN = re.compile(r"\d+")
OPEN = "*"
"""The placeholder for the size in a series' name."""

WIDEST_PADDING = 4
"""Most digits of a size in a name, including leading zeros."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A way in which a number in a name may state the size: contacts or positions, padded to how many digits, and
    where in the number."""

    by_contacts: bool
    padding: int
    place: str

    def size(self, contacts: int, positions: int) -> str:
        """The digits that state this size."""
        return str(contacts if self.by_contacts else positions).zfill(self.padding)

    def opened(self, run: str, contacts: int, positions: int) -> str:
        """The number with the size replaced by the placeholder, or unchanged if it does not state the size this way."""
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
"""In order of preference. A whole number comes first, without unnecessary zeros. Within a longer number the widest
padding comes first, since it keeps the length of the number for other sizes."""


def alike(half: Half) -> tuple[object, ...]:
    """What the members of one series have in common apart from their names."""
    pitch = half.dimensions.get("pitch")
    return (
        half.maker,
        RUN.sub("#", half.part_number),
        half.rows,
        *(half.categories.get(name, half.counts.get(name)) for name in CONSTRUCTION),
        None if pitch is None else round(pitch.value, 2),
    )


def readings(members: Sequence[Half]) -> tuple[Reading | None, ...]:
    """For each number in names of one form: how it states the size, or None if it does not.

    A number states the size if replacing the size leaves fewer different values among the members.
    """
    columns = zip(*(RUN.findall(half.part_number) for half in members), strict=True)
    return tuple(_reading(column, members) for column in columns)


def _reading(column: Sequence[str], members: Sequence[Half]) -> Reading | None:
    best, fewest = None, len(set(column))
    if fewest == 1:
        return None
    sizes = ((half.contact_count, half.contacts_per_row) for half in members)
    stated = set(zip(column, sizes, strict=True))
    # Numbers without the digits of the size stay as they are, however they are read.
    possible = {(run, size) for run, size in stated if any(str(number) in run for number in size)}
    closed = {run for run, _ in stated - possible}
    for reading in _READINGS:
        different = len(closed | {reading.opened(run, *size) for run, size in possible})
        if different < fewest:
            best, fewest = reading, different
        if fewest == 1:
            break
    return best


def skeleton(half: Half, form: Sequence[Reading | None]) -> str:
    """The half's part number with placeholders for its size."""
    following, size = iter(form), (half.contact_count, half.contacts_per_row)

    def opened(match: re.Match[str]) -> str:
        reading = next(following)
        return match[0] if reading is None else reading.opened(match[0], *size)

    return RUN.sub(opened, half.part_number)


def filled(skeleton_name: str, form: Sequence[Reading | None], *, contacts: int, positions: int) -> str | None:
    """The name of another size; None if the name does not state the size."""
    sizes = [reading.size(contacts, positions) for reading in form if reading is not None]
    first, *parts = skeleton_name.split(OPEN)
    if not sizes or len(sizes) != len(parts):
        return None
    return first + "".join(size + part for size, part in zip(sizes, parts, strict=True))


def families(halves: Sequence[Half]) -> Iterator[tuple[str, list[int]]]:
    """Halves that are `alike` and whose names have one skeleton: this skeleton, and the indices of the halves."""
    forms: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for index, half in enumerate(halves):
        forms[alike(half)].append(index)
    for indices in forms.values():
        form = readings([halves[index] for index in indices])
        named: dict[str, list[int]] = defaultdict(list)
        for index in indices:
            named[skeleton(halves[index], form)].append(index)
        yield from named.items()


def group(halves: Sequence[Half]) -> tuple[list[Half], list[Series]]:
    """Assign every half to a series; returns the halves in their order, and the series.

    Series with the same skeleton that differ in rows, pitch or the like get a number after their name.
    """
    assigned = list(halves)
    taken: set[str] = set()
    series: list[Series] = []
    for name, own in families(halves):
        entry = _series(halves[own[0]], name, taken)
        series.append(entry)
        for index in own:
            assigned[index] = halves[index].model_copy(update={"series": entry.name})
    return assigned, series


def _series(first: Half, name: str, taken: set[str]) -> Series:
    # Names with the same key, which differ only in case or punctuation, also get a number.
    numbered = (name if number == 1 else f"{name} ({number})" for number in count(1))
    free = next(each for each in numbered if half_key(first.maker, each) not in taken)
    taken.add(half_key(first.maker, free))
    return Series(maker=first.maker, name=free, datasheet=first.datasheet)
