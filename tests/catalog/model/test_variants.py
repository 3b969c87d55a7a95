"""Unlisted sizes: which are inferred, with which dimensions, and which are not. Series are invented."""

from __future__ import annotations

import pytest

from catalog.model.entries import Half, HeightClass, KindLaw, Series
from catalog.model.entry_parts import BlockedPosition, Dimension, DimensionLaw
from catalog.model.inferred_variants import (
    MOST_VARIANTS,
    InferredHalf,
    member_groups,
    plausible_positions,
)
from matcher.columns.dimension_laws import LEAST_U
from tests.catalog.model.inference import inferred_halves, leave_one_out

PITCH = 0.5


def member(positions: int, **changes: object) -> Half:
    """A plug of two rows; length = 3 + pitch × positions."""
    half = Half(
        maker="Warbler",
        series="Dawn",
        part_number=f"DW5-{2 * positions:03d}P-2",
        half_kind="plug",
        rows=2,
        contact_count=2 * positions,
        positions=positions,
        dimensions={
            "pitch": Dimension(value=PITCH),
            "body_length": Dimension(value=3 + PITCH * positions, tolerance=0.1),
            "body_width": Dimension(value=4.2),
        },
        counts={"hold_down_count": 2},
        categories={"mounting": ("surface_mount",)},
        order_codes=(f"DW5-{2 * positions:03d}P-2-T",),
    )
    return half.model_copy(update=changes)


def by_contacts(inferred: tuple[InferredHalf, ...]) -> dict[int, InferredHalf]:
    return {item.half.contact_count: item for item in inferred}


def test_a_gap_in_the_series_is_filled_by_the_fitted_law() -> None:
    found = by_contacts(inferred_halves([member(n) for n in (10, 12, 16, 20)], []))[28]
    assert found.basis == "fitted law"
    assert found.siblings == 4
    assert found.half.part_number == "DW5-028P-2"
    assert found.half.dimensions["body_length"].value == pytest.approx(10.0)
    assert found.half.dimensions["body_length"].tolerance == 0.1
    assert all(dimension.extra_u >= LEAST_U for dimension in found.half.dimensions.values())
    assert (found.half.positions, found.half.half_kind, found.half.counts) == (14, "plug", {"hold_down_count": 2})
    assert found.half.order_codes == ()


def test_listed_sizes_are_never_inferred_again() -> None:
    halves = [member(n) for n in (10, 12, 16, 20)]
    inferred = inferred_halves(halves, [])
    assert not {item.half.key for item in inferred} & {half.key for half in halves}
    assert len({item.half.key for item in inferred}) == len(inferred)


def test_uncertainty_grows_with_the_distance_from_the_members() -> None:
    found = by_contacts(inferred_halves([member(n) for n in (10, 12, 16, 20)], []))
    inside, beyond = found[28].half, found[60].half
    assert beyond.dimensions["body_length"].extra_u > inside.dimensions["body_length"].extra_u


def test_two_members_are_too_few() -> None:
    assert inferred_halves([member(10), member(12)], []) == ()


def test_three_members_of_two_sizes_are_too_few() -> None:
    halves = [member(10), member(12), member(12, part_number="DW5-024P-3")]
    assert inferred_halves(halves, []) == ()


def test_kinds_are_fitted_separately() -> None:
    others = [member(n, half_kind="receptacle", part_number=f"DW5-{2 * n:03d}S-2") for n in (10, 12)]
    found = inferred_halves([*(member(n) for n in (10, 12, 16)), *others], [])
    assert {item.half.half_kind for item in found} == {"plug"}


def test_height_classes_in_the_names_are_fitted_separately() -> None:
    def tall(n: int) -> Half:
        length = {**member(n).dimensions, "body_length": Dimension(value=9 + PITCH * n)}
        return member(n, part_number=f"DW5-{2 * n:03d}P-7", dimensions=length)

    groups = member_groups([make(n) for n in (10, 12, 16, 20) for make in (member, tall)])
    assert sorted(group.variant(14).dimensions["body_length"].value for group in groups) == [10.0, 16.0]  # type: ignore[union-attr]


def test_part_numbers_without_a_pattern_give_a_descriptive_name() -> None:
    names = {10: "QA77", 12: "ZB-4", 16: "M9/1", 20: "TT"}
    found = inferred_halves([member(n, part_number=name) for n, name in names.items()], [])
    assert by_contacts(found)[28].half.part_number == "Dawn, 28 contacts (not listed)"


def test_mixed_constructions_without_a_pattern_are_not_fitted() -> None:
    names = {10: "QA77", 12: "ZB-4", 16: "M9/1", 20: "TT"}
    twice = [member(10, part_number="OTHER"), *(member(n, part_number=name) for n, name in names.items())]
    assert inferred_halves(twice, []) == ()


def test_missing_contacts_stay_missing() -> None:
    site = (BlockedPosition(row=2, position=3),)
    halves = [member(n, contact_count=2 * n - 1, blocked=site, part_number=f"DW5-{n}") for n in (10, 12, 16)]
    found = {item.half.positions: item.half for item in inferred_halves(halves, [])}
    assert found[14].contact_count == 27
    assert found[14].blocked == site
    assert found[14].part_number == "DW5-14"


def test_unequal_rows_keep_their_difference() -> None:
    halves = [member(n, contact_count=2 * n - 1, row_contacts=(n, n - 1)) for n in (10, 12, 16)]
    found = {item.half.positions: item.half for item in inferred_halves(halves, [])}
    assert found[14].row_contacts == (14, 13)
    assert Half.model_validate(found[14].model_dump()) == found[14]


