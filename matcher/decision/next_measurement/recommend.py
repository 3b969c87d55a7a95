"""Recommendation of the next measurement: expected bits of each, alone and in pairs, and the precision needed.

The bits are about what to order. Geometries with the same mates are one answer, once few enough are left to examine
singly; absent is an answer of its own.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, Floats, Ints
from matcher.decision.next_measurement.absent_outlook import AbsentOutlook
from matcher.decision.next_measurement.information import entropy, expected_gain, information_about, joint_information
from matcher.decision.next_measurement.outcome_model import PREDICTED, Prediction, predict, predict_pair, weights
from matcher.decision.next_measurement.repeated import predict_again
from matcher.decision.next_measurement.shortlist import Leaders, leaders, orders, surest_order
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND, Tool, tool_for, whole_row
from matcher.decision.posterior import Posterior
from matcher.features import FEATURES, Feature, Kind, Subject
from matcher.likelihood.evidence import Evidence
from matcher.likelihood.kinds import CLASSES
from matcher.observations import Of
from matcher.results import Advice, NextMeasurement, Predicted, Reason
from matcher.uncertainty.instruments import BUILT_IN, Instrument

SINGLY_UP_TO = 32
"""With more geometries in play than this, those with the same prediction are merged, and bits count geometries, not
orders. Pairs of measurements are not examined then, since every good measurement helps."""

PAIRED = 6
"""Number of measurements, the best first, that are examined in pairs."""

USEFUL_BITS = 0.01
"""Bits below which a measurement is not worth recommending."""

FINENESS = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005)
"""Limits ± a, mm, that are tried to find the precision needed."""

FINE_ENOUGH = 0.9
"""A reading is precise enough if it keeps this part of the bits that the instrument would give."""

SETTLED_FROM = 0.95
"""Probability of one order from which no further measurement is recommended."""

SMALL_GAIN = 0.01
"""Gain in the probability of the right order below which a measurement is not recommended."""

SQRT_3 = float(np.sqrt(3.0))

SHOWN_PREDICTIONS = 5
"""Number of leading candidates whose predicted values are given."""


@dataclass(frozen=True, kw_only=True)
class Option:
    """A feature that can be measured next: the tool, whether it is a repeat, the predicted outcomes and their bits."""

    feature: Feature
    tool: Tool | None
    again: bool
    prediction: Prediction
    bits: float


@dataclass(frozen=True, kw_only=True)
class Situation:
    """State of the identification: answers in play, predictions of absent and, once few enough answers are left to
    examine singly, the order that each leads to."""

    result: Posterior
    leaders: Leaders
    outlook: AbsentOutlook
    orders: Ints | None

    @classmethod
    def of(cls, result: Posterior) -> Situation:
        """State after the observations of ``result``."""
        found = leaders(result)
        return cls(
            result=result,
            leaders=found,
            outlook=AbsentOutlook.of(result),
            orders=orders(found) if len(found) <= SINGLY_UP_TO else None,
        )

    def prediction(self, feature: Feature, tool: Tool | None) -> Prediction | None:
        """Outcomes of a first measurement of a feature; one of the pair only where leaders are examined singly."""
        if feature.subject is Subject.HALF:
            return predict(self.leaders, feature, tool, self.outlook)
        if tool is None or self.orders is None:
            return None
        return predict_pair(self.leaders, feature, tool, self.result.weighed.mates)

    def orders_of(self, known: Bools) -> Ints:
        """The orders of the leaders with a prediction, absent last."""
        if self.orders is None:
            raise TypeError("too many answers are in play to determine their orders")
        return np.asarray(self.orders[np.append(known, True)])


def advise(
    result: Posterior,
    *,
    at_hand: Sequence[str] = DEFAULT_AT_HAND,
    instruments: Mapping[str, Instrument] = BUILT_IN,
    features: Sequence[str] = tuple(FEATURES),
    limit: int = 5,
) -> Advice:
    """Recommend what to measure next on this half, after the observations of ``result``.

    ``at_hand`` names the available instruments (counts and visible features need none), ``features`` the features that
    may be recommended. Sizes of the mated pair are recommended only where the pair or the other half was observed
    already, since it is then at hand.
    """
    situation = Situation.of(result)
    options = _options(result, situation, at_hand, instruments, features)
    pair = _best_pair(situation, options[:PAIRED])
    if pair is not None:
        options = [*pair.options, *(option for option in options if option not in pair.options)]
    useful = [option for option in options if option.bits >= USEFUL_BITS or (pair and option in pair.options)]
    measurements = tuple(
        _described(option, pair, situation, how_fine=place == 0 or situation.orders is not None)
        for place, option in enumerate(useful[:limit])
    )
    return _advice(situation, measurements)


def _options(
    result: Posterior,
    situation: Situation,
    at_hand: Sequence[str],
    instruments: Mapping[str, Instrument],
    features: Sequence[str],
) -> list[Option]:
    """Every feature that can be measured, most informative first."""
    taken = {each.reading.feature: each for each in result.weighed.evidence if each.reading.of is not Of.OTHER}
    options = []
    for name in features:
        feature = FEATURES[name]
        if feature.kind not in PREDICTED or (feature.subject is Subject.PAIR and result.weighed.mates is None):
            continue
        tool = tool_for(feature, at_hand, instruments) if feature.kind is Kind.DIMENSION else None
        option = _option(situation, feature, tool, taken.get(name))
        if option is not None:
            options.append(option)
    return sorted(options, key=lambda option: -option.bits)


def _option(situation: Situation, feature: Feature, tool: Tool | None, before: Evidence | None) -> Option | None:
    bound = before is not None and before.reading.bound
    if before is None or bound:
        prediction = situation.prediction(feature, tool)
    elif feature.subject is Subject.PAIR:
        prediction = None
    elif situation.orders is not None:
        prediction = predict_again(situation.leaders, before, tool, situation.outlook)
    else:
        prediction = None
    if prediction is None:
        return None
    again = before is not None and not bound
    return Option(feature=feature, tool=tool, again=again, prediction=prediction, bits=_bits(situation, prediction))


def _bits(situation: Situation, prediction: Prediction) -> float:
    """Bits about the order, or about the geometry while too many are in play."""
    if situation.orders is None or prediction.known is None:
        return prediction.bits
    action = situation.orders_of(prediction.known)
    return prediction.share * information_about(action, prediction.prior, prediction.outcomes.rows())


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Two measurements that together give more than twice the information of the best one alone."""

    options: tuple[Option, Option]
    bits: float

    def partner(self, option: Option) -> Option:
        """The other one."""
        return self.options[1] if option is self.options[0] else self.options[0]


