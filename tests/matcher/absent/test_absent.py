"""Absent: its density agrees with the reference model, fits the catalogue and splits into shares that add up."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from matcher.absent.around_profiles import plausible_density
from matcher.absent.density import UnderAbsent
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel, unfitted_model
from matcher.columns.build import build_columns
from matcher.decision.posterior import posterior
from matcher.features import FEATURES
from matcher.likelihood.evidence import log_sum
from matcher.likelihood.likelihood import Likelihood, likelihood
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns, invented_rows
from tests.matcher.reference_model.absence import log_density, measured
from tests.matcher.reference_model.intervals import log_uniform_density

INVENTED = invented_columns(12)
VAGUE_LANDS = replace(
    INVENTED.dimensions["land_span"],
    broad=np.resize([0.0, 0.65], len(INVENTED)),
    extra_u=np.full(len(INVENTED), 0.04),
)
COLUMNS = replace(INVENTED, dimensions={**INVENTED.dimensions, "land_span": VAGUE_LANDS})
ZERO = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.0115)
PICTURE = SharedError(group="picture", kind=SharedKind.SCALE, sd=0.02)
UNSCALED = SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True)


@cache
def model() -> AbsentModel:
    """Fitted by the first test that asks, not by every process that collects."""
    return fit_absent(COLUMNS)


def reading(index: int, feature: str, value: float, shared: SharedError | None = None, spans: int = 1) -> Reduced:
    return Reduced(index=index, feature=feature, value=value, u=0.02, total_u=0.02, shared=shared, spans=spans)


def under_absent(weighed: Likelihood) -> UnderAbsent:
    return UnderAbsent(model=model(), weighed=weighed)


def is_exact_count(given: Reduced) -> bool:
    return given.feature == "contact_count" and given.of is Of.THIS and given.count is not None


def count(index: int, feature: str, number: int) -> Reduced:
    return Reduced(index=index, feature=feature, count=number)


def dimensions(shared: SharedError | None, factor: float = 1.0) -> list[Reduced]:
    sizes = {"pitch": 0.503, "body_length": 9.1, "body_width": 4.2, "land_span": 5.3}
    return [
        reading(i, name, size * factor, shared, 9 if name == "pitch" else 1)
        for i, (name, size) in enumerate(sizes.items())
    ]


STACK = Reduced(index=9, feature="stack_height", of=Of.PAIR, value=2.4, u=0.05, total_u=0.05)
KIND = Reduced(index=8, feature="half_kind", values=frozenset({"plug"}))
CASES = {
    "dimensions alone": dimensions(None),
    "with an exact count": [*dimensions(None), count(5, "contact_count", 20), count(6, "rows", 2)],
    "a count that no entry lists": [*dimensions(None), count(5, "contact_count", 26)],
    "one caliper's zero error": [*dimensions(ZERO), count(5, "contact_count", 20)],
    "a zero error that moves readings by half": dimensions(replace(ZERO, coefficient=0.5)),
    "a scaled picture": [*dimensions(PICTURE), count(5, "contact_count", 20)],
    "an unscaled picture": [*dimensions(UNSCALED, 40.0), count(5, "contact_count", 20)],
    "one reading of an unscaled picture": [reading(0, "pitch", 20.0, UNSCALED), count(5, "contact_count", 20)],
    "one reading of an unscaled picture among others": [reading(0, "pitch", 20.0, UNSCALED), *dimensions(None)[1:]],
    "two readings of an unscaled picture": dimensions(UNSCALED, 40.0)[:2],
    "a feature that no entry states": [*dimensions(None), reading(4, "contact_width", 0.2)],
    "what is seen, and the pair": [*dimensions(None), KIND, STACK],
    "bounds": [*dimensions(None), Reduced(index=5, feature="height", at_most=2.0, u=0.02, total_u=0.02)],
    "a bound on the contacts": [*dimensions(None), Reduced(index=5, feature="contact_count", at_least=18)],
    "nothing measured": [KIND],
    "the other half's contacts": [*dimensions(None), Reduced(index=5, feature="contact_count", of=Of.OTHER, count=20)],
}


@pytest.mark.parametrize("case", CASES)
def test_the_density_agrees_with_the_reference_model(case: str) -> None:
    observations = CASES[case]
    weighed = likelihood(COLUMNS, observations)
    alone = {each.index: likelihood(COLUMNS, [each]).total.tolist() for each in observations if measured(each)}
    parts, whole = [part.readings for part in weighed.parts], [part.log_likelihood.tolist() for part in weighed.parts]
    reference = log_density(model(), COLUMNS, parts, whole, alone)
    assert under_absent(weighed).log_density == pytest.approx(reference, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_shares_of_the_density_add_up(case: str) -> None:
    weighed = likelihood(COLUMNS, CASES[case])
    assert under_absent(weighed).shares.sum() == pytest.approx(under_absent(weighed).log_density, abs=1e-9)


def test_without_observations_absent_has_its_prior() -> None:
    assert under_absent(likelihood(COLUMNS, [])).log_density == 0.0
    assert posterior(COLUMNS, model(), [], 0.2).probability_absent == pytest.approx(0.2)


@pytest.mark.parametrize("case", CASES)
def test_leaving_out_one_observation_gives_the_density_of_the_others(case: str) -> None:
    """Only as exactly as the likelihood without one reading of a picture, where 1e-4 of the probability is rough."""
    weighed = likelihood(COLUMNS, CASES[case])
    whole = under_absent(weighed)
    for part in weighed.parts:
        for place, dropped in enumerate(part.readings):
            others = [o for o in CASES[case] if o is not dropped]
            expected = under_absent(likelihood(COLUMNS, others)).log_density if others else 0.0
            found = whole.log_density_without(weighed.without(part, place), part, place)
            assert found == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("size", [0.05, 0.3, 5.0])
def test_sizes_to_both_ends_of_the_plausible_range_are_plausible(size: float) -> None:
    """A contact is 0.05 to 5 mm wide: log-uniform over a factor of 100."""
    density = plausible_density(reading(0, "contact_width", size))
    assert density == pytest.approx(1 / (size * math.log(100)), rel=1e-12)


@pytest.mark.parametrize("size", [0.049, 5.01])
def test_an_implausible_size_has_the_density_of_a_gross_error(size: float) -> None:
    density = plausible_density(reading(0, "contact_width", size))
    assert density == pytest.approx(0.1 * log_uniform_density("contact_width", size), rel=1e-12)


def test_the_density_of_a_length_integrates_to_one() -> None:
    sizes = np.exp(np.linspace(math.log(0.02), math.log(2000), 8001))
    density = [
        math.exp(under_absent(likelihood(COLUMNS, [reading(0, "body_length", float(x))])).log_density) for x in sizes
    ]
    assert np.trapezoid(density, sizes) == pytest.approx(1.0, abs=0.02)


def test_the_probabilities_of_what_may_be_seen_add_up_to_one_whatever_was_measured_before() -> None:
    before = [reading(0, "pitch", 0.503), reading(1, "body_width", 4.2), count(2, "contact_count", 20)]
    first = under_absent(likelihood(COLUMNS, before)).log_density
    seen = [Reduced(index=3, feature="mounting", values=frozenset({value})) for value in FEATURES["mounting"].values]
    found = [math.exp(under_absent(likelihood(COLUMNS, [*before, each])).log_density - first) for each in seen]
    assert sum(found) == pytest.approx(1.0, abs=1e-9)


def test_a_catalogue_with_few_series_keeps_the_starting_values() -> None:
    small = fit_absent(invented_columns(3))
    assert small.shares[0] == pytest.approx(1 / 5), "three series: by Laplace's rule of succession"
    assert small.shares.sum() == pytest.approx(1.0)
    for name, feature in FEATURES.items():
        started = (feature.copied, 0.7 + 0.3 * feature.copied, 0.98 + 0.02 * feature.copied)
        assert small.copied[name] == pytest.approx(started)


def test_a_small_catalogue_leaves_room_for_a_twin_that_it_lacks() -> None:
    """However much was measured, a twin explains it nearly as well as the catalogue does: its share is the floor.

    The share is 1/11 with 9 series, by Laplace's rule of succession, and falls with their number.
    """
    for series in (9, 27):
        columns = invented_columns(series)
        model = unfitted_model(columns)
        assert model.shares[3] == pytest.approx(1 / (series + 2))
        seen = [count(0, "contact_count", int(columns.counts["contact_count"][0]))]
        for index, name in enumerate(("pitch", "body_length", "body_width", "land_span"), start=1):
            seen.append(reading(index, name, float(columns.dimensions[name].centre[0])))
        weighed = likelihood(columns, seen)
        listed = log_sum(weighed.total + columns.log_prior)
        twin = UnderAbsent(model=model, weighed=weighed).log_explanations[3]
        assert 0.9 * model.shares[3] < math.exp(twin - listed) < model.shares[3]


def test_thinning_out_works_for_any_number_of_halves() -> None:
    """400 of 527: in floating point, 400 steps of 527/400 once went past the last half."""
    model = fit_absent(build_columns(invented_rows(27)[0][:527], []))
    assert model.shares.sum() == pytest.approx(1.0)
