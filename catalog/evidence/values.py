"""Values measured, counted or named on a part, in the form in which they are given and in the form in which they are
stored.

A length is given as an observation is: ``value`` with ``u``, ``plus_minus`` or ``expanded_u`` and ``k``, or
``readings`` with the instrument, in any unit and over ``spans`` gaps. It is stored in mm with its standard uncertainty,
together with the figures as given; the stored form can be read again and is used in exchange files.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Discriminator, Field, FiniteFloat, Tag, model_validator

from catalog.model.entry_parts import LARGEST_DIMENSION, Entry, LengthUnit
from catalog.model.text_fields import Line
from matcher.errors import ObservationErrors
from matcher.features import FEATURES, Kind
from matcher.observations import LARGEST_COUNT, MAX_READINGS, Observation
from matcher.uncertainty.dimension_validation import MAX_SPANS
from matcher.uncertainty.measuring_setup import limits_of
from matcher.uncertainty.reduce import Measured, measure_readings
from matcher.vocabulary import PIXEL, canonical_unit, is_number, named_values, present_observation, to_mm

COVERAGE_FACTOR = 2.0
"""k if an expanded uncertainty is given without one: most calibration certificates use it (GUM 6.3.3)."""

SAME_PART = 1e-6
"""Relative difference allowed between a stored value and its given figures: rounding in files."""

DIGITS = 9
"""Decimals kept of a value in mm: far below any reading, so that 0.1 + 0.2 stays 0.3."""

GIVEN_AS = {"value": "given", "u": "given_u"}
"""Names in the stored form for fields of the given form."""

HOW_WELL = ("u", "plus_minus", "expanded_u", "instrument")

Reading = Annotated[FiniteFloat, Field(gt=0)]


def _of_kind(*kinds: Kind) -> AfterValidator:
    def checked(name: str) -> str:
        if name not in FEATURES or FEATURES[name].kind not in kinds:
            raise ValueError(f"{name!r} is not a {kinds[0]}")
        return name

    return AfterValidator(checked)


class MeasuredValue(Entry):
    """A measured length: ``value`` and standard uncertainty ``u``, mm, over one gap.

    ``given`` (or ``readings``), ``given_u``, ``plus_minus`` (± a, rectangular) and ``expanded_u`` with ``k`` are as the
    person gave them, in ``unit``, over all ``spans`` gaps. In the given form they stand as ``value`` and ``u``.
    ``corrected`` is what was subtracted from them for an effect that the instrument is known to have, mm over one gap.
    """

    feature: Annotated[Line, _of_kind(Kind.DIMENSION)]
    value: Annotated[FiniteFloat, Field(gt=0, le=LARGEST_DIMENSION)]
    u: Annotated[FiniteFloat, Field(gt=0, le=100)]
    unit: LengthUnit = "mm"
    given: Reading | None = None
    readings: Annotated[tuple[Reading, ...], Field(max_length=MAX_READINGS)] = ()
    given_u: Reading | None = None
    plus_minus: Reading | None = None
    expanded_u: Reading | None = None
    k: Annotated[FiniteFloat, Field(ge=1, le=10)] | None = None
    spans: Annotated[int, Field(ge=1, le=MAX_SPANS)] = 1
    instrument: Line | None = None
    corrected: FiniteFloat | None = None

    @model_validator(mode="before")
    @classmethod
    def _reduced(cls, data: Any) -> Any:
        if not isinstance(data, Mapping) or _is_kept(data):
            return data
        given = {GIVEN_AS.get(name, name): part for name, part in data.items() if part is not None}
        measured = _reduce(data)
        unit = canonical_unit(_word(data, "unit") or "mm")
        reduced = {"value": round(measured.value, DIGITS), "u": measured.u, "corrected": measured.corrected or None}
        return {**given, "unit": unit, **reduced}

    @model_validator(mode="after")
    def _figures_agree(self) -> Self:
        if (self.given is None) != bool(self.readings):
            raise ValueError("give a value or readings: one of them")
        figure = self.given if self.given is not None else math.fsum(self.readings) / len(self.readings)
        read = self.value + (self.corrected or 0.0)
        if not math.isclose(to_mm(figure, self.unit) / self.spans, read, rel_tol=SAME_PART):
            over = f" over {self.spans} gaps" if self.spans > 1 else ""
            raise ValueError(f"{figure:g} {self.unit}{over} is not {read:g} mm")
        low, high = limits_of(FEATURES[self.feature], None)[:2]
        if not low <= self.value <= high:
            raise ValueError(f"{self.value:g} mm cannot be a {FEATURES[self.feature].label}; check the unit")
        return self


def _is_kept(data: Mapping[str, Any]) -> bool:
    """Whether a value is in the stored form, with its mm beside the given figures."""
    return data.get("given") is not None or (bool(data.get("readings")) and data.get("value") is not None)


def _reduce(data: Mapping[str, Any]) -> Measured:
    """The value in mm, by the matcher's own reduction; raises ValueError with every fault and its remedy."""
    if all(data.get(name) is None for name in HOW_WELL):
        raise ValueError("say how well it was measured: give u, plus_minus, expanded_u (with k), or the instrument")
    readings = data.get("readings")
    observed = Observation(
        feature=_word(data, "feature") or "",
        value=data.get("value"),
        readings=tuple(readings) if isinstance(readings, list | tuple) else (),
        unit=_word(data, "unit") or "mm",
        u=_standard(data),
        plus_minus=data.get("plus_minus"),
        spans=data.get("spans") or 1,
        instrument=_word(data, "instrument"),
    )
    try:
        (measured,) = measure_readings([observed]).measured
    except ObservationErrors as error:
        faults = [
            f"{fault.field.removeprefix('observations[0].')}: {fault.message}; {fault.remedy}" for fault in error.errors
        ]
        raise ValueError("; ".join(faults)) from error
    if measured.unit == PIXEL:
        raise ValueError("a picture without a scale gives no length; give one with a scale")
    return measured


