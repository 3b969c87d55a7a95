"""The reference model itself: densities and laws add up to one, limits agree, closed forms are reproduced.

Numbers without another source here follow from the definitions; the quadratures are independent of the formulas.
"""

from __future__ import annotations

import math
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal

from matcher.features import CATEGORIES, DIMENSIONS, FEATURES, Kind
from matcher.observations import Reduced, SharedError, SharedKind
from tests.matcher.random_catalogues import Bench, random_columns
from tests.matcher.reference_model.bodies import Body, ListedHalf, UnlistedMate
from tests.matcher.reference_model.counts import LARGEST, any_count, contact_law, counted_besides, other_law
from tests.matcher.reference_model.intervals import (
    SERIES_BELOW,
    Interval,
    log_uniform_density,
    meaningless_density,
    rectangle_cumulative,
    rectangle_density,
)
from tests.matcher.reference_model.readings import Piece, Reading, build_reading, own_interval
from tests.matcher.reference_model.shared_errors import group_likelihood
from tests.matcher.reference_model.signs import category, marking, stripped
from tests.matcher.reference_model.whole import log_likelihood, posterior

SHAPES = [(0.0, 0.05), (1e-5, 0.05), (0.05, 0.05), (0.25, 0.001), (1.0, 1e-6), (2.0, 100.0)]


def _reading(x: float, u: float, *wheres: Interval, coefficient: float = 1.0) -> Reading:
    pieces = tuple(Piece(weight=1.0 / len(wheres), where=where) for where in wheres)
    return Reading(x=x, u=u, coefficient=coefficient, pieces=pieces, background=0.0)


def _at(centre: float, half: float = 0.0, extra: float = 0.0) -> Interval:
    return Interval(centre=centre, half=half, extra=extra)


def test_the_conformity_probability_of_jcgm_106_is_the_density_times_the_width() -> None:
    """JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 to 16.3 (secondary transcription; 0.66263 recomputed)."""
    assert rectangle_density(13.6, 14.4, 1.9, 1.8) * (16.3 - 12.5) == pytest.approx(0.66263, abs=5e-6)


@pytest.mark.parametrize(("half", "w"), SHAPES)
def test_the_rectangle_density_integrates_to_one(half: float, w: float) -> None:
    points = sorted({side * half + step * w for side in (-1, 1) for step in (-12, -3, 0, 3, 12)})
    parts = [quad(rectangle_density, a, b, args=(0.0, half, w), epsabs=1e-13)[0] for a, b in pairwise(points)]
    assert math.fsum(parts) == pytest.approx(1.0, abs=1e-11)


@pytest.mark.parametrize(("half", "w"), SHAPES)
@pytest.mark.parametrize("z", [0.0, 0.4, 1.0, 3.0, 9.0, 25.0])
def test_the_rectangle_density_agrees_with_a_fifty_digit_calculation(half: float, w: float, z: float) -> None:
    x = half + z * w
    with mpmath.workdps(50):
        t, s, d = mpmath.mpf(half), mpmath.mpf(w), mpmath.mpf(x)
        exact = (
            mpmath.npdf(d / s) / s if half == 0.0 else (mpmath.ncdf((t - d) / s) - mpmath.ncdf((-t - d) / s)) / (2 * t)
        )
    assert rectangle_density(x, 0.0, half, w) == pytest.approx(float(exact), rel=2e-9)


@pytest.mark.parametrize("z", [0.0, 0.5, 1.0, 2.0, 4.0])
def test_the_rectangle_density_is_continuous_where_the_series_expansion_begins(z: float) -> None:
    below, above = (rectangle_density(z, 0.0, SERIES_BELOW * step, 1.0) for step in (1 - 1e-9, 1 + 1e-9))
    assert below == pytest.approx(above, rel=1e-9)


@pytest.mark.parametrize(("half", "w"), SHAPES[2:])
def test_the_distribution_is_the_integral_of_the_density(half: float, w: float) -> None:
    edges = sorted(side * half + step * w for side in (-1, 1) for step in (-8, -2, 0, 2, 8))
    for low, high in pairwise(edges):
        inside = quad(rectangle_density, low, high, args=(0.0, half, w), epsabs=1e-14, epsrel=1e-12)[0]
        between = rectangle_cumulative(high, 0.0, half, w) - rectangle_cumulative(low, 0.0, half, w)
        assert between == pytest.approx(inside, abs=1e-11)


def test_the_distribution_keeps_its_digits_far_away() -> None:
    assert rectangle_cumulative(29000.0, 46.7, 1e-4, 1e-3) == 1.0
    assert rectangle_cumulative(-29000.0, 46.7, 1e-4, 1e-3) == 0.0


@pytest.mark.parametrize("feature", DIMENSIONS)
def test_a_meaningless_reading_lies_in_the_widened_range(feature: str) -> None:
    row = FEATURES[feature]
    low, high = math.log(row.low / 1e3), math.log(row.high * 1e3)
    assert quad(lambda v: log_uniform_density(feature, math.exp(v)) * math.exp(v), low, high)[0] == pytest.approx(1.0)


