"""Density of the observations if the half is not in the catalogue, one profile and one class at a time.

q(y) = w·p(y | listed) + s·p(y | unlike anything)
     + (1 − w − s)·Σ_j π_j Σ_k (n_k/N)·p_j(count | k)·N(ln of the measured dimensions)·Π p(the rest | k, j).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.stats import multivariate_normal

from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns
from matcher.features import FEATURES, Kind
from matcher.observations import Of, Reduced, SharedKind
from tests.matcher.reference_model.intervals import log_uniform_density

W_MIN = 1e-6
STRANGE_SHARE = 0.02
CLASSES = 3
COUNT_SPREAD = (0.3, 0.6, 1.0)
ON_GRID = 0.95
"""Our own choices, no source; the fast code keeps its own copy of these figures."""


def measured(reading: Reduced) -> bool:
    """Whether the observation is a measured dimension of this half."""
    return FEATURES[reading.feature].kind is Kind.DIMENSION and reading.of is Of.THIS and reading.value is not None


def log_density(
    model: AbsentModel,
    columns: Columns,
    observations: Sequence[Reduced],
    log_listed: Sequence[float],
    log_rest: Sequence[Sequence[float]],
) -> float:
    """ln q(y).

    ``log_listed`` is ln p(y | half) for every half; ``log_rest`` holds, for every independent part that is neither a
    measured dimension of this half nor its exact contact count, ln p(part | half) for every half.
    """
    prior = [float(weight) / float(columns.prior_weight.sum()) for weight in columns.prior_weight]
    listed = sum(p * math.exp(log) for p, log in zip(prior, log_listed, strict=True))
    anyone = [sum(p * math.exp(log) for p, log in zip(prior, part, strict=True)) for part in log_rest]
    counts = [o.count for o in observations if o.feature == "contact_count" and o.of is Of.THIS and o.count is not None]
    profiles = len(model.size) if counts else 0
    halves = list(model.representative) if counts else [h for h in range(len(columns)) if model.profile[h] >= 0]
    sizes = [int(model.size[k]) for k in range(profiles)] if counts else [1] * len(halves)
    readings = [o for o in observations if measured(o) and not alone_unscaled(o, observations)]
    silent = sum(-math.log(o.number) for o in observations if measured(o) and alone_unscaled(o, observations))
    near = 0.0
    for k, half in enumerate(halves):
        for j in range(CLASSES):
            log = silent + normal(model, columns, readings, int(half), j, counts[0] if counts else None)
            if counts:
                log += math.log(count_probability(model, columns, k, j, counts[0]))
            for part, of_anyone in zip(log_rest, anyone, strict=True):
                other = float(model.other_kind[j])
                log += math.log((1 - other) * math.exp(part[half]) + other * of_anyone)
            near += float(model.weights[j]) * sizes[k] / sum(sizes) * math.exp(log)
    w, s = model.present_share, STRANGE_SHARE
    return math.log(w * listed + (1 - w - s) * near + s * math.exp(strange(observations)) * math.prod(anyone))


def strange(observations: Sequence[Reduced]) -> float:
    """Log-density of sizes and contacts if each may be anything plausible."""
    total, begun = 0.0, set()
    for reading in observations:
        if reading.feature == "contact_count" and reading.of is Of.THIS and reading.count is not None:
            total -= math.log((reading.count + 1) * sum(1 / k for k in range(1, 2002)))
        if not measured(reading):
            continue
        row, x = FEATURES[reading.feature], reading.number
        unscaled = reading.shared is not None and reading.shared.unscaled
        if alone_unscaled(reading, observations):
            total -= math.log(x)
        elif unscaled and reading.shared is not None and reading.shared.group not in begun:
            begun.add(reading.shared.group)
            total -= math.log(x * reading.shared.sd * math.sqrt(2 * math.pi))
        elif row.low <= x <= row.high:
            total -= math.log(x * math.log(row.high / row.low))
        else:
            total += math.log(log_uniform_density(reading.feature, x))
    return total


def alone_unscaled(reading: Reduced, observations: Sequence[Reduced]) -> bool:
    """A single reading of a picture without a scale."""
    if reading.shared is None or not reading.shared.unscaled:
        return False
    group = [o for o in observations if measured(o) and o.shared and o.shared.group == reading.shared.group]
    return len(group) == 1


def count_probability(model: AbsentModel, columns: Columns, profile: int, j: int, n: int) -> float:
    """p_j(count | profile)."""
    members = [h for h in range(len(columns)) if model.profile[h] == profile]
    listed = sum(columns.counts["contact_count"][h] == n for h in members) / len(members)
    near = 0.0
    for h in members:
        m, rows = int(columns.counts["contact_count"][h]), max(int(columns.counts["rows"][h]), 1)
        near += near_count(n, m, rows, COUNT_SPREAD[j]) / len(members)
    share = float(model.listed_count[j])
    return share * listed + (1 - share) * near + 1e-300


def near_count(n: int, member: int, rows: int, spread: float) -> float:
    """Probability of ``n`` contacts around a listed count."""
    share = ON_GRID * rows if n % rows == 0 else (1 - ON_GRID) * rows / max(rows - 1, 1)
    z = (math.log(n) - math.log(member)) / spread
    return min(share * math.exp(-z * z / 2) / (math.sqrt(2 * math.pi) * spread * n), 1.0)


def normal(
    model: AbsentModel, columns: Columns, readings: Sequence[Reduced], half: int, j: int, count: int | None
) -> float:
    """Log-density of the measured dimensions (per mm) around one half in one class."""
    if not readings:
        return 0.0
    means, loads = [], []
    covariance = np.zeros((len(readings), len(readings)))
    for i, reading in enumerate(readings):
        mean, pitch, own, noise = line(model, columns, reading, half, j, count)
        means.append(mean)
        loads.append((pitch, own))
        covariance[i, i] += noise
    for a, first in enumerate(readings):
        for b, second in enumerate(readings):
            covariance[a, b] += loads[a][0] * loads[b][0] + shared(first, second)
            if first.feature == second.feature:
                covariance[a, b] += loads[a][1] * loads[b][1]
    logs = [math.log(reading.number) for reading in readings]
    density = multivariate_normal(means, covariance, allow_singular=True).logpdf(logs)
    return float(density) - sum(logs)


def line(
    model: AbsentModel, columns: Columns, reading: Reduced, half: int, j: int, count: int | None
) -> tuple[float, float, float, float]:
    """Mean of ln(reading), loadings on the true pitch and on the feature's own deviation, own variance."""
    feature, column = FEATURES[reading.feature], columns.dimensions[reading.feature]
    size, half_width, extra = (float(v[half]) for v in (column.centre, column.half_width, column.extra_u))
    if math.isnan(size):
        width = math.log(feature.high / feature.low)
        return math.log(math.sqrt(feature.low * feature.high)), 0.0, 0.0, width * width / 12
    h_pitch, h_allowance = float(model.bandwidths.pitch[j]), float(model.bandwidths.allowance[j])
    if feature.name == "pitch":
        half_width, pitch, own = half_width / reading.spans, h_pitch, 0.0
    elif feature.along_rows:
        step, rows = float(columns.dimensions["pitch"].centre[half]), max(int(columns.counts["rows"][half]), 1)
        listed = int(columns.counts["contact_count"][half])
        span = step * (math.ceil((listed if count is None else count) / rows) - 1)
        size = max(size - step * (math.ceil(listed / rows) - 1) + span, W_MIN)
        pitch, own = h_pitch * span / size, h_allowance / size
    else:
        across = model.bandwidths.across
        pitch, own = 0.0, float(across.get(feature.name, across["body_width"])[j])
    noise = (half_width**2 / 3 + extra**2) / size**2 + (reading.u**2 + W_MIN**2) / reading.number**2
    return math.log(size), pitch, own, noise


def shared(a: Reduced, b: Reduced) -> float:
    """Covariance of two logarithms from an instrument's error that both readings share."""
    if a.shared is None or b.shared is None or a.shared.group != b.shared.group:
        return 0.0
    if a.shared.kind is SharedKind.SCALE:
        return a.shared.sd**2
    return a.shared.sd**2 * a.shared.coefficient * b.shared.coefficient / (a.number * b.number)
