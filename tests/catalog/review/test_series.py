"""A series is reviewed through the halves its laws make, and each fault of a law is reported once."""

from __future__ import annotations

from typing import Any

import pytest

from catalog.model.entries import Series
from catalog.model.errors import EntryError
from catalog.review import Code, Finding, Neighbours, among, review
from tests.catalog.model.entry_examples import series as example
from tests.catalog.review.review_examples import codes, member, sized

COUNTS = (10, 20, 40)


def _kind(kind: str, changes: dict[str, Any], classes: list[dict[str, Any]]) -> dict[str, Any]:
    outer = 1.2 if kind == "receptacle" else 0.0
    dimensions = {
        "pitch": {"intercept": 0.8, "tolerance": 0.05},
        "body_length": {"intercept": 5.0 + outer, "slope": 0.8, "tolerance": 0.1},
        "body_width": {"intercept": 4.8 + outer, "tolerance": 0.1},
    }
    return {
        "half_kind": kind,
        "part_number": f"{kind[0].upper()}{{contacts:2}}-{{class}}",
        "rows": 2,
        "contact_counts": list(COUNTS),
        "classes": classes,
        "dimensions": dimensions | changes,
    }


def _height(code: str, share: float, height: float) -> dict[str, Any]:
    law = {"height": {"intercept": height, "tolerance": 0.1}}
    return {"code": code, "stack_share": share, "dimensions": law}


def _series(changes: dict[str, Any] | None = None, *, low: float = 3.25) -> Series:
    plugs = _kind("plug", changes or {}, [_height("L", 2.0, low), _height("H", 4.0, 5.25)])
    receptacles = _kind("receptacle", {}, [_height("A", 3.0, 4.0)])
    pairs = [{"plug": "L", "receptacle": "A"}, {"plug": "H", "receptacle": "A"}]
    return Series.model_validate(
        {
            "maker": "Wagtail Works",
            "name": "Reedling",
            "kinds": [plugs, receptacles],
            "stack": pairs,
            "stack_tolerance": 0.15,
        }
    )


def _found(entry: Series, around: Neighbours | None = None) -> list[Finding]:
    return list(review(entry, around or Neighbours()))


def test_consistent_laws_have_no_findings() -> None:
    assert _found(_series()) == []


def test_a_fault_of_one_law_is_one_finding_with_the_number_of_halves() -> None:
    (found,) = _found(_series({"row_spacing": {"intercept": 5.0, "tolerance": 0.1}}))
    assert (found.code, found.severity, found.field) == (Code.ROWS_OUTSIDE, "severe", "kinds[0].dimensions.row_spacing")
    assert found.concerns == 2 * len(COUNTS)
    assert "(6 of 9 halves; this is one of them)" in found.message


def test_a_fault_of_a_height_class_points_to_the_class() -> None:
    found = _found(_series(low=90.0))
    assert ("implausible-size", "severe", "kinds[0].classes[0].dimensions.height") in codes(found)


def test_only_the_affected_sizes_are_counted() -> None:
    found = _found(_series({"peg_hole_span": {"intercept": 3.0, "slope": 1.0, "tolerance": 0.1}}))
    (pegs,) = [each for each in found if each.code is Code.PEGS_OUTSIDE]
    assert pegs.concerns == 2  # 20 positions of both heights: 23 mm in a body of 21 mm


def test_missing_tolerances_are_reported_once_per_law_with_the_default_of_the_largest_size() -> None:
    (found,) = _found(_series({"body_length": {"intercept": 5.0, "slope": 0.8}}))
    assert (found.severity, found.field) == ("notice", "kinds[0].dimensions.body_length.tolerance")
    assert (found.expected, found.concerns) == (0.15, 6)


@pytest.mark.parametrize(
    ("slope", "severity", "words"),
    [
        (0.4, "severe", "as if counted per contact"),
        (0.8 / 25.4, "severe", "as if in another unit"),
        (0.0, "severe", "0.8 mm"),
        (0.85, "warning", "0.8 mm"),
    ],
)
def test_a_length_that_does_not_grow_by_the_pitch_is_questioned(slope: float, severity: str, words: str) -> None:
    found = _found(_series({"body_length": {"intercept": 25.0, "slope": slope, "tolerance": 0.1}}))
    (law,) = [each for each in found if each.code is Code.LAW_SLOPE]
    assert (law.severity, law.field, law.expected) == (severity, "kinds[0].dimensions.body_length", 0.8)
    assert words in law.message


def test_a_slope_that_changes_nothing_over_the_sizes_is_the_pitch() -> None:
    found = _found(_series({"body_length": {"intercept": 5.0, "slope": 0.803, "tolerance": 0.1}}))
    assert found == []


def test_findings_about_matings_point_to_their_pair() -> None:
    (found,) = _found(_series(low=5.4))
    assert (found.code, found.field, found.concerns) == (Code.HALF_ABOVE_STACK, "stack[0].stack_height", 3)
    assert "(3 of 6 matings; this is one of them)" in found.message


def test_a_stack_height_without_tolerance_points_to_the_series_tolerance_of_sums() -> None:
    entry = _series().model_copy(update={"stack_tolerance": None})
    (found,) = _found(entry)
    assert (found.field, found.expected, found.concerns) == ("stack_tolerance", 0.25, 6)


def test_two_identical_classes_are_found_within_the_series() -> None:
    entry = _series(low=5.25)
    assert ("same-geometry", "warning", "kinds[0].dimensions") in codes(_found(entry))


def test_a_half_of_the_series_listed_under_another_name_is_found() -> None:
    listed = member(part_number="P20.L", dimensions=dict.fromkeys(("row_spacing", "peg_hole_span")))
    found = codes(_found(_series(), among(_series(), (listed,))))
    assert ("same-name", "severe", "kinds[0].part_number") in found


def test_the_listed_halves_of_the_series_itself_are_not_duplicates() -> None:
    own = member(part_number="P20-L")
    assert _found(_series(), among(_series(), (own,))) == []


def test_listed_halves_that_a_new_law_contradicts_are_named() -> None:
    odd = sized("body_width", 5.6, part_number="ODD-1")
    (found,) = [each for each in _found(_series(), among(_series(), (odd,))) if each.code is Code.OFF_LAW]
    assert (found.severity, found.field, found.others) == ("warning", "kinds.dimensions.body_width", (odd.key,))


def test_listed_halves_that_follow_a_new_law_are_not_named() -> None:
    fitting = member(part_number="ODD-1", dimensions={"body_width": {"value": 4.82}, "height": None})
    assert Code.OFF_LAW not in {each.code for each in _found(_series(), among(_series(), (fitting,)))}


def test_laws_that_cannot_be_applied_are_refused() -> None:
    entry = _series()
    kinds = (entry.kinds[0].model_copy(update={"part_number": "{colour}"}), entry.kinds[1])
    with pytest.raises(EntryError, match="colour"):
        review(entry.model_copy(update={"kinds": kinds}), Neighbours())


def test_a_series_that_only_has_a_name_is_clean() -> None:
    assert _found(Series(maker="Wagtail Works", name="Reedling")) == []


def test_the_example_series_of_the_tests_is_clean() -> None:
    assert codes(_found(example())) == set()
