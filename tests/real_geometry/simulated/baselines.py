"""Simple alternatives on the same queries: a filter of ± 0.1 mm, and the nearest neighbour in z-scores."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.spatial import KDTree
from scipy.stats import zmap

from matcher.columns.columns import Columns, Floats
from matcher.observations import Reduced
from tests.real_geometry.simulated.simulation import Bench, Scenario, Tally, same

FILTER = 0.1
"""Half-width of the filter, mm; on the pitch 0.02, and counts must be equal. Common practice, no source."""

PITCH_FILTER = 0.02


def measured_table(columns: Columns, features: tuple[str, ...]) -> Floats:
    """Catalogue values (halves × features)."""
    return np.stack(
        [
            columns.counts[name].astype(float) if name in columns.counts else columns.dimensions[name].stated
            for name in features
        ],
        axis=1,
    )


def measured_row(observations: list[Reduced], features: tuple[str, ...]) -> Floats:
    """One specimen's numbers in the order of the features; NaN where nothing was measured."""
    by_name = {o.feature: float(o.count) if o.count is not None else o.number for o in observations if o.values is None}
    return np.array([by_name.get(name, np.nan) for name in features])


def run_filter(columns: Columns, halves: Iterable[int], scenario: Scenario, seed: int) -> tuple[Tally, float]:
    """The filter, ties broken by the smallest sum of deviations; also the share of queries that lose the right half."""
    bench, features = Bench(columns, seed), _numbers(scenario)
    table, limits = measured_table(columns, features), np.array([_limit(name) for name in features])
    first, five, lost = [], [], []
    for half in halves:
        off = np.abs(table - measured_row(bench.specimen(half, scenario), features)) / limits
        off = np.where(np.isnan(off), 0.0, off)
        passed = np.flatnonzero((off <= 1.0).all(axis=1))
        ranked = passed[np.argsort(off[passed].sum(axis=1), kind="stable")][:5]
        right = same(columns, half, ranked)
        first.append(float(right[:1].any()))
        five.append(float(right.any()))
        lost.append(float(half not in passed))
    return Tally(first=np.array(first), in_five=np.array(five), stated=np.array(first)), float(np.mean(lost))


def run_nearest(columns: Columns, halves: Iterable[int], scenario: Scenario, seed: int) -> Tally:
    """Nearest neighbours by z-scores; values that were not measured count as average."""
    bench, features = Bench(columns, seed), _numbers(scenario)
    table, halves = measured_table(columns, features), list(halves)
    specimens = np.stack([measured_row(bench.specimen(half, scenario), features) for half in halves])
    scores, queries = (np.nan_to_num(zmap(each, table, nan_policy="omit")) for each in (table, specimens))
    _, nearest = KDTree(scores).query(queries, k=5)
    right = np.stack([same(columns, half, near) for half, near in zip(halves, nearest, strict=True)])
    first, five = right[:, 0].astype(float), right.any(axis=1).astype(float)
    return Tally(first=first, in_five=five, stated=first)


def _numbers(scenario: Scenario) -> tuple[str, ...]:
    return tuple(name for name in scenario.features if name != "mounting")


def _limit(name: str) -> float:
    return {"contact_count": 0.5, "rows": 0.5, "pitch": PITCH_FILTER}.get(name, FILTER)
