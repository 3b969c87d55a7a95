"""The demo catalogue with every law expanded, for the tests of this folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.series_laws import expand
from seeds_demo.loader import demo_entries


@dataclass(frozen=True, kw_only=True)
class World:
    """``listed`` has every half as often as it is listed, ``halves`` each key once."""

    entries: tuple[AnyEntry, ...]
    series: tuple[Series, ...]
    listed: tuple[Half, ...]
    halves: Mapping[str, Half]
    matings: tuple[Mating, ...]

    def mates(self, key: str) -> list[str]:
        """Keys of all halves that mate with this one."""
        return [m.other if m.half == key else m.half for m in self.matings if key in (m.half, m.other)]


@cache
def world() -> World:
    """The whole demo catalogue, read once."""
    entries = demo_entries()
    series = [entry for entry in entries if isinstance(entry, Series)]
    expansions = [expand(entry) for entry in series]
    listed = [half for made in expansions for half in made.halves] + [e for e in entries if isinstance(e, Half)]
    matings = [mating for made in expansions for mating in made.matings] + [e for e in entries if isinstance(e, Mating)]
    return World(
        entries=tuple(entries),
        series=tuple(series),
        listed=tuple(listed),
        halves={half.key: half for half in listed},
        matings=tuple(matings),
    )


def value(half: Half, feature: str) -> float | None:
    """The value of a dimension on the drawing, mm; None where there is none."""
    return half.dimensions[feature].value if feature in half.dimensions else None
