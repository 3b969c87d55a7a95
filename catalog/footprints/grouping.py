"""Group footprints into series by their names' skeletons and what they have in common.

A run of figures in a name is left open only where it states the positions or contacts and so makes the names of a
group alike; everything else in the name keeps series apart.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from catalog.entries import Half, Series

RUN = re.compile(r"\d+")
OPEN = "*"
"""Stands in a series' name where the members' names state their size."""

WIDEST_PADDING = 4
"""Counts are looked for with up to this many figures, zeros in front."""


@dataclass(frozen=True, kw_only=True)
class _Reading:
    """One way in which a run of figures may state a size: which one, padded to how many figures, and where."""

    by_contacts: bool
    padding: int
    place: str

    def rest(self, run: str, half: Half) -> str:
        """The run with the size taken out, or the run itself where it does not state it so."""
        size = str(half.contact_count if self.by_contacts else half.contacts_per_row).zfill(self.padding)
        if self.place == "whole":
            return OPEN if run == size else run
        if self.place == "prefix":
            return OPEN + run[len(size) :] if run.startswith(size) else run
        return run[: -len(size)] + OPEN if run.endswith(size) else run


_READINGS = tuple(
    _Reading(by_contacts=by_contacts, padding=padding, place=place)
    for place in ("whole", "prefix", "suffix")
    for by_contacts in (False, True)
    for padding in range(1, WIDEST_PADDING + 1)
)


def _alike(half: Half) -> tuple[object, ...]:
    """What members of one series have in common besides the name."""
    pitch = half.dimensions.get("pitch")
    return (
        half.maker,
        RUN.sub("#", half.part_number),
        half.rows,
        half.categories.get("mounting"),
        half.categories.get("orientation"),
        half.counts.get("hold_down_count"),
        None if pitch is None else round(pitch.value, 2),
    )


def open_runs(members: Sequence[Half]) -> list[tuple[str, ...]]:
    """Each member's runs of figures (names of one form), sizes opened where that leaves the fewest distinct values."""
    columns = zip(*(RUN.findall(half.part_number) for half in members), strict=True)
    opened = []
    for column in columns:
        choices = [column, *(tuple(r.rest(run, h) for run, h in zip(column, members, strict=True)) for r in _READINGS)]
        opened.append(min(choices, key=lambda choice: len(set(choice))))
    return list(zip(*opened, strict=True)) if opened else [()] * len(members)


def skeleton(name: str, runs: Iterable[str]) -> str:
    """The name with its runs of figures replaced by ``runs``."""
    following = iter(runs)
    return RUN.sub(lambda _match: next(following), name)


def group(halves: Sequence[Half]) -> tuple[list[Half], list[Series]]:
    """Give every half its series; returns the halves in their order, and the series.

    Series of one skeleton that differ in rows, pitch or the like get a number behind their name.
    """
    forms: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for index, half in enumerate(halves):
        forms[_alike(half)].append(index)
    named = list(halves)
    taken: dict[tuple[str, str], int] = {}
    series: list[Series] = []
    for indices in forms.values():
        members = [halves[index] for index in indices]
        parts: dict[str, list[int]] = defaultdict(list)
        for index, runs in zip(indices, open_runs(members), strict=True):
            parts[skeleton(halves[index].part_number, runs)].append(index)
        for name, own in parts.items():
            entry = _series(halves[own[0]], name, taken)
            series.append(entry)
            for index in own:
                named[index] = halves[index].model_copy(update={"series": entry.name})
    return named, series


def _series(first: Half, name: str, taken: dict[tuple[str, str], int]) -> Series:
    key = (first.maker, name)
    taken[key] = taken.get(key, 0) + 1
    number = "" if taken[key] == 1 else f" ({taken[key]})"
    return Series(maker=first.maker, name=f"{name}{number}", datasheet=first.datasheet)
