"""Several readings of one size: combined where they agree, kept apart where they contradict each other."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.observations import Observation, Reduced, SharedKind
from matcher.uncertainty.gum import combine
from matcher.uncertainty.reduce import reduce, reduction
from matcher.uncertainty.repeated_readings import covariance
from matcher.uncertainty.weighted_mean import DISAGREEMENT_LEVEL, agreeing_groups, weighted_mean


def by(instrument: str | None, value: float, **parts: object) -> Observation:
    """A length measured by an instrument."""
    return Observation(**{"feature": "body_length", "value": value, "instrument": instrument, **parts})  # type: ignore[arg-type]


def single(*observations: Observation) -> Reduced:
    """The single result of readings that agree; fails when they stay apart."""
    (reduced,) = reduce(observations)
    return reduced


# One instrument twice


def test_one_instrument_used_twice_equals_repeats_in_one_observation() -> None:
    twice = single(by(None, 6.50), by("caliper", 6.54))
    once = single(Observation(feature="body_length", readings=(6.50, 6.54)))
    assert twice.also == (1,)
    assert replace(twice, also=()) == once


def test_repeats_by_one_person_share_the_error_of_the_edge() -> None:
    assert single(by(None, 6.5), by("caliper", 6.5)).u == pytest.approx(single(by("caliper", 6.5)).u, rel=1e-12)
    pictures = single(by("photo", 6.5, image="a"), by("photo", 6.51, image="b"))
    feel = [line for line in pictures.budget if line.source.startswith("where the edge is")]
    assert [line.contribution for line in feel] == pytest.approx([0.05], rel=1e-9)


def test_a_stated_value_without_instrument_does_not_count_as_another_instrument() -> None:
    both = single(by(None, 6.50, u=0.02), by(None, 6.52, u=0.03))
    assert 0.02 < both.u < 0.03
    assert single(by(None, 6.50, u=0.02), by(None, 6.52, u=0.02)).u == pytest.approx(0.02, rel=1e-12)


def test_readings_in_different_units_may_be_repeats() -> None:
    inch, metric = by(None, 0.25, unit="in", u=0.001), by(None, 6.36, u=0.0254)
    assert single(inch, metric).u == pytest.approx(0.0254, rel=1e-9)


# Different instruments


def test_instruments_without_a_shared_error_are_weighted_by_their_variance() -> None:
    both = single(by("loupe", 6.55), by("caliper", 6.50))
    loupe, caliper = (single(one) for one in (by("loupe", 6.55), by("caliper", 6.50)))
    weights = np.array([loupe.total_u**-2, caliper.total_u**-2])
    assert both.number == pytest.approx(weights @ [6.55, 6.50] / weights.sum(), rel=1e-12)
    assert both.total_u == pytest.approx(weights.sum() ** -0.5, rel=1e-12)
    assert (both.index, both.also, both.spans) == (0, (1,), 1)


def test_the_budget_of_a_mean_adds_up() -> None:
    both = single(by("loupe", 6.55), Observation(feature="body_length", readings=(6.4, 6.5, 6.55)))
    own = [line.contribution for line in both.budget if "(shared)" not in line.source]
    assert combine(own) == pytest.approx(both.u, rel=1e-12)
    assert combine([line.contribution for line in both.budget]) == pytest.approx(both.total_u, rel=1e-12)
    assert all(line.contribution == pytest.approx(line.u * line.sensitivity) for line in both.budget)
    assert len({line.source for line in both.budget}) == len(both.budget)


def test_the_mean_shares_the_zero_error_of_largest_weight_by_that_weight() -> None:
    both = single(by("caliper", 6.50), by("vernier", 6.55))
    caliper, vernier = (single(one) for one in (by("caliper", 6.50), by("vernier", 6.55)))
    weight = vernier.total_u**-2 / (caliper.total_u**-2 + vernier.total_u**-2)
    assert both.shared is not None
    assert caliper.shared is not None
    assert both.shared.group == caliper.shared.group
    assert both.shared.coefficient == pytest.approx(1 - weight, rel=1e-9)
    folded = [line for line in both.budget if "vernier" in line.source and "limit" in line.source]
    assert [line.contribution for line in folded] == pytest.approx([weight * 0.05 / math.sqrt(3)], rel=1e-9)


def test_one_instrument_on_and_off_the_board_keeps_its_whole_zero_error() -> None:
    both = single(by("caliper", 6.50), by("caliper_on_board", 6.55))
    alone = single(by("caliper", 6.5)).shared
    assert both.shared is not None
    assert alone is not None
    assert (both.shared.group, both.shared.sd) == (alone.group, alone.sd)
    assert both.shared.coefficient == pytest.approx(1.0, rel=1e-12)
    assert both.u < single(by("caliper", 6.5)).u


def test_readings_over_gaps_keep_the_gaps() -> None:
    given_list = [
        Observation(feature="pitch", value=v, spans=11, instrument=n) for n, v in (("caliper", 4.4), ("vernier", 4.45))
    ]
    both = single(*given_list)
    assert both.spans == 11
    assert both.shared is not None
    assert both.shared.coefficient < 1 / 11


def test_a_scale_error_is_kept_where_all_readings_share_it_and_is_folded_in_otherwise() -> None:
    scanned = single(by("scanner", 6.50), by("scanner", 6.52, plane="lands"))
    assert scanned.shared is not None
    assert (scanned.shared.kind, scanned.shared.sd) == (SharedKind.SCALE, 0.003)
    mixed = single(by("scanner", 6.50), by("caliper", 6.52))
    assert mixed.shared is not None
    assert mixed.shared.kind is SharedKind.ZERO


def test_a_reading_that_determines_the_scale_of_a_picture_stays_apart() -> None:
    width = Observation(feature="body_width", value=2.5, instrument="photo")
    assert [r.index for r in reduce([by("caliper", 6.5), by("photo", 6.55), width])] == [0, 1, 2]
    assert [r.also for r in reduce([by("caliper", 6.5), by("photo", 6.55)])] == [(1,)]
    sharper = [by("caliper", 6.5), by("microscope", 6.52), replace(width, instrument="microscope")]
    assert [r.also for r in reduce(sharper)] == [(1,), ()]


@pytest.mark.parametrize(
    "second",
    [
        Observation(feature="body_length", value=6.5, of="other", instrument="vernier"),  # type: ignore[arg-type]
        Observation(feature="body_length", min=6.4, instrument="vernier"),
        Observation(feature="body_length", value=650, unit="px"),
        Observation(feature="overall_length", value=6.5, instrument="vernier"),
    ],
)
def test_readings_of_different_sizes_stay_apart(second: Observation) -> None:
    assert [r.also for r in reduce([by("caliper", 6.5), second])] == [(), ()]


def test_two_unscaled_pictures_are_never_combined() -> None:
    pictures = [by(None, 650, unit="px", image=name) for name in ("a", "b")]
    assert [r.also for r in reduce(pictures)] == [(), ()]
    assert [r.also for r in reduce([by("unscaled_photo", 6.5), by("unscaled_photo", 6.51)])] == [(), ()]


def test_readings_over_different_gaps_stay_apart() -> None:
    given_list = [Observation(feature="pitch", value=4.4, spans=11), Observation(feature="pitch", value=0.4)]
    assert [r.also for r in reduce(given_list)] == [(), ()]


# Contradictions


def test_readings_that_contradict_stay_apart_and_are_named() -> None:
    given_list = [by("caliper", 6.50), by("vernier", 6.9)]
    assert [(r.index, r.number) for r in reduce(given_list)] == [(0, 6.5), (1, 6.9)]
    (found,) = reduction(given_list).contradictions
    assert (found.feature, found.groups, found.values) == ("body_length", ((0,), (1,)), (6.5, 6.9))
    assert found.p <= DISAGREEMENT_LEVEL
    assert "observations[0]: 6.5 mm; observations[1]: 6.9 mm" in found.message


def test_readings_that_agree_are_combined_beside_one_that_does_not() -> None:
    given_list = [by("caliper", 6.50), by("vernier", 7.9), by("micrometer", 6.52)]
    assert [(r.index, r.also) for r in reduce(given_list)] == [(0, (2,)), (1, ())]
    assert reduction(given_list).contradictions[0].groups == ((0, 2), (1,))


def test_readings_that_agree_are_not_called_contradictory() -> None:
    assert reduction([by("caliper", 6.50), by("vernier", 6.55)]).contradictions == ()


def test_chance_alone_causes_contradictions_about_as_often_as_the_level() -> None:
    rng = np.random.default_rng(3)
    u = np.array([0.02, 0.03, 0.05])
    apart = [not weighted_mean(x.tolist(), u).agree for x in 6.5 + u * rng.normal(size=(20_000, 3))]
    assert np.mean(apart) == pytest.approx(DISAGREEMENT_LEVEL, abs=4 * math.sqrt(DISAGREEMENT_LEVEL / 20_000))


def test_groups_are_split_where_readings_agree_best() -> None:
    values = [6.50, 9.01, 6.52, 9.00, 6.51, 25.0]
    groups = [group.positions for group in agreeing_groups(values, np.diag([0.02**2] * 6))]
    assert groups == [(0, 2, 4), (1, 3), (5,)]


@given(values=st.lists(st.floats(min_value=1.0, max_value=9.0), min_size=1, max_size=12), u=st.floats(0.01, 1.0))
def test_every_reading_is_in_one_group_and_each_group_agrees(values: list[float], u: float) -> None:
    matrix = np.diag([u * u] * len(values))
    groups = [group.positions for group in agreeing_groups(values, matrix)]
    assert sorted(itertools.chain(*groups)) == list(range(len(values)))
    for group in groups:
        assert weighted_mean([values[i] for i in group], [u] * len(group)).agree


@given(order=st.permutations(range(5)))
def test_the_order_of_readings_does_not_matter(order: list[int]) -> None:
    given_list = [
        by("caliper", 6.50), by("vernier", 6.55), by("micrometer", 6.51), by("loupe", 8.0), by("caliper", 6.53),
    ]  # fmt: skip
    straight = sorted((r.number, r.total_u) for r in reduce(given_list))
    shuffled = sorted((r.number, r.total_u) for r in reduce([given_list[i] for i in order]))
    assert np.array(shuffled) == pytest.approx(np.array(straight), rel=1e-9)


# Refusals


@pytest.mark.parametrize(
    ("values", "u", "message"),
    [
        ([], [], "at least one"),
        ([1.0, 2.0], [0.1, 0.0], "above 0"),
        ([1.0, 2.0], [0.1, math.nan], "above 0"),
        ([1.0, 2.0], [0.1], "one uncertainty"),
        ([1.0, 2.0], [[1.0, 1.0], [1.0, 1.0]], "no inverse"),
    ],
)
def test_readings_without_a_mean_are_refused(values: list[float], u: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        weighted_mean(values, u)  # type: ignore[arg-type]


# Compared with simulated readings


def test_the_stated_uncertainty_and_shared_part_agree_with_simulated_readings() -> None:
    """Spread of the mean around the size, and its covariance with another reading by the caliper."""
    rng, size = np.random.default_rng(5), 20_000
    tools = (("caliper", 0.02, 0.01, 0.02), ("vernier", 0.03, 0.05, 0.05), ("loupe", 0.03, 0.1, 0.02))
    readings = [by(name, 6.5) for name, *_ in tools]
    mean, weights = single(*readings), weighted_mean([6.5] * 3, _matrix(readings)).weights
    zero = {name: rng.uniform(-limit, limit, size) for name, _, _, limit in tools}
    errors = sum(
        w * (zero[name] + rng.normal(0, feel, size) + rng.uniform(-step / 2, step / 2, size))
        for w, (name, feel, step, _) in zip(weights, tools, strict=True)
    )
    other = zero["caliper"] + rng.normal(0, 0.02, size)
    assert mean.shared is not None
    assert np.std(errors) == pytest.approx(mean.total_u, rel=0.02)
    assert np.mean(errors * other) == pytest.approx(mean.shared.coefficient * mean.shared.sd**2, rel=0.1)


def _matrix(readings: list[Observation]) -> np.ndarray:
    return covariance([single(one) for one in readings])


def test_readings_that_share_nearly_all_of_their_error_keep_their_weights() -> None:
    own, common = np.array([1e-4, 2e-4]), 1.0
    mean = weighted_mean([6.5, 6.5003], np.diag(own**2) + common)
    assert mean.weights == pytest.approx((0.8, 0.2), rel=1e-6)
    assert mean.chi2 == pytest.approx(0.0003**2 / (own**2).sum(), rel=1e-6)
    assert mean.u == pytest.approx(1.0, rel=1e-6)
