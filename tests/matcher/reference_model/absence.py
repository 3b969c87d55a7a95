"""Density of the observations if the half is not in the catalogue, one half, profile and class at a time.

q(y) = Π a_k · { w₀ + Σ_r w_r Σ_h π_h Π_k [c_rk·p_k(h)/a_k + 1 − c_rk] },
a_k = N(y_1..k)/N(y_1..k−1),
N(y) = s·p(y | unlike anything)
     + (1 − s)·Σ_j v_j Σ_m (n_m/n)·p_j(count | m)·N(ln of the measured dimensions)·Π p(the rest | m, j).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.stats import multivariate_normal

from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns
from matcher.features import FEATURES, Kind
from matcher.observations import Of, Reduced, SharedKind
from tests.matcher.reference_model.intervals import BROAD_SHARE, log_uniform_density

W_MIN = 1e-6
STRANGE_SHARE = 0.02
CLASSES = 2
WEIGHTS = (0.75, 0.25)
PITCH, ALLOWANCE, ACROSS = (0.005, 0.2), (0.4, 2.0), (0.2, 0.4)
COUNT_SPREAD, LISTED_COUNT, OTHER_KIND = (0.6, 1.0), (0.8, 0.4), (0.2, 0.05)
ON_GRID = 0.95
"""Our own choices, no source; the fast code keeps its own copy of these figures."""

PITCHES = ("pitch", "tail_pitch")
"""What follows the true pitch of the half."""

Step = tuple[int, Reduced | None]
"""A part, by number, and a single measured dimension in it."""


def measured(reading: Reduced) -> bool:
    """Whether the observation is a measured dimension of this half."""
    return FEATURES[reading.feature].kind is Kind.DIMENSION and reading.of is Of.THIS and reading.value is not None


def exact_count(reading: Reduced) -> bool:
    """Whether the observation is the number of this half's contacts."""
    return reading.feature == "contact_count" and reading.of is Of.THIS and reading.count is not None


def log_density(
    model: AbsentModel,
    columns: Columns,
    parts: Sequence[Sequence[Reduced]],
    log_whole: Sequence[Sequence[float]],
    log_alone: Mapping[int, Sequence[float]],
) -> float:
    """ln q(y).

    ``parts`` are the observations that are independent of each other given the half. ``log_whole`` is ln p(part | half)
    for every part and half; ``log_alone`` the same for each observation of a dimension alone, by its index.
    """
    steps = in_order(parts)
    log_n = [0.0, *(neighbourhood(model, columns, parts, log_whole, steps[:n]) for n in range(1, len(steps) + 1))]
    log_a = {step_name(step): log_n[i + 1] - log_n[i] for i, step in enumerate(steps)}
    prior = [float(weight) / float(columns.prior_weight.sum()) for weight in columns.prior_weight]
    total = float(model.shares[0])
    for half, share in enumerate(prior):
        for relative in (0, 1, 2):
            copied = {name: float(both[relative]) for name, both in model.copied.items()}
            factors = [
                bracket(copied, columns, half, number, part, log_a, log_whole[number][half], log_alone)
                for number, part in enumerate(parts)
            ]
            total += float(model.shares[1 + relative]) * share * math.prod(factors)
    return log_n[-1] + math.log(total)


def in_order(parts: Sequence[Sequence[Reduced]]) -> list[Step]:
    """The parts in the feature table's order, measured dimensions of one part one by one."""
    names = list(FEATURES)

    def rank(reading: Reduced) -> tuple[int, int]:
        return names.index(reading.feature), reading.index

    steps: list[Step] = []
    for number in sorted(range(len(parts)), key=lambda number: min(rank(reading) for reading in parts[number])):
        part = sorted(parts[number], key=rank)
        one_by_one = measured(part[0]) and not silent(part)
        steps += [(number, reading) for reading in part] if one_by_one else [(number, None)]
    return steps


def step_name(step: Step) -> tuple[int, int | None]:
    """The part's number, and the index of the dimension in it."""
    return step[0], None if step[1] is None else step[1].index


