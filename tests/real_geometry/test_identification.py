"""Identification on real geometry: thresholds are the project's own targets, on fewer specimens than the study.

`python -m tests.real_geometry.study` tries 20,000 specimens for each scenario. Earlier simulations of our own on this
geometry reached similar figures; allowances for the smaller numbers here are three standard errors.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns
from tests.real_geometry.conftest import RealFootprints
from tests.real_geometry.simulated.absence import ratios
from tests.real_geometry.simulated.baselines import run_filter, run_nearest
from tests.real_geometry.simulated.left_out import LeftOut
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import BASIC, PHOTO, Scenario, run, with_process_tolerance

pytestmark = pytest.mark.real_geometry

SPECIMENS, PICTURES, LEFT_OUT = 1200, 300, 250
CASES = {
    "count, rows, pitch, length, width": (Scenario(features=BASIC), SPECIMENS, 0.87, 0.99),
    "and mounting": (Scenario(features=(*BASIC, "mounting")), SPECIMENS, 0.90, 0.998),
    "and land span": (Scenario(features=PHOTO), SPECIMENS, 0.97, 0.998),
    "unscaled photo": (Scenario(features=PHOTO, unscaled=True), PICTURES, 0.92, 0.995),
}


@pytest.fixture(scope="module")
def drawn(real_footprints: RealFootprints) -> Columns:
    """The catalogue with whole drawings as outlines: what the study's target figures were reached with."""
    return build_columns([with_process_tolerance(row) for row in rows_of(real_footprints.drawn)], [])


@pytest.fixture(scope="module")
def absent(drawn: Columns) -> AbsentModel:
    """The density of absent for that catalogue."""
    return fit_absent(drawn)


def _below(share: float, number: int) -> float:
    """``share`` less three standard errors of ``number`` trials."""
    return share - 3 * math.sqrt(share * (1 - share) / number)


@pytest.mark.parametrize("case", CASES)
def test_the_right_geometry_comes_first(drawn: Columns, absent: AbsentModel, case: str) -> None:
    scenario, number, first, in_five = CASES[case]
    halves = np.random.default_rng(11).integers(0, len(drawn), number).tolist()
    tally = run(drawn, absent, halves, scenario, seed=2)
    assert tally.first.mean() >= _below(first, number)
    assert tally.in_five.mean() >= _below(in_five, number)
    assert tally.calibration_error() <= 2 * tally.noise_floor()


def test_a_filter_and_a_nearest_neighbour_find_fewer_of_the_same_specimens(drawn: Columns, absent: AbsentModel) -> None:
    """With 2 % gross errors among the readings; without them the nearest neighbour is within two per cent."""
    halves = np.random.default_rng(11).integers(0, len(drawn), 800).tolist()
    scenario = Scenario(features=PHOTO, gross=0.02)
    ours = run(drawn, absent, halves, scenario, seed=2).first.mean()
    filtered, lost = run_filter(drawn, halves, scenario, seed=2)
    assert lost > 0.2
    assert ours > filtered.first.mean() + 0.2
    assert ours > run_nearest(drawn, halves, scenario, seed=2).first.mean() + 0.02


@pytest.mark.parametrize(("features", "auroc"), [(BASIC, 0.87), (PHOTO, 0.94)])
def test_absent_is_distinguished_from_present_with_a_calibrated_ratio(
    drawn: Columns, features: tuple[str, ...], auroc: float
) -> None:
    result = ratios(drawn, Scenario(features=features), LEFT_OUT)
    assert result.auroc() >= auroc - 0.02
    _, lowest, _ = result.mean_ratio()
    assert lowest <= 1.1
    for threshold in (3, 10):
        assert result.share_from(threshold) <= 1 / threshold
    assert result.mean_probability_absent(0.1) == pytest.approx(0.1, abs=0.03)
    assert result.calibration_error(0.1) <= 0.05


@pytest.fixture(scope="module")
def left_out(real_halves: tuple[Half, ...]) -> LeftOut:
    """The catalogue with the variants that its entries' siblings predict, switched off."""
    return LeftOut(
        [h for h in real_halves if "pitch" in h.dimensions and 0.2 <= h.dimensions["pitch"].value <= 2.54], LEFT_OUT
    )


@pytest.mark.parametrize(("features", "share"), [(BASIC, 0.80), (PHOTO, 0.92)])
def test_a_variant_that_no_entry_lists_is_named(left_out: LeftOut, features: tuple[str, ...], share: float) -> None:
    assert left_out.named_in_five(Scenario(features=features)) >= _below(share, LEFT_OUT)
