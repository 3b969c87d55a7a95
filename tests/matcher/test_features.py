"""Entries of the feature table are consistent: every name they refer to exists, and each kind has its fields."""

from __future__ import annotations

import pytest

from matcher.feature_fields import CONTACT_ROW, Direction
from matcher.features import COUNTS, DIMENSIONS, FEATURES, Feature, Kind, Subject
from matcher.uncertainty.instruments import BUILT_IN

LENGTHS = [feature for feature in FEATURES.values() if feature.kind is Kind.DIMENSION]
SIZES = (0.1, 1.0, 10.0, 100.0, 1000.0)


def _name(feature: Feature) -> str:
    return feature.name


@pytest.mark.parametrize("feature", FEATURES.values(), ids=_name)
def test_every_feature_is_explained(feature: Feature) -> None:
    assert feature.name.isidentifier()
    assert feature.meaning.endswith(".")
    assert feature.how[-1] in ".?"
    assert feature.label
    assert set(feature.instruments) <= BUILT_IN.keys()


@pytest.mark.parametrize("feature", LENGTHS, ids=_name)
def test_a_length_names_others_that_exist(feature: Feature) -> None:
    assert {slip.instead for slip in feature.slips} <= {each.name for each in LENGTHS} - {feature.name}
    assert sum(slip.share for slip in feature.slips) <= 1.0 + 1e-12
    assert feature.needs is None or feature.needs in COUNTS
    assert feature.proportion is None or feature.proportion.to in (*DIMENSIONS, CONTACT_ROW)
    assert feature.proportion is None or feature.proportion.low < feature.proportion.usual < feature.proportion.high


@pytest.mark.parametrize("feature", LENGTHS, ids=_name)
def test_a_length_has_a_range_and_a_process_for_every_size(feature: Feature) -> None:
    assert 0 < feature.low < feature.high
    assert 0 < feature.gross_share < 0.5
    for size in SIZES:
        assert 0 < feature.process.half_width(size, None) <= feature.process.half_width(1000.0, None)
        assert feature.process.half_width(size, 0.4) <= feature.process.half_width(size, 0.8)
    assert feature.along_rows <= (feature.direction is Direction.ALONG)


@pytest.mark.parametrize("feature", [f for f in FEATURES.values() if f.kind is Kind.COUNT], ids=_name)
def test_a_count_has_a_range_of_whole_numbers(feature: Feature) -> None:
    assert 0 <= feature.low < feature.high
    assert feature.low == int(feature.low)
    assert feature.high == int(feature.high)


@pytest.mark.parametrize("feature", [f for f in FEATURES.values() if f.values], ids=_name)
def test_a_category_has_values_to_choose_from(feature: Feature) -> None:
    assert feature.kind in (Kind.CATEGORY, Kind.LABELS)
    assert len(feature.values) > 1
    assert 0.5 < feature.right_share < 1
    assert feature.subject is Subject.HALF


@pytest.mark.parametrize("feature", [f for f in FEATURES.values() if f.looks_like], ids=_name)
def test_look_alikes_are_other_values_and_leave_room_for_the_value_itself(feature: Feature) -> None:
    assert feature.looks_like.keys() <= feature.values.keys()
    for value, others in feature.looks_like.items():
        assert others.keys() <= feature.values.keys() - {value}
        assert all(share > 0 for share in others.values())
        assert sum(others.values()) < 1
        assert feature.kind is not Kind.LABELS or others.keys() == {"none"}
        assert feature.taken_for({value}) == others.keys()


@pytest.mark.parametrize("feature", [f for f in FEATURES.values() if f.moved], ids=_name)
def test_a_value_that_moved_is_known_where_it_went_and_so_are_those_it_stood_beside(feature: Feature) -> None:
    assert feature.moved is not None
    to = FEATURES[feature.moved.to]
    assert to.kind is feature.kind
    assert to.moved is None
    assert set(feature.moved.names.values()) | set(feature.values) <= set(to.values)
    assert not set(feature.moved.names) & set(feature.values)


def test_no_two_features_share_a_name_a_label_or_a_synonym() -> None:
    words = [word for each in FEATURES.values() for word in {each.name, each.label, *each.synonyms}]
    assert len(words) == len(set(words))
