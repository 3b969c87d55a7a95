"""Advice on the next measurement, in names that a person can follow.

Identification and the dialogue of the command line both advise through here.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict

from api.identification.tools_at_hand import at_hand, tools_of
from api.schemas import answers
from api.schemas.requests import IdentifyRequest, to_observations
from catalog.snapshot.snapshot import Snapshot
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.posterior import posterior
from matcher.features import FEATURES
from matcher.observations import Reduced
from matcher.results import Advice, NextMeasurement
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reduce import Reduction, reduction

WORTH_BITS = 0.05
"""Least information of a measurement that is worth showing, bits: less would be printed as 0.0."""


def worth_taking(advised: answers.NextMeasurement) -> bool:
    """Whether a measurement tells enough to ask for it, alone or together with its partner."""
    return advised.bits >= WORTH_BITS or advised.together_with is not None


def advice_on(snapshot: Snapshot, request: IdentifyRequest, *, skipped: Collection[str] = ()) -> Advice:
    """What to measure next after a request's observations, or before any; never a feature of ``skipped``.

    Raises ObservationErrors for readings that make no sense.
    """
    tools = tools_of(request)
    readings = reduction_of(request, tools).readings
    result = posterior(snapshot.columns, snapshot.absent, readings, request.prior_absent)
    features = [name for name in FEATURES if name not in skipped]
    return advise(result, at_hand=at_hand(request, tools), instruments=tools, features=features)


def readings_of(request: IdentifyRequest) -> tuple[Reduced, ...]:
    """A request's observations as the ranking uses them; none before anything was taken. Raises ObservationErrors."""
    return reduction_of(request, tools_of(request)).readings


def reduction_of(request: IdentifyRequest, tools: Mapping[str, Instrument]) -> Reduction:
    """What a request's observations came to; nothing before anything was taken. Raises ObservationErrors."""
    if not request.observations:
        return Reduction(readings=(), combinations=())
    return reduction(to_observations(request), tools)


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
