"""Validation of observations: every fault with its place, the value given, and what to do instead."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

from matcher.errors import ObservationError
from matcher.features import FEATURES, Kind, Subject
from matcher.observations import LARGEST_COUNT, MAX_OBSERVATIONS, Observation, Of, TrialFit
from matcher.uncertainty.dimension_validation import Checked, dimension_faults, not_number, order_faults, path
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.measuring_setup import group_of, instrument_of
from matcher.vocabulary import (
    MAX_TEXT,
    PIXEL,
    canonical_unit,
    closest,
    closest_meaning,
    feature_remedy,
    is_number,
    is_text,
    named_values,
    remedy_for,
)

LENGTH_PARTS: Mapping[str, object] = {
    "u": None,
    "plus_minus": None,
    "px_per_mm": None,
    "scale_rel": None,
    "plane_rel": None,
    "less": None,
    "less_u": None,
    "unit": "mm",
    "spans": 1,
}
"""Parts of an observation that only a length has, with their defaults."""


def faults(observations: Sequence[Observation], instruments: Mapping[str, Instrument]) -> list[ObservationError]:
    """All faults of a list of observations, in its order; empty when all can be used."""
    if not observations:
        remedy = "give at least one thing seen or measured, e.g. the contact count"
        return [ObservationError("there are no observations", field="observations", value=[], remedy=remedy)]
    if len(observations) > MAX_OBSERVATIONS:
        message = f"{len(observations)} observations are more than {MAX_OBSERVATIONS}"
        remedy = "give one specimen at a time, and repeats as readings of one observation"
        return [ObservationError(message, field="observations", value=len(observations), remedy=remedy)]
    found = [fault for index, given in enumerate(observations) for fault in _faults_of(index, given, instruments)]
    return found or [
        *_duplicates(observations),
        *_mixed_pictures(observations, instruments),
        *_mixed_scales(observations, instruments),
    ]


def _faults_of(index: int, given: Observation, instruments: Mapping[str, Instrument]) -> Iterator[ObservationError]:
    feature = FEATURES.get(given.feature) if isinstance(given.feature, str) else None
    if feature is None:
        yield _unknown_feature(index, given.feature)
        return
    checked = Checked(index=index, given=given, feature=feature, instruments=instruments)
    yield from _subject_faults(checked)
    yield from _form_faults(checked)
    yield from CHECKS[feature.kind](checked)


def _unknown_feature(index: int, name: object) -> ObservationError:
    shown = str(name)[:MAX_TEXT]
    return ObservationError(
        f"the feature {shown!r} is not known",
        field=path(index, "feature"),
        value=name,
        remedy=feature_remedy(shown),
    )


def _subject_faults(checked: Checked) -> Iterator[ObservationError]:
    of, feature = checked.given.of, checked.feature
    if of not in list(Of):
        yield checked.fault("of", of, f"{of!r} is not a body", remedy_for(list(Of), closest(str(of), list(Of))))
    elif feature.subject is Subject.HALF and of == Of.PAIR:
        remedy = "give this or other"
        yield checked.fault("of", of, f"{feature.label} belongs to one half, not to the pair", remedy)
    elif feature.subject is Subject.PAIR and of == Of.OTHER:
        remedy = "give pair; one half alone has a height or body width"
        yield checked.fault("of", of, f"{feature.label} belongs to the pair, not to one half", remedy)


def _form_faults(checked: Checked) -> Iterator[ObservationError]:
    """Exactly one of value, readings and bounds may be given, and bounds only for dimensions and counts."""
    given, kind = checked.given, checked.feature.kind
    bounded = given.min is not None or given.max is not None
    forms = [n for n, there in (("value", given.value is not None), ("readings", bool(given.readings))) if there]
    if bounded and kind not in (Kind.DIMENSION, Kind.COUNT):
        part = "min" if given.min is not None else "max"
        yield checked.fault(part, getattr(given, part), f"{checked.feature.label} has no bounds", "give a value")
    elif len(forms) + bounded > 1:
        part = forms[-1]
        remedy = "give either a value, or readings, or bounds"
        yield checked.fault(part, getattr(given, part), "it is given in more than one way", remedy)
    elif not forms and not bounded:
        remedy = "give a value, or leave out the observation"
        yield checked.fault("value", None, f"{checked.feature.label} has no value", remedy)
    if given.readings and kind is not Kind.DIMENSION:
        remedy = "give a value, and two people's counts as two observations"
        yield checked.fault("readings", given.readings, f"{checked.feature.label} has no repeated readings", remedy)


def _no_length_faults(checked: Checked) -> Iterator[ObservationError]:
    """Faults of parts that only a dimension has."""
    given, label = checked.given, checked.feature.label
    for part, absent in LENGTH_PARTS.items():
        if getattr(given, part) != absent:
            yield checked.fault(part, getattr(given, part), f"{label} is not a length", f"leave {part} out")


def _count_faults(checked: Checked) -> Iterator[ObservationError]:
    yield from _no_length_faults(checked)
    for part in ("value", "min", "max"):
        if (value := getattr(checked.given, part)) is not None:
            yield from _one_count_faults(checked, part, value)
    yield from order_faults(checked)


def _one_count_faults(checked: Checked, part: str, value: object) -> Iterator[ObservationError]:
    low, label = int(checked.feature.low), checked.feature.label
    if not is_number(value):
        yield not_number(checked, part, value)
    elif value != math.floor(value):
        yield checked.fault(part, value, f"{label} are counted in whole numbers", "count again, or give min and max")
    elif not low <= value <= LARGEST_COUNT:
        message = f"{value} is not a possible number of {label}"
        yield checked.fault(part, value, message, f"give a number from {low} to {LARGEST_COUNT}")


def _category_faults(checked: Checked) -> Iterator[ObservationError]:
    yield from _no_length_faults(checked)
    feature, value = checked.feature, checked.given.value
    if value is None:
        return
    values = named_values(feature, value)
    if not values or len(set(values)) > len(feature.values):
        remedy = f"known: {', '.join(feature.values)}"
        yield checked.fault("value", value, f"{feature.label} is given by name", remedy)
    for name in values:
        if name not in feature.values:
            suggestion = closest_meaning(name[:MAX_TEXT], {n: (words,) for n, words in feature.values.items()})
            message = f"{name[:MAX_TEXT]!r} is not a known {feature.label}"
            yield checked.fault("value", value, message, remedy_for(feature.values, suggestion))
    if feature.kind is Kind.LABELS and "none" in values and len(set(values)) > 1:
        remedy = "give none alone, or name what was seen"
        yield checked.fault("value", value, "'none' cannot be combined with other names", remedy)


def _text_faults(checked: Checked) -> Iterator[ObservationError]:
    yield from _no_length_faults(checked)
    value = checked.given.value
    if value is None:
        return
    if not is_text(value) or not any(character.isalnum() for character in str(value)):
        remedy = f"give the letters and figures that can be read, at most {MAX_TEXT}"
        yield checked.fault("value", value, "it has no readable text", remedy)


def _fit_faults(checked: Checked) -> Iterator[ObservationError]:
    yield from _no_length_faults(checked)
    value = checked.given.value
    if value is None:
        return
    if not isinstance(value, TrialFit) or not is_text(value.half) or not isinstance(value.mates, bool):
        remedy = "name the known half and say whether it mates"
        yield checked.fault("value", value, "a trial fit needs a half and an outcome", remedy)


CHECKS: Mapping[Kind, Callable[[Checked], Iterator[ObservationError]]] = {
    Kind.DIMENSION: dimension_faults,
    Kind.COUNT: _count_faults,
    Kind.CATEGORY: _category_faults,
    Kind.LABELS: _category_faults,
    Kind.TEXT: _text_faults,
    Kind.FIT: _fit_faults,
}
"""Checks of each kind of feature."""


def _duplicates(observations: Sequence[Observation]) -> Iterator[ObservationError]:
    for index, given in enumerate(observations):
        if (earlier := list(observations).index(given)) != index:
            yield ObservationError(
                f"it is the same as observations[{earlier}]",
                field=f"observations[{index}]",
                value=given.feature,
                remedy="leave it out; give repeats as readings of one observation",
            )


def _mixed_pictures(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument]
) -> Iterator[ObservationError]:
    """Readings of one unscaled picture are compared with each other: all or none in pixels, all by one instrument."""
    units: dict[str, bool] = {}
    taken: dict[str, Instrument] = {}
    for index, given in enumerate(observations):
        if FEATURES[given.feature].kind is not Kind.DIMENSION:
            continue
        instrument = instrument_of(given, instruments)
        if instrument is None or not instrument.unscaled:
            continue
        in_pixels = canonical_unit(given.unit) == PIXEL
        if units.setdefault(given.image or "", in_pixels) != in_pixels:
            yield ObservationError(
                "readings of one picture without scale mix pixels and a unit of length",
                field=path(index, "unit"),
                value=given.unit,
                remedy="give all of its readings in one unit, or name different images",
            )
        first = taken.setdefault(given.image or "", instrument)
        if first.name != instrument.name:
            yield ObservationError(
                f"readings of one picture say that it was taken in two ways: {first.label}; {instrument.label}",
                field=path(index, "instrument"),
                value=instrument.name,
                remedy=f"name {first.name} or {instrument.name} for all of them, or name different images",
            )


def _mixed_scales(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument]
) -> Iterator[ObservationError]:
    """Readings that share one scale must state the same uncertainty of it."""
    stated: dict[str, float] = {}
    for index, given in enumerate(observations):
        instrument = instrument_of(given, instruments)
        if given.scale_rel is None or instrument is None:
            continue
        first = stated.setdefault(group_of(given, instrument), given.scale_rel)
        if first != given.scale_rel:
            yield ObservationError(
                f"readings of one picture give its scale two uncertainties, {first:g} and {given.scale_rel:g}",
                field=path(index, "scale_rel"),
                value=given.scale_rel,
                remedy="give all readings of the picture one scale_rel, or name different images",
            )
