"""The sizes from which a half is drawn, in millimetres. Each says where it comes from; an assumed one gives the drawing
its shape and is never shown as a figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from catalog.model.numbering import Place


class Source(StrEnum):
    """The origin of a length."""

    STATED = "stated"
    MEASURED = "measured"
    PREDICTED = "predicted"
    ASSUMED = "assumed"


@dataclass(frozen=True, kw_only=True)
class Length:
    """A dimension, mm: ``tolerance`` is a half-width (of a measured one, its standard uncertainty), ``bound`` as the
    source's drawing prints it: nominal, max, min or reference."""

    value: float
    source: Source
    tolerance: float | None = None
    bound: str = "nominal"

    @property
    def known(self) -> bool:
        """Whether it may be shown as a figure."""
        return self.source is not Source.ASSUMED


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """All data for a drawing of one half.

    Attributes
    ----------
    name: what it is called, as text of unknown origin.
    half_kind: None where unknown; it is then drawn as a receptacle, dashed.
    row_contacts: contact sites per row, blocked ones included, from the row drawn uppermost.
    blocked: sites left out, (row, position) from 1.
    first: the site of contact 1, None where it is not stated.
    lengths: every dimension of a half that it can have; assumed where nothing is known.
    counts: bank_count, power_contact_count, hold_down_count where known.
    categories: the values each category may have; a category not there is unknown.
    counted: whether rows and contacts were counted (else they are assumed).
    """

    name: str
    half_kind: str | None
    row_contacts: tuple[int, ...]
    lengths: Mapping[str, Length]
    blocked: frozenset[Place] = frozenset()
    first: Place | None = None
    counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    categories: Mapping[str, frozenset[str]] = field(default_factory=lambda: MappingProxyType({}))
    counted: bool = True

    @property
    def rows(self) -> int:
        """Rows of contacts."""
        return len(self.row_contacts)

    @property
    def positions(self) -> int:
        """Contact sites of the longest row."""
        return max(self.row_contacts)

    @property
    def banks(self) -> int:
        """Groups of contacts along the rows, at least one: as counted; two where only a gap between them is known."""
        return max(1, min(self.counts.get("bank_count", 2 if self.known("bank_gap") else 1), self.positions))

    @property
    def kind(self) -> str:
        """The kind a half is drawn as."""
        return self.half_kind or "receptacle"

    @property
    def gridded(self) -> bool:
        """Whether the contacts stand on a grid in a plain block: pins, sockets, arrays."""
        return self.rows > 2 or self.form("tail_form", "") in ("pin", "ball")

    def mm(self, feature: str) -> float:
        """A length's value, mm."""
        return self.lengths[feature].value

    def known(self, *features: str) -> bool:
        """Whether none of these lengths is assumed."""
        return all(feature in self.lengths and self.lengths[feature].known for feature in features)

    def only(self, category: str, *values: str) -> bool:
        """Whether the category is known and can only have these values."""
        return category in self.categories and self.categories[category] <= set(values)

    def form(self, category: str, default: str) -> str:
        """The category's value where there is only one, else ``default``."""
        values = self.categories.get(category, frozenset())
        return next(iter(values)) if len(values) == 1 else default
