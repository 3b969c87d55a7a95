"""Hints for a specimen: the mistakes that are probable enough for a second look.

Where the likeliest half fits every observation, there is no search for mistakes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.columns.columns import Columns, Floats
from matcher.decision.likely_slips.mistakes import Mistake
from matcher.decision.likely_slips.weigh import Weighed, probabilities, weigh_in_full, weigh_roughly
from matcher.decision.likely_slips.wording import change, message
from matcher.decision.posterior import Posterior
from matcher.decision.verdict import verdict_of
from matcher.features import Kind
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.likelihood.evidence import Evidence
from matcher.observations import Of, Reduced
from matcher.results import Hint

ABSENT_FROM = 0.3
"""Probability of absent from which no half is a sure explanation, and every observation is doubted."""

DOUBTED_SLIP, DOUBTED_P = 0.05, 0.02
"""Probability of a slip from which, and p-value below which, a reading is doubted."""

MATE_OFF = 3.0
"""Standard uncertainties by which a size of the pair or the other half may lie outside a mating's tolerance."""

RATIO_OFF = 3.0
"""Standard deviations by which a reading of an unscaled picture may differ from the scale of the others."""


def all_explained(result: Posterior) -> bool:
    """Whether the likeliest half explains every observation: no mistake can be probable then."""
    if result.probability_absent >= ABSENT_FROM:
        return False
    half = int(np.argmax(result.log_half))
    evidence = result.weighed.evidence
    if not all(_fits_a_mate(each.reading, result.columns, half) for each in evidence if each.reading.of is not Of.THIS):
        return False
    own = [each for each in evidence if each.reading.of is Of.THIS]
    unscaled = [each.reading for each in own if each.reading.unscaled]
    return all(_explained(each, half) for each in own) and _ratios_fit(unscaled, result.columns, half)


def _explained(evidence: Evidence, half: int) -> bool:
    (against,) = evidence.against([half])
    limit = 1.0 if evidence.feature.kind is Kind.CATEGORY else DOUBTED_P
    strains = against.p_value is not None and against.p_value < limit
    return not strains and against.slip_probability < DOUBTED_SLIP


def _fits_a_mate(reading: Reduced, columns: Columns, half: int) -> bool:
    """Whether a size of the pair or of the other half fits some listed mating; other observations count as fitting."""
    matings = np.flatnonzero(columns.matings.half == half)
    if reading.value is None or reading.unscaled or not len(matings):
        return True
    if reading.of is Of.PAIR:
        column, rows = columns.matings.dimensions[reading.feature], matings
    else:
        column, rows = columns.dimensions[reading.feature], columns.matings.other[matings]
    column = column.take(rows)
    known = ~np.isnan(column.centre)
    limit = PartDeviation.of(reading.feature, column).reach + MATE_OFF * np.hypot(reading.total_u, column.extra_u)
    return not np.any(known) or bool(np.any(np.abs(reading.number - column.centre)[known] <= limit[known]))


def _ratios_fit(readings: Sequence[Reduced], columns: Columns, half: int) -> bool:
    """Whether the readings of an unscaled picture have the ratios of a half."""
    if len(readings) < 2:
        return True
    entries = [columns.dimensions[reading.feature].take(np.array([half])) for reading in readings]
    numbers, u = np.array([[reading.number, reading.u] for reading in readings]).T
    centre, s = (np.array([getattr(entry, name)[0] for entry in entries]) for name in ("centre", "extra_u"))
    within = np.array(
        [PartDeviation.of(r.feature, entry, r.spans).variance[0] for r, entry in zip(readings, entries, strict=True)]
    )
    known = ~np.isnan(centre)
    if not np.any(known):
        return True
    logs = (np.log(numbers) - np.log(centre))[known]
    spread = np.sqrt((within + s**2) / centre**2 + u**2 / numbers**2)[known]
    return bool(np.all(np.abs(logs - np.median(logs)) <= RATIO_OFF * spread))


