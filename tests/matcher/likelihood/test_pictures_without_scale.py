"""The fast method for pictures without a scale agrees with the reference model and with the full quadrature."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from matcher.absent.em_fit import fit_absent
from matcher.columns.columns import Columns, DimensionColumn
from matcher.decision.posterior import posterior
from matcher.likelihood import scale_free_ratios
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.quadrature import ERROR_NODES, RULES
from matcher.likelihood.error_model.tolerance_density import rectangle_normal
from matcher.likelihood.likelihood import likelihood
from matcher.likelihood.shared_errors import SharedGroup, by_panels, exact
from matcher.observations import UNSCALED_SD, Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns
from tests.matcher.random_catalogues import Bench, random_columns
from tests.matcher.reference_model.whole import log_likelihood

RIGHT, POSTERIOR = 1e-9, 1e-6

PICTURE = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)


def random_picture(seed: int, size: int = 40) -> tuple[Columns, list[Reduced]]:
    """A catalogue and readings of one picture."""
    draw = np.random.default_rng([7, seed])
    columns = random_columns(draw, size)
    bench = Bench(draw, columns, int(draw.integers(size)))
    return columns, bench.group(SharedKind.SCALE, unscaled=True, size=int(draw.integers(2, 6)))


def group_of(columns: Columns, readings: list[Reduced]) -> SharedGroup:
    """The group as the likelihood makes it."""
    error = readings[0].shared
    assert error is not None
    return SharedGroup(evidence=tuple(DimensionEvidence(reading=r, columns=columns) for r in readings))


def fine_pictures(number: int) -> list[SharedGroup]:
    """Groups of readings fine enough for the fast method."""
    found = [group_of(*random_picture(seed)) for seed in range(3 * number)]
    return [group for group in found if scale_free_ratios.within_reach(group.readings)][:number]


def largest_part(group: SharedGroup) -> np.ndarray:
    """For each half, the largest relative u among its explanations."""
    parts = [np.where(m.weight > 0, m.entry_u / np.maximum(m.centre, 1e-300), 0.0) for m in group.mixtures]
    return np.asarray(np.max(np.concatenate(parts), axis=0))


def test_the_fast_method_equals_the_panels_where_sizes_are_known() -> None:
    """It answers for most of the halves: nine in ten over many groups, though hardly half of a single one."""
    groups = fine_pictures(30)
    assert len(groups) == 30
    answered = []
    for group in groups:
        everyone = np.flatnonzero(largest_part(group) < 0.2)
        quick, trusted = scale_free_ratios.log_density(
            group.readings, [m.take(everyone) for m in group.mixtures], UNSCALED_SD
        )
        careful = by_panels(group, everyone)
        assert quick[trusted] == pytest.approx(careful[trusted], abs=RIGHT)
        answered.append(trusted)
    assert np.concatenate(answered).mean() > 0.88


def test_the_last_size_can_only_be_right_or_meaningless() -> None:
    """A contact's width has no slips, and without a scale no wrong units either."""
    columns = invented_columns(1)
    wide = DimensionColumn(
        **{name: np.full(len(columns), x) for name, x in (("stated", 0.2), ("centre", 0.2), ("half_width", 0.01))},
        **{name: np.zeros(len(columns)) for name in ("broad", "extra_u")},
    )
    columns = replace(columns, dimensions={**columns.dimensions, "contact_width": wide})
    sizes = {"body_length": 90.0 * float(columns.dimensions["body_length"].stated[0]), "contact_width": 18.0}
    readings = [
        Reduced(index=0, feature=name, value=x, u=0.3, total_u=0.3, shared=PICTURE) for name, x in sizes.items()
    ]
    group, halves = group_of(columns, readings), np.arange(3)
    assert [len(mixture.words) for mixture in group.mixtures][1] == 1
    assert exact(group, halves) == pytest.approx(by_panels(group, halves), abs=RIGHT)


def test_readings_equally_fine_are_each_taken_together_once() -> None:
    columns = invented_columns(1)
    sizes = {name: float(columns.dimensions[name].stated[0]) for name in ("body_length", "body_width", "land_span")}
    readings = [
        Reduced(index=0, feature=name, value=90.0 * size, u=0.9 * size, total_u=0.9 * size, shared=PICTURE)
        for name, size in sizes.items()
    ]
    group, halves = group_of(columns, readings), np.arange(3)
    bumps = scale_free_ratios.Bumps.of(readings, group.mixtures)
    assert len(np.unique(bumps.sd[:, 0])) < len(bumps.sd) - 2
    assert exact(group, halves) == pytest.approx(by_panels(group, halves), abs=RIGHT)


