"""What the catalogue holds, as people and files give it: series with laws, halves, matings.

These models are the catalogue's boundary: exchange files, importers and the demo data are read into them and
everything is checked here. Lengths are millimetres. They know neither tables nor HTTP.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, FiniteFloat, TypeAdapter, model_validator

from catalog.model.text_fields import Line, Passage
from matcher.columns.columns import Dim
from matcher.features import COUNTS, DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES, PAIR_DIMENSIONS
from matcher.vocabulary import MM_PER_UNIT

T = TypeVar("T")


DIGITS_MM = 6
"""Decimals kept of a computed dimension: a nanometre, so that 0.1 + 0.2 stays 0.3."""

SAME_MM = 1e-5
"""Two figures that differ by less, mm, are one figure rounded differently."""


def _number(value: object) -> float | None:
    """The number that a value not yet validated is, or is the text of (as in a table); else None."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        return float(value)
    except (ValueError, OverflowError):
        return None


Text = Line
LongText = Passage
HalfKind = Literal["plug", "receptacle", "hermaphroditic"]
LengthUnit = Literal["mm", "in", "mil", "um"]
Bound = Literal["nominal", "max", "min", "reference"]
Basis = Literal["maker", "other_maker", "trial_fit", "inferred"]
Correspondence = Literal["identity", "rows_swapped", "reversed", "listed", "unknown"]


class Entry(BaseModel):
    """Base of all entries: frozen, and a misspelt field is an error rather than lost."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Dimension(Entry):
    """A dimension, mm.

    ``tolerance`` is the drawing's half-width; none when the drawing states none. ``extra_u`` is a standard
    uncertainty of the entry itself and ``doubt`` says why.

    A source in another ``unit`` is given as it stands there, value, tolerance and extra_u alike; they become mm, and
    ``given`` and ``given_tolerance`` keep the source's own figures. Where ``given`` is there, value is mm already: that
    is the stored form, and the one that files exchange.
    """

    value: Annotated[FiniteFloat, Field(gt=0, le=1000)]
    bound: Bound = "nominal"
    tolerance: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None
    extra_u: Annotated[FiniteFloat, Field(ge=0, le=100)] = 0.0
    doubt: LongText = ""
    unit: LengthUnit = "mm"
    given: FiniteFloat | None = None
    given_tolerance: FiniteFloat | None = None

    @model_validator(mode="before")
    @classmethod
    def _to_mm(cls, data: Any) -> Any:
        # A dictionary is what it nearly always is, and asking for the abstract type of sixty thousand takes a second.
        if not (type(data) is dict or isinstance(data, Mapping)) or data.get("given") is not None:
            return data
        unit = data.get("unit", "mm")
        if unit == "mm" or not isinstance(unit, str) or unit not in MM_PER_UNIT:
            return data  # an unknown unit is refused at its field
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
            return self  # nearly all of sixty thousand
        if (self.unit == "mm") != (self.given is None):
            raise ValueError("given holds the source's figure in a unit that is not mm, and only there")
        for mm, source in ((self.value, self.given), (self.tolerance, self.given_tolerance)):
            if source is not None and (mm is None or abs(mm - source * MM_PER_UNIT[self.unit]) > SAME_MM):
                raise ValueError(
                    f"{source:g} {self.unit} is not {mm} mm; leave given out and write value in {self.unit}"
                )
        return self


class DimensionLaw(Entry):
    """dimension = intercept + slope × positions (contacts per row), mm."""

    intercept: Annotated[FiniteFloat, Field(ge=-1000, le=1000)]
    slope: Annotated[FiniteFloat, Field(ge=-100, le=100)] = 0.0
    bound: Bound = "nominal"
    tolerance: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None


class Ratings(Entry):
    """Electrical ratings as the maker states them; currents hold for ``loaded_contacts`` contacts loaded at once."""

    contact_current_a: Annotated[FiniteFloat, Field(gt=0, le=1000)] | None = None
    power_contact_current_a: Annotated[FiniteFloat, Field(gt=0, le=1000)] | None = None
    loaded_contacts: Annotated[int, Field(ge=1, le=2000)] | None = None
    voltage_v: Annotated[FiniteFloat, Field(gt=0, le=10000)] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if all(value is None for value in vars(self).values()):
            raise ValueError("ratings state nothing; leave them out")
        return self


class Citation(Entry):
    """Where the numbers come from: a maker's drawing, a datasheet, a specification, a footprint file."""

    title: Text
    revision: LongText = ""
    page: LongText = ""
    address: LongText = ""


class BlockedPosition(Entry):
    """A contact site left out: row and position, both counted from 1."""

    row: Annotated[int, Field(ge=1, le=20)]
    position: Annotated[int, Field(ge=1, le=1000)]


class Common(Entry):
    """What series and single halves both may say."""

    lifecycle: Literal["active", "not_for_new_designs", "discontinued", "unknown"] = "unknown"
    mating_cycles: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    ratings: Ratings | None = None
    datasheet: Citation | None = None
    note: LongText = ""


