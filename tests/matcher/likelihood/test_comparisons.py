"""One observation against one entry: the expected value, the p-value of a right reading, and the word shown for it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from matcher.columns.build import build_columns
from matcher.columns.columns import Dim, DimensionColumn, MatingRow
from matcher.features import FEATURES
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.evidence import Comparison
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns, invented_rows
from tests.matcher.reference_model.bodies import ListedHalf
from tests.matcher.reference_model.intervals import rectangle_cumulative
from tests.matcher.reference_model.readings import build_reading

COLUMNS = invented_columns(2)
PLUG, RECEPTACLE = COLUMNS.keys.index("plug-0-20"), COLUMNS.keys.index("receptacle-0-20")
LENGTH = float(COLUMNS.dimensions["body_length"].stated[PLUG])
ZERO = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.05, coefficient=0.5)
SCALE = SharedError(group="picture", kind=SharedKind.SCALE, sd=0.01)


def against(reading: Reduced, half: int = PLUG) -> Comparison:
    """The observation against a half of the catalogue."""
    return evidence_of(reading, COLUMNS).against([half])[0]


def length(off: float, shared: SharedError | None = None) -> Reduced:
    """A reading of the length that is off by that much, mm."""
    return Reduced(index=0, feature="body_length", value=LENGTH + off, u=0.02, total_u=0.02, shared=shared)


@pytest.mark.parametrize(
    ("p_value", "slip", "word"),
    [
        (1.0, 0.0, "fits"),
        (0.05, 0.0, "fits"),
        (0.0499, 0.0, "strains"),
        (0.001, 0.0, "strains"),
        (0.00099, 0.0, "off"),
        (0.9, 0.5, "likely slip"),
        (0.9, 0.4999, "fits"),
        (None, 0.0, "no information"),
    ],
)
def test_a_word_says_how_well_a_reading_fits(p_value: float | None, slip: float, word: str) -> None:
    """The limits are common practice for p-values (0.05, 0.001) and for a slip (one half); no source."""
    assert Comparison(p_value=p_value, slip_probability=slip).word == word


@pytest.mark.parametrize("off", [-0.15, -0.05, 0.0, 0.01, 0.12])
@pytest.mark.parametrize(
    ("shared", "own"), [(None, 0.0), (ZERO, 0.025), (SCALE, 0.01 * LENGTH)], ids=["alone", "zero", "scale"]
)
def test_the_p_value_is_two_sided_over_the_tolerance_and_all_errors(
    off: float, shared: SharedError | None, own: float
) -> None:
    where = ListedHalf(COLUMNS, PLUG).interval("body_length")
    own = own * (LENGTH + off) / LENGTH if shared is SCALE else own
    below = rectangle_cumulative(LENGTH + off, where.centre, where.half, math.hypot(0.02, own, where.extra))
    found = against(length(off, shared))
    assert found.p_value == pytest.approx(2 * min(below, 1 - below), rel=1e-6)
    assert (found.expected, found.tolerance) == (pytest.approx(LENGTH), pytest.approx(where.half))


def test_the_p_value_includes_the_uncertainty_of_the_entry() -> None:
    size, everyone = 0.2, np.ones(len(COLUMNS))
    known = DimensionColumn(
        stated=size * everyone,
        centre=size * everyone,
        half_width=0.01 * everyone,
        broad=0.0 * everyone,
        extra_u=0.03 * everyone,
    )
    columns = replace(COLUMNS, dimensions={**COLUMNS.dimensions, "contact_width": known})
    reading = Reduced(index=0, feature="contact_width", value=0.25, u=0.02, total_u=0.02)
    above = 1 - rectangle_cumulative(0.25, size, 0.01, math.hypot(0.02, 0.03))
    assert evidence_of(reading, columns).against([PLUG])[0].p_value == pytest.approx(2 * above, rel=1e-6)


def test_a_reading_is_as_probably_wrong_as_its_explanations_but_the_first() -> None:
    halves, reading = [RECEPTACLE, PLUG, 3], length(0.2)
    expected = []
    for half in halves:
        slow = build_reading(reading, ListedHalf(COLUMNS, half), folded=True)
        right = replace(slow, pieces=slow.pieces[:1], background=0.0)
        expected.append(1 - right.density() / slow.density())
    assert 0.1 < expected[1] < 0.9
    evidence = DimensionEvidence(reading=reading, columns=COLUMNS)
    assert evidence.slip_probability(np.array(halves)) == pytest.approx(expected, rel=1e-9)


def test_a_half_states_a_dimension_of_the_pair_where_its_matings_agree() -> None:
    rows, _ = invented_rows(1)
    heights = {"plug-0-10": [1.5], "plug-0-12": [1.5, 1.5], "plug-0-16": [1.5, 2.0], "plug-0-20": []}
    mates = ["receptacle-0-10", "receptacle-0-12"]
    matings = [
        MatingRow(half=half, other=mate, dimensions={"stack_height": Dim(value=height)})
        for half, stated in heights.items()
        for mate, height in zip(mates, stated, strict=False)
    ]
    columns = build_columns(rows, matings)
    found = {
        half: DimensionEvidence.stated(FEATURES["stack_height"], columns, columns.position(half)) for half in heights
    }
    assert found == {"plug-0-10": 1.5, "plug-0-12": 1.5, "plug-0-16": None, "plug-0-20": None}


def test_against_no_half_there_is_no_comparison() -> None:
    assert evidence_of(length(0.0), COLUMNS).against([]) == []


def test_a_slip_is_named_from_one_half_of_probability() -> None:
    near, inches = against(length(0.01)), against(length(LENGTH / 25.4 - LENGTH))
    assert near.slip is None
    assert near.slip_probability < 0.5
    assert (inches.slip, inches.word) == ("inches typed as mm", "likely slip")
    assert against(length(-1.0)).slip == "read a whole millimetre too short"
    assert against(length(-0.5)).slip == "read half a millimetre too short"
    assert against(length(-0.77)).slip == "misread by up to a millimetre"
    assert against(length(1.0)).slip == "overall length taken for body length", (
        "nothing shorter reaches over hold-downs"
    )
    assert against(length(40.0)).slip == "measured wrong"


def test_without_a_scale_or_with_a_bound_only_the_expected_value_is_given() -> None:
    unscaled = SharedError(group="p", kind=SharedKind.SCALE, sd=10.0, unscaled=True)
    bound = Reduced(index=0, feature="body_length", at_least=3.0, at_most=4.5, u=0.02, total_u=0.02)
    for found in (against(length(0.0, unscaled)), against(bound)):
        assert found.expected == pytest.approx(LENGTH)
        assert found.tolerance is not None
        assert found.word == "no information"
    assert evidence_of(bound, COLUMNS).words == "at least 3 and at most 4.5"
    assert evidence_of(length(0.0), COLUMNS).words == LENGTH


def test_an_entry_that_states_no_size_or_count_gives_no_comparison() -> None:
    assert against(Reduced(index=0, feature="contact_width", value=0.2, u=0.02, total_u=0.02)) == Comparison()
    assert against(Reduced(index=0, feature="power_contact_count", count=2)) == Comparison()


def test_observations_of_the_other_half_are_not_compared() -> None:
    assert against(Reduced(index=0, feature="contact_count", of=Of.OTHER, count=20)) == Comparison()


@pytest.mark.parametrize("bounds", [{"count": 20}, {"at_least": 20}, {"at_most": 20}, {"at_least": 3, "at_most": 21}])
def test_a_count_fits_where_it_may_be_the_stated_count(bounds: dict[str, int]) -> None:
    found = against(Reduced(index=0, feature="contact_count", **bounds))  # type: ignore[arg-type]
    assert (found.expected, found.p_value, found.word) == (20, 1.0, "fits")


@pytest.mark.parametrize("bounds", [{"count": 19}, {"count": 21}, {"at_least": 21}, {"at_most": 19}])
def test_any_other_count_is_a_miscount(bounds: dict[str, int]) -> None:
    found = against(Reduced(index=0, feature="contact_count", **bounds))  # type: ignore[arg-type]
    assert (found.expected, found.p_value, found.word, found.slip) == (20, 0.05, "likely slip", "miscounted")
    assert found.slip_probability == 1.0


def test_a_kind_fits_where_it_may_be_the_stated_kind_and_is_otherwise_as_likely_as_a_wrong_name() -> None:
    seen = Reduced(index=0, feature="half_kind", values=frozenset({"plug"}))
    fits, wrong = against(seen), against(seen, RECEPTACLE)
    assert (fits.expected, fits.p_value) == ("plug", 1.0)
    assert wrong.expected == "receptacle"
    assert wrong.p_value == pytest.approx(1 - evidence_of(seen, COLUMNS).feature.right_share)


@pytest.mark.parametrize(
    ("has", "expected"),
    [
        ((0.5, 0.5, 0.0), "plug, receptacle"),
        ((0.9, 0.1, 0.0), None),
        ((0.99, 0.01, 0.0), None),
        ((0.0, 1.0, 0.0), "receptacle"),
    ],
)
def test_a_predicted_kind_is_not_compared_with_the_observed_kind(has: tuple[float, ...], expected: str | None) -> None:
    kinds = np.tile(np.array(has), (len(COLUMNS), 1))
    columns = replace(COLUMNS, categories={**COLUMNS.categories, "half_kind": kinds})
    seen = Reduced(index=0, feature="half_kind", values=frozenset({"plug"}))
    assert evidence_of(seen, columns).against([PLUG])[0].expected == expected


@pytest.mark.parametrize(
    ("feature", "share", "stated", "expected"),
    [
        ("mounting", 0.2, 5, True),
        ("mounting", 1 / 6, 6, False),
        ("keying", 1.0, 2, True),
        ("keying", 0.5, 1, False),
        ("keying", 0.25, 3, False),
    ],
)
def test_a_stated_set_shares_the_probability_equally_and_labels_never_do(
    feature: str, share: float, stated: int, expected: bool
) -> None:
    has = np.zeros(len(FEATURES[feature].values))
    has[:stated] = share
    table = np.tile(has, (len(COLUMNS), 1))
    columns = replace(COLUMNS, categories={**COLUMNS.categories, feature: table})
    seen = Reduced(index=0, feature=feature, values=frozenset({next(iter(FEATURES[feature].values))}))
    assert (evidence_of(seen, columns).against([PLUG])[0].expected is not None) is expected


@pytest.mark.parametrize(
    ("own", "mate"), [("plug", "receptacle"), ("receptacle", "plug"), ("hermaphroditic", "hermaphroditic")]
)
def test_an_unlisted_mate_is_of_the_kind_that_mates(own: str, mate: str) -> None:
    kinds = list(FEATURES["half_kind"].values)
    has = np.tile([float(kind == own) for kind in kinds], (len(COLUMNS), 1))
    columns = replace(COLUMNS, categories={**COLUMNS.categories, "half_kind": has})
    for kind in kinds:
        seen = Reduced(index=0, feature="half_kind", of=Of.OTHER, values=frozenset({kind}))
        right = FEATURES["half_kind"].right_share
        expected = right if kind == mate else (1 - right) / (len(kinds) - 1)
        assert evidence_of(seen, columns).of_unlisted_mates() == pytest.approx(np.full(len(COLUMNS), expected))
