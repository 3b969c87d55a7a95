"""What entries refuse, whatever their origin."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from catalog.model.entries import half_key
from catalog.model.entry_parts import Ratings
from tests.catalog.model.entry_examples import half, mating, series


def test_keys_ignore_case_and_punctuation() -> None:
    assert half_key("Dunnock & Sons", "SK-7/13") == half_key("dunnock sons", "sk 7 13") == "dunnock-sons:sk-7-13"
    assert half_key("A", "1.5+2") == "a:1.5+2"
    assert half_key("!", "?") == "-:-"


@pytest.mark.parametrize(
    "changes",
    [
        {"dimensions": {"pitch": {"value": 0}}},
        {"dimensions": {"pitch": {"value": -0.4}}},
        {"dimensions": {"pitch": {"value": float("nan")}}},
        {"dimensions": {"pitch": {"value": float("inf")}}},
        {"dimensions": {"pitch": {"value": 0.4, "tolerance": -0.1}}},
        {"dimensions": {"pitch": {"value": 0.4, "bound": "about"}}},
        {"dimensions": {"stack_height": {"value": 1}}},
        {"dimensions": {"girth": {"value": 1}}},
        {"counts": {"contact_count": 3}},
        {"counts": {"feathers": 3}},
        {"counts": {"bank_count": 0}},
        {"categories": {"latch_style": ["glued"]}},
        {"categories": {"latch_style": []}},
        {"categories": {"latch_style": ["click_felt", "click_felt"]}},
        {"categories": {"half_kind": ["plug"]}},
        {"row_contacts": [7]},
        {"row_contacts": [7, 7]},
        {"positions": 6},
        {"contact_count": 0},
        {"rows": 0},
        {"part_number": "  "},
        {"part_number": "A\0B"},
        {"note": "a\0"},
        {"part_number": "\ud800"},
        {"part_number": "x" * 201},
        {"half_kind": "male"},
        {"ratings": {}},
        {"ratings": {"voltage_v": 0}},
        {"mating_cycles": 0},
        {"colour": "black"},
    ],
)
def test_an_impossible_half_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        half(**changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"contact_map": []},
        {"correspondence": "identity"},
        {"basis": "guess"},
        {"stack_height": {"value": -1}},
    ],
)
def test_an_impossible_mating_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        mating(**changes)


def test_a_class_gives_only_dimensions_of_a_half() -> None:
    with pytest.raises(ValidationError, match="not a dimension of a half"):
        series(
            kinds=[{**series().kinds[0].model_dump(), "classes": [{"dimensions": {"mated_width": {"intercept": 1}}}]}]
        )


def test_empty_ratings_are_refused() -> None:
    with pytest.raises(ValidationError, match="state nothing"):
        Ratings()


@pytest.mark.parametrize(
    ("ratings", "own"),
    [
        (None, None),
        ({"contact_current_a": 0.3, "loaded_contacts": 10}, {"contact_current_a": 0.3, "loaded_contacts": 10}),
        ({"contact_current_a": 0.3}, {"contact_current_a": 0.3}),
        ({"contact_current_a": 0.3, "loaded_contacts": 12}, {"contact_current_a": 0.3, "loaded_contacts": 12}),
        ({"contact_current_a": 0.3, "loaded_contacts": 13, "temperature_rise_k": 30}, None),
        ({"power_contact_current_a": 5, "loaded_contacts": 13, "voltage_v": 50}, {"voltage_v": 50}),
    ],
)
def test_a_current_taken_with_more_contacts_loaded_than_a_half_has_is_none_of_its_own(
    ratings: dict[str, float] | None, own: dict[str, float] | None
) -> None:
    # 10 contacts and 2 power contacts
    rated = half(contact_count=10, row_contacts=[5, 5], counts={"power_contact_count": 2}, ratings=ratings).own_ratings
    assert (rated and rated.model_dump(exclude_none=True)) == own


def test_a_mating_with_its_halves_swapped_is_the_same_mating() -> None:
    one = mating()
    other = mating(half=one.other, other=one.half, contact_map=[["10", "1"], ["9", "2"]])
    assert one.key == other.key
    assert one.faced() == other.faced()


def test_a_pair_may_have_one_mating_for_each_height_and_basis() -> None:
    # 96Boards CE v2.0 gives 8.0 mm where boards to v1.0 use 7 mm: two matings of one pair.
    keys = {mating(stack_height={"value": h}, basis=b).key for h in (7.0, 8.0) for b in ("maker", "other_maker")}
    assert len(keys) == 4