def _best_pair(situation: Situation, options: Sequence[Option]) -> Pair | None:
    """The best two of the options if a pair is better than single measurements; else None."""
    if situation.orders is None or len(options) < 2:
        return None
    tables = {id(option): option.prediction.outcomes.condensed() for option in options}
    pairs = [
        Pair(options=(a, b), bits=_pair_bits(situation, a, b, tables[id(a)], tables[id(b)]))
        for a, b in itertools.combinations(options, 2)
    ]
    best = max(pairs, key=lambda pair: pair.bits)
    return best if best.bits / 2 > options[0].bits + USEFUL_BITS else None


def _pair_bits(situation: Situation, a: Option, b: Option, of_a: Floats, of_b: Floats) -> float:
    known_a, known_b = _known(a), _known(b)
    both = known_a & known_b
    prior, share = weights(situation.leaders, both)
    in_a, in_b = np.append(both[known_a], True), np.append(both[known_b], True)
    return share * joint_information(situation.orders_of(both), prior, of_a[in_a], of_b[in_b])


def _known(option: Option) -> Bools:
    if option.prediction.known is None:
        raise TypeError("merged predictions cannot be paired")
    return option.prediction.known


def _described(option: Option, pair: Pair | None, situation: Situation, *, how_fine: bool) -> NextMeasurement:
    together = pair if pair is not None and option in pair.options else None
    gain = None
    if situation.orders is not None:
        prediction = option.prediction
        action = situation.orders_of(_known(option))
        gain = prediction.share * expected_gain(action, prediction.prior, prediction.outcomes.rows())
    spans = None
    if option.tool is not None and option.feature.is_pitch:
        spans = int(whole_row(option.feature, situation.leaders.columns, situation.leaders.halves[:1])[0])
    return NextMeasurement(
        feature=option.feature.name,
        bits=option.bits,
        instrument=None if option.tool is None else option.tool.instrument.name,
        again=option.again,
        spans=spans,
        measure_to_within_mm=_fineness(option, situation) if how_fine else None,
        together_with=None if together is None else together.partner(option).feature.name,
        together_bits=None if together is None else together.bits,
        gain=gain,
        predicted=_predicted(option.feature, situation.leaders),
    )


def _fineness(option: Option, situation: Situation) -> float | None:
    """The coarsest limit ± a, mm, of a reading that keeps most of the bits; None where precision does not matter."""
    if option.tool is None or option.again:
        return None
    for limit in FINENESS:
        tool = Tool(instrument=option.tool.instrument, own_u=limit / SQRT_3, scale_rel=0.0)
        coarser = situation.prediction(option.feature, tool)
        if coarser is not None and _bits(situation, coarser) >= FINE_ENOUGH * option.bits:
            return None if limit == FINENESS[0] else limit
    return FINENESS[-1]


def _predicted(feature: Feature, found: Leaders) -> tuple[Predicted, ...]:
    """Values of the feature in the entries of the likeliest candidates."""
    columns, shown = found.columns, found.halves[:SHOWN_PREDICTIONS]
    values = [(columns.keys[half], CLASSES[feature.kind].stated(feature, columns, int(half))) for half in shown]
    return tuple(Predicted(key=key, value=value) for key, value in values if value is not None)


def _advice(situation: Situation, measurements: tuple[NextMeasurement, ...]) -> Advice:
    """The advice, with whether to continue: not if an order is nearly certain or no tool at hand can change it."""
    probability = situation.leaders.probability
    if situation.orders is None:
        return Advice(
            measurements=measurements,
            settled=False,
            reason=Reason.KEEP_MEASURING,
            probability=float(probability[0]),
            open_bits=entropy(probability),
        )
    order = np.bincount(situation.orders, weights=probability).astype(np.float64)
    first = int(np.argmax(order))
    if first == situation.orders[-1] and order[first] >= SETTLED_FROM:
        reason = Reason.ABSENT_SETTLED
    elif order[first] < SETTLED_FROM and any(
        (each.gain or 0.0) >= SMALL_GAIN or each.together_with for each in measurements
    ):
        reason = Reason.KEEP_MEASURING
    elif first != situation.orders[-1] and _mates_differ(situation, first, order[first]):
        reason = Reason.MATES_DIFFER
    else:
        reason = Reason.ORDER_SETTLED if order[first] >= SETTLED_FROM else Reason.NOTHING_TELLS
    return Advice(
        measurements=measurements,
        settled=reason not in (Reason.KEEP_MEASURING, Reason.MATES_DIFFER),
        reason=reason,
        probability=float(order[first]),
        open_bits=entropy(order),
    )


def _mates_differ(situation: Situation, first: int, probability: float) -> bool:
    """Whether halves that share a geometry take different mates, in an order with this probability."""
    halves = situation.leaders.halves[np.asarray(situation.orders)[:-1] == first]
    return surest_order(situation.result, halves) < SETTLED_FROM * probability
