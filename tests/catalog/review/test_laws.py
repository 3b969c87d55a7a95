"""Dimensions are compared with the series' law, stated or fitted to siblings; findings give the expected value."""

from __future__ import annotations

import pytest

from catalog.model.entries import Half, Series
from catalog.review import Code, Finding, Neighbours, review
from tests.catalog.review.review_examples import SIZES, codes, family, member, sized

SIBLINGS = Neighbours(siblings=family(20))

STATED = Series.model_validate(
    {
        "maker": "Wagtail Works",
        "name": "Reedling",
        "kinds": [
            {
                "half_kind": "plug",
                "part_number": "REED-P{contacts:2}-{class}",
                "rows": 2,
                "contact_counts": list(SIZES),
                "classes": [
                    {"code": "L", "dimensions": {"height": {"intercept": 3.25}}},
                    {"code": "H", "dimensions": {"height": {"intercept": 5.25}}},
                ],
                "dimensions": {
                    "pitch": {"intercept": 0.8},
                    "body_length": {"intercept": 5.0, "slope": 0.8},
                    "body_width": {"intercept": 4.8},
                },
            }
        ],
    }
)


def _off(half: Half, around: Neighbours = SIBLINGS) -> list[Finding]:
    laws = (Code.OFF_LAW, Code.OTHER_SIZE, Code.FACTOR_SLIP, Code.SWAPPED_FIGURES, Code.UNITS_SLIP)
    return [finding for finding in review(half, around) if finding.code in laws]


@pytest.mark.parametrize("contacts", SIZES)
def test_a_member_that_follows_the_law_of_its_siblings_is_clean(contacts: int) -> None:
    assert codes(review(member(contacts), Neighbours(siblings=family(contacts)))) == set()


def test_a_finding_about_an_outlier_gives_the_expected_value_and_the_siblings() -> None:
    (found,) = _off(sized("body_length", 13.77))
    assert (found.code, found.severity, found.expected) == (Code.OFF_LAW, "severe", 13.0)
    assert found.message.startswith("body length 13.77 mm: 5 siblings give 13 mm at 10 contacts per row")
    assert found.others == tuple(half.key for half in sorted(family(20), key=lambda half: half.key))


@pytest.mark.parametrize(("value", "severity"), [(13.09, None), (13.21, "warning"), (13.6, "severe")])
def test_severity_grows_with_how_many_tolerances_a_value_is_off(value: float, severity: str | None) -> None:
    found = _off(sized("body_length", value))
    assert [finding.severity for finding in found] == ([] if severity is None else [severity])


def test_two_siblings_are_too_few_for_a_law() -> None:
    assert _off(sized("body_length", 14.0), Neighbours(siblings=family(12, 16, 20, 24))) == []


def test_siblings_of_one_size_give_no_law() -> None:
    twins = tuple(member(12, part_number=f"REED-P12-{letter}") for letter in "ABC")
    assert _off(sized("body_length", 14.0), Neighbours(siblings=twins)) == []


def test_halves_with_another_mounting_are_not_siblings() -> None:
    others = {"mounting": ["through_hole"], "tail_form": ["pin"], "orientation": ["vertical"]}
    siblings = tuple(member(contacts, categories=others) for contacts in SIZES if contacts != 20)
    assert _off(sized("body_length", 14.0), Neighbours(siblings=siblings)) == []


def test_an_outlier_with_another_name_pattern_is_only_a_warning() -> None:
    (found,) = _off(sized("body_length", 14.77, part_number="REED-X20-TALL"))
    assert found.severity == "warning"


@pytest.mark.parametrize(
    ("value", "code", "expected"),
    [
        (0.512, Code.UNITS_SLIP, 13.0),
        (330.2, Code.UNITS_SLIP, 13.0),
        (1.3, Code.UNITS_SLIP, 13.0),
        (26.0, Code.FACTOR_SLIP, 13.0),
        (6.5, Code.FACTOR_SLIP, 13.0),
        (31.0, Code.SWAPPED_FIGURES, 13.0),
        (14.6, Code.OTHER_SIZE, 13.0),
    ],
)
def test_the_slip_that_explains_an_outlier_is_named_with_the_probable_value(
    value: float, code: Code, expected: float
) -> None:
    (found,) = _off(sized("body_length", value))
    assert (found.code, found.severity) == (code, "severe")
    assert found.expected == pytest.approx(expected, abs=0.01)


def test_a_value_from_the_wrong_row_of_a_table_is_found_with_the_size_it_belongs_to() -> None:
    (found,) = _off(sized("body_length", 14.6))
    assert "it is the value at 12 contacts per row" in found.message


def test_a_value_between_two_sizes_is_not_taken_for_another_size() -> None:
    (found,) = _off(sized("body_length", 14.2))
    assert found.code is Code.OFF_LAW


def test_a_pitch_slip_is_found_although_the_pitch_separates_constructions() -> None:
    found = {f.field: f for f in _off(sized("pitch", 1.6))}["dimensions.pitch"]
    assert (found.code, found.severity, found.expected) == (Code.FACTOR_SLIP, "severe", 0.8)


def test_a_wrong_number_of_contacts_puts_every_length_off() -> None:
    wrong = member(24, contact_count=20, part_number="REED-P20")
    assert {f.field for f in _off(wrong)} == {
        "dimensions.body_length",
        "dimensions.overall_length",
        "dimensions.peg_hole_span",
    }


def test_a_stated_law_takes_precedence_over_siblings() -> None:
    siblings = tuple(sized("body_width", 5.5, contacts) for contacts in SIZES if contacts != 20)
    around = Neighbours(siblings=siblings, series=STATED)
    assert _off(member(), around) == []
    (found,) = _off(sized("body_width", 5.5), around)
    assert found.expected == 4.8
    assert found.message.startswith("body width 5.5 mm: the series' law gives 4.8 mm")


@pytest.mark.parametrize("height", [3.25, 5.25])
def test_each_height_class_of_a_stated_law_is_accepted(height: float) -> None:
    assert _off(sized("height", height), Neighbours(series=STATED)) == []


def test_a_height_outside_all_classes_is_only_a_warning_since_it_may_be_a_new_class() -> None:
    (found,) = _off(sized("height", 4.25), Neighbours(series=STATED))
    assert found.severity == "warning"


def test_a_kind_that_the_series_does_not_state_is_not_judged() -> None:
    assert _off(sized("body_length", 14.0, half_kind="receptacle"), Neighbours(series=STATED)) == []


def test_the_stated_doubt_of_an_entry_widens_its_limits() -> None:
    doubtful = {"body_length": {"value": 13.3, "tolerance": 0.1, "extra_u": 0.15, "doubt": "from a scan"}}
    assert _off(member(dimensions=doubtful)) == []
    (found,) = _off(sized("body_length", 13.3))
    assert found.severity == "warning"


def test_a_maximum_is_compared_with_the_nominal_value_of_the_law() -> None:
    widest = {"body_length": {"value": 13.1, "tolerance": 0.1, "bound": "max"}}
    assert _off(member(dimensions=widest)) == []
