"""Profiles of a catalogue, and one step of the fit of *absent*, one half and one feature at a time.

Figures are our own choices, no source; they are repeated here so that none of them changes unnoticed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns
from matcher.features import FEATURES, Kind

LEAST_NEW, CLOSE = 0.05, 0.37
START_COPIED = {
    "contact_count": 0.95,
    "rows": 0.97,
    "pitch": 0.98,
    "body_length": 0.67,
    "body_width": 0.46,
    "mounting": 0.49,
    "land_span": 0.30,
    "height": 0.43,
}
OTHERS = "half_kind hold_down_count overall_length tail_span land_row_spacing hold_down_land_span peg_hole_span"
START_COPIED |= dict.fromkeys(OTHERS.split(), 0.5)
NOT_COPIED = (1.0, 0.3, 0.02)
PSEUDO_HALVES = 10.0


def profiles(columns: Columns) -> list[list[int]]:
    """Members of each profile: listed halves of one series and one number of rows that differ only by rounding."""
    found: dict[tuple[object, ...], list[int]] = {}
    for half in range(len(columns)):
        if columns.inferred[half]:
            continue
        key: list[object] = [int(columns.series[half]), int(columns.counts["rows"][half])]
        key += [_rounded(size(columns, "pitch", half), 0.01), _rounded(allowance(columns, half), 0.05)]
        for name, row in FEATURES.items():
            if row.of_profile and row.kind is Kind.DIMENSION:
                key.append(_rounded(size(columns, name, half), 0.05))
            elif row.of_profile:
                key.append(int(np.argmax(columns.categories[name][half])))
        found.setdefault(tuple(key), []).append(half)
    return list(found.values())


def _rounded(value: float, step: float) -> int | None:
    return None if math.isnan(value) else round(value / step)


def size(columns: Columns, name: str, half: int) -> float:
    """A size as stated or predicted, mm; NaN where nothing is known."""
    return float(columns.dimensions[name].centre[half])


def allowance(columns: Columns, half: int) -> float:
    """Body length beyond the contacts' span, mm."""
    positions = math.ceil(int(columns.counts["contact_count"][half]) / int(columns.counts["rows"][half]))
    return size(columns, "body_length", half) - size(columns, "pitch", half) * (positions - 1)


@dataclass
class Measured:
    """A training half: by feature p(reading | half)/a for every half (None where it lacks the feature), and priors."""

    ratios: Mapping[str, Sequence[float | None]]
    prior: Sequence[float]


def step(
    shares: Sequence[float], copied: Mapping[str, Sequence[float]], specimens: Sequence[Measured], series: int
) -> tuple[list[float], dict[str, list[float]]]:
    """Shares of halves that copy nothing, of distant and close relatives and twins, and what they copy: one step.

    The share of twins is not learned: halves that are the same as a training half count as not listed.
    """
    twins = 1 / (series + 2)
    new = max(LEAST_NEW, twins)
    rest = 1 - new - twins
    total = [PSEUDO_HALVES * share for share in (new, rest * (1 - CLOSE), rest * CLOSE, twins)]
    did, could = {}, {}
    for name, start in START_COPIED.items():
        did[name] = [PSEUDO_HALVES * (1 - seldom * (1 - start)) for seldom in NOT_COPIED]
        could[name] = [PSEUDO_HALVES] * 3
    for specimen in specimens:
        weights = {}
        for half, prior in enumerate(specimen.prior):
            for relative in (0, 1, 2):
                weight = shares[1 + relative] * prior
                for name, ratios in specimen.ratios.items():
                    share, ratio = copied[name][relative], ratios[half]
                    weight *= 1.0 if ratio is None else 1 - share + share * ratio
                weights[half, relative] = weight
        whole = shares[0] + math.fsum(weights.values())
        total[0] += shares[0] / whole
        for (half, relative), weight in weights.items():
            total[1 + relative] += weight / whole
            for name, ratios in specimen.ratios.items():
                share, ratio = copied[name][relative], ratios[half]
                if ratio is not None:
                    could[name][relative] += weight / whole
                    did[name][relative] += weight / whole * share * ratio / (1 - share + share * ratio)
    fitted = {name: [a / b for a, b in zip(did[name], could[name], strict=True)] for name in START_COPIED}
    return [*((1 - twins) * share / sum(total[:3]) for share in total[:3]), twins], fitted
