"""The entries of the catalogue: series with their laws, halves and matings.

All input is validated here: exchange files, imports and the demo data are read into these models. Lengths are in
millimetres. The models know nothing about tables or HTTP.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Annotated, Any, Literal, Self

from pydantic import (
    Field,
    FiniteFloat,
    TypeAdapter,
    ValidationInfo,
    field_validator,
    model_validator,
)

from catalog.model.entry_parts import (
    MOST_CONTACTS,
    OF_CURRENT,
    POWER_CONTACTS,
    Basis,
    BlockedPosition,
    Categories,
    Citation,
    Common,
    ContactCount,
    Correspondence,
    Counts,
    Dimension,
    Entry,
    HalfDimensions,
    HalfKind,
    HalfLaws,
    Ratings,
)
from catalog.model.numbering import Numbering
from catalog.model.text_fields import Line, Passage
from matcher.features import PAIR_DIMENSIONS


def _can_be_numbered(numbering: Numbering | None, info: ValidationInfo) -> Numbering | None:
    """Checked against the rows and blocked sites, which stand before it; without them nothing can be checked."""
    rows, blocked = info.data.get("rows"), info.data.get("blocked")
    if numbering is not None and rows is not None and blocked is not None:
        numbering.check(rows, info.data.get("row_contacts", ()), blocked=bool(blocked))
    return numbering


class Half(Common):
    """One connector body as moulded: the unit that is identified.

    ``positions`` is the number of contact sites in the longest row, ``row_contacts`` the contacts of each row if they
    differ, and ``blocked`` lists the sites without a contact. ``categories`` gives one value for a feature, or several
    if the source leaves it open or for keying. ``part_number`` names the half; it may be sold under several
    ``order_codes``. ``numbering`` is None where it is not stated.
    """

    record: Literal["half"] = "half"
    maker: Line
    series: Line
    part_number: Line
    half_kind: HalfKind | None = None
    rows: Annotated[int, Field(ge=1, le=20)]
    contact_count: ContactCount
    positions: ContactCount | None = None
    row_contacts: tuple[Annotated[int, Field(ge=0, le=MOST_CONTACTS)], ...] = ()
    blocked: tuple[BlockedPosition, ...] = ()
    numbering: Numbering | None = None
    dimensions: HalfDimensions = Field(default_factory=dict)
    counts: Counts = Field(default_factory=dict)
    categories: Categories = Field(default_factory=dict)
    markings: tuple[Line, ...] = ()
    aliases: tuple[Line, ...] = ()
    order_codes: tuple[Line, ...] = ()

    @model_validator(mode="after")
    def _contacts_add_up(self) -> Self:
        if self.row_contacts and (len(self.row_contacts) != self.rows or sum(self.row_contacts) != self.contact_count):
            raise ValueError("row_contacts must list one number per row and add up to contact_count")
        if self.positions is not None and self.contact_count > self.positions * self.rows:
            raise ValueError("contact_count is larger than rows × positions")
        return self

    _numbered = field_validator("numbering")(_can_be_numbered)

    @property
    def key(self) -> str:
        """Permanent, readable identifier, made of maker and part number."""
        return half_key(self.maker, self.part_number)

    @property
    def series_key(self) -> str:
        """Key of the series it belongs to."""
        return half_key(self.maker, self.series)

    @property
    def contacts_per_row(self) -> int:
        """Positions of the longest row: as stated, else from row_contacts, else contact_count / rows, rounded up."""
        if self.positions is not None:
            return self.positions
        if self.row_contacts:
            return max(self.row_contacts)
        return -(-self.contact_count // self.rows)

    @property
    def all_counts(self) -> dict[str, int]:
        """Every stated count, including contact_count and rows."""
        return {**self.counts, "contact_count": self.contact_count, "rows": self.rows}

    @property
    def all_contacts(self) -> int:
        """Contacts and power contacts."""
        return self.contact_count + self.counts.get(POWER_CONTACTS, 0)

    @property
    def own_ratings(self) -> Ratings | None:
        """The stated ratings, without currents that were taken with more contacts loaded than this half has: a larger
        half of its series carried them, and sheds its heat otherwise."""
        ratings = self.ratings
        if ratings is None or (ratings.loaded_contacts or 0) <= self.all_contacts:
            return ratings
        left = ratings.model_dump(exclude=OF_CURRENT, exclude_none=True)
        return Ratings(**left) if left else None

    @property
    def all_categories(self) -> dict[str, frozenset[str]]:
        """The possible values of every stated category, including the kind of half."""
        found = {name: frozenset(values) for name, values in self.categories.items()}
        return found if self.half_kind is None else {**found, "half_kind": frozenset({self.half_kind})}


class HeightClass(Entry):
    """One height of a kind of half in a series: its share of the stack height, and the dimensions that differ.

    ``code`` replaces {class} in the part number. ``stack_share`` and the mate's share add up to the stack height.
    """

    code: Line = "-"
    stack_share: Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None
    dimensions: HalfLaws = Field(default_factory=dict)


class KindLaw(Entry):
    """All halves of one kind in a series: each contact count in each height class, with dimensions by law.

    ``part_number`` is a pattern with the placeholders {contacts}, {positions} and {class}; {contacts:3} pads with zeros
    to three digits. ``order_codes`` are patterns that may also contain {part}. ``blocked`` sites are not included in
    the contact counts. All its halves are numbered alike (``numbering``).
    """

    half_kind: HalfKind
    part_number: Line
    rows: Annotated[int, Field(ge=1, le=20)]
    contact_counts: Annotated[tuple[ContactCount, ...], Field(min_length=1)]
    classes: tuple[HeightClass, ...] = (HeightClass(),)
    blocked: tuple[BlockedPosition, ...] = ()
    numbering: Numbering | None = None
    dimensions: HalfLaws
    counts: Counts = Field(default_factory=dict)
    categories: Categories = Field(default_factory=dict)
    markings: tuple[Line, ...] = ()
    aliases: tuple[Line, ...] = ()
    order_codes: tuple[Line, ...] = ()

    _numbered = field_validator("numbering")(_can_be_numbered)

    def positions(self, contacts: int) -> int:
        """Positions per row of a half with that many contacts."""
        return -(-(contacts + len(self.blocked)) // self.rows)

    @property
    def sizes(self) -> frozenset[int]:
        """Positions per row of all its halves."""
        return frozenset(map(self.positions, self.contact_counts))


class StackPair(Entry):
    """Two height classes that mate: the code of the plug (or of the first half) and that of the receptacle.

    Without ``stack_height`` it is the sum of both classes' stack shares.
    """

    plug: Line = "-"
    receptacle: Line = "-"
    stack_height: Dimension | None = None
    mated_width: Dimension | None = None


class Series(Common):
    """Halves of one construction with the same dimension laws, and how they mate with each other.

    ``stack`` lists the pairs of height classes that mate; in each pair, halves with equal contact counts mate.
    ``stack_tolerance`` is the drawing's half-width for stack heights that are sums. For a hermaphroditic kind both
    codes of a pair name its own classes. ``correspondence`` is that of all its matings; unstated is unknown.
    """

    record: Literal["series"] = "series"
    maker: Line
    name: Line
    aliases: tuple[Line, ...] = ()
    kinds: Annotated[tuple[KindLaw, ...], Field(max_length=3)] = ()
    stack: tuple[StackPair, ...] = ()
    stack_tolerance: Annotated[FiniteFloat, Field(ge=0, le=10)] | None = None
    correspondence: Correspondence = "unknown"

    @property
    def key(self) -> str:
        """Permanent, readable identifier, made of maker and name."""
        return half_key(self.maker, self.name)


class Mating(Entry):
    """Two halves that mate, by key, and the properties of the pair.

    ``contact_map`` belongs to correspondence "listed" and holds pairs of contact names (this half, other half). Two
    halves may have several matings with different bases or stack heights, e.g. if sources disagree.
    """

    record: Literal["mating"] = "mating"
    half: Line
    other: Line
    stack_height: Dimension | None = None
    mated_width: Dimension | None = None
    correspondence: Correspondence = "unknown"
    contact_map: tuple[tuple[Line, Line], ...] = ()
    basis: Basis
    citation: Citation | None = None
    note: Passage = ""

    @model_validator(mode="after")
    def _map_if_listed(self) -> Self:
        if bool(self.contact_map) != (self.correspondence == "listed"):
            raise ValueError("contact_map is required for correspondence 'listed', and not allowed for any other")
        return self

    @property
    def dimensions(self) -> dict[str, Dimension]:
        """The stated dimensions of the pair, by feature."""
        stated = {name: getattr(self, name) for name in PAIR_DIMENSIONS}
        return {name: dimension for name, dimension in stated.items() if dimension is not None}

    @property
    def key(self) -> str:
        """Permanent, readable identifier, made of both halves' keys in order, the basis and the stack height in mm."""
        height = "-" if self.stack_height is None else f"{self.stack_height.value:g}"
        return "~".join((*sorted((self.half, self.other)), self.basis, height))

    def faced(self) -> Mating:
        """The same mating with its halves in the order of their keys, so that A-B and B-A are equal."""
        if self.half <= self.other:
            return self
        turned = tuple((other, this) for this, other in self.contact_map)
        return self.model_copy(update={"half": self.other, "other": self.half, "contact_map": turned})


