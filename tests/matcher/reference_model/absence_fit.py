"""Profiles of a catalogue and the fit of *absent* to them, one half, one profile and one class at a time.

Expectation–maximisation on each listed half given the profiles of other series and other geometry. Figures are our own
choices, no source; they are repeated here so that none of them changes unnoticed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns
from matcher.feature_fields import ProfileRole
from matcher.features import FEATURES, Kind
from tests.matcher.reference_model.absence import COUNT_SPREAD, near_count

START_PRESENT, START_LISTED, START_OTHER = 0.15, 0.3, 0.2
START_PITCH, START_ALLOWANCE, START_ACROSS = (0.005, 0.05, 0.3), (0.1, 0.6, 3.0), (0.02, 0.10, 0.40)
SMALLEST = {"pitch": 0.002, "allowance": 0.02}
SMALLEST_ACROSS = 0.005
LEAST_PRESENT = 0.05
PRIOR_HALVES = 2.0
READING_U = 0.03
STEPS, UNMOVED = 25, 0.002

FITTED = [name for name, row in FEATURES.items() if row.profile is ProfileRole.FITTED and row.kind is Kind.DIMENSION]
NAMED = [name for name, row in FEATURES.items() if row.profile is ProfileRole.FITTED and row.kind is Kind.CATEGORY]


@dataclass
class Fit:
    """Present share, and by class: weight, bandwidths of each quantity, shares of listed counts and other kinds."""

    present: float
    weights: list[float]
    widths: dict[str, list[float]]
    listed: list[float]
    other: list[float]


def profiles(columns: Columns) -> list[list[int]]:
    """Members of each profile: listed halves of one series and one number of rows that differ only by rounding."""
    found: dict[tuple[object, ...], list[int]] = {}
    for half in range(len(columns)):
        if columns.inferred[half]:
            continue
        key: list[object] = [int(columns.series[half]), int(columns.counts["rows"][half])]
        key += [_rounded(size(columns, "pitch", half), 0.01), _rounded(allowance(columns, half), 0.05)]
        for name, row in FEATURES.items():
            if row.profile is not None and row.kind is Kind.DIMENSION:
                key.append(_rounded(size(columns, name, half), 0.05))
            elif row.profile is not None:
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


def trained_on(columns: Columns) -> list[int]:
    """Listed halves with stated pitch and body length."""
    stated = (columns.dimensions["pitch"].stated, columns.dimensions["body_length"].stated)
    return [h for h in range(len(columns)) if not columns.inferred[h] and not any(math.isnan(s[h]) for s in stated)]


def fit(columns: Columns) -> Fit:
    """The fit after as many steps as it needs; for catalogues of up to 400 halves and a few hundred profiles."""
    found, halves = profiles(columns), trained_on(columns)
    now = Fit(
        present=START_PRESENT,
        weights=[1 / 3] * 3,
        widths={"pitch": list(START_PITCH), "allowance": list(START_ALLOWANCE)}
        | {name: list(START_ACROSS) for name in FITTED},
        listed=[START_LISTED] * 3,
        other=[START_OTHER] * 3,
    )
    pairs = _pairs(columns, found, halves)
    for _ in range(STEPS):
        before, now = now, _step(now, pairs)
        if max(abs(a - b) for a, b in zip(before.weights, now.weights, strict=True)) < UNMOVED:
            break
    return now


@dataclass
class Pair:
    """A half and a profile: the profile's share, differences (squared deviation, variance) of what both state,
    probabilities of the half's count and kind."""

    share: float
    differences: dict[str, tuple[float, float]]
    listed: float
    near: list[float]
    same_kind: float
    any_kind: float


def _pairs(columns: Columns, found: list[list[int]], halves: list[int]) -> list[list[Pair]]:
    measured, variances = _measured(columns, halves)
    listed_halves = [h for h in range(len(columns)) if not columns.inferred[h]]
    everything = []
    for place, half in enumerate(halves):
        left = []
        for members in found:
            others = [m for m in members if columns.geometry[m] != columns.geometry[half]]
            left.append(0 if columns.series[members[0]] == columns.series[half] else len(others))
        n, rows = int(columns.counts["contact_count"][half]), columns.counts["rows"]
        anyone = float(np.mean([rows[h] == rows[half] for h in listed_halves]))
        for name in NAMED:
            has = columns.categories[name]
            anyone *= float(has[half] @ np.mean([has[h] for h in listed_halves], axis=0))
        of_half = []
        for members, number in zip(found, left, strict=True):
            if not number:
                continue
            first = members[0]
            same = float(rows[first] == rows[half])
            for name in NAMED:
                same *= float(columns.categories[name][half] @ columns.categories[name][first])
            differences = {}
            for name, values in measured.items():
                expected = allowance(columns, first) if name == "allowance" else math.log(size(columns, name, first))
                if not math.isnan(values[place] - expected):
                    differences[name] = ((values[place] - expected) ** 2, variances[name][place])
            counts = [(int(columns.counts["contact_count"][m]), int(rows[m])) for m in members]
            of_half.append(
                Pair(
                    share=number / sum(left),
                    differences=differences,
                    listed=sum(m == n for m, _ in counts) / len(counts),
                    near=[sum(near_count(n, m, r, s) for m, r in counts) / len(counts) for s in COUNT_SPREAD],
                    same_kind=same,
                    any_kind=anyone,
                )
            )
        everything.append(of_half)
    return everything


