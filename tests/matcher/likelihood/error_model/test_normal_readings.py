"""The closed form for readings that share an error is the sum over every choice of grossly wrong readings."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.normal_readings import NormalReadings
from matcher.likelihood.shared_errors import SharedGroup, exact
from matcher.observations import Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns

HALVES = 6


def drawn(count: int, apart: float) -> NormalReadings:
    """Readings whose deviations are ``apart`` mm from each other."""
    draw = np.random.default_rng([31, count])
    return NormalReadings(
        deviation=draw.normal(size=(count, HALVES)) * 0.05 + apart * np.arange(count)[:, None],
        variance=draw.uniform(0.01, 0.1, (count, HALVES)) ** 2,
        right=draw.uniform(-3, 0, (count, HALVES)),
        wrong=draw.uniform(-7, -4, (count, HALVES)),
        coefficient=draw.uniform(0.5, 1.5, (count, 1)),
        sd=0.05,
    )


def one_by_one(readings: NormalReadings, most_wrong: int) -> np.ndarray:
    """One half and one choice at a time, by scipy's multivariate normal; all may be wrong at once, too."""
    count, a = len(readings.wrong), readings.coefficient[:, 0]
    sizes = sorted({*range(min(most_wrong, count) + 1), count})
    choices = [set(wrong) for size in sizes for wrong in itertools.combinations(range(count), size)]
    result = []
    for half in range(HALVES):
        logs = []
        for wrong in choices:
            kept = [j for j in range(count) if j not in wrong]
            log = float(sum(readings.wrong[j, half] for j in wrong) + sum(readings.right[j, half] for j in kept))
            if kept:
                covariance = readings.sd**2 * np.outer(a[kept], a[kept]) + np.diag(readings.variance[kept, half])
                log += float(multivariate_normal.logpdf(readings.deviation[kept, half], cov=covariance))
            logs.append(log)
        result.append(logsumexp(logs))
    return np.array(result)


@pytest.mark.parametrize("apart", [0.0, 0.1, 2.0])
@pytest.mark.parametrize(("count", "most_wrong"), [(1, 1), (3, 3), (5, 5), (6, 2), (8, 2)])
def test_up_to_five_readings_any_may_be_wrong_and_of_more_two_or_all(count: int, most_wrong: int, apart: float) -> None:
    readings = drawn(count, apart)
    assert readings.closed_form() == pytest.approx(one_by_one(readings, most_wrong), abs=1e-9)


@pytest.mark.parametrize("likelier_wrong", [0.0, 5.0])
@pytest.mark.parametrize("apart", [0.0, 0.1, 2.0])
@pytest.mark.parametrize("count", [2, 5, 6, 7, 9])
def test_leaving_out_a_reading_gives_the_closed_form_of_the_others(
    count: int, apart: float, likelier_wrong: float
) -> None:
    readings = drawn(count, apart)
    readings = replace(readings, wrong=readings.wrong + likelier_wrong)
    for dropped in range(count):
        kept = [j for j in range(count) if j != dropped]
        names = ("deviation", "variance", "right", "wrong", "coefficient")
        others = replace(readings, **{name: getattr(readings, name)[kept] for name in names})
        assert readings.without(dropped) == pytest.approx(others.closed_form(), abs=1e-9)


@pytest.mark.parametrize(
    "shared",
    [
        SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.05),
        SharedError(group="picture", kind=SharedKind.SCALE, sd=0.02),
        SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True),
    ],
    ids=["zero", "scale", "unscaled"],
)
def test_the_closed_form_is_right_to_two_nats_for_the_likeliest_halves(shared: SharedError) -> None:
    columns = invented_columns(6)
    factor = 90.0 if shared.unscaled else 1.0
    for half in (3, 27, 58, 90):
        evidence = tuple(
            DimensionEvidence(
                reading=Reduced(
                    index=i,
                    feature=name,
                    value=factor * (float(columns.dimensions[name].stated[half]) + 0.05),
                    u=0.03 * factor,
                    total_u=0.03 * factor,
                    shared=shared,
                ),
                columns=columns,
            )
            for i, name in enumerate(("body_length", "body_width", "land_span"))
        )
        group = SharedGroup(evidence=evidence)
        precise = exact(group, np.arange(len(columns)))
        near = precise > precise.max() - 8
        assert group.normal.closed_form()[near] == pytest.approx(precise[near], abs=2.0)


