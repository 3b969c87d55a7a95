"""Rows of clicked contacts: sites with gaps and strays, refusals, and how often intervals contain the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, norm

from matcher.errors import ObservationError
from matcher.imaging.clicks.lattice_fit import FLOOR_U, click_error, fit_lattice
from matcher.uncertainty.gum import coverage_factor
from tests.matcher.imaging.clicks.scene import fit_row

RUNS = 4_000
"""Simulated rows: a share of this many has a standard deviation of 0.35 %. Intervals a tenth too narrow hold the
truth in 92.2 %, and a share of 4,000 of them is below 94 % for practically every seed."""


def refused(function, *given_values, **options):  # type: ignore[no-untyped-def]
    with pytest.raises(ObservationError) as caught:
        function(*given_values, **options)
    assert caught.value.remedy
    return caught.value


# Sites


def test_gaps_are_counted_and_named() -> None:
    lattice = fit_lattice([5.0, 25.4, 44.8, 105.2, 124.9, 185.0])
    assert lattice.indices == (0, 1, 2, 5, 6, 9)
    assert lattice.missing == (3, 4, 7, 8)
    assert lattice.spans == 9
    assert lattice.pitch == pytest.approx(20.0, abs=0.05)


def test_contacts_may_be_clicked_in_any_order() -> None:
    shuffled = fit_lattice([44.8, 105.2, 5.0, 124.9, 25.4])
    assert shuffled.indices == (2, 5, 0, 6, 1)
    assert shuffled.pitch == pytest.approx(fit_lattice(sorted([44.8, 105.2, 5.0, 124.9, 25.4])).pitch, rel=1e-12)


def test_the_pitch_is_found_though_no_neighbours_were_clicked() -> None:
    """Sites 0, 2, 5, 7, 10: no two neighbours, steps of 2 and 3."""
    lattice = fit_lattice([0.0, 60.3, 149.8, 210.1, 299.7])
    assert lattice.indices == (0, 2, 5, 7, 10)


def test_clicking_every_second_contact_only_looks_like_a_whole_row() -> None:
    """The clicks cannot show it; the slips of a pitch reading in the likelihood allow for twice the pitch."""
    assert fit_lattice([0.0, 40.0, 80.0, 120.0]).missing == ()


def test_a_stray_point_is_named_with_how_far_off_it_is() -> None:
    positions = [20.0 * site for site in range(10)]
    positions[4] += 7.0
    lattice = fit_lattice(positions)
    (stray,) = lattice.outliers
    assert (stray.point, stray.site) == (4, 4)
    assert stray.off == pytest.approx(7.0, abs=0.01)
    assert lattice.pitch == pytest.approx(20.0)
    assert lattice.missing == (4,)


def test_a_speck_between_two_contacts_is_a_stray() -> None:
    positions = [20.0 * site for site in range(8)] + [70.0]
    lattice = fit_lattice(positions)
    assert [stray.point for stray in lattice.outliers] == [8]
    assert lattice.indices[:8] == tuple(range(8))


def test_a_point_beside_the_row_is_a_stray() -> None:
    points = [(30.0 * site, 5.0 * site) for site in range(8)]
    points[5] = (points[5][0] - 2.0, points[5][1] + 12.0)
    row = fit_row(points)
    assert [stray.point for stray in row.lattice.outliers] == [5]
    assert row.across[5] == pytest.approx(12.16, abs=0.1)
    assert row.tilt == pytest.approx(math.atan2(5.0, 30.0), abs=1e-6)


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.2, math.pi / 2, 2.0, 3.0, -0.7])
def test_a_row_may_lie_in_any_direction(turn: float) -> None:
    sites = np.array([0, 1, 3, 4, 5])
    direction = np.array([math.cos(turn), math.sin(turn)])
    row = fit_row(np.array([500.0, 400.0]) + 25.0 * sites[:, None] * direction)
    assert row.lattice.pitch == pytest.approx(25.0)
    assert abs(float(np.array(row.direction) @ direction)) == pytest.approx(1.0)
    assert max(row.direction, key=abs) > 0.0
    ordered = row.lattice.indices if float(np.array(row.direction) @ direction) > 0 else row.lattice.indices[::-1]
    assert ordered in {(0, 1, 3, 4, 5), (0, 1, 2, 4, 5)}


@settings(max_examples=60, deadline=None)
@given(
    count=st.integers(4, 40),
    pitch=st.floats(12.0, 200.0),
    skipped=st.sets(st.integers(1, 38), max_size=6),
    seed=st.integers(0, 10_000),
)
def test_sites_are_found_whichever_contacts_are_left_out(
    count: int, pitch: float, skipped: set[int], seed: int
) -> None:
    sites = np.array([site for site in range(count) if site not in skipped])
    if len(sites) < 4 or np.gcd.reduce(np.diff(sites)) > 1 or np.sum(np.diff(sites) == 1) < 2:
        return
    noise = np.random.default_rng(seed).uniform(-0.04, 0.04, len(sites)) * min(pitch, 25.0)
    assert fit_lattice(sites * pitch + noise).indices == tuple(sites - sites[0])


def test_strays_are_found_among_noisy_rows_with_gaps() -> None:
    """Clicks of 1.2 px, pitch 40 px, ten of 24 sites left out, one stray by a quarter to nearly half a pitch."""
    rng, right, doubtful = np.random.default_rng(7), 0, 0
    for _ in range(300):
        sites = np.sort(rng.choice(24, 14, replace=False))
        positions = sites * 40.0 + rng.normal(0.0, 1.2, 14)
        stray = int(rng.integers(1, 13))
        positions[stray] += rng.choice([-1.0, 1.0]) * rng.uniform(10.0, 18.0)
        try:
            lattice = fit_lattice(positions)
        except ObservationError:  # nearly all sites even: twice the pitch with more strays would fit as well
            doubtful += 1
            continue
        steps = np.delete(np.array(lattice.indices), stray) - np.delete(sites, stray)
        right += [one.point for one in lattice.outliers] == [stray] and np.ptp(steps) == 0
    assert right >= 0.97 * (300 - doubtful)
    assert doubtful <= 0.03 * 300


# Refusals


@pytest.mark.parametrize("positions", [[], [3.0], [3.0, 23.0]])
def test_fewer_than_three_points_are_refused(positions: list[float]) -> None:
    assert refused(fit_lattice, positions).field == "positions"


@pytest.mark.parametrize("bad", [math.nan, math.inf, "20", None, True, (1.0, 2.0), 1e7, 10**400])
def test_a_point_that_is_not_a_position_is_refused_by_name(bad: object) -> None:
    assert refused(fit_lattice, [0.0, 20.0, bad, 60.0]).field == "positions[2]"
    assert refused(fit_row, [(0.0, 0.0), (20.0, 0.0), (40.0, bad), (60.0, 0.0)]).field == "points[2]"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1e7])
def test_a_point_of_an_array_that_is_not_a_position_is_refused_by_name(bad: float) -> None:
    assert refused(fit_lattice, np.array([0.0, 20.0, bad, 60.0])).field == "positions[2]"
    assert refused(fit_row, np.array([[0.0, 0.0], [20.0, 0.0], [40.0, bad], [60.0, 0.0]])).field == "points[2]"


def test_an_array_is_read_like_a_list_and_stays_as_it_is() -> None:
    positions = np.array([3.0, 23.0, 43.5, 63.0])
    assert fit_lattice(positions).pitch == fit_lattice(positions.tolist()).pitch
    assert positions.tolist() == [3.0, 23.0, 43.5, 63.0]


def test_points_of_another_shape_are_refused() -> None:
    assert refused(fit_row, np.zeros((3, 1, 2))).field == "points[0]"
    assert refused(fit_row, np.zeros((3, 3))).field == "points[0]"
    assert refused(fit_row, [(0.0, 0.0), (20.0, 0.0), (40.0, 0.0, 1.0)]).field == "points[2]"
    assert refused(fit_row, 5.0).field == "points"


def test_more_points_than_any_half_has_are_refused() -> None:
    assert refused(fit_lattice, list(range(0, 40_020, 20))).field == "positions"


def test_a_contact_clicked_twice_is_refused_by_name() -> None:
    assert refused(fit_lattice, [0.0, 20.0, 40.0, 20.4]).field == "positions[3]"
    assert refused(fit_row, [(0.0, 0.0), (20.0, 0.0), (20.3, 0.4), (40.0, 0.0)]).field == "points[2]"


def test_all_points_at_one_place_are_refused() -> None:
    assert refused(fit_row, [(7.0, 7.0)] * 4).field == "points[1]"


def test_points_without_equal_steps_are_refused() -> None:
    assert refused(fit_lattice, [0.0, 20.0, 47.0, 61.0, 99.0, 108.0, 143.0]).field == "positions"


def test_two_groups_of_contacts_are_not_taken_for_one_row() -> None:
    groups = [20.0 * site for site in range(5)] + [110.0 + 20.0 * site for site in range(5)]
    error = refused(fit_lattice, groups)
    assert error.field == "positions"
    assert "groups" in error.remedy


def test_a_cloud_of_points_is_not_a_row() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        assert refused(fit_row, rng.uniform(0.0, 300.0, (9, 2))).field == "points"


def test_a_pitch_that_three_points_leave_open_is_refused() -> None:
    """Steps of 10 and 16 px may be one and two pitches, or two equal ones clicked badly."""
    assert "not clear" in refused(fit_lattice, [0.0, 10.0, 26.0]).message


def test_contacts_too_small_to_be_clicked_are_refused() -> None:
    assert refused(fit_lattice, [0.0, 3.0, 6.0, 9.0, 12.0]).field == "positions"


@pytest.mark.parametrize("floor", [0.0, -1.0, math.nan, math.inf, "half"])
def test_an_invalid_floor_is_refused(floor: object) -> None:
    assert refused(fit_lattice, [0.0, 20.0, 40.0], floor_u=floor).field == "floor_u"


# Uncertainty


def test_perfect_clicks_are_still_half_a_pixel_uncertain() -> None:
    lattice = fit_lattice([0.0, 20.0, 40.0, 60.0])
    assert lattice.residual_sd == pytest.approx(0.0, abs=1e-12)
    assert lattice.click_u == FLOOR_U
    assert lattice.degrees_of_freedom == math.inf
    assert lattice.pitch_u95 == pytest.approx(1.959964 * 0.5 / math.sqrt(5.0), rel=1e-6)


def test_a_lower_floor_may_be_given_for_centres_that_no_hand_clicked() -> None:
    assert fit_lattice([0.0, 20.0, 40.0, 60.0], floor_u=0.05).click_u == 0.05


def test_scatter_across_the_row_counts_as_clicking_error() -> None:
    points = [(20.0 * site, 2.0 * (-1) ** site) for site in range(12)]
    row = fit_row(points)
    assert row.lattice.click_u == pytest.approx(math.hypot(*row.across, *row.lattice.residuals) / math.sqrt(20.0))


def coverage(sites: np.ndarray, sd: float, seed: int) -> tuple[float, float]:
    """Share of runs whose 95 % interval of the pitch holds the truth, along a line and in the plane."""
    rng = np.random.default_rng(seed)
    step = np.array([38.0, 12.0])
    pitch, line, plane = float(np.hypot(*step)), 0, 0
    for _ in range(RUNS // 2):
        lattice = fit_lattice(sites * pitch + rng.normal(0.0, sd, len(sites)))
        line += abs(lattice.pitch - pitch) <= lattice.pitch_u95
        row = fit_row(sites[:, None] * step + rng.normal(0.0, sd, (len(sites), 2)))
        plane += abs(row.lattice.pitch - pitch) <= row.lattice.pitch_u95
    return line / (RUNS // 2), plane / (RUNS // 2)


def test_intervals_of_the_pitch_hold_the_truth_in_94_to_96_percent() -> None:
    """4,000 rows of seven contacts with one left out, clicked with 1.5 px: half along a line, half in the plane."""
    line, plane = coverage(np.array([0, 1, 2, 4, 5, 6, 7]), 1.5, 11)
    assert 0.94 <= (line + plane) / 2 <= 0.96
    assert 0.935 <= line <= 0.965
    assert 0.935 <= plane <= 0.965


def test_below_the_floor_intervals_are_wider_than_they_need_be() -> None:
    rng, held = np.random.default_rng(12), 0
    for _ in range(1000):
        lattice = fit_lattice(np.arange(8) * 40.0 + rng.normal(0.0, 0.25, 8))
        held += abs(lattice.pitch - 40.0) <= lattice.pitch_u95
    assert held / 1000 >= 0.99


def held_in_plane(count: int, sd: float, seed: int) -> tuple[float, float]:
    """Share of clicked rows whose 95 % interval of the pitch holds the truth, and share whose pitch is refused."""
    rng, step, held, refused_rows = np.random.default_rng(seed), np.array([57.0, 18.0]), 0, 0
    for _ in range(RUNS):
        try:
            row = fit_row(np.arange(count)[:, None] * step + rng.normal(0.0, sd, (count, 2)))
        except ObservationError:  # three clicks that leave the pitch open
            refused_rows += 1
            continue
        held += abs(row.lattice.pitch - float(np.hypot(*step))) <= row.lattice.pitch_u95
    return held / (RUNS - refused_rows), refused_rows / RUNS


@pytest.mark.parametrize("sd", [0.8, 2.0])
@pytest.mark.parametrize("count", [3, 4, 6])
def test_few_clicks_hold_the_truth_in_94_to_96_percent(count: int, sd: float) -> None:
    share, refused_rows = held_in_plane(count, sd, seed=100 * count + round(10 * sd))
    assert 0.94 <= share <= 0.96
    assert refused_rows <= 0.002


def held_by_quadrature(degrees_of_freedom: int, true_u: float) -> float:
    """Probability that an interval from `click_error` holds the truth, with the floor of half a pixel."""
    chances = (np.arange(2000) + 0.5) / 2000
    errors = [click_error(true_u**2 * w, degrees_of_freedom) for w in chi2.ppf(chances, degrees_of_freedom)]
    half_widths = np.array([coverage_factor(dof) * u for u, dof in errors])
    return float(np.mean(2.0 * norm.cdf(half_widths / true_u) - 1.0))


@pytest.mark.parametrize("dof", [2, 3, 4, 6, 10, 30])
@pytest.mark.parametrize("true_u", [0.8, 1.0, 1.5, 2.0, 5.0])
def test_from_four_fifths_of_a_pixel_on_clicks_hold_the_truth_however_few(dof: int, true_u: float) -> None:
    assert 0.945 <= held_by_quadrature(dof, true_u) <= 0.96


@pytest.mark.parametrize(("true_u", "share"), [(0.25, 1.0), (0.5, 0.982), (0.6, 0.971)])
def test_at_the_floor_few_clicks_hold_the_truth_more_often_on_principle(true_u: float, share: float) -> None:
    assert held_by_quadrature(4, true_u) == pytest.approx(share, abs=0.002)


@pytest.mark.parametrize(("true_u", "share"), [(0.5, 0.995), (0.75, 0.98), (1.0, 0.966), (1.5, 0.949), (2.0, 0.943)])
def test_three_positions_along_a_line_hold_the_truth_in_94_to_98_percent_above_the_floor(
    true_u: float, share: float
) -> None:
    assert held_by_quadrature(1, true_u) == pytest.approx(share, abs=0.002)


def test_clicks_that_fit_better_than_the_floor_do_not_prove_it_at_once() -> None:
    assert click_error(2 * 0.5**2, 2) == (0.5, 2.0)
    assert click_error(2 * 0.25**2, 2) == (0.5, 32.0)
    assert click_error(2 * 0.9**2, 2) == (0.9, 2.0)
    assert click_error(0.0, 2) == (0.5, math.inf)