def _word(data: Mapping[str, Any], name: str) -> str | None:
    word = data.get(name)
    if word is not None and not isinstance(word, str):
        raise ValueError(f"{name} is given by name")
    return word


def _standard(data: Mapping[str, Any]) -> Any:
    """The standard uncertainty as given, or U/k."""
    expanded, k = data.get("expanded_u"), data.get("k")
    if expanded is None:
        if k is not None:
            raise ValueError("k belongs to expanded_u; leave it out")
        return data.get("u")
    if data.get("u") is not None:
        raise ValueError("the uncertainty is given twice: give u, or expanded_u with k")
    factor = COVERAGE_FACTOR if k is None else k
    if not is_number(expanded) or not is_number(factor) or not 1.0 <= factor <= 10.0:
        raise ValueError("expanded_u is a number above 0, and k its coverage factor from 1 to 10")
    return expanded / factor


class CountedValue(Entry):
    """A number of contacts, rows or fittings that somebody counted."""

    feature: Annotated[Line, _of_kind(Kind.COUNT)]
    value: Annotated[int, Field(ge=0, le=LARGEST_COUNT)]


class NamedValue(Entry):
    """What somebody saw or felt: one name of a category, or several if it is not certain; for keying, all keys that are
    present."""

    feature: Annotated[Line, _of_kind(Kind.CATEGORY, Kind.LABELS)]
    value: tuple[Line, ...]

    @model_validator(mode="before")
    @classmethod
    def _as_named(cls, data: Any) -> Any:
        if not isinstance(data, Mapping):
            return data
        data = present_observation(data)
        feature = FEATURES.get(str(data.get("feature")))
        if feature is None or feature.kind not in (Kind.CATEGORY, Kind.LABELS):
            return data
        names = named_values(feature, data.get("value"))
        if not names or set(names) - set(feature.values) or len(set(names)) < len(names):
            raise ValueError(f"{feature.label} is given by name, each at most once; known: {', '.join(feature.values)}")
        if feature.kind is Kind.LABELS and "none" in names and len(names) > 1:
            raise ValueError("'none' cannot be combined with other names")
        return {**data, "value": names}


FORMS: Mapping[Kind, Literal["measured", "counted", "named"]] = {
    Kind.DIMENSION: "measured",
    Kind.COUNT: "counted",
    Kind.CATEGORY: "named",
    Kind.LABELS: "named",
}


def _form(value: Any) -> str | None:
    name = value.get("feature") if isinstance(value, Mapping) else getattr(value, "feature", None)
    feature = FEATURES.get(name) if isinstance(name, str) else None
    return None if feature is None else FORMS.get(feature.kind)


Value = Annotated[
    Annotated[MeasuredValue, Tag("measured")]
    | Annotated[CountedValue, Tag("counted")]
    | Annotated[NamedValue, Tag("named")],
    Discriminator(
        _form,
        custom_error_type="feature",
        custom_error_message="feature must name a dimension, a count or a category",
    ),
]
"""A value of one feature; the feature determines its form."""