@pytest.mark.parametrize(("kind", "moved"), [(SharedKind.ZERO, [1.0, 0.1]), (SharedKind.SCALE, [1.0, 1.0])])
def test_a_zero_error_moves_each_reading_by_its_coefficient_and_a_scale_error_moves_all_alike(
    kind: SharedKind, moved: list[float]
) -> None:
    columns = invented_columns(2)
    shared = [SharedError(group="g", kind=kind, sd=0.05, coefficient=coefficient) for coefficient in (1.0, 0.1)]
    evidence = [
        DimensionEvidence(
            reading=Reduced(index=i, feature=name, value=4.0, u=0.02, total_u=0.05, shared=one), columns=columns
        )
        for i, (name, one) in enumerate(zip(("body_length", "pitch"), shared, strict=True))
    ]
    readings = NormalReadings.of(evidence)
    assert readings.coefficient.ravel().tolist() == moved
    assert readings.sd == 0.05


def test_two_readings_far_off_do_not_hide_that_the_others_agree() -> None:
    readings = drawn(8, 0.0)
    deviation = readings.deviation.copy()
    deviation[[2, 5]] += np.array([[3.0], [-5.0]])
    readings = replace(readings, deviation=deviation, wrong=readings.wrong - 10.0)
    assert readings.closed_form() == pytest.approx(one_by_one(readings, 2), abs=1e-9)


@pytest.mark.parametrize("likelier_wrong", [0.0, 4.0, 12.0])
@pytest.mark.parametrize("unit", [1.0, 1000.0])
@pytest.mark.parametrize("apart", [0.0, 0.01, 0.04, 0.5, "opposed"])
@pytest.mark.parametrize("count", [6, 7, 9, 20])
def test_the_density_used_to_rule_halves_out_is_an_upper_bound(
    count: int, apart: float | str, unit: float, likelier_wrong: float
) -> None:
    """It bounds every choice of up to two wrong readings, also with one left out; otherwise halves would be lost."""
    readings = drawn(count, 0.0 if isinstance(apart, str) else apart)
    if apart == "opposed":
        readings = replace(readings, deviation=0.3 * (-1.0) ** np.arange(count)[:, None] * np.ones(HALVES))
    readings = replace(
        readings,
        deviation=unit * readings.deviation,
        variance=unit**2 * readings.variance,
        sd=unit * readings.sd,
        right=readings.right - likelier_wrong,
    )
    kept = [np.arange(count) != dropped for dropped in range(count)]
    names = ("deviation", "variance", "right", "wrong", "coefficient")
    fewer = [replace(readings, **{name: getattr(readings, name)[rows] for name in names}) for rows in kept]
    for some in (readings, *fewer):
        rest = readings.wrong.sum(axis=0) - some.wrong.sum(axis=0)
        choices = sum(math.comb(len(some.wrong), wrong) for wrong in range(3))
        assert np.all(readings._most + math.log(choices) >= some.over_choices(2) + rest - 1e-9)


def test_readings_far_apart_are_recognised_as_impossible() -> None:
    readings = drawn(9, 2.0)
    assert np.all(readings._most < readings.wrong.sum(axis=0) - 100.0)


@pytest.mark.parametrize("unscaled", [False, True])
@pytest.mark.parametrize("kind", SharedKind)
def test_a_half_is_a_normal_of_the_rectangle_s_variance_or_a_gross_error(kind: SharedKind, unscaled: bool) -> None:
    columns = invented_columns(2)
    predicted = replace(columns.dimensions["body_width"], extra_u=np.full(len(columns), 0.2))
    over_tails = columns.dimensions["land_span"]
    columns = replace(columns, dimensions={**columns.dimensions, "body_width": predicted, "tail_span": over_tails})
    shared = SharedError(group="g", kind=kind, sd=0.05, unscaled=unscaled)
    tails = float(over_tails.centre[0])
    width = Reduced(index=0, feature="body_width", value=tails, u=0.3, total_u=0.31, shared=shared)
    evidence = DimensionEvidence(reading=width, columns=columns)
    found, centre = NormalReadings.of([evidence]), predicted.centre
    spread = predicted.half_width**2 / 3 + 0.2**2
    gross = evidence.feature.gross_share
    if kind is SharedKind.ZERO:
        assert found.deviation[0] == pytest.approx(tails - centre)
        assert found.variance[0] == pytest.approx(0.3**2 + spread, rel=1e-5)
        assert found.right[0] == pytest.approx(np.full(len(columns), np.log(1 - gross)))
    else:
        assert found.deviation[0] == pytest.approx(np.log(tails / centre))
        assert found.variance[0] == pytest.approx((0.3 / tails) ** 2 + spread / centre**2, rel=1e-5)
        assert found.right[0] == pytest.approx(np.full(len(columns), np.log((1 - gross) / tails)))
    slips = 0.0 if unscaled else evidence.mixture.densities()[1:].sum(axis=0)
    assert np.exp(found.wrong[0]) == pytest.approx(evidence.mixture.floor + slips)
