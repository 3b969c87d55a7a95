from __future__ import annotations

import pytest

from matcher.errors import ObservationError
from matcher.vocabulary import canonical_unit, to_mm


@pytest.mark.parametrize(
    ("typed", "unit"),
    [
        ("mm", "mm"),
        (" MM ", "mm"),
        ("millimetres", "mm"),
        ('"', "in"),
        ("″", "in"),
        ("inch", "in"),
        ("Inches", "in"),
        ("in.", "in"),
        ("thou", "mil"),
        ("mils", "mil"),
        ("um", "um"),
        ("\N{MICRO SIGN}m", "um"),
        ("\N{GREEK SMALL LETTER MU}m", "um"),
        ("micron", "um"),
        ("px", "px"),
        ("pixels", "px"),
    ],
)
def test_common_spellings_of_units_are_understood(typed: str, unit: str) -> None:
    assert canonical_unit(typed) == unit


@pytest.mark.parametrize("typed", ["", "furlong", "m m", "cm", "m", "1"])
def test_an_unknown_unit_is_refused_and_the_known_units_are_listed(typed: str) -> None:
    with pytest.raises(ObservationError) as caught:
        canonical_unit(typed, field="observations[2].unit")
    assert caught.value.field == "observations[2].unit"
    assert caught.value.value == typed
    assert "mm, in, mil, um, px" in caught.value.remedy


def test_a_misspelt_unit_is_suggested() -> None:
    with pytest.raises(ObservationError) as caught:
        canonical_unit("milimeter")
    assert "did you mean 'mm'?" in caught.value.remedy


def test_a_unit_that_is_not_text_is_refused() -> None:
    with pytest.raises(ObservationError):
        canonical_unit(None)  # type: ignore[arg-type]


@pytest.mark.parametrize(("unit", "mm"), [("mm", 1.0), ("in", 25.4), ("mil", 0.0254), ("um", 0.001)])
def test_units_have_their_exact_length_in_mm(unit: str, mm: float) -> None:
    """The international inch is 25.4 mm exactly (from memory); a mil is a thousandth of it."""
    assert to_mm(1.0, unit) == mm


def test_pixels_have_no_length() -> None:
    with pytest.raises(ObservationError, match="pixels") as caught:
        to_mm(3.0, "px")
    assert "px_per_mm" in caught.value.remedy
