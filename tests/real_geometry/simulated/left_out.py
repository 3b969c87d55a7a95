"""A real entry is left out of its series and its siblings stay: is the unlisted variant named?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from catalog.model.entries import Half
from catalog.model.inferred_variants import member_groups
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, HalfRow
from matcher.decision.posterior import posterior
from tests.catalog.model.inference import leave_one_out
from tests.real_geometry.simulated.absence import GONE
from tests.real_geometry.simulated.outlines import row_of
from tests.real_geometry.simulated.simulation import Bench, Scenario, with_process_tolerance


def left_out_pairs(halves: Sequence[Half]) -> list[tuple[Half, Half]]:
    """Pairs of an entry and its prediction from siblings, where at least three siblings of other sizes exist."""
    return [
        (item.half, item.predicted)
        for group in member_groups(halves)
        for item in leave_one_out(group)
        if item.predicted is not None
    ]


class LeftOut:
    """The catalogue with every predicted variant appended but switched off."""

    def __init__(self, halves: Sequence[Half], tried: int, seed: int = 0) -> None:
        pairs = left_out_pairs(halves)
        chosen = np.random.default_rng(seed).choice(len(pairs), size=tried, replace=False)
        rows = [with_process_tolerance(row_of(half)) for half in halves]
        self.positions = {row.key: position for position, row in enumerate(rows)}
        self.entries = [pairs[i][0].key for i in chosen]
        predicted = [_predicted(pairs[i][1], f"inferred {number}") for number, i in enumerate(chosen)]
        self.first_inferred = len(rows)
        columns = build_columns([*rows, *predicted], [])
        self.weight = np.where(columns.inferred, GONE, 1.0)
        self.columns: Columns = columns
        self.absent = fit_absent(columns)

    def named_in_five(self, scenario: Scenario, seed: int = 0) -> float:
        """Share of left-out entries whose inferred variant is among the first five geometries."""
        bench, found = Bench(self.columns, seed), 0
        for number, key in enumerate(self.entries):
            half, variant = self.positions[key], self.first_inferred + number
            weight = self.weight.copy()
            weight[half], weight[variant] = GONE, 0.1
            columns = replace(self.columns, prior_weight=weight)
            result = posterior(columns, self.absent, bench.specimen(half, scenario), 0.1)
            found += int(columns.geometry[variant] in result.order[:5])
        return found / len(self.entries)


def _predicted(half: Half, key: str) -> HalfRow:
    return replace(with_process_tolerance(row_of(half)), key=key, inferred=True)
