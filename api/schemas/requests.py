"""Models of observations and identification requests. Names and values of features come from the feature table.

Only the form is checked here (types, finite numbers, lengths of lists, names of features). The matcher checks whether
an observation makes sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    StrictInt,
    StringConstraints,
    Tag,
    WithJsonSchema,
    model_validator,
)

from api.schemas.examples import EXPLAIN_EXAMPLES, IDENTIFY_EXAMPLES
from api.schemas.words import REMAINS_WORDS, explained
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND
from matcher.decision.posterior import PRIOR_ABSENT
from matcher.features import FEATURES, Feature, Kind, Plane, Remains, Subject
from matcher.observations import MAX_OBSERVATIONS, Observation, Of, TrialFit
from matcher.plus_minus import LIMIT
from matcher.uncertainty.instruments import BUILT_IN, MAGNITUDES
from matcher.vocabulary import SPELLINGS, present_observation

UNKNOWN_FEATURE = "unknown_feature"
"""Error type of an observation with an unknown feature."""

MAX_REPEATS = 100
"""Most repeats of one reading in a request: more do not reduce an uncertainty that the instrument limits. The matcher
takes more (`matcher.observations.MAX_READINGS`), since stored evidence may hold more."""

MAX_CANDIDATES = 100
"""Most candidates in one answer: people do not read further."""

MAX_SPANS = 1000
"""Most gaps over which a pitch can be measured: no row is longer."""

MAX_VALUES = 20
"""Most values in one observation of a category: more than any category has."""

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[StrictInt, Field(ge=-(2**31), le=2**31)]
Word = Annotated[str, StringConstraints(min_length=1, max_length=200)]


def _listed(kinds: tuple[Kind, ...]) -> list[Feature]:
    return [feature for feature in FEATURES.values() if feature.kind in kinds]


def _meaning(feature: Feature) -> str:
    span = f" ({feature.low:g} to {feature.high:g}{' mm' if feature.kind is Kind.DIMENSION else ''})"
    values = f" Values: {', '.join(f'`{value}`' for value in feature.values)}." if feature.values else ""
    return f"- `{feature.name}` ({feature.label}): {feature.meaning}{values}{span if feature.high else ''}"


def _feature_field(*kinds: Kind) -> Any:
    """The field ``feature`` of one kind of observation: the names of features and their exact meanings."""
    features = _listed(kinds)
    return Field(
        description="The observed feature.\n\n" + "\n".join(_meaning(feature) for feature in features),
        json_schema_extra={"enum": [feature.name for feature in features]},
    )


def _several(given: Any) -> Any:
    return (given,) if isinstance(given, str) else given


def _one_or_several_schema() -> dict[str, Any]:
    word = {"type": "string", "minLength": 1, "maxLength": 200}
    several = {"type": "array", "items": word, "minItems": 1, "maxItems": MAX_VALUES}
    examples = [list(feature.values)[:2] for feature in _listed((Kind.CATEGORY,))[1:3]]
    return {"anyOf": [word, several], "examples": [examples[0][0], *examples]}


OneOrSeveral = Annotated[
    tuple[Word, ...],
    Field(min_length=1, max_length=MAX_VALUES),
    BeforeValidator(_several),
    WithJsonSchema(_one_or_several_schema()),
]
"""A word or a list of words; a single word becomes a list of one."""


class Request(BaseModel):
    """Base of all requests: frozen. An unknown field is an error, so that a misspelt one is not lost."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class _Observed(Request):
    of: Of | None = Field(
        default=None,
        description="Which body: this half, the other half (often still on the old cable) or the mated pair. "
        "Left out: the pair for features of a pair, this half for all others.",
    )


