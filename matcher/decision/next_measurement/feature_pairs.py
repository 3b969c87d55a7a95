"""What measuring the mated pair would show: each half predicts what its listed matings state, each as likely as it is.

Absent is predicted as the leaders are together, so that the pair tells nothing of it: a conservative choice.
"""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.decision.next_measurement.discretise import dimension_steps
from matcher.decision.next_measurement.information import Outcomes
from matcher.decision.next_measurement.outcome_model import Prediction, weights
from matcher.decision.next_measurement.shortlist import Leaders
from matcher.decision.next_measurement.tools import Tool
from matcher.features import Feature
from matcher.likelihood.mated_pair import MatesGroup
from matcher.likelihood.tolerance_density import W_MIN


def predict_pair(leaders: Leaders, feature: Feature, tool: Tool, mates: MatesGroup | None) -> Prediction | None:
    """Outcomes of measuring a dimension of the pair; None where no leader's matings state it.

    ``mates`` is what was already seen of the other half and the pair; it says which mating is the likelier one.
    """
    stated = [stated_matings(leaders.columns, feature, int(half)) for half in leaders.halves]
    known = np.array([len(matings) > 0 for matings in stated])
    if not np.any(known):
        return None
    prior, share = weights(leaders, known)
    chosen = [(int(half), matings) for half, matings in zip(leaders.halves, stated, strict=True) if len(matings)]
    rows = _rows(leaders.columns, feature, tool, np.concatenate([matings for _, matings in chosen]))
    table, start = [], 0
    for half, matings in chosen:
        table.append(_shares(half, matings, mates) @ rows[start : start + len(matings)])
        start += len(matings)
    listed = np.stack(table)
    together = prior[:-1] @ listed / max(float(prior[:-1].sum()), W_MIN)
    outcomes = Outcomes.table(np.concatenate([listed, together[None, :]]))
    return Prediction(outcomes=outcomes, prior=prior, share=share, known=known)


def stated_matings(columns: Columns, feature: Feature, half: int) -> Ints:
    """Matings of a half that state a dimension of the pair."""
    column = columns.matings.dimensions.get(feature.name)
    if column is None:
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero((columns.matings.half == half) & ~np.isnan(column.stated))


def _rows(columns: Columns, feature: Feature, tool: Tool, matings: Ints) -> Floats:
    """Outcomes (matings × steps) of a right reading, and elsewhere."""
    column = columns.matings.dimensions[feature.name].take(matings)
    sd = np.maximum(np.hypot(tool.u(column.centre, np.ones(len(matings))), column.extra_u), W_MIN)
    steps = dimension_steps(column.centre, column.half_width, sd, feature.gross_share)
    return steps.with_wide(np.zeros(steps.size)).rows()[:-1]


def _shares(half: int, matings: Ints, mates: MatesGroup | None) -> Floats:
    """Probability of each of a half's matings, adding up to 1."""
    if mates is None:
        return np.full(len(matings), 1.0 / len(matings))
    listed, probability = mates.mate_probabilities(half)
    shares = probability[np.searchsorted(listed, matings)]
    total = float(shares.sum())
    return shares / total if total > 0.0 else np.full(len(matings), 1.0 / len(matings))