def test_contacts_that_follow_no_rule_are_not_fitted() -> None:
    halves = [member(10, contact_count=20), member(12, contact_count=21), member(16, contact_count=30)]
    assert inferred_halves(halves, []) == ()


def test_a_size_with_a_body_length_not_above_zero_is_not_inferred() -> None:
    def small(n: int) -> Half:
        return member(n, dimensions={**member(n).dimensions, "body_length": Dimension(value=0.5 * n - 1.0)})

    found = inferred_halves([small(n) for n in (6, 7, 8)], [])
    assert min(item.half.contacts_per_row for item in found) >= 4


def test_a_size_without_the_blocked_position_is_not_inferred() -> None:
    site = (BlockedPosition(row=1, position=5),)
    halves = [member(n, contact_count=2 * n - 1, blocked=site, part_number=f"DW5-{n}") for n in (6, 7, 8)]
    sizes = {item.half.contacts_per_row for item in inferred_halves(halves, [])}
    assert 5 in sizes
    assert min(sizes) == 5


def test_more_contacts_than_an_entry_may_have_are_not_inferred() -> None:
    halves = [member(n) for n in (480, 490, 500)]
    assert max(item.half.contact_count for item in inferred_halves(halves, [])) <= 1000


def test_every_variant_is_a_complete_entry() -> None:
    halves = [member(n, series="D" * 200, part_number=name) for n, name in ((10, "QA77"), (12, "ZB-4"), (16, "M9/1"))]
    variants = inferred_halves(halves, [])
    assert variants
    for item in variants:
        assert Half.model_validate(item.half.model_dump()) == item.half


def test_a_variant_inherits_the_stated_doubt_of_its_members() -> None:
    doubtful = Dimension(value=1, extra_u=0.05, doubt="may include hold-downs")
    halves = [
        member(
            n,
            dimensions={
                **member(n).dimensions,
                "body_length": doubtful.model_copy(update={"value": 3 + PITCH * n}),
            },
        )
        for n in (10, 12, 16)
    ]
    length = by_contacts(inferred_halves(halves, []))[28].half.dimensions["body_length"]
    assert length.doubt == "may include hold-downs"
    assert length.extra_u > 0.05


def test_plausible_sizes_follow_the_step_and_extend_a_few_steps_beyond() -> None:
    """Besides multiples of four, only commonly offered counts appear (60 contacts in three rows are 20 positions)."""
    sizes = set(plausible_positions([10, 14, 22], 3))
    assert {18, 26, 30, 34} <= sizes
    assert {2, 6} <= sizes
    assert not sizes & {10, 14, 22}
    assert 20 in sizes
    assert not sizes & {11, 13, 15, 17, 19, 21, 38}


def test_common_counts_are_offered_within_reach_only() -> None:
    sizes = plausible_positions([20, 30, 40], 2)
    assert {12, 13, 15, 17, 32, 80} <= set(sizes), "24, 26, 30, 34, 64 and 160 contacts are common"
    assert 90 not in sizes, "180 contacts are common, but more than twice the largest member"
    assert 33 not in sizes


def test_the_number_of_variants_is_bounded_nearest_first() -> None:
    sizes = plausible_positions([1, 2, 500], 1)
    assert len(sizes) == MOST_VARIANTS
    assert 3 in sizes
    assert 499 in sizes
    assert 250 not in sizes


def series(**changes: object) -> Series:
    law = KindLaw(
        half_kind="plug",
        part_number="DW5-{contacts:3}P-{class}",
        rows=2,
        contact_counts=(20, 24, 32, 40),
        classes=(HeightClass(code="2"), HeightClass(code="7")),
        dimensions={
            "pitch": DimensionLaw(intercept=PITCH),
            "body_length": DimensionLaw(intercept=3, slope=PITCH, tolerance=0.1),
        },
    )
    return Series(maker="Warbler", name="Dawn", kinds=(law.model_copy(update=changes),))


def test_a_stated_law_is_used_where_there_is_one() -> None:
    listed = [member(n) for n in (10, 12, 16, 20)]
    found = inferred_halves(listed, [series()])
    assert {item.basis for item in found} == {"stated law"}
    (one,) = (item for item in found if item.half.part_number == "DW5-028P-7")
    assert one.half.dimensions["body_length"] == Dimension(value=10.0, tolerance=0.1, extra_u=LEAST_U)


def test_members_outside_the_stated_laws_are_fitted() -> None:
    receptacles = [member(n, half_kind="receptacle", part_number=f"DW5-{2 * n:03d}S-2") for n in (10, 12, 16)]
    bases = {item.half.half_kind: item.basis for item in inferred_halves(receptacles, [series()])}
    assert bases == {"plug": "stated law", "receptacle": "fitted law"}


def test_a_stated_law_gives_no_variant_where_it_cannot_be_applied() -> None:
    falling = {"body_length": DimensionLaw(intercept=12, slope=-0.5)}
    sizes = {item.half.contacts_per_row for item in inferred_halves([], [series(dimensions=falling)])}
    assert sizes
    assert max(sizes) < 24


def test_each_member_is_predicted_from_the_others() -> None:
    (group,) = member_groups([member(n) for n in (10, 12, 16, 20)])
    left_out = list(leave_one_out(group))
    assert [item.half.contacts_per_row for item in left_out] == [10, 12, 16, 20]
    for item in left_out:
        assert item.predicted is not None
        assert item.predicted.part_number == item.half.part_number
        assert item.predicted.dimensions["body_length"].value == item.half.dimensions["body_length"].value


def test_three_members_are_too_few_to_leave_one_out() -> None:
    (group,) = member_groups([member(n) for n in (10, 12, 16)])
    assert list(leave_one_out(group)) == []
