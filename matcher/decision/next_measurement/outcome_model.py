"""Predicted outcomes of a measurement under each answer still in play: tables of probabilities.

Right readings are predicted exactly (rectangles times normal, cut into steps well below the reading's resolution). A
grossly wrong reading falls elsewhere; a wrong count follows the miscount law. Where a half's entry does not state the
feature, there is no prediction, and measuring gives no information about that half.

For a dimension of the mated pair each half predicts the values of its listed matings, weighted by their probabilities.
Absent is then predicted like the leaders together, so the pair gives no information about it: a conservative choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, Columns, Floats, Ints
from matcher.decision.next_measurement.absent_outlook import AbsentOutlook
from matcher.decision.next_measurement.information import Outcomes, dimension_steps, expected_information
from matcher.decision.next_measurement.shortlist import Leaders
from matcher.decision.next_measurement.tools import Tool, whole_row
from matcher.features import Feature, Kind
from matcher.likelihood.categories import STATED, naming_probability, seen_as
from matcher.likelihood.error_model.miscounts import contact_law, small_count_law
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.error_model.tolerance_density import W_MIN
from matcher.likelihood.mated_pair import MatesGroup

MERGED_FROM = 32
"""With more leaders than this, those with the same prediction count as one answer."""

MERGED_STEP_MM = 0.002
"""Predictions that agree to two micrometres are the same where many are merged."""


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """Outcomes of one measurement: ``prior`` of its answers (absent last), and the share of leaders with a prediction.

    ``known`` marks the leaders whose entries state the feature; None where equal ones were merged. ``numbers`` are the
    numbers of a count's outcomes; the last outcome is any other number.
    """

    outcomes: Outcomes
    prior: Floats
    share: float
    known: Bools | None
    numbers: Ints | None = None

    @property
    def bits(self) -> float:
        """Expected information about which of the answers is true."""
        return self.share * expected_information(self.prior, self.outcomes)


@dataclass(frozen=True, kw_only=True)
class Expected:
    """A dimension as the leaders' entries state it: centre, parts' deviation over the gaps, entry's u, gaps; mm."""

    centre: Floats
    deviation: PartDeviation
    entry_u: Floats
    gaps: Ints

    @classmethod
    def of(cls, columns: Columns, feature: Feature, halves: Ints, spans: int | None = None) -> Expected:
        """Made from the entries of some halves; NaN in ``centre`` where a value is not stated.

        ``spans`` is the number of gaps where it is known; else the gaps of a whole row count.
        """
        column = columns.dimensions[feature.name].take(halves)
        gaps = whole_row(feature, columns, halves) if spans is None else np.full(len(halves), spans)
        deviation = PartDeviation.of(feature.name, column, gaps)
        centre = np.where(np.isnan(column.stated), np.nan, column.centre)
        return cls(centre=centre, deviation=deviation, entry_u=column.extra_u, gaps=gaps)

    def take(self, chosen: Bools | Ints) -> Expected:
        """Some of them."""
        return Expected(
            centre=self.centre[chosen],
            deviation=self.deviation.take(chosen),
            entry_u=self.entry_u[chosen],
            gaps=self.gaps[chosen],
        )


def weights(leaders: Leaders, known: Bools) -> tuple[Floats, float]:
    """Probabilities of the leaders with a prediction and of absent, which add up to 1, and these leaders' share."""
    kept = np.append(leaders.probability[:-1][known], leaders.absent)
    return kept / kept.sum(), float(kept.sum())


def _predict_dimension(
    leaders: Leaders, feature: Feature, tool: Tool | None, absent: AbsentOutlook
) -> Prediction | None:
    expected = Expected.of(leaders.columns, feature, leaders.halves)
    known = ~np.isnan(expected.centre)
    if tool is None or not np.any(known):
        return None
    prior, share = weights(leaders, known)
    expected = expected.take(known)
    merged = len(expected.centre) > MERGED_FROM
    if merged:
        expected, prior = _merged(expected, prior)
    sd = np.maximum(np.hypot(tool.u(expected.centre, expected.gaps), expected.entry_u), W_MIN)
    deviation = expected.deviation
    if merged:
        # Among very many the shape of each hardly matters: a normal of the same spread.
        sd, deviation = np.sqrt(sd**2 + deviation.variance), PartDeviation.none(len(sd))
    outcomes = dimension_steps(expected.centre, deviation, sd, feature.gross_share)
    wide = absent.dimension(feature, outcomes, prior[:-1])
    return Prediction(outcomes=outcomes.with_wide(wide), prior=prior, share=share, known=None if merged else known)


def _merged(expected: Expected, prior: Floats) -> tuple[Expected, Floats]:
    """Answers with the same prediction, merged into one."""
    deviation = expected.deviation
    sizes = [expected.centre, deviation.half_width, deviation.reach, expected.entry_u]
    table = np.stack(sizes, axis=1) / MERGED_STEP_MM
    key = np.zeros(len(table), dtype=np.int64)
    for column in (*np.round(table).astype(np.int64).T, expected.gaps):
        _, number = np.unique(column, return_inverse=True)
        key = key * (int(number.max()) + 1) + number
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    weight = np.bincount(inverse, weights=prior[:-1])
    return expected.take(first), np.append(weight, prior[-1])


