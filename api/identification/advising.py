"""Advice on the next measurement, in the form of an answer; for identification and for the dialogue."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict

from api.identification.tools_at_hand import at_hand, tools_of
from api.schemas import answers
from api.schemas.requests import IdentifyRequest, to_observations
from catalog.snapshot.snapshot import Snapshot
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.posterior import posterior
from matcher.identify import left_on
from matcher.observations import Reduced
from matcher.results import Advice, NextMeasurement
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reduce import Reduction, reduction

WORTH_BITS = 0.05
"""Least information, in bits, of a measurement that is shown: less would be printed as 0.0."""


def worth_taking(advised: answers.NextMeasurement) -> bool:
    """Whether a measurement is informative enough to ask for it, alone or together with another."""
    return advised.bits >= WORTH_BITS or advised.together_with is not None


def advice_on(snapshot: Snapshot, request: IdentifyRequest, *, skipped: Collection[str] = ()) -> Advice:
    """What to measure next after a request's observations, if any; never a feature in ``skipped``.

    Raises ObservationErrors for readings that make no sense.
    """
    tools = tools_of(request)
    readings = reduction_of(request, tools).readings
    result = posterior(snapshot.columns, snapshot.absent, readings, request.prior_absent)
    features = [name for name in left_on(request.remains) if name not in skipped]
    return advise(result, at_hand=at_hand(request, tools), instruments=tools, features=features)


def readings_of(request: IdentifyRequest) -> tuple[Reduced, ...]:
    """A request's observations as the ranking uses them; there may be none. Raises ObservationErrors."""
    return reduction_of(request, tools_of(request)).readings


def reduction_of(request: IdentifyRequest, tools: Mapping[str, Instrument]) -> Reduction:
    """A request's observations, reduced; there may be none. Raises ObservationErrors."""
    if not request.observations:
        return Reduction(readings=(), combinations=(), taken_by_hand=())
    return reduction(to_observations(request), tools, request.remains)


def next_measurements(snapshot: Snapshot, advice: Advice) -> tuple[answers.NextMeasurement, ...]:
    """The measurements advised, most informative first."""
    return tuple(_measurement(snapshot, each) for each in advice.measurements)


def _measurement(snapshot: Snapshot, found: NextMeasurement) -> answers.NextMeasurement:
    predicted = tuple(
        answers.Predicted(id=each.key, part_number=snapshot.halves[each.key].half.part_number, value=each.value)
        for each in found.predicted
    )
    return answers.NextMeasurement(**{**asdict(found), "predicted": predicted})


def further_measuring(advice: Advice) -> answers.FurtherMeasuring:
    """Whether further measuring can change what to order."""
    return answers.FurtherMeasuring.model_validate(advice, from_attributes=True)
