"""The fewest observations that any measuring strategy needs on a small catalogue: all strategies are searched.

`python -m tests.real_geometry.exhaustive [--catalogues 30]`

Every feature has a few possible readings: for each half its stated value, or, for a dimension, one standard deviation
(of part and caliper together) to either side. From each state of knowledge the search tries each feature, weighs
each reading by its probability, and goes on until one geometry has 95 %.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Floats, HalfRow
from matcher.features import FEATURES, Kind
from matcher.likelihood.evidence import log_sum
from matcher.likelihood.likelihood import likelihood
from matcher.observations import Reduced
from tests.real_geometry.next_measurement_study import REACHED, Choice, Groups, by_advice, real_rows
from tests.real_geometry.simulated.simulation import CALIPER_U

HALVES = 8
FEATURES_TRIED = ("pitch", "contact_count", "body_length", "body_width", "land_span", "mounting")
SMALLEST = 1e-4
"""Readings less probable than this are not followed: all strategies lose the same by it."""


@dataclass(frozen=True, kw_only=True)
class Showing:
    """One possible reading of a feature: its log-likelihood and its probability under each half."""

    reading: Reduced
    logs: Floats
    probability: Floats


Taken = tuple[tuple[int, int], ...]
"""Measured features (by position), each with the number of its reading, in ascending order."""


class World:
    """A small catalogue, and all possible readings of its halves."""

    def __init__(self, columns: Columns, features: Sequence[str] = FEATURES_TRIED) -> None:
        self.columns = columns
        self.groups = Groups(columns)
        self.features = [name for name in features if self._stated(name)]
        self.showings = [_showings(columns, name) for name in self.features]
        self._known: dict[Taken, Floats] = {}

    def _stated(self, name: str) -> bool:
        feature = FEATURES[name]
        if feature.kind is Kind.DIMENSION:
            return not bool(np.any(np.isnan(self.columns.dimensions[name].stated)))
        return True

    def readings(self, taken: Taken) -> list[Reduced]:
        """The readings that were taken."""
        shown = [self.showings[feature][number].reading for feature, number in taken]
        return [replace(reading, index=i) for i, reading in enumerate(shown)]

    def log_posterior(self, taken: Taken) -> Floats:
        """Log-probability of each half, without absent; cached, since all strategies meet the same readings."""
        if taken not in self._known:
            logs = np.log(self.columns.prior_weight) + sum(self.showings[f][n].logs for f, n in taken)
            self._known[taken] = logs - log_sum(logs)
        return self._known[taken]

    def done(self, taken: Taken) -> bool:
        """Whether one geometry has 95 %, or nothing is left to take."""
        return len(taken) == len(self.features) or (
            bool(taken) and self.groups.probability_of_leader(self.log_posterior(taken)) >= REACHED
        )

    def after(self, taken: Taken, feature: int, value: Callable[[Taken], float]) -> float:
        """Expected ``value`` of the state of knowledge after measuring one more feature."""
        posterior = np.exp(self.log_posterior(taken))
        total = 0.0
        for number, showing in enumerate(self.showings[feature]):
            probability = float(posterior @ showing.probability)
            if probability > SMALLEST:
                total += probability * value(tuple(sorted((*taken, (feature, number)))))
        return total


def _showings(columns: Columns, name: str) -> list[Showing]:
    values, weights = _values(columns, name)
    distinct = sorted({v for row in values for v in row})
    found = []
    for value in distinct:
        reading = _reading(columns, name, value)
        probability = np.array(
            [
                sum(w for v, w in zip(row, ws, strict=True) if v == value)
                for row, ws in zip(values, weights, strict=True)
            ]
        )
        found.append(Showing(reading=reading, logs=likelihood(columns, [reading]).total, probability=probability))
    return found


def _values(columns: Columns, name: str) -> tuple[list[list[float]], list[list[float]]]:
    """The possible readings of each half, and their probabilities."""
    halves = range(len(columns))
    if FEATURES[name].kind is Kind.DIMENSION:
        column = columns.dimensions[name]
        sd = np.sqrt(column.half_width**2 / 3 + CALIPER_U**2)
        values = [[round(float(column.stated[h] + z * sd[h]), 2) for z in (-1.0, 1.0)] for h in halves]
        return values, [[0.5, 0.5] for _ in halves]
    if FEATURES[name].kind is Kind.COUNT:
        return [[float(columns.counts[name][h])] for h in halves], [[1.0] for _ in halves]
    return [[float(columns.categories[name][h].argmax())] for h in halves], [[1.0] for _ in halves]


def _reading(columns: Columns, name: str, value: float) -> Reduced:
    feature = FEATURES[name]
    if feature.kind is Kind.DIMENSION:
        return Reduced(index=0, feature=name, value=value, u=CALIPER_U, total_u=CALIPER_U)
    if feature.kind is Kind.COUNT:
        return Reduced(index=0, feature=name, count=int(value))
    return Reduced(index=0, feature=name, values=frozenset([list(feature.values)[int(value)]]))


def fewest(world: World) -> float:
    """Expected observations of the best strategy."""
    known: dict[Taken, float] = {}

    def value(taken: Taken) -> float:
        if taken not in known:
            left = [i for i in range(len(world.features)) if i not in {f for f, _ in taken}]
            known[taken] = 0.0 if world.done(taken) else 1.0 + min(world.after(taken, f, value) for f in left)
        return known[taken]

    return value(())


def expected_steps(world: World, choose: Choice) -> float:
    """Expected observations where ``choose`` names the next feature."""
    known: dict[Taken, float] = {}

    def value(taken: Taken) -> float:
        if taken not in known:
            known[taken] = 0.0 if world.done(taken) else 1.0 + world.after(taken, following(taken), value)
        return known[taken]

    def following(taken: Taken) -> int:
        gone = {f for f, _ in taken}
        left = [name for i, name in enumerate(world.features) if i not in gone]
        return world.features.index(choose(world.readings(taken), left))

    return value(())


def small_catalogue(rows: Sequence[HalfRow], columns: Columns, half: int) -> Columns:
    """A half and the halves of the whole catalogue most similar to it: the cases that need planning ahead."""
    away = np.zeros(len(columns))
    for name in ("body_length", "body_width", "land_span", "pitch"):
        stated = columns.dimensions[name].stated
        away += np.nan_to_num(np.log(stated / stated[half]) ** 2, nan=1.0)
    chosen = np.argsort(away, kind="stable")[:HALVES]
    return build_columns([rows[i] for i in chosen], [])


def compare(rows: Sequence[HalfRow], number: int, seed: int) -> tuple[Floats, Floats]:
    """Expected observations on small catalogues around halves drawn at random: by the best strategy, and by advice."""
    columns, draw = build_columns(rows, []), np.random.default_rng(seed)
    best, advised = [], []
    for half in draw.integers(0, len(rows), number):
        world = World(small_catalogue(rows, columns, int(half)))
        best.append(fewest(world))
        advised.append(expected_steps(world, by_advice(world.columns, fit_absent(world.columns))))
    return np.array(best), np.array(advised)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the means, of all small catalogues and of those in which one observation is not enough."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--catalogues", type=int, default=30)
    parser.add_argument("--seed", type=int, default=2)
    options = parser.parse_args(arguments)
    best, advised = compare(real_rows(), options.catalogues, options.seed)
    hard = best > 1.0
    for name, chosen in (("all", np.ones(len(best), dtype=bool)), ("more than one needed", hard)):
        ratio = advised[chosen].sum() / best[chosen].sum() - 1
        line = f"{name}: {chosen.sum()} catalogues; all courses searched {best[chosen].mean():.3f}, "
        print(f"{line}advice {advised[chosen].mean():.3f} ({ratio:+.2%})")


if __name__ == "__main__":
    main()
