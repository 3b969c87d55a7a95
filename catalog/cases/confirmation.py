"""Turns a specimen's observations into evidence about the half it was identified as. Pure.

Only what was measured, counted or seen of this half, with a stated uncertainty or tool, is evidence; everything else is
left out and reported.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pydantic import TypeAdapter, ValidationError

from catalog.evidence.statements import FEATURES_OF
from catalog.evidence.values import DIGITS, MeasuredValue, Value
from matcher.features import FEATURES, Kind, Remains
from matcher.observations import Observation, Of
from matcher.uncertainty.instruments import BUILT_IN, Instrument
from matcher.uncertainty.reduce import Measured, body_of, measure_readings
from matcher.vocabulary import PIXEL

SAME_U = 1e-6
"""Relative difference allowed between an uncertainty as given and as ranked: rounding."""

HOW_WELL = ("u", "plus_minus", "instrument", "image", "px_per_mm")
"""What says how well a length was measured."""

PLAIN = ("value", "readings", "unit", "u", "plus_minus", "spans", "instrument")
"""Figures that evidence stores as given."""

_VALUE: TypeAdapter[Value] = TypeAdapter(Value)


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Values for a measured confirmation, and what was left out, in words."""

    values: tuple[Value, ...]
    left_out: tuple[str, ...]

    @property
    def measured(self) -> bool:
        """Whether there is a dimension among the values: a measurement needs one."""
        return any(isinstance(value, MeasuredValue) for value in self.values)


def evidence_of(
    observations: Sequence[Observation],
    instruments: Mapping[str, Instrument] = BUILT_IN,
    remains: Remains = Remains.WHOLE,
) -> Evidence:
    """The observations that are evidence about the half. Raises ObservationErrors for readings that make no sense."""
    faults = {index: _fault(given, remains) for index, given in enumerate(observations)}
    left = [_told(observations[index], why) for index, why in faults.items() if why]
    usable = [given for index, given in enumerate(observations) if not faults[index]]
    values: list[Value] = []
    for value, given, why in (*_lengths(usable, instruments), *_others(usable)):
        if value is not None and value.feature not in {each.feature for each in values}:
            values.append(value)
        else:
            left.append(_told(given, why or "it was already given"))
    return Evidence(values=tuple(values), left_out=tuple(left))


def _told(given: Observation, why: str) -> str:
    return f"{FEATURES[given.feature].label}: {why}"


def _fault(given: Observation, remains: Remains) -> str:
    """Why the form of an observation rules it out as evidence about the half; empty if it does not."""
    kind = FEATURES[given.feature].kind
    if body_of(given) is not Of.THIS:
        return "it is about the other half or the pair"
    if given.feature not in FEATURES_OF["half"]:
        return "a measurement cannot confirm it"
    if given.min is not None or given.max is not None:
        return "a limit is not a measurement"
    if remains is Remains.ONE_END_MISSING and FEATURES[given.feature].along_rows:
        return "a piece shows only a part of it"
    if kind is Kind.DIMENSION and all(getattr(given, name) is None for name in HOW_WELL):
        return "neither its uncertainty nor its instrument is stated"
    return ""


Found = tuple[Value | None, Observation, str]
"""A value (None if there is none), the observation it comes from, and why there is none."""


def _lengths(usable: Sequence[Observation], instruments: Mapping[str, Instrument]) -> Iterator[Found]:
    lengths = [given for given in usable if FEATURES[given.feature].kind is Kind.DIMENSION]
    measured = measure_readings(lengths, instruments).measured if lengths else ()
    features = [each.feature for each in measured]
    for each in measured:
        given = lengths[each.indices[0]]
        if each.unit == PIXEL:
            yield None, given, "a picture without a scale gives no length"
        elif features.count(each.feature) > 1:
            yield None, given, "its readings do not agree or cannot be combined"
        else:
            yield _length(each, [lengths[index] for index in each.indices]), given, ""


def _length(measured: Measured, given: Sequence[Observation]) -> Value:
    """The value with its figures as given if they are complete, otherwise its reduced value in mm."""
    as_given = _as_given(given[0]) if len(given) == 1 else None
    if isinstance(as_given, MeasuredValue):
        pairs = ((as_given.value, measured.value), (as_given.u, measured.u))
        if all(math.isclose(*pair, rel_tol=SAME_U) for pair in pairs):
            return as_given
    figures = {"feature": measured.feature, "value": round(measured.value, DIGITS), "u": measured.u}
    return _VALUE.validate_python(figures)


def _as_given(given: Observation) -> Value | None:
    figures = {name: getattr(given, name) for name in ("feature", *PLAIN)}
    try:
        return _VALUE.validate_python({name: figure for name, figure in figures.items() if figure})
    except ValidationError:
        return None  # pixels and the like: the reduced value is stored instead


def _others(usable: Sequence[Observation]) -> Iterator[Found]:
    for given in usable:
        if FEATURES[given.feature].kind is not Kind.DIMENSION:
            yield _VALUE.validate_python({"feature": given.feature, "value": given.value}), given, ""
