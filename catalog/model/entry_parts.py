"""What the entries of the catalogue are made of: dimensions and laws, ratings, citations, and common fields, checked.

Lengths are in millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    FiniteFloat,
    model_validator,
)

from catalog.model.text_fields import Line, Passage
from matcher.columns.columns import Dim
from matcher.features import COUNTS, DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES
from matcher.vocabulary import MM_PER_UNIT, present_category

T = TypeVar("T")

LARGEST_DIMENSION = 1000.0
"""The largest dimension of an entry, mm."""

MOST_CONTACTS = 1000
"""Most contacts of a half."""

DIGITS_MM = 6
"""Decimals kept of a computed dimension: a nanometre, so that 0.1 + 0.2 stays 0.3."""

SAME_MM = 1e-5
"""Two lengths that differ by less than this, mm, are one length rounded differently."""


def _number(value: object) -> float | None:
    """An unchecked value as a number, also from text as in a table; None if it is not a number."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        return float(value)
    except (ValueError, OverflowError):
        return None


HalfKind = Literal["plug", "receptacle", "hermaphroditic"]
LengthUnit = Literal["mm", "in", "mil", "um"]
Bound = Literal["nominal", "max", "min", "reference"]
Basis = Literal["maker", "other_maker", "trial_fit", "inferred"]
Correspondence = Literal["identity", "rows_swapped", "reversed", "listed", "unknown"]
Lifecycle = Literal["active", "not_for_new_designs", "discontinued", "unknown"]


class Entry(BaseModel):
    """Base of all entries. They are frozen, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Dimension(Entry):
    """A dimension, mm.

    ``tolerance`` is the half-width on the drawing, None if it states none. ``extra_u`` is a standard uncertainty of the
    stated value itself, and ``doubt`` gives the reason for it.

    If the source uses another ``unit``, value, tolerance and extra_u are given in that unit. They are converted to mm,
    and ``given`` and ``given_tolerance`` keep the original figures. If ``given`` is set, value is already in mm: the
    form that is stored and exchanged in files.
    """

    value: Annotated[FiniteFloat, Field(gt=0, le=LARGEST_DIMENSION)]
    bound: Bound = "nominal"
    tolerance: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None
    extra_u: Annotated[FiniteFloat, Field(ge=0, le=100)] = 0.0
    doubt: Passage = ""
    unit: LengthUnit = "mm"
    given: FiniteFloat | None = None
    given_tolerance: FiniteFloat | None = None

    @model_validator(mode="before")
    @classmethod
    def _to_mm(cls, data: Any) -> Any:
        # Nearly always a dict. Checking sixty thousand of them against the abstract type takes a second.
        if not (type(data) is dict or isinstance(data, Mapping)) or data.get("given") is not None:
            return data
        unit = data.get("unit", "mm")
        if unit == "mm" or not isinstance(unit, str) or unit not in MM_PER_UNIT:
            return data  # the field itself refuses an unknown unit
        read = {name: _number(data.get(name)) for name in ("value", "tolerance", "extra_u")}
        lengths = {name: length for name, length in read.items() if length is not None}
        mm = {name: round(length * MM_PER_UNIT[unit], DIGITS_MM) for name, length in lengths.items()}
        source = {"given": lengths.get("value"), "given_tolerance": lengths.get("tolerance")}
        return {**data, **mm, **source}

    @property
    def dim(self) -> Dim:
        """The dimension as the matcher reads it."""
        return Dim(value=self.value, tolerance=self.tolerance, bound=self.bound, extra_u=self.extra_u)

    @model_validator(mode="after")
    def _given_in_its_unit(self) -> Self:
        if self.unit == "mm" and self.given is None is self.given_tolerance:
            return self  # the usual case, tested first to save time
        if (self.unit == "mm") != (self.given is None):
            raise ValueError("given is required for a unit other than mm, and not allowed for mm")
        for mm, source in ((self.value, self.given), (self.tolerance, self.given_tolerance)):
            if source is not None and (mm is None or abs(mm - source * MM_PER_UNIT[self.unit]) > SAME_MM):
                raise ValueError(
                    f"{source:g} {self.unit} is not {mm} mm; leave given out and write value in {self.unit}"
                )
        return self


class DimensionLaw(Entry):
    """dimension = intercept + slope × positions (contacts per row), mm."""

    intercept: Annotated[FiniteFloat, Field(ge=-LARGEST_DIMENSION, le=LARGEST_DIMENSION)]
    slope: Annotated[FiniteFloat, Field(ge=-100, le=100)] = 0.0
    bound: Bound = "nominal"
    tolerance: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None


class Ratings(Entry):
    """Electrical ratings as the maker states them; currents apply while ``loaded_contacts`` contacts carry current.

    ``temperature_rise_k`` is the rise over the ambient at which the currents were taken, ``upper_temperature_c`` the
    highest temperature of the contacts. ``contact_resistance_mohm`` is that of one mated contact.
    """

    contact_current_a: Annotated[FiniteFloat, Field(gt=0, le=1000)] | None = None
    power_contact_current_a: Annotated[FiniteFloat, Field(gt=0, le=1000)] | None = None
    loaded_contacts: Annotated[int, Field(ge=1, le=2000)] | None = None
    voltage_v: Annotated[FiniteFloat, Field(gt=0, le=10000)] | None = None
    contact_resistance_mohm: Annotated[FiniteFloat, Field(gt=0, le=10000)] | None = None
    temperature_rise_k: Annotated[FiniteFloat, Field(gt=0, le=200)] | None = None
    upper_temperature_c: Annotated[FiniteFloat, Field(gt=0, le=400)] | None = None

    @model_validator(mode="after")
    def _not_empty(self) -> Self:
        if all(value is None for value in vars(self).values()):
            raise ValueError("ratings state nothing; leave them out")
        return self


OF_CURRENT = {"contact_current_a", "power_contact_current_a", "loaded_contacts", "temperature_rise_k"}
"""The ratings that hold only together with the number of loaded contacts."""

POWER_CONTACTS = "power_contact_count"
"""The count of power contacts, which ``contact_count`` leaves out."""


class Citation(Entry):
    """The source of the numbers: a maker's drawing, a datasheet, a specification or a footprint file."""

    title: Line
    revision: Passage = ""
    page: Passage = ""
    address: Passage = ""

    @property
    def words(self) -> str:
        """The document with its revision and page."""
        revision = f"revision {self.revision}" if self.revision else ""
        page = f"page {self.page}" if self.page else ""
        return ", ".join(part for part in (self.title, revision, page) if part)