@pytest.mark.parametrize("size", [math.nan, 0.06, 2.0])
def test_a_meaningless_reading_in_mm_is_something(size: float) -> None:
    row, where = FEATURES["contact_width"], Interval(centre=size, half=0.1, extra=0.0)
    ends = (row.low / 1e3, size / math.e, row.low, size * math.e, row.high, row.high * 1e3)
    limits = sorted(math.log(end) for end in ends if not math.isnan(end))

    def by_logarithm(v: float) -> float:
        return meaningless_density("contact_width", math.exp(v), where) * math.exp(v)

    pieces = [quad(by_logarithm, low, high)[0] for low, high in pairwise(limits)]
    assert math.fsum(pieces) == pytest.approx(1.0)


@pytest.mark.parametrize("unscaled", [False, True])
@pytest.mark.parametrize("spans", [1, 2, 19])
@pytest.mark.parametrize("feature", DIMENSIONS)
def test_all_explanations_of_a_reading_add_up_to_one(feature: str, spans: int, unscaled: bool) -> None:
    columns = random_columns(np.random.default_rng(5), 20)
    shared = SharedError(group="g", kind=SharedKind.SCALE, sd=10.0, unscaled=unscaled)
    reduced = Reduced(index=0, feature=feature, value=3.0, u=0.1, spans=spans, shared=shared)
    for half in range(len(columns)):
        reading = build_reading(reduced, ListedHalf(columns, half), folded=False)
        where = own_interval(ListedHalf(columns, half), feature, spans)
        anything = unscaled or FEATURES[feature].is_pitch
        density = log_uniform_density(feature, 3.0) if anything else meaningless_density(feature, 3.0, where)
        nothing = reading.background / density
        assert math.fsum(piece.weight for piece in reading.pieces) + nothing == pytest.approx(1.0, abs=1e-12)


def test_a_slip_to_an_unknown_dimension_counts_as_meaningless() -> None:
    columns = random_columns(np.random.default_rng(5), 200)
    body = [half for half in range(200) if math.isnan(columns.dimensions["body_width"].centre[half])]
    reduced = Reduced(index=0, feature="opening_width", value=3.0, u=0.1)
    readings = [build_reading(reduced, ListedHalf(columns, half), folded=False) for half in body]
    own = [own_interval(ListedHalf(columns, half), "opening_width", 1) for half in body]
    shares = {
        round(r.background / meaningless_density("opening_width", 3.0, where), 12)
        for r, where in zip(readings, own, strict=True)
        if r.pieces
    }
    assert shares == {round(0.05 * (0.3 + 0.4), 12)}


@pytest.mark.parametrize(
    ("stated", "rows", "hold_downs", "power"),
    [(24, 2, 4, 2), (24, -1, -1, -1), (7, 2, 0, 0), (1, 1, 2, -1), (400, 10, 4, 4), (60, 3, -1, 3)],
)
def test_the_contact_law_adds_up_to_what_can_be_counted(stated: int, rows: int, hold_downs: int, power: int) -> None:
    total = math.fsum(contact_law(n, stated, rows, hold_downs, power) for n in range(LARGEST + 1))
    wrong = min(0.02 + 0.0004 * stated, 0.15)
    lost = 0.05 * (0.75**stated + 0.75 ** (LARGEST - stated))
    lost += 0.20 if 0 <= stated < rows else 0.0
    assert total == pytest.approx(1.0 - wrong * lost, abs=1e-12)


def test_fittings_are_counted_once_whatever_their_order() -> None:
    assert counted_besides(4, 2) == [2, 4, 6]
    assert counted_besides(2, 2) == [2, 4]
    assert counted_besides(0, 3) == [3]
    assert counted_besides(-1, 3) == [3]
    assert counted_besides(0, -1) == []