class DimensionObservation(_Observed):
    """A length: one value, repeated readings, or a bound. Give exactly one of `value`, `readings`, `min` / `max`."""

    feature: str = _feature_field(Kind.DIMENSION)
    value: Number | None = Field(default=None, description="The reading, in `unit`.")
    readings: Annotated[tuple[Number, ...], Field(max_length=MAX_REPEATS)] = Field(
        default=(), description="Repeated readings of the same length, in `unit`; their scatter counts as uncertainty."
    )
    min: Number | None = Field(default=None, description="It is at least this.")
    max: Number | None = Field(default=None, description="It is at most this.")
    unit: Word = Field(default="mm", description=f"One of {', '.join(SPELLINGS)}; px needs a picture.")
    u: Number | None = Field(
        default=None, description="Your own standard uncertainty in `unit`, instead of the computed one."
    )
    plus_minus: Number | None = Field(
        default=None, description=f"Your own {LIMIT} ± in `unit`, instead of the instrument's."
    )
    spans: Annotated[StrictInt, Field(ge=1, le=MAX_SPANS)] = Field(
        default=1, description="For a pitch: gaps counted (gaps, not contacts); the value is divided by them."
    )
    instrument: Word | None = Field(
        default=None,
        description="What it was measured with. For a picture without a scale it says how it was taken: "
        "`unscaled_photo` by hand, which is assumed where nothing is said (each length may be off by 2 % of its own), "
        "`unscaled_photo_from_above` straight from above (0.5 %), `unscaled_photo_rectified` with its perspective "
        "removed (0). All readings of one picture name the same.",
        json_schema_extra={"enum": [*BUILT_IN, None]},
    )
    image: Word | None = Field(default=None, description="Name of the picture, if there are several.")
    plane: Plane | None = Field(default=None, description="Plane in the picture, if not the usual one.")
    px_per_mm: Number | None = Field(default=None, description="Scale of the picture, for readings in px.")
    scale_rel: Number | None = Field(
        default=None, description="Relative standard uncertainty of that scale, instead of the instrument's."
    )
    plane_rel: Number | None = Field(
        default=None,
        description="Relative standard uncertainty of the scale in this plane; 0 in the scale's own plane.",
    )
    less: Number | None = Field(
        default=None,
        description="Subtracted from each number before it is divided, in `unit`: one contact's width, if you "
        "measured over outer edges. Measure it with the same tool, so that the zero error cancels.",
    )
    less_u: Number | None = Field(default=None, description="Standard uncertainty of `less`, in `unit`.")


class CountObservation(_Observed):
    """A count: exact, or at least / at most."""

    feature: str = _feature_field(Kind.COUNT)
    value: Whole | None = Field(default=None, description="How many were counted.")
    min: Whole | None = Field(default=None, description="At least this many.")
    max: Whole | None = Field(default=None, description="At most this many.")


class CategoryObservation(_Observed):
    """What you can see: one value, or several that you cannot distinguish (for keying: every key that you see)."""

    feature: str = _feature_field(Kind.CATEGORY, Kind.LABELS)
    value: OneOrSeveral = Field(description="One of the feature's values, or a list of them.")

    @model_validator(mode="before")
    @classmethod
    def _by_present_names(cls, given: Any) -> Any:
        return present_observation(given) if isinstance(given, Mapping) else given


class TextObservation(_Observed):
    """Letters that are still readable."""

    feature: str = _feature_field(Kind.TEXT)
    value: Word = Field(description="Only the letters that are certain.")


class TriedFit(Request):
    """A known half, and whether it mated in a trial."""

    half: Word = Field(description="Key of the known half, from /v1/search.")
    mates: bool = Field(strict=True)


class FitObservation(_Observed):
    """A trial fit with a known half. Never use force."""

    feature: str = _feature_field(Kind.FIT)
    value: TriedFit


_MODEL_OF_KIND: Mapping[Kind, str] = {
    Kind.DIMENSION: "dimension",
    Kind.COUNT: "count",
    Kind.CATEGORY: "category",
    Kind.LABELS: "category",
    Kind.TEXT: "text",
    Kind.FIT: "fit",
}

KIND_TAGS = frozenset(_MODEL_OF_KIND.values())
"""Names of the kinds of observation. Pydantic puts them into the paths of errors; our paths leave them out."""


_MODELS: Mapping[str, type[_Observed]] = {
    "dimension": DimensionObservation,
    "count": CountObservation,
    "category": CategoryObservation,
    "text": TextObservation,
    "fit": FitObservation,
}


def observation_model(tag: str) -> type[BaseModel]:
    """The model of one kind of observation."""
    return _MODELS[tag]


def _kind_of(given: Any) -> str | None:
    name = given.get("feature") if isinstance(given, Mapping) else getattr(given, "feature", None)
    feature = FEATURES.get(name) if isinstance(name, str) else None
    return None if feature is None else _MODEL_OF_KIND[feature.kind]