def _measured(columns: Columns, halves: list[int]) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """What a caliper would read on each half, always with the same errors: ln(size), or mm of allowance; variances."""
    draw, measured, variances = np.random.default_rng(0), {}, {}
    for name in ("pitch", "allowance", *FITTED):
        column = columns.dimensions["body_length" if name == "allowance" else name]
        errors, found, spread = draw.normal(size=len(halves)), [], []
        for half, error in zip(halves, errors, strict=True):
            variance = float(column.half_width[half]) ** 2 / 3 + float(column.extra_u[half]) ** 2 + READING_U**2
            if name == "pitch":
                gaps = int(columns.counts["contact_count"][half]) / int(columns.counts["rows"][half]) - 1
                variance /= max(gaps, 1.0) ** 2
            true = allowance(columns, half) if name == "allowance" else math.log(size(columns, name, half))
            variance = variance if name == "allowance" else variance / size(columns, name, half) ** 2
            known = not math.isnan(float(column.stated[half]))
            found.append(true + float(error) * math.sqrt(variance) if known else math.nan)
            spread.append(variance)
        measured[name], variances[name] = found, spread
    return measured, variances


def _step(now: Fit, pairs: list[list[Pair]]) -> Fit:
    exact, total, listed, other = 0.0, [0.0] * 3, [0.0] * 3, [0.0] * 3
    squares = {name: [0.0] * 3 for name in now.widths}
    known = {name: [0.0] * 3 for name in now.widths}
    for of_half in pairs:
        weights = [[_exact(now, pair), *(_of_class(now, pair, j) for j in range(3))] for pair in of_half]
        whole = math.fsum(w for each in weights for w in each)
        for pair, each in zip(of_half, weights, strict=True):
            exact += each[0] / whole
            for j in range(3):
                belongs = each[j + 1] / whole
                total[j] += belongs
                listed[j] += belongs * now.listed[j] * pair.listed / _count(now, pair, j)
                other[j] += belongs * now.other[j] * pair.any_kind / _kind(now, pair, j)
                for name, (square, variance) in pair.differences.items():
                    squares[name][j] += belongs * (square - variance)
                    known[name][j] += belongs
    counted = [exact + PRIOR_HALVES / 4, *(t + PRIOR_HALVES / 4 for t in total)]
    start = {"pitch": START_PITCH, "allowance": START_ALLOWANCE} | dict.fromkeys(FITTED, START_ACROSS)
    widths = {}
    for name, first in start.items():
        least = SMALLEST.get(name, SMALLEST_ACROSS)
        fitted = [(squares[name][j] + PRIOR_HALVES * first[j] ** 2) / (known[name][j] + PRIOR_HALVES) for j in range(3)]
        widths[name] = [math.sqrt(max(square, least**2)) for square in fitted]
    return Fit(
        present=max(counted[0] / sum(counted), LEAST_PRESENT),
        weights=[c / sum(counted[1:]) for c in counted[1:]],
        widths=widths,
        listed=[(a + PRIOR_HALVES * START_LISTED) / (t + PRIOR_HALVES) for a, t in zip(listed, total, strict=True)],
        other=[(a + PRIOR_HALVES * START_OTHER) / (t + PRIOR_HALVES) for a, t in zip(other, total, strict=True)],
    )


def _exact(now: Fit, pair: Pair) -> float:
    """A half that measures like the profile: only errors of measurement between them, and a count that it lists."""
    return now.present * pair.share * _normal(pair, dict.fromkeys(now.widths, 0.0)) * pair.listed * pair.same_kind


def _of_class(now: Fit, pair: Pair, j: int) -> float:
    normal = _normal(pair, {name: widths[j] for name, widths in now.widths.items()})
    return (1 - now.present) * now.weights[j] * pair.share * normal * _count(now, pair, j) * _kind(now, pair, j)


def _normal(pair: Pair, widths: dict[str, float]) -> float:
    log = 0.0
    for name, (square, variance) in pair.differences.items():
        whole = variance + widths[name] ** 2
        log -= square / whole / 2 + math.log(2 * math.pi * whole) / 2
    return math.exp(log)


def _count(now: Fit, pair: Pair, j: int) -> float:
    return now.listed[j] * pair.listed + (1 - now.listed[j]) * pair.near[j]


def _kind(now: Fit, pair: Pair, j: int) -> float:
    return (1 - now.other[j]) * pair.same_kind + now.other[j] * pair.any_kind
