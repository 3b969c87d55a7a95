"""What the ratings of one half say: the truth table of enough, not enough and unknown."""

from __future__ import annotations

from typing import Any

import pytest

from api.fitting.current.contact_rating import Load, judged
from api.schemas.words import NOT_RATED
from tests.catalog.model.entry_examples import half

FULL = {"contact_current_a": 0.5, "loaded_contacts": 12, "temperature_rise_k": 30, "upper_temperature_c": 85}


def without(*names: str, **changes: Any) -> dict[str, Any]:
    """The full ratings without some figures, or with others."""
    return {name: value for name, value in (FULL | changes).items() if name not in names}


def load(contact_a: float, contacts: int = 4, ambient_c: float = 25.0, *, power: bool = False) -> Load:
    return Load(contact_a=contact_a, contacts=contacts, ambient_c=ambient_c, power=power)


@pytest.mark.parametrize(
    ("ratings", "asked", "verdict", "missing"),
    [
        # At 25 °C 0.8·0.5·√(60/30) = 0.566 A, so what is stated limits; at 55 °C 0.8·0.5 = 0.4 A.
        (FULL, load(0.5), "enough", ()),
        (FULL, load(0.501), "not_enough", ()),
        (FULL, load(0.4, ambient_c=55.0), "enough", ()),
        (FULL, load(0.401, ambient_c=55.0), "not_enough", ()),
        (FULL, load(0.001, ambient_c=85.0), "not_enough", ()),
        (FULL, load(0.3, contacts=12), "enough", ()),
        (without(loaded_contacts=10), load(0.3, contacts=12), "unknown", ("a current taken with 12 or more",)),
        (without(loaded_contacts=10), load(0.6, contacts=12), "not_enough", ()),
        (without("loaded_contacts"), load(0.3), "unknown", ("the number of loaded contacts",)),
        (without("loaded_contacts"), load(0.6), "not_enough", ()),
        (without("temperature_rise_k"), load(0.3), "unknown", ("the temperature rise",)),
        (without("upper_temperature_c"), load(0.3), "unknown", ("the highest temperature",)),
        (without("upper_temperature_c"), load(0.6), "not_enough", ()),
        (
            without("loaded_contacts", "temperature_rise_k", "upper_temperature_c"),
            load(0.3),
            "unknown",
            ("the number of loaded contacts", "the temperature rise", "the highest temperature"),
        ),
        (None, load(0.001), "unknown", ("the current of a contact",)),
        ({"voltage_v": 50}, load(0.001), "unknown", ("the current of a contact",)),
        (FULL, load(0.1, power=True), "unknown", ("the current of a power contact",)),
        (without(loaded_contacts=14), load(0.1), "unknown", ("a current taken with 4 to 13 contacts loaded",)),
        (without(loaded_contacts=14), load(0.1, ambient_c=90.0), "not_enough", ()),
        ({"contact_current_a": 0.5, "loaded_contacts": 14}, load(0.1), "unknown", ("a current taken with 4 to 13",)),
    ],
)
def test_ratings_say_enough_only_for_what_they_cover(
    ratings: dict[str, Any] | None, asked: Load, verdict: str, missing: tuple[str, ...]
) -> None:
    found = judged(half(ratings=ratings), asked)
    assert (found.verdict, len(found.missing)) == (verdict, len(missing))
    assert all(told.startswith(words) for told, words in zip(found.missing, missing, strict=True))


def test_what_is_allowed_is_told_also_where_it_is_not_enough() -> None:
    rated = half(ratings=FULL)
    assert judged(rated, load(0.401, ambient_c=55.0)).allowed_a == pytest.approx(0.4)
    enough = judged(rated, load(0.3, ambient_c=55.0))
    assert enough.allowed_a == pytest.approx(0.4)
    assert "0.4 A is allowed for each contact at 55 °C, of 0.5 A stated with 12 contacts loaded" in enough.reason
    for ambient in (85.0, 90.0):
        hot = judged(rated, load(0.001, ambient_c=ambient))
        assert (hot.allowed_a, hot.reason) == (0.0, "its contacts may become 85 °C at most")


def test_one_loaded_contact_says_nothing_of_all() -> None:
    # A published example, seen in search results: the same part carries 12 A on one contact, and 3 A on each when all
    # are loaded, at 25 °C. A rating with one contact loaded never covers a supply and its return.
    alone = half(ratings=without(contact_current_a=12, loaded_contacts=1))
    everywhere = half(ratings=without(contact_current_a=3, loaded_contacts=13))
    assert judged(alone, load(3.0, contacts=2)).verdict == "unknown"
    assert judged(alone, load(12.1, contacts=2)).verdict == "not_enough"
    assert judged(everywhere, load(3.0, contacts=13)).verdict == "enough"
    assert judged(everywhere, load(3.1, contacts=13)).verdict == "not_enough"


def test_a_rating_of_a_larger_half_is_named_as_such() -> None:
    assert NOT_RATED in judged(half(ratings=without(loaded_contacts=14)), load(0.1)).reason


def test_power_contacts_are_judged_by_their_own_current_and_need_their_number() -> None:
    ratings = without(power_contact_current_a=5, contact_current_a=0.3)
    counted, uncounted = half(ratings=ratings, counts={"power_contact_count": 2}), half(ratings=ratings, counts={})
    assert judged(counted, load(4.0, contacts=2, power=True)).verdict == "enough"
    assert judged(counted, load(4.0, contacts=2)).verdict == "not_enough"
    assert judged(uncounted, load(4.0, contacts=2, power=True)).missing == ("the number of its power contacts",)


def test_a_current_equal_to_what_is_allowed_is_enough_whatever_the_rounding() -> None:
    third = half(ratings=without(contact_current_a=0.1 + 0.2))
    assert (
        judged(third, load(0.3)).verdict
        == judged(half(ratings=without(contact_current_a=0.3)), load(0.1 + 0.2)).verdict
    )
