"""Answers of measuring: readings with their budgets, rows, and the observations to identify with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, SerializerFunctionWrapHandler, WithJsonSchema, WrapSerializer

from api.schemas.answers import Out
from api.schemas.requests import AnyObservation, Request
from matcher.features import Plane
from matcher.observations import Of


def _as_set(given: Request, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
    return {name: value for name, value in handler(given).items() if name in given.model_fields_set}


def _reference(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


Ready = Annotated[
    AnyObservation,
    WrapSerializer(_as_set),
    WithJsonSchema(
        {"oneOf": [_reference(name) for name in ("DimensionObservation", "CountObservation", "CategoryObservation")]},
        mode="serialization",
    ),
]
"""An observation that an identification takes as it stands; fields that say nothing are left out."""


class BudgetLine(Out):
    """One source of doubt; `contribution` = `sensitivity` × `u`."""

    source: str
    distribution: str
    u: float = Field(description="Standard uncertainty, in the source's own unit.")
    sensitivity: float
    contribution: float = Field(description="In the unit of the value.")
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")


class Measured(Out):
    """One length with its uncertainty by the GUM (JCGM 100:2008); readings of it that agree are one."""

    observations: tuple[int, ...] = Field(description="Places in `observations` of what it comes from.")
    feature: str
    of: Of
    unit: Literal["mm", "px"] = Field(description="px: a picture without a scale, where only ratios count.")
    value: float
    spans: int = Field(description="Gaps it was read over; value and u are of one.")
    u: float = Field(description="Combined standard uncertainty; of an unscaled picture, without its scale.")
    degrees_of_freedom: float | None = Field(description="Effective (Welch–Satterthwaite); null: unlimited.")
    coverage_factor: float
    level: float = Field(description="Probability with which value ± expanded holds the true value.")
    expanded: float
    budget: tuple[BudgetLine, ...]
    chi2: float | None = Field(description="About the weighted mean, where several readings were combined.")
    chi2_degrees_of_freedom: int | None
    p: float | None = Field(description="How often readings that are all right differ at least so much.")
    notes: tuple[str, ...]


class Contradiction(Out):
    """Readings of one length that cannot all be right; they stay apart."""

    feature: str
    of: Of
    groups: tuple[tuple[int, ...], ...] = Field(description="Places in `observations` that agree among themselves.")
    values: tuple[float, ...] = Field(description="What each group comes to, mm.")
    chi2: float
    degrees_of_freedom: int
    p: float = Field(description="How often readings that are all right differ at least so much.")


class CountProbability(Out):
    """Another count, and how probable it is."""

    count: int
    probability: float


class FoundContact(Out):
    """One contact that was found."""

    index: int = Field(description="Place in the row; 0: the first.")
    position: float = Field(description="Pixels from the start of the line.")
    x: float | None = Field(description="In the picture; null: a profile has none.")
    y: float | None
    u: float = Field(description="Standard uncertainty of the position, px.")
    doubtful: str | None = Field(description="Why it may be none; null: it is clear.")


class FoundRow(Out):
    """One row of contacts that was found along a line."""

    line: tuple[float, float, float, float] | None
    width: float | None = Field(description="Pixels across the row that were averaged.")
    count: int = Field(description="Places from the first contact to the last, empty ones included.")
    count_probability: float
    alternatives: tuple[CountProbability, ...]
    sure: bool = Field(description="Whether the count can be used without counting again.")
    reasons: tuple[str, ...] = Field(description="Why it is not sure.")
    missing: tuple[int, ...] = Field(description="Empty places between the first contact and the last.")
    pitch_px: float
    pitch_u: float
    pitch_u95: float = Field(description="Half-width of its 95 % interval (Student's t).")
    degrees_of_freedom: float | None = Field(description="Of pitch_u; null: unlimited.")
    dark: bool = Field(description="Whether the contacts are darker than what lies between them.")
    contrast: float = Field(description="Height of a contact in the profile, 0 to 1 of its range.")
    contacts: tuple[FoundContact, ...]


class ClickedPoint(Out):
    """One clicked contact and how well it fits the row."""

    field: str = Field(description="Its place in the request.", examples=["pictures[0].rows[0].points[3]"])
    site: int = Field(description="Its place in the row; 0: the first.")
    off_px: float = Field(description="Along the row, from where equal steps put it.")
    across_px: float = Field(description="Across the row, from its line.")
    outlier: bool = Field(description="Too far off: it was left out of the fit.")


class FittedRow(Out):
    """Clicked contacts as equal steps along a line."""

    pitch_px: float
    pitch_u: float
    pitch_u95: float
    tilt_degrees: float = Field(description="From the x axis towards the y axis.")
    tilt_u_degrees: float
    spans: int = Field(description="Gaps between the first contact and the last.")
    missing: tuple[int, ...] = Field(description="Places between them where nothing was clicked.")
    points: tuple[ClickedPoint, ...] = Field(description="In the order they were clicked.")


class RowRelation(Out):
    """How two neighbouring rows stand to each other."""

    rows: tuple[int, int] = Field(description="Their places among the picture's rows.")
    spacing_px: float
    spacing_u: float
    offset: float = Field(description="How far the second is shifted along the first, in pitches: −0.5 to 0.5.")
    offset_u: float
    layout: str = Field(description="aligned, staggered or unclear.")
    probability: float = Field(description="Of the layout; of the likelier one where it is unclear.")
    agree: bool = Field(description="Whether both have one direction and one pitch.")


class FoundScale(Out):
    """A picture's scale."""

    px_per_mm: float
    rel: float = Field(description="Relative standard uncertainty.")
    plane: Plane = Field(description="Where it holds.")
    source: str
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")


class ClickedLength(Out):
    """One length as it was clicked, px: what belongs to the clicks alone, without scale and plane."""

    observation: int = Field(description="Its place in `observations`.")
    feature: str
    value_px: float
    u_px: float
    u95_px: float
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")
    budget: tuple[BudgetLine, ...]


class PictureAnswer(Out):
    """What was made of one picture's points."""

    name: str
    lengths: tuple[ClickedLength, ...]
    rows: tuple[FittedRow, ...]
    relations: tuple[RowRelation, ...]
    click_u: float = Field(description="Standard uncertainty of one click, px: from residuals, at least 0.5.")
    click_degrees_of_freedom: float | None = Field(description="Null: unlimited, half a pixel rules.")
    scale: FoundScale | None = Field(description="Null: none; only ratios count.")
    notes: tuple[str, ...]


class _Ready(Out):
    observations: tuple[Ready, ...] = Field(description="Ready for /v1/identify as they are.")
    short_form: tuple[str, ...] = Field(description="The same as 'otherhalf identify' takes them.")
    budgets: tuple[Measured, ...] = Field(description="What each length comes to, and where its doubt comes from.")
    notes: tuple[str, ...] = Field(description="What was found and assumed, in bench words.")


class MeasureAnswer(_Ready):
    """What the points and readings come to. Send `observations`, `closed_jaws` and `instruments` on to /v1/identify."""

    closed_jaws: Mapping[str, tuple[float, ...]] = Field(description="As given: an identification needs them too.")
    instruments: Mapping[str, Mapping[str, float]] = Field(description="As given; likewise.")
    pictures: tuple[PictureAnswer, ...]
    contradictions: tuple[Contradiction, ...]


class RowAnswer(_Ready):
    """The rows of contacts that were found."""

    rows: tuple[FoundRow, ...]
    relations: tuple[RowRelation, ...] = Field(description="How neighbouring rows stand to each other.")
    scale: FoundScale | None = Field(description="Null: none; only ratios count.")
