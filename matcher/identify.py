"""Identification: from observations to ranked geometries with calibrated probabilities."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns
from matcher.decision.evidence import ABSENT, evidence_lines, log_odds, opponent_of, sentences
from matcher.decision.likely_slips import hints
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.next_measurement.shortlist import NEGLECTED
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND
from matcher.decision.posterior import PRIOR_ABSENT, Posterior, posterior
from matcher.decision.verdict import fit_p_value, verdict
from matcher.features import FEATURES, Remains
from matcher.likelihood.evidence import SLIP_FROM, Comparison
from matcher.likelihood.likelihood import Part
from matcher.observations import Of, Reduced
from matcher.results import (
    Candidate,
    CredibleSet,
    Explanation,
    FittingMate,
    HalfInPlay,
    Identification,
    Judgement,
    Ranking,
    Recheck,
    SeriesShare,
    Verdict,
)
from matcher.uncertainty.instruments import BUILT_IN, Instrument

CREDIBLE_LEVEL = 0.95

RECHECK_SHIFT = 0.05
"""Advise measuring again where the answer would move at least this far (total variation) without the observation."""

SHOWN_SERIES = 3
"""Number of series that an answer names."""

MOST_IN_PLAY = 100
"""Most halves from which an answer puts a set of mates together: with more of them, measuring on is the cheaper way."""

MATE_FITS = 0.05
"""A mate fits its observations when its probability is at least this part of the best mate's."""


def identify(
    columns: Columns,
    absent: AbsentModel,
    observations: Sequence[Reduced],
    *,
    prior_absent: float = PRIOR_ABSENT,
    limit: int = 10,
    at_hand: Sequence[str] = DEFAULT_AT_HAND,
    instruments: Mapping[str, Instrument] = BUILT_IN,
    remains: Remains = Remains.WHOLE,
) -> Identification:
    """Rank the catalogue's geometries for the observations, and advise the next measurement with tools ``at_hand`` on
    what ``remains``.

    Raises UnknownHalfError for a trial fit with a half that is not in the columns.
    """
    result = posterior(columns, absent, observations, prior_absent)
    return Identification(
        **vars(_ranking(result, limit)),
        recheck=_rechecks(result),
        hints=hints(result, observations),
        notes=_notes(observations),
        advice=advise(result, at_hand=at_hand, instruments=instruments, features=left_on(remains)),
    )


def left_on(remains: Remains) -> list[str]:
    """The features that can be observed on what remains."""
    return [feature.name for feature in FEATURES.values() if feature.left_on(remains)]


def rank(
    columns: Columns,
    absent: AbsentModel,
    observations: Sequence[Reduced],
    *,
    prior_absent: float = PRIOR_ABSENT,
    limit: int = 10,
) -> Ranking:
    """The ranking of `identify` alone, at a part of the cost. Raises as `identify` does."""
    result = posterior(columns, absent, observations, prior_absent)
    return _ranking(result, limit)


def _ranking(result: Posterior, limit: int) -> Ranking:
    candidates = _candidates(result, result.order[:limit].tolist())
    return Ranking(
        verdict=_verdict(result, candidates),
        probability_absent=result.probability_absent,
        candidates=candidates,
        credible_set=_credible_set(result),
        series=_series(result),
        in_play=_in_play(result),
    )


def explain(
    columns: Columns,
    absent: AbsentModel,
    observations: Sequence[Reduced],
    key: str,
    *,
    prior_absent: float = PRIOR_ABSENT,
) -> Explanation:
    """Explain the probability of the named half. Raises UnknownHalfError."""
    half = columns.position(key)
    candidate = _named(posterior(columns, absent, observations, prior_absent), half)
    return Explanation(candidate=candidate, sentences=sentences(candidate))


def judge(
    columns: Columns,
    absent: AbsentModel,
    observations: Sequence[Reduced],
    keys: Sequence[str] = (),
    *,
    prior_absent: float = PRIOR_ABSENT,
) -> Judgement:
    """The verdict and first candidate of `identify`, and named halves as in `explain`, at a part of the cost.

    It leaves out advice, hints and rechecks. Raises UnknownHalfError.
    """
    halves = [columns.position(key) for key in keys]
    result = posterior(columns, absent, observations, prior_absent)
    first = _candidates(result, result.order[:1].tolist())
    return Judgement(
        verdict=_verdict(result, first),
        probability_absent=result.probability_absent,
        first=first[0] if first else None,
        named=tuple(_named(result, half) for half in halves),
    )


def _named(result: Posterior, half: int) -> Candidate:
    geometry = int(result.columns.geometry[half])
    rank = int(np.flatnonzero(result.order == geometry)[0]) + 1
    (compared,) = result.weighed.against([half])
    return _candidate(result, rank, half, compared)


def _candidates(result: Posterior, first: Sequence[int]) -> tuple[Candidate, ...]:
    """The first geometries, each with its likeliest half."""
    halves = [int(result.members(geometry)[0]) for geometry in first]
    compared = zip(halves, result.weighed.against(halves), strict=True)
    return tuple(_candidate(result, rank, half, each) for rank, (half, each) in enumerate(compared, start=1))


def _candidate(result: Posterior, rank: int, half: int, compared: Mapping[int, Comparison]) -> Candidate:
    geometry = int(result.columns.geometry[half])
    opponent, members = opponent_of(result, geometry), result.members(geometry).tolist()
    return Candidate(
        rank=rank,
        key=result.columns.keys[half],
        probability=float(result.geometries[geometry]),
        inferred=bool(result.columns.inferred[half]),
        fit_p_value=fit_p_value(compared.values()),
        same_geometry=tuple(result.columns.keys[i] for i in members if i != half),
        against=ABSENT if opponent is None else result.columns.keys[opponent],
        log_odds=log_odds(result, geometry, opponent),
        evidence=evidence_lines(result, half, opponent, compared),
        mates=tuple(mate for member in members for mate in _mates(result, member)),
    )