def vague_pictures(number: int) -> list[tuple[Columns, list[Reduced]]]:
    """The first pictures that the fast method answers for entries whose u is as large as the size: there the panels are
    off by up to 1e-5 and more."""
    pictures = map(random_picture, itertools.count())
    found = (each for each in pictures if scale_free_ratios.within_reach(each[1]) and len(vague_halves(*each)[0]))
    return list(itertools.islice(found, number))


def vague_halves(columns: Columns, readings: list[Reduced]) -> tuple[np.ndarray, np.ndarray]:
    """The halves with such entries that the fast method answers for, and its answers for all halves."""
    group = group_of(columns, readings)
    quick, trusted = scale_free_ratios.log_density(group.readings, group.mixtures, UNSCALED_SD)
    return np.flatnonzero(trusted & (largest_part(group) > 0.5)), quick


def test_entries_that_may_be_near_zero_agree_with_the_reference_model() -> None:
    for columns, readings in vague_pictures(5):
        halves, quick = vague_halves(columns, readings)
        for half in halves[:3]:
            assert quick[half] == pytest.approx(log_likelihood(columns, int(half), readings), abs=RIGHT)


def test_the_posterior_agrees_with_that_of_the_panels(monkeypatch: pytest.MonkeyPatch) -> None:
    columns = invented_columns(60)
    model = fit_absent(columns)
    names = ("body_length", "body_width", "land_span")
    draw = np.random.default_rng(3)
    for half in draw.integers(0, len(columns), 4):
        sizes = [float(columns.dimensions[name].stated[half]) for name in names]
        pixels = [90.0 * size + float(draw.normal()) for size in sizes]
        readings = [
            Reduced(index=i, feature=name, value=x, u=1.5, total_u=1.5, shared=PICTURE)
            for i, (name, x) in enumerate(zip(names, pixels, strict=True))
        ]
        quick = posterior(columns, model, readings)
        with monkeypatch.context() as patched:
            patched.setattr(scale_free_ratios, "within_reach", lambda _: False)
            careful = posterior(columns, model, readings)
        assert np.exp(quick.log_half) == pytest.approx(np.exp(careful.log_half), abs=POSTERIOR)
        assert quick.probability_absent == pytest.approx(careful.probability_absent, abs=POSTERIOR)


def test_a_coarse_reading_is_left_to_the_panels() -> None:
    ((columns, readings),) = vague_pictures(1)
    coarse = [replace(reading, u=0.07 * reading.number) for reading in readings]
    group, halves = group_of(columns, coarse), np.arange(5)
    assert not scale_free_ratios.within_reach(coarse)
    assert exact(group, halves).tolist() == by_panels(group, halves).tolist()


@pytest.mark.parametrize(
    ("size", "u", "fine"), [(100.0, 6.0, True), (100.0, 6.001, False), (0.1, 1e-5, True), (0.1, 0.999e-5, False)]
)
def test_readings_are_fine_enough_between_ten_nanometres_and_six_per_cent(size: float, u: float, fine: bool) -> None:
    """The error's nodes are valid up to 6 %; ten nanometres are ten times the zero limit: our own choices."""
    coarse = Reduced(index=0, feature="body_length", value=size, u=u, total_u=u, shared=PICTURE)
    middling = Reduced(index=1, feature="body_width", value=10.0, u=0.1, total_u=0.1, shared=PICTURE)
    assert scale_free_ratios.within_reach([middling, coarse]) is fine


