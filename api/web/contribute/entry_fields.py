"""Shared by the forms of halves and series: from fields to parts of an entry and back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.schemas.words import BOUND_WORDS, LIFECYCLE_WORDS
from api.web.page.forms import Form
from catalog.model.entry_parts import BlockedPosition, Citation, Dimension, Ratings
from catalog.model.numbering import Numbering
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES, Plane

Pairs = list[tuple[str, str]]

_PLANES: Mapping[str, Plane | None] = {
    "From above, on the mating face": Plane.HOUSING_TOP,
    "Contacts": Plane.MATING_FACE,
    "From the side": None,
    "On the board": Plane.LANDS,
}

VIEWS = {title: tuple(name for name in DIMENSIONS if FEATURES[name].plane is plane) for title, plane in _PLANES.items()}
"""Dimensions of a half by the view of the drawing in which they stand."""

UNITS = (("mm", "mm"), ("in", "inch"), ("mil", "mil (1/1000 inch)"), ("um", "µm"))
BOUNDS = tuple((bound, meant or bound) for bound, meant in BOUND_WORDS.items())
KINDS = tuple((value, FEATURES["half_kind"].values[value]) for value in FEATURES["half_kind"].values)
LIFECYCLES = tuple(LIFECYCLE_WORDS.items())
RATINGS = (
    ("contact_current_a", "Current of a contact, A"),
    ("power_contact_current_a", "Current of a power contact, A"),
    ("loaded_contacts", "Contacts loaded at once for these currents"),
    ("temperature_rise_k", "Temperature rise at these currents, K"),
    ("upper_temperature_c", "Highest temperature of the contacts, °C"),
    ("contact_resistance_mohm", "Resistance of one mated contact, mΩ"),
    ("voltage_v", "Voltage, V"),
)
SOURCE = ("title", "revision", "page", "address")

OF_DIMENSION = ("value", "tolerance", "extra_u")
"""The figures of a dimension."""


def figure(number: float) -> str:
    """A number with all its digits and no exponent, as a person would type it."""
    return format(Decimal(repr(number)), "f").removesuffix(".0")


def given(form: Form, names: Iterable[str], prefix: str = "") -> dict[str, Any]:
    """Fields of these names that hold something."""
    found = {name: form.one(f"{prefix}{name}") for name in names}
    return {name: text for name, text in found.items() if text}


def lines(form: Form, name: str) -> list[str]:
    """The lines of a field, without empty ones."""
    return [line.strip() for line in form.one(name).split("\n") if line.strip()]


def numbers(form: Form, name: str) -> list[str]:
    """Whole numbers as typed, separated by commas, semicolons or spaces; the check of the entry refuses the rest."""
    return [part for part in re.split(r"[\s,;]+", form.one(name)) if part]


def sites(form: Form, name: str) -> list[dict[str, str]]:
    """Contact sites typed as ``row/position``."""
    found = [part.partition("/") for part in numbers(form, name)]
    return [{"row": row, "position": position} for row, _, position in found]


def dimension(form: Form, prefix: str, unit: str = "") -> dict[str, Any]:
    """A dimension from its fields; empty where only choices were made. ``unit``: where it names none."""
    stated = given(form, OF_DIMENSION, prefix) | given(form, ("doubt",), prefix)
    if not stated:
        return {}
    chosen = given(form, ("bound", "unit"), prefix)
    chosen.setdefault("unit", unit or "mm")
    return stated | chosen


def dimensions(form: Form, prefix: str, names: Iterable[str], unit: str = "") -> dict[str, Any]:
    """The dimensions of these names that are given."""
    found = {name: dimension(form, f"{prefix}{name}.", unit) for name in names}
    return {name: stated for name, stated in found.items() if stated}


def seen(form: Form, prefix: str = "") -> dict[str, Any]:
    """Counts, categories, sites left out, the numbering, and lists of texts."""
    kinds = {name: form.many(f"{prefix}categories.{name}") for name in ENTRY_CATEGORIES}
    found: dict[str, Any] = {
        "counts": given(form, ENTRY_COUNTS, f"{prefix}counts."),
        "categories": {name: values for name, values in kinds.items() if values},
        "blocked": sites(form, f"{prefix}blocked"),
        "numbering": given(form, Numbering.model_fields, f"{prefix}numbering."),
    }
    found |= {name: lines(form, f"{prefix}{name}") for name in ("markings", "aliases", "order_codes")}
    return {name: value for name, value in found.items() if value}


def common(form: Form) -> dict[str, Any]:
    """What both series and halves have."""
    found: dict[str, Any] = given(form, ("lifecycle", "mating_cycles", "note"))
    found |= {
        name: stated
        for name, stated in (
            ("ratings", given(form, [name for name, _ in RATINGS], "ratings.")),
            ("datasheet", given(form, SOURCE, "datasheet.")),
        )
        if stated
    }
    return found


def acknowledged(form: Form) -> dict[str, str]:
    """Reasons for what the machine review finds severe, by its code."""
    return dict(form.under("acknowledge."))


# From an entry back to fields.


def dimension_pairs(prefix: str, stated: Dimension) -> Iterator[tuple[str, str]]:
    """The fields of a dimension, in its source's own unit; its extra uncertainty is kept in mm and goes back so."""
    own = stated.unit
    value = stated.value if stated.given is None else stated.given
    tolerance = stated.tolerance if stated.given is None else stated.given_tolerance
    yield f"{prefix}value", figure(value)
    yield f"{prefix}unit", own
    yield f"{prefix}bound", stated.bound
    if tolerance is not None:
        yield f"{prefix}tolerance", figure(tolerance)
    if stated.extra_u:
        yield f"{prefix}extra_u", figure(stated.extra_u if stated.given is None else in_own_unit(stated))
    if stated.doubt:
        yield f"{prefix}doubt", stated.doubt


def in_own_unit(stated: Dimension) -> float:
    """An extra uncertainty in the unit of its source."""
    times = stated.value / stated.given if stated.given else 1.0
    return round(stated.extra_u / times, 9)


def seen_pairs(
    prefix: str,
    counts: Mapping[str, int],
    categories: Mapping[str, Sequence[str]],
    blocked: Sequence[BlockedPosition],
    numbering: Numbering | None,
    texts: Mapping[str, Sequence[str]],
) -> Iterator[tuple[str, str]]:
    """The fields of counts, categories, sites left out, the numbering and lists of texts."""
    for name, number in counts.items():
        yield f"{prefix}counts.{name}", str(number)
    for name, values in categories.items():
        for value in values:
            yield f"{prefix}categories.{name}", value
    if blocked:
        yield f"{prefix}blocked", " ".join(f"{site.row}/{site.position}" for site in blocked)
    if numbering is not None:
        yield from ((f"{prefix}numbering.{name}", value or "") for name, value in numbering)
    for name, several in texts.items():
        if several:
            yield f"{prefix}{name}", "\n".join(several)


def common_pairs(
    lifecycle: str, mating_cycles: int | None, ratings: Ratings | None, datasheet: Citation | None, note: str
) -> Iterator[tuple[str, str]]:
    """The fields of what both kinds of entry say."""
    yield "lifecycle", lifecycle
    yield "mating_cycles", str(mating_cycles or "")
    yield "note", note
    if ratings is not None:
        yield from (
            (f"ratings.{name}", figure(getattr(ratings, name) or 0)) for name in vars(ratings) if getattr(ratings, name)
        )
    if datasheet is not None:
        yield from ((f"datasheet.{name}", getattr(datasheet, name)) for name in SOURCE)