AnyEntry = Annotated[Series | Half | Mating, Field(discriminator="record")]
ENTRY: TypeAdapter[AnyEntry] = TypeAdapter(AnyEntry)
"""Validates an entry of any kind."""


def document(entry: AnyEntry) -> dict[str, Any]:
    """The entry as JSON for storage, journal and exchange: default values are left out."""
    return {"record": entry.record, **entry.model_dump(mode="json", exclude_defaults=True)}


def differing(entry: AnyEntry, other: AnyEntry) -> list[str]:
    """Names of the fields in which two entries of one kind differ; the order of a mating's halves does not matter."""
    if isinstance(entry, Mating) and isinstance(other, Mating):
        entry, other = entry.faced(), other.faced()
    return [name for name in type(entry).model_fields if getattr(entry, name) != getattr(other, name)]


def slug(text: str) -> str:
    """The text in lower case, with one hyphen for each run of characters other than letters, digits and ``_``, ``.``
    and ``+``."""
    return re.sub(r"[^\w.+]+", "-", text.lower()).strip("-") or "-"


def same_person(one: str, other: str) -> bool:
    """Whether two names mean the same person: case, spaces and punctuation make no difference."""
    return slug(one) == slug(other)


@lru_cache(maxsize=1 << 17)
def half_key(maker: str, part_number: str) -> str:
    """The slugs of maker and part number, separated by a colon."""
    return f"{slug(maker)}:{slug(part_number)}"