def _mates(result: Posterior, half: int) -> tuple[FittingMate, ...]:
    columns, group = result.columns, result.weighed.mates
    matings = np.flatnonzero(columns.matings.half == half)
    if group is not None:
        matings, probabilities = group.mate_probabilities(half)
    else:
        probabilities = np.full(len(matings), 1.0 / max(len(matings), 1))
    best = float(probabilities.max(initial=0.0))
    mates = [
        FittingMate(
            half=columns.keys[half],
            key=columns.keys[int(columns.matings.other[mating])],
            mating=int(mating),
            probability=float(probability),
            fits_observed=bool(group is None or probability >= MATE_FITS * best),
        )
        for mating, probability in zip(matings, probabilities, strict=True)
    ]
    return tuple(sorted(mates, key=lambda mate: -mate.probability))


def _in_play(result: Posterior) -> tuple[HalfInPlay, ...]:
    """The likeliest halves, until the others together hold less than `NEGLECTED` of what is listed."""
    probability = np.exp(result.log_half)
    first = np.argsort(-probability, kind="stable")[:MOST_IN_PLAY]
    before = np.cumsum(probability[first]) - probability[first]
    return tuple(
        HalfInPlay(key=result.columns.keys[half], probability=float(probability[half]), mates=_mates(result, half))
        for half in first[before < (1.0 - NEGLECTED) * probability.sum()].tolist()
    )


def _verdict(result: Posterior, candidates: tuple[Candidate, ...]) -> Verdict:
    if not candidates:
        return Verdict.NO_MATCH
    return verdict(result.probability_absent, candidates[0].probability, candidates[0].fit_p_value)


def _credible_set(result: Posterior) -> CredibleSet:
    probabilities = np.exp(np.append(result.log_geometry, result.log_absent))
    order = np.argsort(-probabilities, kind="stable")
    members = int(np.searchsorted(np.cumsum(probabilities[order]), CREDIBLE_LEVEL)) + 1
    chosen = order[: min(members, len(order))]
    return CredibleSet(
        level=CREDIBLE_LEVEL, members=len(chosen), includes_absent=bool(np.any(chosen == len(probabilities) - 1))
    )


def _series(result: Posterior) -> tuple[SeriesShare, ...]:
    """The likeliest series, each with its likeliest half."""
    probability = np.bincount(result.columns.series, weights=np.exp(result.log_half))
    found = []
    for series in np.argsort(-probability, kind="stable")[:SHOWN_SERIES].tolist():
        halves = np.flatnonzero(result.columns.series == series)
        first = int(halves[np.argmax(result.log_half[halves])])
        found.append(SeriesShare(key=result.columns.keys[first], probability=float(probability[series])))
    return tuple(found)


def _rechecks(result: Posterior) -> tuple[Recheck, ...]:
    """Observations that the answer depends on, and likely slips under the leading geometry."""
    if len(result.weighed.evidence) < 2:
        return ()
    (compared,) = result.weighed.against([int(result.members(int(result.order[0]))[0])])
    found = []
    for part in result.weighed.parts:
        for place, each in enumerate(part.evidence):
            shift, against = _shift_without(result, part, place), compared[each.reading.index]
            if shift >= RECHECK_SHIFT or against.slip is not None:
                found.append(_recheck(each.reading, against, shift))
    return tuple(sorted(found, key=lambda recheck: (-(recheck.slip_probability >= SLIP_FROM), -recheck.shift)))


def _recheck(reading: Reduced, against: Comparison, shift: float) -> Recheck:
    return Recheck(
        index=reading.index,
        feature=reading.feature,
        of=reading.of,
        slip_probability=against.slip_probability,
        likely_slip=against.slip,
        shift=shift,
    )


def _shift_without(result: Posterior, part: Part, place: int) -> float:
    """Total variation between the answers with and without one reading."""
    other = result.without(part, place)
    difference = np.abs(result.geometries - other.geometries).sum()
    return float(0.5 * (difference + abs(result.probability_absent - other.probability_absent)))


def _notes(observations: Sequence[Reduced]) -> tuple[str, ...]:
    """Notes on how the observations fit each other, before they are compared with any half."""
    this = {o.feature: o for o in observations if o.of is Of.THIS}
    notes = []
    length, pitch, count = this.get("body_length"), this.get("pitch"), this.get("contact_count")
    rows = this.get("rows")
    if _plain(length) and _plain(pitch) and count is not None and count.count is not None and length and pitch:
        positions = -(-count.count // (rows.count if rows is not None and rows.count else 2))
        span = pitch.number * (positions - 1)
        if length.number + 3 * length.total_u < span:
            notes.append(
                f"body_length {length.number:g} mm is shorter than pitch × (positions − 1) = {span:.2f} mm: check the "
                "length's unit, the number of gaps counted for the pitch, and the contact count."
            )
    lonely = [o for o in observations if o.unscaled]
    if len(lonely) == 1:
        notes.append(
            f"{lonely[0].feature} alone, from a picture without a scale, cannot be used: only ratios count there. "
            "Give a second dimension from the same picture, or a scale."
        )
    return tuple(notes)


def _plain(reading: Reduced | None) -> bool:
    return reading is not None and reading.value is not None and not reading.unscaled
