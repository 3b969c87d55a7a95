"""The shortlist of answers still in play: geometries by probability, and absent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.posterior import Posterior

NEGLECTED = 1e-3
"""Total probability of the unlikeliest geometries that advice ignores: they change the expected bits by about a
hundredth."""


@dataclass(frozen=True, kw_only=True)
class Leaders:
    """Geometries that hold all but `NEGLECTED` of the probability, likeliest first, and absent.

    ``halves`` holds the likeliest half of each geometry, which represents it. ``probability`` is that of each geometry
    and, last, that of absent; it adds up to 1.
    """

    columns: Columns
    halves: Ints
    probability: Floats

    def __len__(self) -> int:
        return len(self.halves)

    @property
    def absent(self) -> float:
        """Probability of absent."""
        return float(self.probability[-1])

    def first(self, number: int) -> Leaders:
        """The likeliest ``number`` of them, with absent."""
        if number >= len(self):
            return self
        kept = np.append(self.probability[:number], self.absent)
        return Leaders(columns=self.columns, halves=self.halves[:number], probability=kept / kept.sum())


def leaders(result: Posterior) -> Leaders:
    """The answers still in play after the observations so far."""
    geometry = result.geometries[result.order]
    number = int(np.searchsorted(np.cumsum(geometry), geometry.sum() - NEGLECTED)) + 1
    chosen = result.order[:number]
    kept = np.append(geometry[:number], result.probability_absent)
    return Leaders(columns=result.columns, halves=_likeliest(result)[chosen], probability=kept / kept.sum())


def _likeliest(result: Posterior) -> Ints:
    """The likeliest half of every geometry."""
    rising = np.argsort(result.log_half, kind="stable")
    best = np.zeros(len(result.log_geometry), dtype=np.int64)
    best[result.columns.geometry[rising]] = rising  # the last of several writes to one place is kept
    return best


def orders(found: Leaders) -> Ints:
    """Number of the order (the mate to buy) that each answer leads to; absent is last with its own number.

    Geometries with the same geometries as listed mates are one order; one without mates is an order by itself.
    """
    names = [frozenset(mates) or half for half, mates in _mates(found.columns, found.halves).items()]
    numbers = {name: number for number, name in enumerate(dict.fromkeys(names))}
    return np.array([*(numbers[name] for name in names), len(numbers)])


def surest_order(result: Posterior, halves: Ints) -> float:
    """Largest probability of one order among these halves and those that share their geometry, which no measurement
    tells apart: halves that take the same mates are one order."""
    geometry = result.columns.geometry
    tied = np.flatnonzero(np.isin(geometry, geometry[halves]))
    probability: dict[frozenset[int], float] = {}
    for half, mates in _mates(result.columns, tied).items():
        taken = frozenset(mates)
        probability[taken] = probability.get(taken, 0.0) + float(np.exp(result.log_half[half]))
    return max(probability.values())


def _mates(columns: Columns, halves: Ints) -> dict[int, set[int]]:
    """The geometries of each half's listed mates."""
    matings, geometry = columns.matings, columns.geometry
    taken: dict[int, set[int]] = {int(half): set() for half in halves}
    for mating in np.flatnonzero(np.isin(matings.half, halves)):
        taken[int(matings.half[mating])].add(int(geometry[matings.other[mating]]))
    return taken