@pytest.mark.parametrize(("stated", "lost"), [(0, 0.4), (2, 0.0), (20, 0.0)])
def test_the_law_of_other_counts_adds_up(stated: int, lost: float) -> None:
    total = math.fsum(other_law(n, stated, 0.08) for n in range(LARGEST + 1))
    assert total == pytest.approx(1.0 - 0.08 * lost, abs=1e-12)
    assert math.fsum(any_count(n) for n in range(LARGEST + 1)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("feature", [name for name in CATEGORIES if FEATURES[name].kind is Kind.CATEGORY])
def test_the_values_of_a_category_add_up_to_one(feature: str) -> None:
    columns = random_columns(np.random.default_rng(9), 12)
    values = FEATURES[feature].values
    bodies: list[Body] = [ListedHalf(columns, 3), ListedHalf(columns, 4), UnlistedMate(columns, 5)]
    for body in bodies:
        each = [category(Reduced(index=0, feature=feature, values=frozenset({value})), body) for value in values]
        together = category(Reduced(index=0, feature=feature, values=frozenset(values)), body)
        assert math.fsum(each) == pytest.approx(1.0, abs=1e-12)
        assert together == pytest.approx(1.0, abs=1e-12)


def test_all_sets_of_labels_add_up_to_one() -> None:
    columns = random_columns(np.random.default_rng(9), 6)
    labels = [name for name in FEATURES["keying"].values if name != "none"]
    sets = [frozenset(label for bit, label in enumerate(labels) if number >> bit & 1) for number in range(32)]
    seen = [category(Reduced(index=0, feature="keying", values=found), ListedHalf(columns, 2)) for found in sets]
    assert math.fsum(seen) == pytest.approx(1.0, abs=1e-12)


def test_a_marking_is_bounded_by_its_length() -> None:
    assert marking("-/.", ("ABC",)) == 1.0
    assert marking("ab-1", ("xx AB1 9",)) == pytest.approx(0.5 + 0.5 * 3.0)
    assert marking("ab 12c", ("AB12C-3",)) == pytest.approx(0.5 + 0.5 * 100.0)
    assert marking("ab 12c", ("ZZZZZZZZ",)) == 1.0
    assert stripped("a.b-1 c") == "AB1C"


def test_normal_readings_with_one_zero_error_are_jointly_normal() -> None:
    """Compared with scipy's multivariate normal: covariance sd² a aᵀ + diag(u² + s²)."""
    sd, a, u, s = 0.04, np.array([1.0, 0.1, 1.0]), np.array([0.01, 0.02, 0.03]), np.array([0.0, 0.01, 0.05])
    centre, x = np.array([2.0, 0.4, 5.0]), np.array([2.05, 0.41, 5.02])
    readings = [_reading(x[j], u[j], _at(centre[j], extra=s[j]), coefficient=a[j]) for j in range(3)]
    exact = multivariate_normal.logpdf(x, centre, sd**2 * np.outer(a, a) + np.diag(u**2 + s**2))
    assert math.log(group_likelihood(readings, SharedKind.ZERO, sd)) == pytest.approx(exact, abs=1e-11)


@pytest.mark.parametrize("half", [0.0, 0.05, 0.3])
def test_a_zero_error_alone_widens_the_normal_exactly(half: float) -> None:
    integrated = group_likelihood([_reading(2.3, 0.02, _at(2.0, half), coefficient=0.5)], SharedKind.ZERO, 0.1)
    assert integrated == pytest.approx(rectangle_density(2.3, 2.0, half, math.hypot(0.02, 0.05)), rel=1e-11)


@pytest.mark.parametrize("feature", ["pitch", "body_length", "land_span", "height"])
def test_folding_a_zero_error_equals_integrating_it_for_every_explanation(feature: str) -> None:
    """The sum of squares the text gives for one reading is the integral it gives for several, units included."""
    bench = Bench(np.random.default_rng(3), random_columns(np.random.default_rng(3), 30), 4)
    shared = SharedError(group="g", kind=SharedKind.ZERO, sd=0.05, coefficient=0.5)
    for _ in range(5):
        reduced = bench.value(feature, shared=shared)
        for half in range(30):
            body = ListedHalf(bench.columns, half)
            apart, folded = (build_reading(reduced, body, folded=fold) for fold in (False, True))
            if apart.pieces:
                integral = group_likelihood([apart], SharedKind.ZERO, 0.05)
                assert integral == pytest.approx(folded.density(), rel=1e-9)


def test_two_readings_of_a_picture_agree_with_a_plain_sum_over_a_fine_grid() -> None:
    readings = [
        _reading(410.0, 2.0, _at(4.0, 0.05), _at(2.0, 0.1)),
        _reading(1010.0, 3.0, _at(10.0, 0.1, 0.05)),
    ]
    grid = np.linspace(3.0, 6.5, 400_001)
    weights = np.exp(-0.5 * (grid / 10.0) ** 2) / (10.0 * math.sqrt(2 * math.pi))
    values = [math.prod(r.density(scale=math.exp(z)) for r in readings) for z in grid[100_000:260_000]]
    plain = float(np.sum(weights[100_000:260_000] * np.array(values)) * (grid[1] - grid[0]))
    assert group_likelihood(readings, SharedKind.SCALE, 10.0) == pytest.approx(plain, rel=1e-9)


def test_the_posterior_adds_up_to_one_and_follows_the_absent_density() -> None:
    columns = random_columns(np.random.default_rng(2), 15)
    bench = Bench(np.random.default_rng(4), columns, 6)
    observations = [bench.value("body_length"), bench.count("rows")]
    halves, absent = posterior(columns, observations, 0.1, -3.0)
    _, likelier = posterior(columns, observations, 0.1, -2.0)
    assert math.fsum(halves) + absent == pytest.approx(1.0, abs=1e-12)
    assert math.log(likelier / (1 - likelier)) - math.log(absent / (1 - absent)) == pytest.approx(1.0, abs=1e-9)


def test_a_single_unscaled_reading_is_equally_likely_for_every_half() -> None:
    bench = Bench(np.random.default_rng(8), random_columns(np.random.default_rng(8), 20), 3)
    alone = bench.group(SharedKind.SCALE, unscaled=True, size=1)
    logs = {log_likelihood(bench.columns, half, alone) for half in range(20)}
    assert logs == {math.log(1.0 / alone[0].number)}