def _predict_count(leaders: Leaders, feature: Feature, _: Tool | None, absent: AbsentOutlook) -> Prediction | None:
    counts = leaders.columns.counts
    known = counts[feature.name][leaders.halves] >= 0
    if not np.any(known):
        return None
    prior, share = weights(leaders, known)
    halves = leaders.halves[known]
    names = CONTACT_LAW if feature.name == "contact_count" else (feature.name,)
    table = np.stack([counts[name][halves] for name in names], axis=1)
    merged = len(halves) > MERGED_FROM
    if merged:
        table, inverse = np.unique(table, axis=0, return_inverse=True)
        prior = np.append(np.bincount(inverse.reshape(-1), weights=prior[:-1]), prior[-1])
    numbers = _numbers(table)
    law = (
        contact_law(*table.T) if feature.name == "contact_count" else small_count_law(table[:, 0], feature.gross_share)
    )
    listed = _named(np.stack([law.probability(int(n), int(n)) for n in numbers], axis=1))
    wide = _named(absent.count(feature, numbers)[None, :])
    outcomes = Outcomes.table(np.concatenate([listed, wide]))
    return Prediction(outcomes=outcomes, prior=prior, share=share, known=None if merged else known, numbers=numbers)


CONTACT_LAW: tuple[str, ...] = ("contact_count", "rows", "hold_down_count", "power_contact_count")
"""Counts that the miscount law of contacts depends on."""


def _numbers(table: Ints) -> Ints:
    """Numbers that may be counted on the leaders: their own, and those of one row only."""
    own = table[:, 0]
    rows = np.maximum(table[:, 1], 1) if table.shape[1] > 1 else np.ones(len(own), dtype=np.int64)
    numbers = np.unique(np.concatenate([own, own // rows, own - rows, own + rows]))
    return numbers[numbers >= 0]


def _named(probability: Floats) -> Floats:
    """Append the rest up to 1 as a last outcome: a number, or a name, that no leader has."""
    total = probability.sum(axis=1, keepdims=True)
    probability = probability / np.maximum(total, 1.0)
    return np.concatenate([probability, 1.0 - probability.sum(axis=1, keepdims=True)], axis=1)


def _predict_named(leaders: Leaders, feature: Feature, _: Tool | None, absent: AbsentOutlook) -> Prediction | None:
    has = leaders.columns.categories[feature.name]
    if not np.any(has[leaders.halves].max(axis=1) > STATED):
        return None
    names = seen_as(feature)
    table = np.stack([naming_probability(feature, each, has[leaders.halves]) for each in names], axis=1)
    mixed = absent.category(feature.name, has)[None, :]
    wide = np.stack([naming_probability(feature, each, mixed) for each in names], axis=1)
    outcomes = Outcomes.table(np.concatenate([table, wide / wide.sum()]))
    known = np.ones(len(leaders), dtype=bool)
    return Prediction(outcomes=outcomes, prior=leaders.probability, share=1.0, known=known)


PREDICTED: Mapping[Kind, Callable[[Leaders, Feature, Tool | None, AbsentOutlook], Prediction | None]] = {
    Kind.DIMENSION: _predict_dimension,
    Kind.COUNT: _predict_count,
    Kind.CATEGORY: _predict_named,
    Kind.LABELS: _predict_named,
}
"""For each kind of feature that can be predicted, how it is."""


def predict(leaders: Leaders, feature: Feature, tool: Tool | None, absent: AbsentOutlook) -> Prediction | None:
    """Outcomes of measuring a feature for the first time; None where no leader's entry states it."""
    return PREDICTED[feature.kind](leaders, feature, tool, absent)


def predict_pair(leaders: Leaders, feature: Feature, tool: Tool, mates: MatesGroup | None) -> Prediction | None:
    """Outcomes of measuring a dimension of the pair; None where no leader's matings state it.

    ``mates`` holds the observations of the other half and the pair, which make some matings likelier than others.
    """
    stated = [leaders.columns.matings.stating(feature.name, int(half)) for half in leaders.halves]
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


def _rows(columns: Columns, feature: Feature, tool: Tool, matings: Ints) -> Floats:
    """Outcomes (matings × steps) of a right reading, and elsewhere."""
    column = columns.matings.dimensions[feature.name].take(matings)
    sd = np.maximum(np.hypot(tool.u(column.centre, np.ones(len(matings))), column.extra_u), W_MIN)
    deviation = PartDeviation.of(feature.name, column)
    steps = dimension_steps(column.centre, deviation, sd, feature.gross_share)
    return steps.with_wide(np.zeros(steps.size)).rows()[:-1]


def _shares(half: int, matings: Ints, mates: MatesGroup | None) -> Floats:
    """Probability of each of a half's matings, adding up to 1."""
    if mates is None:
        return np.full(len(matings), 1.0 / len(matings))
    listed, probability = mates.mate_probabilities(half)
    shares = probability[np.searchsorted(listed, matings)]
    total = float(shares.sum())
    return shares / total if total > 0.0 else np.full(len(matings), 1.0 / len(matings))