ContactCount = Annotated[int, Field(ge=1, le=MOST_CONTACTS)]


class BlockedPosition(Entry):
    """A site without a contact: row and position, both counted from 1."""

    row: Annotated[int, Field(ge=1, le=20)]
    position: ContactCount


class Common(Entry):
    """The fields that series and halves share."""

    lifecycle: Lifecycle = "unknown"
    mating_cycles: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    ratings: Ratings | None = None
    datasheet: Citation | None = None
    note: Passage = ""


def _half_dimensions(dimensions: dict[str, T]) -> dict[str, T]:
    for name in dimensions:
        if name not in DIMENSIONS:
            raise ValueError(f"{name!r} is not a dimension of a half; known: {', '.join(sorted(DIMENSIONS))}")
    return dimensions


def _plausible_counts(counts: dict[str, int]) -> dict[str, int]:
    for name, value in counts.items():
        if name not in COUNTS:
            raise ValueError(f"{name!r} is not a count; known: {', '.join(ENTRY_COUNTS)}")
        feature = FEATURES[name]
        if feature.own_field:
            raise ValueError(f"{name} has a field of its own")
        if not feature.low <= value <= feature.high:
            raise ValueError(f"{name} = {value} is outside {feature.low:.0f} to {feature.high:.0f}")
    return counts


def _present_categories(categories: Any) -> Any:
    """Categories by their present names. Where an entry states the category that took a value over as well, nothing is
    changed, so that the old name is refused."""
    if not isinstance(categories, Mapping):
        return categories
    present = dict(present_category(name, values) for name, values in categories.items())
    return present if len(present) == len(categories) else categories


def _known_categories(categories: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    for name, values in categories.items():
        if name not in ENTRY_CATEGORIES:
            raise ValueError(
                f"{name!r} is not a category that can be given here; possible: {', '.join(ENTRY_CATEGORIES)}"
            )
        if not values or len(set(values)) < len(values):
            raise ValueError(f"{name} needs at least one value, without repeats")
        for value in values:
            if value not in FEATURES[name].values:
                raise ValueError(f"{name} cannot be {value!r}; possible: {', '.join(FEATURES[name].values)}")
    return categories


HalfDimensions = Annotated[dict[str, Dimension], AfterValidator(_half_dimensions)]
HalfLaws = Annotated[dict[str, DimensionLaw], AfterValidator(_half_dimensions)]
Counts = Annotated[dict[str, int], AfterValidator(_plausible_counts)]
Categories = Annotated[
    dict[str, tuple[str, ...]], BeforeValidator(_present_categories), AfterValidator(_known_categories)
]
