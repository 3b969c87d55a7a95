"""How much a category counts: every value seen against every value stated, on halves that differ in nothing else."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow
from matcher.decision.next_measurement.absent_outlook import AbsentOutlook
from matcher.decision.next_measurement.outcome_model import predict
from matcher.decision.next_measurement.shortlist import leaders
from matcher.decision.posterior import posterior
from matcher.features import CATEGORIES, FEATURES, Kind
from matcher.identify import identify
from matcher.likelihood.categories import naming_table, seen_as
from matcher.likelihood.evidence import STRONG, Comparison
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Reduced

COLOUR_AT_MOST = 2.5
FITS_AT_MOST = 15.0
ROUNDING = 1 + 1e-9


def halves(feature: str, *stated: frozenset[str]) -> Columns:
    """One half for each set of stated values."""
    rows = [
        HalfRow(
            key="+".join(sorted(values)),
            series=f"series {number}",
            dimensions={"pitch": Dim(value=0.5), "body_length": Dim(value=7.5), "body_width": Dim(value=4.0)},
            counts={"contact_count": 20, "rows": 2},
            categories={"mounting": frozenset({"surface_mount"}), feature: values},
        )
        for number, values in enumerate(stated)
    ]
    return build_columns(rows, [])


def sets_of(feature: str, size: int) -> list[frozenset[str]]:
    """Every set of that many values."""
    return [frozenset(each) for each in itertools.combinations(FEATURES[feature].values, size)]


def seen(feature: str, *values: str) -> Reduced:
    return Reduced(index=0, feature=feature, values=frozenset(values))


def factors(observed: Reduced, columns: Columns) -> np.ndarray:
    """How many times likelier the observation is under each half than under the average one."""
    probability = evidence_of(observed, columns).of_halves()
    return probability / probability.mean()


def compared(observed: Reduced, columns: Columns) -> list[Comparison]:
    return evidence_of(observed, columns).against(range(len(columns)))


@pytest.mark.parametrize("feature", CATEGORIES)
def test_nothing_that_fits_counts_strongly_and_nothing_off_counts_little(feature: str) -> None:
    stated = seen_as(FEATURES[feature])
    if FEATURES[feature].kind is Kind.CATEGORY:
        stated = [*stated, *sets_of(feature, 2), frozenset(list(FEATURES[feature].values)[:5])]
    columns = halves(feature, *stated)
    for values in seen_as(FEATURES[feature]):
        factor, found = factors(seen(feature, *values), columns), compared(seen(feature, *values), columns)
        against_best = factor.max() / factor
        for name, ratio, comparison in zip(stated, against_best, found, strict=True):
            assert comparison.word != "fits" or ratio < FITS_AT_MOST, (values, name)
            assert comparison.word != "off" or ratio > STRONG, (values, name)
            assert ratio <= ROUNDING or factor.max() > 1.0
        assert factor.max() <= len(stated)


@pytest.mark.parametrize("feature", [name for name in CATEGORIES if FEATURES[name].kind is Kind.CATEGORY])
def test_each_value_speaks_most_for_itself_and_is_then_said_to_fit(feature: str) -> None:
    values = list(FEATURES[feature].values)
    columns = halves(feature, *sets_of(feature, 1))
    for place, value in enumerate(values):
        factor = factors(seen(feature, value), columns)
        assert int(factor.argmax()) == place
        assert factor[place] > 1
        own = compared(seen(feature, value), columns)[place]
        assert (own.word, own.times_less_likely) == ("fits", pytest.approx(1.0))
    assert naming_table(FEATURES[feature]).sum(axis=1) == pytest.approx(np.ones(len(values)))


@pytest.mark.parametrize("size", range(1, 6))
def test_a_colour_never_counts_more_than_two_and_a_half_times(size: int) -> None:
    stated = [each for number in range(1, 7) for each in sets_of("housing_colour", number)]
    columns = halves("housing_colour", *stated)
    for values in sets_of("housing_colour", size):
        factor = factors(seen("housing_colour", *values), columns)
        assert factor.max() / factor.min() <= COLOUR_AT_MOST * ROUNDING
    white = compared(seen("housing_colour", "white"), columns)
    assert {each.word for each in white if each.expected is not None} == {"fits"}


def test_a_colour_counts_as_little_in_the_answer() -> None:
    """Two halves that differ in colour alone, and not in this catalogue."""
    columns = halves("housing_colour", frozenset({"black"}), frozenset({"white"}))
    model = fit_absent(columns)
    before = identify(columns, model, [seen("mounting", "surface_mount")], prior_absent=0.1)
    after = identify(columns, model, [seen("mounting", "surface_mount"), colour_again()], prior_absent=0.1)
    odds = {each.key: each.probability for each in after.candidates}
    assert odds["white"] / odds["black"] == pytest.approx(COLOUR_AT_MOST)
    change = (1 / after.probability_absent - 1) / (1 / before.probability_absent - 1)
    assert 1 / COLOUR_AT_MOST < change < COLOUR_AT_MOST


def colour_again() -> Reduced:
    return Reduced(index=1, feature="housing_colour", values=frozenset({"white"}))


SCENES = [
    ("latch_style", "click_felt", "none_visible", "fits", 1.0, 1.2),
    ("latch_style", "none_visible", "click_felt", "fits", 1.0, 2.0),
    ("latch_style", "metal_snap", "none_visible", "strains", 15.0, 25.0),
    ("latch_style", "metal_snap", "click_felt", "strains", 5.0, 25.0),
    ("mounting", "press_fit", "through_hole", "fits", 1.0, 2.5),
    ("mounting", "surface_mount", "through_hole", "off", 150.0, 400.0),
    ("mounting", "ball_array", "surface_mount", "strains", 3.0, 10.0),
    ("contact_layout", "aligned", "staggered", "strains", 5.0, 25.0),
    ("tail_layout", "alternating", "staggered", "fits", 1.0, 3.0),
    ("tail_layout", "staggered", "alternating", "strains", 3.0, 10.0),
    ("tail_layout", "one_row", "alternating", "strains", 10.0, 50.0),
    ("shield", "full", "partial", "strains", 3.0, 10.0),
    ("shield", "none", "full", "strains", 15.0, 50.0),
    ("tail_form", "flush", "under_body", "strains", 3.0, 10.0),
    ("hold_down_form", "wrap_round", "end_tab", "strains", 15.0, 50.0),
    ("half_kind", "plug", "receptacle", "strains", 5.0, 15.0),
    ("housing_colour", "natural", "white", "fits", 2.4, COLOUR_AT_MOST * ROUNDING),
    ("keying", "unequal_pegs", "none", "fits", 1.0, 2.0),
    ("keying", "corner_chamfer", "none", "strains", 5.0, 10.0),
    ("keying", "none", "unequal_pegs", "strains", 10.0, 20.0),
]
"""Feature, value stated, value seen, the word for it, and the least and the most that it may count against the half."""


@pytest.mark.parametrize(
    ("feature", "stated", "observed", "word", "least", "most"),
    SCENES,
    ids=[f"{feature}: {stated} seen as {observed}" for feature, stated, observed, *_ in SCENES],
)
def test_what_is_seen_at_the_bench(
    feature: str, stated: str, observed: str, word: str, least: float, most: float
) -> None:
    """The answer's own evidence against a half that states exactly what was seen."""
    columns = halves(feature, frozenset({stated}), frozenset({observed}))
    answer = identify(columns, fit_absent(columns), [seen(feature, observed)], prior_absent=0.0)
    (line,) = (
        line for each in answer.candidates if each.key == stated for line in each.evidence if line.feature == feature
    )
    assert (line.reading, line.expected) == (word, stated)
    assert least <= np.exp(-line.log_odds) <= most


def test_advice_does_not_expect_the_eye_to_tell_look_alikes_apart() -> None:
    bits = {}
    for other in ("click_felt", "metal_snap"):
        columns = halves("latch_style", frozenset({"none_visible"}), frozenset({other}))
        result = posterior(columns, fit_absent(columns), [seen("mounting", "surface_mount")], 0.0)
        prediction = predict(leaders(result), FEATURES["latch_style"], None, AbsentOutlook.of(result))
        assert prediction is not None
        bits[other] = prediction.bits
    assert bits["click_felt"] < 0.1 < 0.4 < bits["metal_snap"]


def test_a_key_that_cannot_be_seen_on_a_soldered_half_hardly_speaks_against_it() -> None:
    """Unequal pegs sit in the board. The mate's side says nothing of them, so other keys are looked for as before."""
    columns = halves("keying", frozenset({"none"}), frozenset({"unequal_pegs"}), frozenset({"offset_rib"}))
    nothing, pegs, rib = evidence_of(seen("keying", "none"), columns).of_halves()
    assert 1.0 < nothing / pegs < 2.0 < 5.0 < nothing / rib