def silent(part: Sequence[Reduced]) -> bool:
    """A single reading of a picture without a scale says nothing."""
    return len(part) == 1 and part[0].unscaled


def bracket(
    copied: Mapping[str, float],
    columns: Columns,
    half: int,
    number: int,
    part: Sequence[Reduced],
    log_a: Mapping[tuple[int, int | None], float],
    log_whole: float,
    log_alone: Mapping[int, Sequence[float]],
) -> float:
    """c·p/a + 1 − c of one part; of several dimensions the sum over what is copied of them and what is not."""
    if silent(part):
        return 1.0
    if not measured(part[0]):
        share = math.prod(copied[reading.feature] for reading in part)
        return 1 - share + share * math.exp(log_whole - log_a[number, None])
    not_all, every = 0.0, 1.0
    for reading in part:
        share, ratio = copied[reading.feature], 1.0
        if not reading.unscaled and not math.isnan(columns.dimensions[reading.feature].stated[half]):
            ratio = math.exp(log_alone[reading.index][half] - log_a[number, reading.index])
        not_all = not_all * (1 - share + share * ratio) + every * (1 - share)
        every *= share * ratio
    if len(part) > 1:
        every = math.prod(copied[reading.feature] for reading in part)
        every *= math.exp(log_whole - sum(log_a[number, reading.index] for reading in part))
    return not_all + every


def neighbourhood(
    model: AbsentModel,
    columns: Columns,
    parts: Sequence[Sequence[Reduced]],
    log_whole: Sequence[Sequence[float]],
    steps: Sequence[Step],
) -> float:
    """ln N of some steps."""
    prior = [float(weight) / float(columns.prior_weight.sum()) for weight in columns.prior_weight]
    counts = [reading.count for part in parts for reading in part if exact_count(reading) and reading.count is not None]
    profiles = len(model.size) if counts else 0
    halves = list(model.representative) if counts else [h for h in range(len(columns)) if model.profile[h] >= 0]
    sizes = [int(model.size[m]) for m in range(profiles)] if counts else [1] * len(halves)
    readings = [reading for _, reading in steps if reading is not None]
    others = [number for number, reading in steps if reading is None]
    anyone = {n: sum(p * math.exp(log) for p, log in zip(prior, log_whole[n], strict=True)) for n in others}
    near = 0.0
    for m, half in enumerate(halves):
        for j in range(CLASSES):
            log = normal(columns, readings, int(half), j, counts[0] if counts else None)
            for number in others:
                if silent(parts[number]):
                    log += log_whole[number][0]
                elif exact_count(parts[number][0]):
                    log += math.log(count_probability(model, columns, m, j, counts[0]))
                else:
                    own = math.exp(log_whole[number][half])
                    log += math.log((1 - OTHER_KIND[j]) * own + OTHER_KIND[j] * anyone[number])
            near += WEIGHTS[j] * sizes[m] / sum(sizes) * math.exp(log)
    log_strange = strange(readings)
    for number in others:
        if silent(parts[number]):
            log_strange += log_whole[number][0]
        elif exact_count(parts[number][0]):
            log_strange -= math.log((counts[0] + 1) * sum(1 / k for k in range(1, 2002)))
        else:
            log_strange += math.log(anyone[number])
    return math.log((1 - STRANGE_SHARE) * near + STRANGE_SHARE * math.exp(log_strange))


def strange(readings: Sequence[Reduced]) -> float:
    """Log-density of sizes if each may be anything plausible; the first of an unscaled picture sets its scale."""
    total, begun = 0.0, set()
    for reading in readings:
        row, x = FEATURES[reading.feature], reading.number
        if reading.unscaled and reading.shared is not None and reading.shared.group not in begun:
            begun.add(reading.shared.group)
            total -= math.log(x * reading.shared.sd * math.sqrt(2 * math.pi))
        elif row.low <= x <= row.high:
            total -= math.log(x * math.log(row.high / row.low))
        else:
            total += math.log(log_uniform_density(reading.feature, x))
    return total


