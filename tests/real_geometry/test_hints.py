"""Hints on real geometry: thresholds are the project's own targets, on fewer specimens than the study.

`python -m tests.real_geometry.hints_study` tries 300 specimens for each mistake; the allowances here are three standard
errors. Only every second series is used here: the threshold for showing hints was chosen on the others.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from tests.real_geometry.hints_study import (
    IN_PICTURE,
    UNSCALED,
    ZERO,
    Setup,
    demo_setup,
    of_series,
    try_clean,
    try_mistake,
)
from tests.real_geometry.simulated.mistaken import FULL, INJECTIONS, WITH_HEIGHTS, FullBench, explained
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import Scenario, with_process_tolerance

SPECIMENS, CLEAN = 20, 200
FIRST_TWO, FALSE = 0.90, 0.02


@pytest.fixture(scope="module")
def real(real_halves: tuple[Half, ...]) -> Setup:
    """Every feature of a footprint, measured with one caliper."""
    columns = build_columns([with_process_tolerance(row) for row in rows_of(real_halves)], [])
    return Setup(columns=columns, absent=fit_absent(columns), scenario=Scenario(features=FULL), zero=ZERO)


@pytest.fixture(scope="module")
def invented() -> Setup:
    """The demo catalogue, for features that footprints lack; it is invented, not real geometry."""
    return demo_setup()


def _allowance(share: float, number: int) -> float:
    return 3 * math.sqrt(share * (1 - share) / number)


@pytest.mark.real_geometry
@pytest.mark.parametrize("kind", INJECTIONS)
def test_the_right_hint_is_among_the_first_two(real: Setup, kind: str) -> None:
    outcome = try_mistake(kind, real, SPECIMENS, of_series(real.columns, 1), seed=21)
    assert len(outcome.places) == SPECIMENS
    assert outcome.share(2) >= FIRST_TWO - _allowance(FIRST_TWO, SPECIMENS)


@pytest.mark.real_geometry
@pytest.mark.parametrize("kind", IN_PICTURE)
def test_the_right_hint_is_among_the_first_two_in_a_picture_without_scale(real: Setup, kind: str) -> None:
    picture = replace(real, scenario=UNSCALED, zero=None)
    outcome = try_mistake(kind, picture, SPECIMENS, of_series(real.columns, 1), seed=27)
    assert len(outcome.places) == SPECIMENS
    assert outcome.share(2) >= FIRST_TWO - _allowance(FIRST_TWO, SPECIMENS)


@pytest.mark.real_geometry
def test_specimens_without_mistakes_get_no_hint(real: Setup) -> None:
    clean = try_clean(real, CLEAN, of_series(real.columns, 1), seed=22)
    assert np.mean(np.array(clean.false) > 0.0) <= FALSE + _allowance(FALSE, CLEAN)


@pytest.mark.parametrize("kind", WITH_HEIGHTS)
def test_mistakes_of_heights_and_metal_are_named_in_an_invented_catalogue(invented: Setup, kind: str) -> None:
    outcome = try_mistake(kind, invented, SPECIMENS, of_series(invented.columns, 1), seed=23)
    assert len(outcome.places) == SPECIMENS
    assert outcome.share(2) >= FIRST_TWO - _allowance(FIRST_TWO, SPECIMENS)


def test_specimens_without_mistakes_of_an_invented_catalogue_get_no_hint(invented: Setup) -> None:
    clean = try_clean(invented, CLEAN // 2, of_series(invented.columns, 1), seed=24)
    assert np.mean(np.array(clean.false) > 0.0) <= FALSE + _allowance(FALSE, CLEAN // 2)


def test_a_mistake_that_another_half_explains_is_not_counted(invented: Setup) -> None:
    bench = FullBench(invented.columns, seed=25)
    specimen = bench.specimen(0, invented.scenario)
    assert explained(specimen, invented.columns)
    mistaken = WITH_HEIGHTS["board_thickness"](specimen, 0, bench)
    assert mistaken is not None
    assert not explained(mistaken, invented.columns)


def test_a_picture_of_any_scale_can_be_explained(invented: Setup) -> None:
    bench = FullBench(invented.columns, seed=26)
    features = ("contact_count", "rows", "pitch", "body_length", "body_width")
    specimen = bench.specimen(3, Scenario(features=features, unscaled=True))
    assert explained(specimen, invented.columns)
    twice = INJECTIONS["twice_the_pitch"](specimen, 3, bench)
    assert twice is not None
    assert not explained(twice, invented.columns)