@pytest.mark.parametrize("extra_u", [0.0, 0.05])
@pytest.mark.parametrize("relative_u", [1e-3, 0.01, 0.05])
@pytest.mark.parametrize("pixel", [0.01, 1.0, 1e3])
def test_a_bump_ends_where_it_is_negligible_beside_its_floor(pixel: float, relative_u: float, extra_u: float) -> None:
    """Below 1e-14 of the floor, and no further: the tails of a normal are a few hundredths of what bounds them."""
    columns = invented_columns(2)
    vague = replace(columns.dimensions["land_span"], extra_u=np.full(len(columns), extra_u))
    columns = replace(columns, dimensions={**columns.dimensions, "land_span": vague})
    sizes = {"pitch": 30.0, "body_length": 700.0, "body_width": 200.0, "land_span": 260.0}
    readings = [
        Reduced(index=0, feature=name, value=pixel * x, u=pixel * x * relative_u, total_u=1.0, shared=PICTURE)
        for name, x in sizes.items()
    ]
    bumps = scale_free_ratios.Bumps.of(readings, group_of(columns, readings).mixtures)
    which, halves = np.nonzero(bumps.strength)
    assert len(which) > 5 * len(columns)
    for end in (bumps.low, bumps.high):
        there = bumps.added(which, halves, np.ones_like(which), end[which, halves])
        assert np.all((there > 1e-16) & (there < 1e-14))


def test_a_tolerance_nearly_as_wide_as_the_size_is_left_to_the_panels() -> None:
    columns = invented_columns(4)
    wide = replace(columns.dimensions["body_width"], half_width=0.9 * columns.dimensions["body_width"].centre)
    columns = replace(columns, dimensions={**columns.dimensions, "body_width": wide})
    sizes = (("body_length", 700.0), ("body_width", 200.0))
    readings = [Reduced(index=0, feature=name, value=x, u=1.0, total_u=1.0, shared=PICTURE) for name, x in sizes]
    group, halves = group_of(columns, readings), np.arange(len(columns))
    _, trusted = scale_free_ratios.log_density(group.readings, group.mixtures, UNSCALED_SD)
    assert not trusted.any()
    assert exact(group, halves).tolist() == by_panels(group, halves).tolist()


def test_shares_do_not_depend_on_earlier_calls() -> None:
    _, (columns, readings) = vague_pictures(2)
    (first,), (again,) = likelihood(columns, readings).parts, likelihood(columns, readings).parts
    everyone = np.arange(len(columns))
    one_by_one = np.hstack([first.shares(everyone[[half]]) for half in everyone])
    assert one_by_one == pytest.approx(again.shares(everyone), abs=RIGHT)


@pytest.mark.parametrize(
    ("t", "s"),
    [
        *((0.0, 0.0), (0.02, 0.0), (0.0, 0.02), (0.2, 0.1)),
        *((0.35, 0.05), (0.0, 0.15), (0.5, 0.05), (0.6, 0.0)),
        *((0.5, 0.12), (0.0, 0.3), (0.1, 2.0)),
    ],
)
def test_nodes_give_the_mean_over_true_sizes(t: float, s: float) -> None:
    c, x = 2.0, 400.0

    def prior(y: float) -> float:
        return math.exp(-0.5 * (math.log(x / y) / UNSCALED_SD) ** 2)

    rule = next(rule for rule in RULES if rule.applies(np.array(t), np.array(s)))
    sizes, weights = rule.nodes(*(np.array([[part * c]]) for part in (1.0, t, s)))
    mean = float((np.vectorize(prior)(sizes) * weights).sum())
    assert mean == pytest.approx(_mean(prior, c, t * c, s * c), rel=RIGHT)


def _mean(prior: Callable[[float], float], c: float, t: float, s: float) -> float:
    """By adaptive quadrature in ln(size)."""
    if t == 0.0 and s == 0.0:
        return float(prior(c))

    def integrand(v: float) -> float:
        density = rectangle_normal(np.array(math.exp(v) - c), np.array(t), np.array(max(s, 1e-9)))
        return float(density) * math.exp(v) * float(prior(math.exp(v)))

    top = math.log(c + t + 12 * s)
    steps = (0.01, 0.03, 0.1, 0.2, 0.4, 0.8, 1.5, 4.0)
    edges = sorted({top - step for step in steps} | {math.log(y) for y in (c, c - t, c + t)} | {top, top - 40.0})
    return math.fsum(
        quad(integrand, low, high, epsrel=1e-12, epsabs=1e-15, limit=200)[0] for low, high in itertools.pairwise(edges)
    )


def test_error_nodes_give_the_mean_of_one_over_the_reading() -> None:
    for u in (0.001, 0.016, 0.06):
        nodes, weights = ERROR_NODES
        series = 1.0 + u**2 + 3 * u**4 + 15 * u**6 + 105 * u**8
        assert float((weights / (1.0 + u * nodes)).sum()) == pytest.approx(series, abs=RIGHT)