SHOWN_FROM = 0.1
"""Probability of a mistake from which it is worth a hint. Chosen on one half of the series of real geometry, see
`tests/real_geometry/hints_study.py`."""

WEIGHED_FROM = 0.05
"""Rough probability from which a mistake is weighed in full."""

MOST = 3
"""Most mistakes weighed in full, and most hints: more do not help, and each costs an identification."""


def hints(result: Posterior, observations: Sequence[Reduced], shown_from: float = SHOWN_FROM) -> tuple[Hint, ...]:
    """Possible mistakes in the observations of ``result``, likeliest first.

    ``shown_from`` is the probability of a mistake from which it is given. Empty, and quick, where the
    likeliest half explains every observation.
    """
    common = [
        _hint(Weighed(mistake=Mistake.of(way.cause), log_weight=0.0, answer=answer), probability, result, observations)
        for way, probability, answer in result.ways
        if way.cause is not None and probability >= shown_from
    ]
    given, share = (result.ways[0][2], result.ways[0][1]) if result.ways else (result, 1.0)
    found = [] if share < shown_from else _hints(given, observations, shown_from / share)
    return tuple(sorted([*common, *found], key=lambda hint: -hint.probability))


def _hints(result: Posterior, observations: Sequence[Reduced], shown_from: float) -> list[Hint]:
    """Mistakes in single observations."""
    if all_explained(result):
        return []
    rough = weigh_roughly(result, observations)
    chosen = _worth_weighing(rough)
    full = [weigh_in_full(rough[i].mistake, result) for i in chosen]
    everything = [*full, *(each for i, each in enumerate(rough) if i not in chosen)]
    probability = _by_kind(everything, probabilities(everything))
    return [
        _hint(each, probability[_name(each.mistake)], result, observations)
        for each in full
        if probability[_name(each.mistake)] >= shown_from
    ]


def _name(mistake: Mistake) -> tuple[str, int]:
    """Variants of one mistake count as one."""
    return mistake.kind, mistake.index


def _worth_weighing(rough: Sequence[Weighed]) -> list[int]:
    """Places of the likeliest variant of each of the likeliest mistakes; ``rough`` is sorted."""
    probability = probabilities(rough)
    chosen: dict[tuple[str, int], int] = {}
    for i, each in enumerate(rough):
        if probability[i] >= WEIGHED_FROM and len(chosen) < MOST:
            chosen.setdefault(_name(each.mistake), i)
    return list(chosen.values())


def _by_kind(found: Sequence[Weighed], probability: Floats) -> dict[tuple[str, int], float]:
    total: dict[tuple[str, int], float] = {}
    for each, p in zip(found, probability, strict=True):
        total[_name(each.mistake)] = total.get(_name(each.mistake), 0.0) + float(p)
    return total


def _hint(weighed: Weighed, probability: float, result: Posterior, observations: Sequence[Reduced]) -> Hint:
    mistake, answer = weighed.mistake, weighed.answer
    if answer is None:
        raise TypeError("a hint needs the answer for the corrected observations")
    corrected = {reading.index: reading for reading in mistake.corrected}
    given = [reading for reading in observations if reading.index in corrected]
    verdict = verdict_of(answer)
    (first, p), (before, p_before) = _first(answer), _first(result)
    return Hint(
        kind=mistake.kind,
        index=mistake.index if len(given) == 1 else None,
        indices=tuple(reading.index for reading in given),
        feature=given[0].feature,
        of=given[0].of,
        message=message(mistake, given),
        change=change(first, p, verdict, before=before, before_probability=p_before),
        probability=probability,
        corrected=mistake.change,
        first=first,
        first_probability=p,
        probability_absent=answer.probability_absent,
        verdict=verdict,
    )


def _first(result: Posterior) -> tuple[str, float]:
    geometry = int(result.order[0])
    half = int(result.members(geometry)[0])
    return result.columns.keys[half], float(result.geometries[geometry])