def _half_dimensions(dimensions: dict[str, T]) -> dict[str, T]:
    for name in dimensions:
        if name not in DIMENSIONS:
            raise ValueError(f"{name!r} is no dimension of a half; known: {', '.join(sorted(DIMENSIONS))}")
    return dimensions


def _plausible_counts(counts: dict[str, int]) -> dict[str, int]:
    for name, value in counts.items():
        if name not in COUNTS:
            raise ValueError(f"{name!r} is no count; known: {', '.join(ENTRY_COUNTS)}")
        feature = FEATURES[name]
        if feature.own_field:
            raise ValueError(f"{name} has a field of its own")
        if not feature.low <= value <= feature.high:
            raise ValueError(f"{name} = {value} is outside {feature.low:.0f} to {feature.high:.0f}")
    return counts


def _known_categories(categories: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    for name, values in categories.items():
        if name not in ENTRY_CATEGORIES:
            raise ValueError(f"{name!r} is no category that can be given here")
        if not values or len(set(values)) < len(values):
            raise ValueError(f"{name} needs at least one value, and each only once")
        for value in values:
            if value not in FEATURES[name].values:
                raise ValueError(f"{name} = {value!r}; possible: {', '.join(FEATURES[name].values)}")
    return categories


HalfDimensions = Annotated[dict[str, Dimension], AfterValidator(_half_dimensions)]
HalfLaws = Annotated[dict[str, DimensionLaw], AfterValidator(_half_dimensions)]
Counts = Annotated[dict[str, int], AfterValidator(_plausible_counts)]
Categories = Annotated[dict[str, tuple[str, ...]], AfterValidator(_known_categories)]


class Half(Common):
    """One connector body as moulded: the unit that is identified.

    ``positions`` is the number of contact sites per (longest) row; ``row_contacts`` lists unequal rows, and
    ``blocked`` the sites left out. ``categories`` maps a feature to one value or, where the source leaves it open (or
    for keying), to several. ``part_number`` names the half; ``order_codes`` hang under it.
    """

    record: Literal["half"] = "half"
    maker: Text
    series: Text
    part_number: Text
    half_kind: HalfKind | None = None
    rows: Annotated[int, Field(ge=1, le=20)]
    contact_count: Annotated[int, Field(ge=1, le=1000)]
    positions: Annotated[int, Field(ge=1, le=1000)] | None = None
    row_contacts: tuple[Annotated[int, Field(ge=0, le=1000)], ...] = ()
    blocked: tuple[BlockedPosition, ...] = ()
    dimensions: HalfDimensions = Field(default_factory=dict)
    counts: Counts = Field(default_factory=dict)
    categories: Categories = Field(default_factory=dict)
    markings: tuple[Text, ...] = ()
    aliases: tuple[Text, ...] = ()
    order_codes: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _contacts_add_up(self) -> Self:
        if self.row_contacts and (len(self.row_contacts) != self.rows or sum(self.row_contacts) != self.contact_count):
            raise ValueError("row_contacts must list one number per row and add up to contact_count")
        if self.positions is not None and self.contact_count > self.positions * self.rows:
            raise ValueError("contact_count is larger than rows × positions")
        return self

    @property
    def key(self) -> str:
        """Permanent, readable identifier: maker and part number."""
        return half_key(self.maker, self.part_number)

    @property
    def series_key(self) -> str:
        """Key of the series it belongs to."""
        return half_key(self.maker, self.series)

    @property
    def contacts_per_row(self) -> int:
        """Positions of the longest row: stated, else from the rows, else contact_count over rows, rounded up."""
        if self.positions is not None:
            return self.positions
        if self.row_contacts:
            return max(self.row_contacts)
        return -(-self.contact_count // self.rows)

    @property
    def all_counts(self) -> dict[str, int]:
        """Every count that is stated, those with a field of their own too."""
        return {**self.counts, "contact_count": self.contact_count, "rows": self.rows}

    @property
    def all_categories(self) -> dict[str, frozenset[str]]:
        """The values that every stated category may have, the kind of half too."""
        found = {name: frozenset(values) for name, values in self.categories.items()}
        return found if self.half_kind is None else {**found, "half_kind": frozenset({self.half_kind})}


class HeightClass(Entry):
    """One height of a half kind in a series: its share of the stack, and the dimensions that differ.

    ``code`` fills {class} in the part number. ``stack_share`` adds up with the mate's share to the stack height.
    """

    code: Text = "-"
    stack_share: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None
    dimensions: HalfLaws = Field(default_factory=dict)


class KindLaw(Entry):
    """All halves of one kind in a series: contact counts × height classes, dimensions by law.

    ``part_number`` is a plain pattern: {contacts}, {positions} and {class} are filled in, {contacts:3} pads with zeros
    to three figures. ``order_codes`` are patterns that may also use {part}. ``blocked`` sites are left out of every
    half's contact count.
    """

    half_kind: HalfKind
    part_number: Text
    rows: Annotated[int, Field(ge=1, le=20)]
    contact_counts: Annotated[tuple[Annotated[int, Field(ge=1, le=1000)], ...], Field(min_length=1)]
    classes: tuple[HeightClass, ...] = (HeightClass(),)
    blocked: tuple[BlockedPosition, ...] = ()
    dimensions: HalfLaws
    counts: Counts = Field(default_factory=dict)
    categories: Categories = Field(default_factory=dict)
    markings: tuple[Text, ...] = ()
    aliases: tuple[Text, ...] = ()
    order_codes: tuple[Text, ...] = ()


class StackPair(Entry):
    """A combination of height classes that mates: the plug's (or first's) code and the receptacle's.

    ``stack_height`` is stated, or the sum of both classes' stack shares.
    """

    plug: Text = "-"
    receptacle: Text = "-"
    stack_height: Dimension | None = None
    mated_width: Dimension | None = None


class Series(Common):
    """Halves of one construction that obey the same dimension laws, and how they mate among themselves.

    ``stack`` lists the allowed pairs; halves of equal contact count mate in each. ``stack_tolerance`` is the
    drawing's half-width for stack heights that come as sums. For a hermaphroditic kind both codes name its classes.
    """

    record: Literal["series"] = "series"
    maker: Text
    name: Text
    aliases: tuple[Text, ...] = ()
    kinds: Annotated[tuple[KindLaw, ...], Field(max_length=3)] = ()
    stack: tuple[StackPair, ...] = ()
    stack_tolerance: Annotated[FiniteFloat, Field(ge=0, le=10)] | None = None
    correspondence: Correspondence = "identity"

    @property
    def key(self) -> str:
        """Permanent, readable identifier: maker and name."""
        return half_key(self.maker, self.name)


class Mating(Entry):
    """Two halves that mate, by key, and what belongs to the pair alone.

    ``contact_map`` lists, for correspondence "listed", pairs of contact names (this half, other half). One pair may
    have several matings, of different bases or stack heights (sources disagree, or a board was revised).
    """

    record: Literal["mating"] = "mating"
    half: Text
    other: Text
    stack_height: Dimension | None = None
    mated_width: Dimension | None = None
    correspondence: Correspondence = "unknown"
    contact_map: tuple[tuple[Text, Text], ...] = ()
    basis: Basis
    citation: Citation | None = None
    note: LongText = ""

    @model_validator(mode="after")
    def _map_where_listed(self) -> Self:
        if bool(self.contact_map) != (self.correspondence == "listed"):
            raise ValueError("contact_map belongs to correspondence 'listed', and only there")
        return self

    @property
    def dimensions(self) -> dict[str, Dimension]:
        """The stated dimensions of the pair by feature."""
        stated = {name: getattr(self, name) for name in PAIR_DIMENSIONS}
        return {name: dimension for name, dimension in stated.items() if dimension is not None}

    @property
    def key(self) -> str:
        """Permanent, readable identifier: both halves' keys in order, the basis and the stack height in mm."""
        height = "-" if self.stack_height is None else f"{self.stack_height.value:g}"
        return "~".join((*sorted((self.half, self.other)), self.basis, height))

    def faced(self) -> Mating:
        """The same mating with the halves in the order of their keys, so that A-B and B-A compare equal."""
        if self.half <= self.other:
            return self
        turned = tuple((other, this) for this, other in self.contact_map)
        return self.model_copy(update={"half": self.other, "other": self.half, "contact_map": turned})


AnyEntry = Annotated[Series | Half | Mating, Field(discriminator="record")]
ENTRY: TypeAdapter[AnyEntry] = TypeAdapter(AnyEntry)
"""Reads an entry of any kind."""


def document(entry: AnyEntry) -> dict[str, Any]:
    """An entry as it is stored, journalled and exchanged: what is not stated is left out."""
    return {"record": entry.record, **entry.model_dump(mode="json", exclude_defaults=True)}


def differing(entry: AnyEntry, other: AnyEntry) -> list[str]:
    """Names of the fields in which two entries of one kind differ; of matings whichever half they name first."""
    if isinstance(entry, Mating) and isinstance(other, Mating):
        entry, other = entry.faced(), other.faced()
    return [name for name in type(entry).model_fields if getattr(entry, name) != getattr(other, name)]


def slug(text: str) -> str:
    """Lower case; runs of anything but letters, figures, low line, point and plus become one hyphen."""
    return re.sub(r"[^\w.+]+", "-", text.lower()).strip("-") or "-"


def same_person(one: str, other: str) -> bool:
    """Whether two names are one person's: letters' case, spaces and signs make no difference."""
    return slug(one) == slug(other)


@lru_cache(maxsize=1 << 17)
def half_key(maker: str, part_number: str) -> str:
    """Slugs of maker and part number, a colon between."""
    return f"{slug(maker)}:{slug(part_number)}"