AnyObservation = Annotated[
    Annotated[DimensionObservation, Tag("dimension")]
    | Annotated[CountObservation, Tag("count")]
    | Annotated[CategoryObservation, Tag("category")]
    | Annotated[TextObservation, Tag("text")]
    | Annotated[FitObservation, Tag("fit")],
    Discriminator(_kind_of, custom_error_type=UNKNOWN_FEATURE, custom_error_message="no such feature"),
]


OwnFigures = Annotated[
    dict[Word, dict[Word, Number]],
    Field(
        max_length=len(BUILT_IN),
        description="Your own figures for built-in instruments. Figures: " + ", ".join(MAGNITUDES) + ".",
        examples=[{"caliper": {"feel_mm": 0.03}}],
    ),
]
"""The user's own figures of instruments, by instrument and figure."""

ClosedJaws = Annotated[
    dict[Word, Annotated[tuple[Number, ...], Field(max_length=MAX_REPEATS)]],
    Field(
        max_length=len(BUILT_IN),
        description="Repeated readings of a tool with closed jaws, mm: they give its zero error, which is subtracted "
        "from its readings. By tool: caliper, vernier, micrometer.",
        examples=[{"caliper": [0.01, 0.02, 0.01]}],
    ),
]
"""Readings of closed jaws, mm, by tool."""


AtHand = Annotated[
    tuple[Word, ...],
    Field(
        max_length=len(BUILT_IN),
        description="Instruments that you have, for advice on the next measurement; an empty list: only your eyes. "
        f"Left out: {', '.join(DEFAULT_AT_HAND)} and the instruments of the observations.",
        json_schema_extra={"items": {"type": "string", "enum": [*BUILT_IN]}},
        examples=[["caliper", "usb_microscope"]],
    ),
]
"""Names of instruments that the user has."""

WhatRemains = Annotated[
    Remains,
    Field(
        description=f"What remains of the half. {explained(REMAINS_WORDS)} Only what can still be seen is asked for. "
        "With one end missing, counts and lengths along the rows count as `at least`."
    ),
]
"""What remains of the half."""


class IdentifyRequest(Request):
    """A specimen: its observations, and the prior probability that the catalogue does not have it."""

    model_config = ConfigDict(json_schema_extra={"examples": [*IDENTIFY_EXAMPLES]})

    observations: Annotated[tuple[AnyObservation, ...], Field(min_length=1, max_length=MAX_OBSERVATIONS)] = Field(
        description="What you have seen and measured. 'Not visible' is not an observation: leave it out."
    )
    prior_absent: Annotated[Number, Field(gt=0, lt=1)] = Field(
        default=PRIOR_ABSENT,
        description="Prior probability that the half is not in this catalogue.",
    )
    limit: Annotated[StrictInt, Field(ge=1, le=MAX_CANDIDATES)] = Field(
        default=10, description="Most candidates to list."
    )
    instruments: OwnFigures = Field(default_factory=dict)
    closed_jaws: ClosedJaws = Field(default_factory=dict)
    at_hand: AtHand | None = None
    remains: WhatRemains = Remains.WHOLE

    @model_validator(mode="before")
    @classmethod
    def _is_an_object(cls, given: Any) -> Any:
        if isinstance(given, list):
            raise ValueError('give an object: {"observations": [...]}')
        return given


class AskRequest(IdentifyRequest):
    """A specimen that may have no observations yet, for the dialogue."""

    observations: Annotated[tuple[AnyObservation, ...], Field(max_length=MAX_OBSERVATIONS)] = ()


class ExplainRequest(IdentifyRequest):
    """A specimen as for identification, and the half to explain."""

    model_config = ConfigDict(json_schema_extra={"examples": [*EXPLAIN_EXAMPLES]})

    half: Word = Field(description="Key of the half to explain, from /v1/search or an earlier answer.")


def to_observations(request: IdentifyRequest) -> list[Observation]:
    """The request's observations in the matcher's form."""
    return [to_observation(given) for given in request.observations]


def to_observation(given: _Observed) -> Observation:
    """One observation in the matcher's form."""
    values: dict[str, Any] = {name: getattr(given, name) for name in type(given).model_fields}
    if values["of"] is None:
        values["of"] = Of.PAIR if FEATURES[values["feature"]].subject is Subject.PAIR else Of.THIS
    if isinstance(values["value"], TriedFit):
        values["value"] = TrialFit(half=values["value"].half, mates=values["value"].mates)
    if isinstance(values.get("plane"), Plane):
        values["plane"] = values["plane"].value
    return Observation(**values)
