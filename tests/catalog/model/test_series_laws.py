"""Series expand by their laws; laws that cannot be applied are refused with what to change."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.model.entries import Series
from catalog.model.errors import EntryError
from catalog.model.series_laws import MOST_HALVES, expand
from tests.catalog.model.entry_examples import series


def _kind(**changes: Any) -> dict[str, Any]:
    return {
        "half_kind": "plug",
        "part_number": "WR-{contacts}",
        "rows": 2,
        "contact_counts": [10, 20],
        "dimensions": {"pitch": {"intercept": 0.5}},
    } | changes


def _series(*kinds: dict[str, Any], **changes: Any) -> Series:
    return Series.model_validate({"maker": "Wryneck", "name": "WR", "kinds": list(kinds)} | changes)


def _refused(entry: Series) -> EntryError:
    with pytest.raises(EntryError) as caught:
        expand(entry)
    assert caught.value.remedy
    return caught.value


def test_every_count_of_every_class_is_a_half() -> None:
    parts = [half.part_number for half in expand(series()).halves]
    assert parts == [
        "DN40PA-010", "DN40PA-020", "DN40PA-040", "DN40PB-010", "DN40PB-020", "DN40PB-040",
        "DN40R-010", "DN40R-020", "DN40R-040",
    ]  # fmt: skip


def test_dimensions_follow_intercept_slope_and_positions_per_row() -> None:
    half = expand(series()).halves[1]  # 20 contacts in 2 rows: 10 positions
    assert half.contacts_per_row == 10
    assert half.dimensions["body_length"].value == 5.8  # 1.8 + 0.4 × 10, without rounding errors of binary fractions
    assert half.dimensions["body_length"].tolerance == 0.1
    assert half.dimensions["body_width"].bound == "max"


def test_a_height_class_adds_its_own_dimensions() -> None:
    low, high = expand(series()).halves[0], expand(series()).halves[3]
    assert (low.dimensions["height"].value, high.dimensions["height"].value) == (0.65, 1.15)
    assert high.dimensions["height"].tolerance == 0.05


def test_a_height_class_overrides_the_dimension_of_its_kind() -> None:
    entry = _series(
        _kind(
            contact_counts=[10],
            dimensions={"height": {"intercept": 1.0}},
            classes=[{"code": "-"}, {"code": "T", "dimensions": {"height": {"intercept": 2.0}}}],
            part_number="WR{class}",
        )
    )
    assert [half.dimensions["height"].value for half in expand(entry).halves] == [1.0, 2.0]


def test_common_fields_of_the_series_apply_to_every_half() -> None:
    halves = expand(series()).halves
    assert len(halves) == 9
    for half in halves:
        assert (half.lifecycle, half.mating_cycles, half.counts) == ("active", 30, {"hold_down_count": 4})
        assert half.ratings is not None
        assert half.datasheet is not None


def test_order_codes_may_use_the_part_number_and_padded_counts() -> None:
    assert expand(series()).halves[1].order_codes == ("DN40PA-020-TR", "DN40PA-020-10")


def test_blocked_sites_count_as_positions_and_not_as_contacts() -> None:
    blocked = [{"row": 1, "position": 3}]
    half = expand(_series(_kind(contact_counts=[39], blocked=blocked))).halves[0]
    assert (half.contact_count, half.positions) == (39, 20)


def test_positions_are_rounded_up_where_contacts_do_not_fill_a_row() -> None:
    assert expand(_series(_kind(contact_counts=[11]))).halves[0].positions == 6


def test_the_stack_height_is_the_sum_of_both_shares_with_the_series_tolerance() -> None:
    heights = {m.half: m.stack_height for m in expand(series()).matings}
    low, high = heights["dunnock-sons:dn40pa-010"], heights["dunnock-sons:dn40pb-010"]
    assert low is not None
    assert high is not None
    assert (low.value, low.tolerance, high.value) == (0.8, 0.1, 1.3)


def test_a_stated_stack_height_replaces_the_sum() -> None:
    entry = series(stack=[{"plug": "A", "receptacle": "-", "stack_height": {"value": 0.75}}])
    assert {m.stack_height.value for m in expand(entry).matings if m.stack_height} == {0.75}


def test_only_halves_with_equal_counts_mate() -> None:
    plug, receptacle = _kind(), _kind(half_kind="receptacle", part_number="WS-{contacts}", contact_counts=[20, 30])
    matings = expand(_series(plug, receptacle, stack=[{}])).matings
    assert [(m.half, m.other) for m in matings] == [("wryneck:wr-20", "wryneck:ws-20")]
    assert matings[0].basis == "maker"


def test_a_mating_without_heights_has_no_stack_height() -> None:
    receptacle = _kind(half_kind="receptacle", part_number="WS-{contacts}")
    matings = expand(_series(_kind(), receptacle, stack=[{}])).matings
    assert matings
    assert all(m.stack_height is None for m in matings)


def test_hermaphroditic_halves_mate_with_their_own_class_and_with_others_once() -> None:
    kind = _kind(
        half_kind="hermaphroditic",
        part_number="WR{class}-{contacts}",
        contact_counts=[20],
        classes=[{"code": "3", "stack_share": 3}, {"code": "5", "stack_share": 5}],
    )
    pairs = [{"plug": "3", "receptacle": "3"}, {"plug": "3", "receptacle": "5"}]
    matings = expand(_series(kind, stack=pairs)).matings
    assert [(m.half, m.other, m.stack_height and m.stack_height.value) for m in matings] == [
        ("wryneck:wr3-20", "wryneck:wr3-20", 6.0),
        ("wryneck:wr3-20", "wryneck:wr5-20", 8.0),
    ]


def test_two_hermaphroditic_kinds_of_one_class_mate_once() -> None:
    upright = _kind(half_kind="hermaphroditic", contact_counts=[20])
    lying = upright | {"part_number": "WL-{contacts}"}
    pairs = {tuple(sorted((m.half, m.other))) for m in expand(_series(upright, lying, stack=[{}])).matings}
    assert len(expand(_series(upright, lying, stack=[{}])).matings) == len(pairs) == 3


def test_a_pattern_that_yields_one_part_number_twice_is_refused() -> None:
    error = _refused(_series(_kind(part_number="WR")))
    assert error.value == "wryneck:wr"


def test_kinds_that_share_a_part_number_are_refused() -> None:
    assert _refused(_series(_kind(), _kind(half_kind="receptacle"))).field == "part_number"


@pytest.mark.parametrize(
    "pattern", ["WR-{pins}", "WR-{contacts", "WR}", "WR-{contacts:0}", "WR-{contacts:12}", "WR-{part}"]
)
def test_a_placeholder_without_a_value_is_refused(pattern: str) -> None:
    error = _refused(_series(_kind(part_number=pattern)))
    assert error.field == "kinds[0].part_number"
    assert "{contacts}" in error.remedy


def test_a_placeholder_without_a_value_in_an_order_code_is_refused() -> None:
    assert _refused(_series(_kind(order_codes=["{part}-{reel}"]))).field == "kinds[0].order_codes"


def test_a_law_that_gives_an_invalid_length_is_refused_with_the_count() -> None:
    error = _refused(_series(_kind(dimensions={"body_length": {"intercept": -3, "slope": 0.5}})))
    assert error.field == "kinds[0].dimensions.body_length"
    assert "10 contacts" in error.message


def test_a_law_that_gives_more_than_a_metre_is_refused() -> None:
    entry = _series(_kind(dimensions={}, classes=[{"dimensions": {"body_length": {"intercept": 0, "slope": 100.0}}}],
                          contact_counts=[22]))  # fmt: skip
    assert _refused(entry).field == "kinds[0].classes[0].dimensions.body_length"


def test_a_pair_with_an_unknown_class_is_refused_with_the_known_classes() -> None:
    error = _refused(series(stack=[{"plug": "C", "receptacle": "-"}]))
    assert error.field == "stack[0].plug"
    assert "A, B" in error.remedy


def test_a_pair_whose_kind_has_no_law_is_refused() -> None:
    assert "receptacle" in _refused(_series(_kind(), stack=[{}])).remedy


def test_a_pair_without_a_common_count_is_refused() -> None:
    receptacle = _kind(half_kind="receptacle", part_number="WS-{contacts}", contact_counts=[30])
    assert _refused(_series(_kind(), receptacle, stack=[{}])).field == "stack[0]"


def test_a_sum_with_one_share_missing_is_refused() -> None:
    plug = _kind(classes=[{"stack_share": 0.4}])
    receptacle = _kind(half_kind="receptacle", part_number="WS-{contacts}")
    assert "stack_share" in _refused(_series(plug, receptacle, stack=[{}])).remedy


def test_a_pair_listed_twice_is_refused() -> None:
    pair = {"plug": "A", "receptacle": "-"}
    assert _refused(series(stack=[pair, pair])).field == "stack"


def test_hermaphroditic_and_gendered_kinds_cannot_share_a_series() -> None:
    other = _kind(half_kind="hermaphroditic", part_number="WH-{contacts}")
    assert _refused(_series(_kind(), other, stack=[{}])).field == "kinds"


def test_a_blocked_site_outside_the_half_is_refused() -> None:
    assert _refused(_series(_kind(blocked=[{"row": 3, "position": 1}]))).field == "kinds[0].blocked"
    assert "10 contacts" in _refused(_series(_kind(blocked=[{"row": 1, "position": 7}]))).message


def test_a_series_of_too_many_halves_is_refused_before_it_is_expanded() -> None:
    classes = [{"code": str(n)} for n in range(MOST_HALVES // 2 + 1)]
    assert _refused(_series(_kind(classes=classes))).value == MOST_HALVES + 2
