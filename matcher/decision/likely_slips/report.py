"""Hints for a specimen: the mistakes that are probable enough to be worth a second look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matcher.absent.model import AbsentModel
from matcher.columns.columns import Floats
from matcher.decision.likely_slips.mistake import Mistake
from matcher.decision.likely_slips.screen import all_explained
from matcher.decision.likely_slips.weigh import Weighed, probabilities, weigh_in_full, weigh_roughly
from matcher.decision.likely_slips.wording import change, message
from matcher.decision.posterior import PRIOR_ABSENT, Posterior
from matcher.decision.verdict import verdict_of
from matcher.observations import Reduced
from matcher.results import Hint

SHOWN_FROM = 0.1
"""Probability of a mistake from which it is worth a hint. Chosen on one half of the series of real geometry, see
`tests/real_geometry/hints_study.py`."""

WEIGHED_FROM = 0.05
"""Rough probability from which a mistake is weighed in full."""

MOST = 3
"""Mistakes weighed in full, and hints given: more than a few are no help, and each costs an identification."""


def hints(
    result: Posterior,
    absent: AbsentModel,
    observations: Sequence[Reduced],
    prior_absent: float = PRIOR_ABSENT,
    shown_from: float = SHOWN_FROM,
) -> tuple[Hint, ...]:
    """What may have gone wrong with the observations that ``result`` was made from, likeliest first.

    ``shown_from`` is the probability of a mistake from which it is given. Empty, and quick, where the
    likeliest half explains every observation.
    """
    if all_explained(result):
        return ()
    rough = weigh_roughly(result, observations)
    chosen = _worth_weighing(rough)
    full = [weigh_in_full(rough[i].mistake, result, absent, observations, prior_absent) for i in chosen]
    everything = [*full, *(each for i, each in enumerate(rough) if i not in chosen)]
    probability = _by_kind(everything, probabilities(everything))
    found = [
        _hint(each, probability[_name(each.mistake)], result, observations)
        for each in full
        if probability[_name(each.mistake)] >= shown_from
    ]
    return tuple(sorted(found, key=lambda hint: -hint.probability))


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
        raise TypeError("a hint needs the answer if the mistake was made")
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
    return result.columns.keys[half], float(np.exp(result.log_geometry[geometry]))
