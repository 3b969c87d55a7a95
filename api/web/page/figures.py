"""Figures and names as pages write them and people type them: lengths, uncertainties, dates, labels."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from catalog.model.entries import Half
from catalog.model.entry_parts import Citation
from matcher.errors import ObservationError
from matcher.features import FEATURES, Kind
from matcher.uncertainty.interlaboratory import COVERAGE
from matcher.vocabulary import to_mm

LEAST_DECIMALS, MOST_DECIMALS = 2, 4
"""Decimals of a length in mm: as many as on drawings, and no more than a computed length has."""

FIGURES_OF_U = 2
"""Significant figures of an uncertainty (GUM 7.2.6)."""

KIND_WORDS: Mapping[str, str] = {
    "plug": "Plug",
    "receptacle": "Receptacle",
    "hermaphroditic": "Hermaphroditic half",
}

UNKNOWN_KIND = "Half of unknown kind"

_FIGURE = re.compile(r"(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)\s*(?P<unit>[a-zA-Z\"″”µμ]*)")


def mm(value: float) -> str:
    """A length without its unit: two to four decimals."""
    text = f"{value:.{MOST_DECIMALS}f}"
    while text.endswith("0") and len(text) - text.index(".") - 1 > LEAST_DECIMALS:
        text = text[:-1]
    return text


def limits(tolerance: float | None) -> str:
    """A tolerance as it follows a length; empty where none is stated."""
    return "" if tolerance is None else f" ± {mm(tolerance)}"


def plain(value: float) -> str:
    """A figure as its source states it."""
    return f"{value:.6g}"


def with_u(value: float, u: float) -> str:
    """A measured length with its expanded uncertainty U = 2u, both to the figures that U supports; no unit."""
    expanded = COVERAGE * u
    if not expanded > 0.0:
        return mm(value)
    decimals = max(0, min(MOST_DECIMALS, FIGURES_OF_U - 1 - math.floor(math.log10(expanded))))
    return f"{value:.{decimals}f} ± {expanded:.{decimals}f}"


def signed(value: float) -> str:
    """A difference with its sign; minus is a true minus sign."""
    return ("−" if value < 0 else "+") + mm(abs(value))


def cited(citation: Citation | None) -> str:
    """A document with its revision and page; empty where none is cited."""
    return "" if citation is None else citation.words


def day(moment: str) -> str:
    """The date of a timestamp, UTC."""
    return moment[:10]


def minute(moment: str) -> str:
    """The same with hours and minutes."""
    return moment[:16].replace("T", " ")


def label(feature: str) -> str:
    """The label of a feature, with a capital letter."""
    return capital(FEATURES[feature].label)


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def values_in_words(feature: str, values: Iterable[str]) -> str:
    """Values of a category as labels. Several values are alternatives; several keys are all present."""
    known = FEATURES[feature]
    joint = " and " if known.kind is Kind.LABELS else " or "
    return joint.join(known.values.get(value, value) for value in values)


def counted(number: int, thing: str, things: str = "") -> str:
    """A number of things, with spaces between thousands."""
    return f"{number:,} {thing if number == 1 else things or thing + 's'}".replace(",", " ")


def people(number: int) -> str:
    """How many people."""
    return "one person" if number == 1 else f"{number} people"


def headline(half: Half) -> str:
    """A half in one line: kind, contacts, pitch."""
    kind = KIND_WORDS.get(half.half_kind or "", UNKNOWN_KIND)
    pitch = half.dimensions.get("pitch")
    rows = f"{half.contact_count} contacts in {counted(half.rows, 'row')}"
    return ", ".join([kind, rows, *([f"pitch {mm(pitch.value)} mm"] if pitch else [])])


def whole_typed(text: str, most_digits: int) -> int | None:
    """The whole number a person typed; None for anything else and for more digits than it can have."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= most_digits else None


def figure_typed(text: str) -> float | None:
    """The number a person typed, in mm where it has a unit; a decimal comma is accepted. None if it is not a number."""
    found = _FIGURE.fullmatch(text.strip())
    if found is None:
        return None
    number = float(found["number"].replace(",", "."))
    if not found["unit"]:
        return number if math.isfinite(number) else None
    try:
        return to_mm(number, found["unit"])
    except ObservationError:
        return None
