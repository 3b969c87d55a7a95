"""Prediction of a second measurement of the same feature, given the first reading.

Both readings measure the same part. If the first was right, the part's true size is known to its uncertainty, and the
second scatters around it. If the first was a slip, the second is usually right; but the same person may repeat a slip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from matcher.columns.columns import Floats
from matcher.decision.next_measurement.absent_outlook import AbsentOutlook
from matcher.decision.next_measurement.information import REACH, STEP, Outcomes
from matcher.decision.next_measurement.outcome_model import Expected, Prediction, predict, weights
from matcher.decision.next_measurement.shortlist import Leaders
from matcher.decision.next_measurement.tools import Tool
from matcher.features import Feature
from matcher.likelihood.categories import seen_as
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.tolerance_density import SQRT_2PI, W_MIN, rectangle_normal
from matcher.likelihood.evidence import Evidence
from matcher.observations import Reduced

REPEATED_SLIP = 0.5
"""Probability that the same person repeats a slip. Common practice, no source."""


def predict_again(leaders: Leaders, before: Evidence, tool: Tool | None, absent: AbsentOutlook) -> Prediction | None:
    """Outcomes of measuring one feature of this half again.

    None for bounds, sets of names, and readings of a picture without scale: they are not predicted.
    """
    if not isinstance(before, DimensionEvidence):
        return _seen_again(leaders, before.feature, before.reading, absent)
    if tool is None or before.reading.value is None or before.reading.unscaled:
        return None
    return _dimension_again(leaders, before, tool)


def _seen_again(leaders: Leaders, feature: Feature, reading: Reduced, absent: AbsentOutlook) -> Prediction | None:
    """A count or a category: a fresh look, or the same answer once more."""
    fresh = predict(leaders, feature, None, absent)
    place = None if fresh is None else _outcome_of(feature, reading, fresh)
    if fresh is None or place is None:
        return None
    table = (1.0 - REPEATED_SLIP) * fresh.outcomes.rows()
    table[:, place] += REPEATED_SLIP
    return replace(fresh, outcomes=Outcomes.table(table))


def _outcome_of(feature: Feature, reading: Reduced, fresh: Prediction) -> int | None:
    """Number of the outcome that was seen; the last one for a count that no leader has."""
    if reading.count is not None:
        found = np.flatnonzero(fresh.numbers == reading.count)
        return int(found[0]) if len(found) else fresh.outcomes.size - 1
    names = seen_as(feature)
    return names.index(reading.values) if reading.values in names else None


def _dimension_again(leaders: Leaders, before: DimensionEvidence, tool: Tool) -> Prediction | None:
    expected = Expected.of(leaders.columns, before.feature, leaders.halves, spans=before.reading.spans)
    known = ~np.isnan(expected.centre)
    if not np.any(known):
        return None
    prior, share = weights(leaders, known)
    expected = expected.take(known)
    u = np.maximum(tool.u(expected.centre, expected.gaps), W_MIN)
    slip = before.slip_probability(leaders.halves[known])
    table = _rows_again(before.reading, expected, u, slip, before.feature.gross_share)
    return Prediction(outcomes=Outcomes.table(table), prior=prior, share=share, known=known)


def _rows_again(reading: Reduced, expected: Expected, u: Floats, slip: Floats, gross: float) -> Floats:
    """Outcomes (answers, absent last × steps) of the second reading, with steps only where it is likely to fall."""
    right_parts = [(share, mean, np.hypot(sd, u)) for share, mean, sd in sizes_after(reading, expected)]
    again_sd = float(np.hypot(max(reading.total_u, W_MIN), u.mean()))
    fresh_sd = np.maximum(np.hypot(u, expected.entry_u), W_MIN)
    reach = expected.deviation.reach + REACH * fresh_sd
    step = STEP * float(min(sd.min() for *_, sd in right_parts))
    edges = _edges([(reading.number, REACH * again_sd), *zip(expected.centre, reach, strict=True)], step)
    right = np.zeros((len(u), len(edges)))
    for share, mean, sd in right_parts:
        right += share[:, None] * ndtr((edges - mean[:, None]) / sd[:, None])
    repeated = ndtr((edges - reading.number) / again_sd)
    fresh = expected.deviation.below(edges - expected.centre[:, None], fresh_sd)
    slipped = REPEATED_SLIP * repeated + (1.0 - REPEATED_SLIP) * fresh
    below = (1.0 - slip[:, None]) * right + slip[:, None] * slipped
    absent = (1.0 - gross) * repeated
    inside = np.diff(np.concatenate([below, absent[None, :]]), axis=1)
    return np.concatenate([inside, np.maximum(1.0 - inside.sum(axis=1, keepdims=True), 0.0)], axis=1)


def sizes_after(reading: Reduced, expected: Expected) -> list[tuple[Floats, Floats, Floats]]:
    """True sizes where the first reading was right: for each part of the process its share, and the sizes' mean and sd
    in mm, under each half."""
    u, parts = np.hypot(max(reading.total_u, W_MIN), expected.entry_u), expected.deviation.parts
    distance = reading.number - expected.centre
    density = np.stack([share * rectangle_normal(distance, half_width, u) for share, half_width in parts])
    total = density.sum(axis=0)
    before = np.stack([share for share, _ in parts])
    after = np.where(total > 0.0, density / np.where(total > 0.0, total, 1.0), before)
    sizes = [_true_size(reading.number, u, expected.centre, half_width) for _, half_width in parts]
    return [(share, mean, sd) for share, (mean, sd) in zip(after, sizes, strict=True)]


def _true_size(read: float, u: Floats, centre: Floats, half_width: Floats) -> tuple[Floats, Floats]:
    """Mean and sd, mm, of the true size within a tolerance, where it was read with ``u``: a truncated normal."""
    a, b = (centre - half_width - read) / u, (centre + half_width - read) / u
    mass = ndtr(b) - ndtr(a)
    usable = mass > FAR
    mass = np.where(usable, mass, 1.0)
    a, b = np.where(usable, a, 0.0), np.where(usable, b, 0.0)
    pdf_a, pdf_b = np.exp(-0.5 * a * a) / SQRT_2PI, np.exp(-0.5 * b * b) / SQRT_2PI
    shift = (pdf_a - pdf_b) / mass
    variance = 1.0 + (a * pdf_a - b * pdf_b) / mass - shift**2
    nearest = np.clip(read, centre - half_width, centre + half_width)
    mean = np.where(usable, read + u * shift, nearest)
    return mean, np.where(usable, u * np.sqrt(np.clip(variance, 0.0, 1.0)), 0.0)


FAR = 1e-9
"""Probability of lying within the tolerance below which a reading was surely a slip; its true size is then set to the
nearest edge of the tolerance."""


def _edges(islands: list[tuple[float, float]], step: float) -> Floats:
    """Edges of outcomes: steps around each island's middle up to its ends, and one wide gap between islands."""
    points = [
        np.arange(-np.ceil(reach / step), np.ceil(reach / step) + 1) + np.round(at / step) for at, reach in islands
    ]
    return np.asarray(np.unique(np.concatenate(points)) * step)