def count_probability(model: AbsentModel, columns: Columns, profile: int, j: int, n: int) -> float:
    """p_j(count | profile)."""
    members = [h for h in range(len(columns)) if model.profile[h] == profile]
    listed = sum(columns.counts["contact_count"][h] == n for h in members) / len(members)
    near = 0.0
    for h in members:
        m, rows = int(columns.counts["contact_count"][h]), max(int(columns.counts["rows"][h]), 1)
        near += near_count(n, m, rows, COUNT_SPREAD[j]) / len(members)
    share = LISTED_COUNT[j]
    return share * listed + (1 - share) * near + 1e-300


def near_count(n: int, member: int, rows: int, spread: float) -> float:
    """Probability of ``n`` contacts around a listed count."""
    share = ON_GRID * rows if n % rows == 0 else (1 - ON_GRID) * rows / max(rows - 1, 1)
    z = (math.log(n) - math.log(member)) / spread
    return min(share * math.exp(-z * z / 2) / (math.sqrt(2 * math.pi) * spread * n), 1.0)


def normal(columns: Columns, readings: Sequence[Reduced], half: int, j: int, count: int | None) -> float:
    """Log-density of the measured dimensions (per mm) around one half in one class."""
    if not readings:
        return 0.0
    means, loads = [], []
    covariance = np.zeros((len(readings), len(readings)))
    for i, reading in enumerate(readings):
        mean, pitch, own, noise = line(columns, reading, half, j, count)
        means.append(mean)
        loads.append((pitch, own))
        covariance[i, i] += noise
    for a, first in enumerate(readings):
        for b, second in enumerate(readings):
            covariance[a, b] += loads[a][0] * loads[b][0] + shared(first, second)
            if first.feature == second.feature:
                covariance[a, b] += loads[a][1] * loads[b][1]
    logs = [math.log(reading.number) for reading in readings]
    density = multivariate_normal.logpdf(logs, means, covariance, allow_singular=True)
    return float(density) - sum(logs)


def line(columns: Columns, reading: Reduced, half: int, j: int, count: int | None) -> tuple[float, float, float, float]:
    """Mean of ln(reading), loadings on the true pitch and on the feature's own deviation, own variance."""
    feature, column = FEATURES[reading.feature], columns.dimensions[reading.feature]
    size, extra, broad = (float(v[half]) for v in (column.centre, column.extra_u, column.broad))
    within = float(column.half_width[half]) ** 2 / 3
    if broad > 0.0:
        within = (1 - BROAD_SHARE) * within + BROAD_SHARE * broad**2 / 3
    pitch, own = 0.0, ACROSS[j]
    if feature.name in PITCHES:
        within, pitch, own = within / reading.spans**2, PITCH[j], 0.0
    elif feature.along_rows:
        step, rows = float(columns.dimensions["pitch"].centre[half]), max(int(columns.counts["rows"][half]), 1)
        listed = int(columns.counts["contact_count"][half])
        span = step * (math.ceil((listed if count is None else count) / rows) - 1)
        size = max(size - step * (math.ceil(listed / rows) - 1) + span, W_MIN)
        pitch, own = PITCH[j] * span / size, ALLOWANCE[j] / size
    if math.isnan(size):
        width = math.log(feature.high / feature.low)
        return math.log(math.sqrt(feature.low * feature.high)), 0.0, 0.0, width * width / 12
    noise = (within + extra**2) / size**2 + (reading.u**2 + W_MIN**2) / reading.number**2
    return math.log(size), pitch, own, noise


def shared(a: Reduced, b: Reduced) -> float:
    """Covariance of two logarithms from an instrument's error that both readings share."""
    if a.shared is None or b.shared is None or a.shared.group != b.shared.group:
        return 0.0
    if a.shared.kind is SharedKind.SCALE:
        return a.shared.sd**2
    return a.shared.sd**2 * a.shared.coefficient * b.shared.coefficient / (a.number * b.number)
