"""Advice on real geometry: fewer observations than in the customary order and in any fixed order; on small
catalogues as few as a search over all strategies. The samples are smaller than the studies', see DEVELOPERS.md."""

from __future__ import annotations

import pytest

from catalog.model.entries import Half
from matcher.columns.build import build_columns
from matcher.columns.columns import HalfRow
from tests.real_geometry.exhaustive import compare
from tests.real_geometry.next_measurement_study import means
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import with_process_tolerance

pytestmark = pytest.mark.real_geometry


@pytest.fixture(scope="module")
def rows(real_halves: tuple[Half, ...]) -> list[HalfRow]:
    return [with_process_tolerance(row) for row in rows_of(real_halves)]


def test_advice_needs_a_fifth_fewer_observations_than_the_customary_order_and_no_more_than_any_fixed_order(
    rows: list[HalfRow],
) -> None:
    found = means(build_columns(rows, []), 100, seed=11)
    assert found.advice <= 0.8 * found.customary
    assert found.advice <= found.best_fixed
    assert found.advice >= found.hindsight


def test_on_small_catalogues_advice_is_within_a_twentieth_of_the_best_strategy(rows: list[HalfRow]) -> None:
    best, advised = compare(rows, 8, seed=3)
    assert (best > 1.0).sum() >= 2
    assert advised.sum() <= 1.05 * best.sum()
    assert (advised >= best - 1e-9).all()
