"""Models of measured results: readings with their budgets, rows of contacts, and observations for identification."""

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
"""An observation in the form of an identification; unset fields are left out."""


class BudgetLine(Out):
    """One source of uncertainty; `contribution` = `sensitivity` × `u`."""

    source: str
    distribution: str
    u: float = Field(description="Standard uncertainty, in the source's own unit.")
    sensitivity: float
    contribution: float = Field(description="In the unit of the value.")
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")


class Measured(Out):
    """One length with its uncertainty by the GUM (JCGM 100:2008). Readings of it that agree are combined."""

    observations: tuple[int, ...] = Field(description="Indices in `observations` of its readings.")
    feature: str
    of: Of
    unit: Literal["mm", "px"] = Field(description="px: a picture without a scale, where only ratios count.")
    value: float
    spans: int = Field(description="Gaps over which it was measured; value and u are for one gap.")
    u: float = Field(description="Combined standard uncertainty; without that of the scale if there is no scale.")
    degrees_of_freedom: float | None = Field(description="Effective (Welch–Satterthwaite); null: unlimited.")
    coverage_factor: float
    level: float = Field(description="Probability with which value ± expanded holds the true value.")
    expanded: float
    budget: tuple[BudgetLine, ...]
    chi2: float | None = Field(description="About the weighted mean, if several readings were combined.")
    chi2_degrees_of_freedom: int | None
    p: float | None = Field(description="Probability that correct readings differ at least this much.")
    notes: tuple[str, ...]


class Contradiction(Out):
    """Readings of one length that cannot all be correct; they are not combined."""

    feature: str
    of: Of
    groups: tuple[tuple[int, ...], ...] = Field(description="Indices in `observations`, in groups that agree.")
    values: tuple[float, ...] = Field(description="The value of each group, mm.")
    chi2: float
    degrees_of_freedom: int
    p: float = Field(description="Probability that correct readings differ at least this much.")


class CountProbability(Out):
    """Another possible count and its probability."""

    count: int
    probability: float


class FoundContact(Out):
    """One contact that was found."""

    index: int = Field(description="Place in the row; 0: the first.")
    position: float = Field(description="Pixels from the start of the line.")
    x: float | None = Field(description="In the picture; null for a profile.")
    y: float | None
    u: float = Field(description="Standard uncertainty of the position, px.")
    doubtful: str | None = Field(description="Why it may not be a contact; null: it is clear.")


class FoundRow(Out):
    """One row of contacts that was found along a line."""

    line: tuple[float, float, float, float] | None
    width: float | None = Field(description="Pixels averaged across the row.")
    count: int = Field(description="Places from the first contact to the last, with empty ones.")
    count_probability: float
    alternatives: tuple[CountProbability, ...]
    sure: bool = Field(description="Whether the count can be used without counting by eye.")
    reasons: tuple[str, ...] = Field(description="Why the count is not sure.")
    missing: tuple[int, ...] = Field(description="Empty places between the first contact and the last.")
    pitch_px: float
    pitch_u: float
    pitch_u95: float = Field(description="Half-width of its 95 % interval (Student's t).")
    degrees_of_freedom: float | None = Field(description="Of pitch_u; null: unlimited.")
    dark: bool = Field(description="Whether the contacts are darker than the gaps.")
    contrast: float = Field(description="Height of a contact in the profile, as a share of the profile's range.")
    contacts: tuple[FoundContact, ...]


class ClickedPoint(Out):
    """One clicked contact and how well it fits the row."""

    field: str = Field(description="Its path in the request.", examples=["pictures[0].rows[0].points[3]"])
    site: int = Field(description="Its place in the row; 0: the first.")
    off_px: float = Field(description="Distance along the row from its place at equal steps.")
    across_px: float = Field(description="Distance from the line of the row.")
    outlier: bool = Field(description="Whether it was too far off and left out of the fit.")


class FittedRow(Out):
    """Equal steps along a line, fitted to clicked contacts."""

    pitch_px: float
    pitch_u: float
    pitch_u95: float
    tilt_degrees: float = Field(description="From the x axis towards the y axis.")
    tilt_u_degrees: float
    spans: int = Field(description="Gaps between the first contact and the last.")
    missing: tuple[int, ...] = Field(description="Places between them without a click.")
    points: tuple[ClickedPoint, ...] = Field(description="In the order in which they were clicked.")


class RowRelation(Out):
    """The position of two neighbouring rows to each other."""

    rows: tuple[int, int] = Field(description="Their indices among the picture's rows.")
    spacing_px: float
    spacing_u: float
    offset: float = Field(description="Shift of the second row along the first, in pitches: −0.5 to 0.5.")
    offset_u: float
    layout: str = Field(description="aligned, staggered or unclear.")
    probability: float = Field(description="Of the layout; if it is unclear, of the more probable one.")
    agree: bool = Field(description="Whether both rows have the same direction and pitch.")


class FoundScale(Out):
    """A picture's scale."""

    px_per_mm: float
    rel: float = Field(description="Relative standard uncertainty.")
    plane: Plane = Field(description="The plane for which it is valid.")
    source: str
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")


class ClickedLength(Out):
    """One clicked length in pixels, with the uncertainty of the clicks alone, without scale and plane."""

    observation: int = Field(description="Its index in `observations`.")
    feature: str
    value_px: float
    u_px: float
    u95_px: float
    degrees_of_freedom: float | None = Field(description="Null: unlimited.")
    budget: tuple[BudgetLine, ...]


class PictureAnswer(Out):
    """The evaluation of one picture's points."""

    name: str
    lengths: tuple[ClickedLength, ...]
    rows: tuple[FittedRow, ...]
    relations: tuple[RowRelation, ...]
    click_u: float = Field(description="Standard uncertainty of one click, px: from residuals, at least 0.5.")
    click_degrees_of_freedom: float | None = Field(description="Null: unlimited, since the minimum of 0.5 px is used.")
    scale: FoundScale | None = Field(description="Null: there is no scale; only ratios count.")
    notes: tuple[str, ...]


class _Ready(Out):
    observations: tuple[Ready, ...] = Field(description="Observations to send to /v1/identify.")
    short_form: tuple[str, ...] = Field(description="The same in the short form of 'otherhalf identify'.")
    budgets: tuple[Measured, ...] = Field(description="Each length with its uncertainty and the sources of that.")
    notes: tuple[str, ...] = Field(description="What was found and assumed, in words.")


class MeasureAnswer(_Ready):
    """The evaluation of points and readings. Send `observations`, `closed_jaws` and `instruments` to /v1/identify."""

    closed_jaws: Mapping[str, tuple[float, ...]] = Field(description="As sent: an identification needs them too.")
    instruments: Mapping[str, Mapping[str, float]] = Field(description="As sent: an identification needs them too.")
    pictures: tuple[PictureAnswer, ...]
    contradictions: tuple[Contradiction, ...]


class RowAnswer(_Ready):
    """The rows of contacts that were found."""

    rows: tuple[FoundRow, ...]
    relations: tuple[RowRelation, ...] = Field(description="The positions of neighbouring rows to each other.")
    scale: FoundScale | None = Field(description="Null: there is no scale; only ratios count.")
