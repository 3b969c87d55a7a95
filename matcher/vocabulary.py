"""Words that people type: units of length, names of a category's values, and suggestions for unknown words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, TypeGuard

from rapidfuzz import fuzz, process
from rapidfuzz.utils import default_process

from matcher.errors import ObservationError
from matcher.features import FEATURES, Feature

PIXEL = "px"
"""Unit of a reading in a picture; it has no length before the picture has a scale."""

MM_PER_UNIT: Mapping[str, float] = MappingProxyType({"mm": 1.0, "in": 25.4, "mil": 0.0254, "um": 0.001})
"""Length of each unit in mm, exact: the inch is 25.4 mm by definition (international yard, 1959; from memory)."""

SPELLINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
        "in": ("inch", "inches", "in.", '"', "″", "”", "''"),
        "mil": ("mils", "thou", "thous"),
        "um": ("\N{MICRO SIGN}m", "\N{GREEK SMALL LETTER MU}m", "micron", "microns", "micrometre", "micrometer"),
        PIXEL: ("pixel", "pixels"),
    }
)
"""Known units and their other spellings; case does not matter."""

_CANONICAL = {word: unit for unit, words in SPELLINGS.items() for word in (unit, *words)}


def canonical_unit(text: str, *, field: str = "unit") -> str:
    """One of mm, in, mil, um and px.

    Raises
    ------
    ObservationError
        At ``field``, for an unknown unit; the remedy lists the known units.
    """
    unit = _CANONICAL.get(text) or _CANONICAL.get(text.strip().lower()) if isinstance(text, str) else None
    if unit is None:
        suggestion = closest_meaning(str(text), SPELLINGS)
        raise ObservationError(
            f"the unit {text!r} is not known",
            field=field,
            value=text,
            remedy=remedy_for(SPELLINGS, suggestion),
        )
    return unit


def to_mm(value: float, unit: str, *, field: str = "unit") -> float:
    """``value`` in mm.

    Raises
    ------
    ObservationError
        At ``field``, for an unknown unit and for pixels, which have no length.
    """
    canonical = canonical_unit(unit, field=field)
    if canonical == PIXEL:
        raise ObservationError(
            "pixels have no length without the picture's scale",
            field=field,
            value=unit,
            remedy="give the picture's scale as px_per_mm, or name the instrument unscaled_photo",
        )
    return value * MM_PER_UNIT[canonical]


_YES_NO = ({"yes", "no"}, {True: "yes", False: "no"}, {"true": "yes", "y": "yes", "false": "no", "n": "no"})
"""A category that asks yes or no, and what truth values and other words mean there."""


def named_values(feature: Feature, value: object) -> tuple[str, ...]:
    """The names given for a category, in the table's spelling where that is clear; empty for anything but names.

    One name or several (tuple, list, set); case, spaces and hyphens do not matter; truth values answer yes or no.
    """
    given = value if isinstance(value, tuple | list | set | frozenset) else (value,)
    names = [_plain(feature, one) for one in given]
    return tuple(name for name in names if name is not None) if None not in names else ()


def _plain(feature: Feature, value: object) -> str | None:
    values, truths, words = _YES_NO
    if set(feature.values) == values and isinstance(value, bool):
        return truths[value]
    if not isinstance(value, str) or not value.strip():
        return None
    name = "_".join(value.strip().lower().replace("-", " ").replace("_", " ").split())
    return words.get(name, name) if set(feature.values) == values else name


def present_category(name: str, value: Any) -> tuple[str, Any]:
    """A category and its values by the names that the feature table has now (`matcher.feature_fields.Moved`).

    The only place that reads names of older entries and observations. Anything else is returned unchanged.
    """
    feature = FEATURES.get(name)
    if feature is None or feature.moved is None:
        return name, value
    given = named_values(feature, value)
    if feature.moved.names.keys().isdisjoint(given):
        return name, value
    return feature.moved.to, tuple(dict.fromkeys(feature.moved.names.get(each, each) for each in given))


def present_observation(observation: Mapping[str, Any]) -> dict[str, Any]:
    """An observation or a measured value in JSON form, its category by the present names; others unchanged."""
    name = observation.get("feature")
    if not isinstance(name, str):
        return dict(observation)
    feature, value = present_category(name, observation.get("value"))
    return dict(observation) if feature == name else {**observation, "feature": feature, "value": value}


CLOSE_ENOUGH = 60.0
"""Similarity (0 to 100) from which a known name is worth offering. Common practice, no source."""


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known name most like ``word``, or None when none is like it."""
    found = process.extractOne(
        word, list(known), scorer=fuzz.ratio, processor=default_process, score_cutoff=CLOSE_ENOUGH
    )
    return None if found is None else found[0]


def closest_meaning(word: str, words_of: Mapping[str, Iterable[str]]) -> str | None:
    """The name one of whose words (the name itself included) is most like ``word``, or None."""
    names = {known: name for name, words in words_of.items() for known in (name, *words)}
    found = closest(word, names)
    return None if found is None else names[found]


def feature_remedy(name: object, among: Iterable[str] = tuple(FEATURES)) -> str:
    """What to write instead of a name that no feature (of those ``among``) has."""
    words = {known: (FEATURES[known].label, *FEATURES[known].synonyms) for known in among}
    return remedy_for(words, closest_meaning(str(name), words))


def remedy_for(known: Iterable[str], suggestion: str | None) -> str:
    """Sentence with the suggestion, if any, and a list of the known words."""
    listed = f"known: {', '.join(known)}"
    return listed if suggestion is None else f"did you mean {suggestion!r}? ({listed})"


MAX_TEXT = 200
"""Longest marking or name, characters: no half has room for more."""


def is_number(value: object) -> TypeGuard[float]:
    """Whether something is a finite number, truth values left out."""
    try:
        return not isinstance(value, bool | str) and math.isfinite(value)  # type: ignore[arg-type]
    except (TypeError, OverflowError):
        return False


def is_text(value: object) -> TypeGuard[str]:
    """Whether something is a name or marking of sensible length."""
    return isinstance(value, str) and bool(value.strip()) and len(value) <= MAX_TEXT
