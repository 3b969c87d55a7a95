"""Expected information agrees with published numbers and with plain sums over all outcomes."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from matcher.decision.next_measurement.information import (
    Outcomes,
    entropy,
    expected_gain,
    expected_information,
    information_about,
    joint_information,
)

BALLS = 12


def weighing(on_a_side: int) -> np.ndarray:
    """Outcomes (left sinks, right sinks, balance) of weighing the first balls against the next, for 24 answers: which
    of twelve balls is odd, and whether heavy or light."""
    table = []
    for ball, heavy in itertools.product(range(BALLS), (True, False)):
        left, right = ball < on_a_side, on_a_side <= ball < 2 * on_a_side
        sinks_left = (left and heavy) or (right and not heavy)
        table.append([sinks_left, (left or right) and not sinks_left, not (left or right)])
    return np.array(table, dtype=float)


@pytest.mark.parametrize(
    ("on_a_side", "bits"), [(1, 0.8167), (2, 1.2516), (3, 1.5), (4, 1.58496), (5, 1.4834), (6, 1.0)]
)
def test_weighing_twelve_balls_gives_the_information_mackay_prints(on_a_side: int, bits: float) -> None:
    # MacKay, Information Theory, Inference, and Learning Algorithms, exercise 4.1; numbers recomputed.
    prior = np.full(2 * BALLS, 1 / (2 * BALLS))
    assert expected_information(prior, Outcomes.table(weighing(on_a_side))) == pytest.approx(bits, abs=5e-5)
    everyone = np.arange(2 * BALLS)
    assert information_about(everyone, prior, weighing(on_a_side)) == pytest.approx(bits, abs=5e-5)


def test_twenty_four_answers_are_log2_of_24_bits() -> None:
    # MacKay, exercise 4.1.
    assert entropy(np.full(24, 1 / 24)) == pytest.approx(math.log2(24))


def test_shannons_example_has_seven_quarters_of_a_bit() -> None:
    # Shannon 1948, section 9.
    assert entropy(np.array([1 / 2, 1 / 4, 1 / 8, 1 / 8])) == pytest.approx(7 / 4)


def random_table(draw: np.random.Generator, answers: int, outcomes: int) -> np.ndarray:
    return draw.dirichlet(np.full(outcomes, 0.3), size=answers)


def plain_information(prior: np.ndarray, table: np.ndarray, action: np.ndarray) -> float:
    """H(action) − Σ p(outcome)·H(action | outcome), by loops; the program computes it from the other side."""
    actions = range(int(action.max()) + 1)

    def bits(weights: list[float]) -> float:
        total = sum(weights)
        return -sum(w / total * math.log2(w / total) for w in weights if w > 0)

    told = bits([float(prior[action == a].sum()) for a in actions])
    for column in table.T:
        joint = [float((prior * column)[action == a].sum()) for a in actions]
        if sum(joint) > 0:
            told -= sum(joint) * bits(joint)
    return told


@pytest.mark.parametrize("seed", range(20))
def test_information_is_the_expected_fall_of_entropy(seed: int) -> None:
    draw = np.random.default_rng(seed)
    prior, table = draw.dirichlet(np.ones(7)), random_table(draw, 7, 5)
    action = draw.integers(0, 4, 7)
    assert information_about(action, prior, table) == pytest.approx(plain_information(prior, table, action), abs=1e-12)
    assert expected_information(prior, Outcomes.table(table)) == pytest.approx(
        plain_information(prior, table, np.arange(7)), abs=1e-12
    )


@pytest.mark.parametrize("seed", range(20))
def test_two_experiments_give_as_much_as_one_with_all_pairs_of_outcomes(seed: int) -> None:
    draw = np.random.default_rng(seed)
    prior = draw.dirichlet(np.ones(6))
    a, b = random_table(draw, 6, 4), random_table(draw, 6, 3)
    action = draw.integers(0, 3, 6)
    pairs = np.einsum("io,ip->iop", a, b).reshape(6, -1)
    assert joint_information(action, prior, a, b) == pytest.approx(plain_information(prior, pairs, action), abs=1e-12)


def test_two_features_that_help_only_together_give_information_only_together() -> None:
    first, second = np.array([[1.0, 0], [1, 0], [0, 1], [0, 1]]), np.array([[1.0, 0], [0, 1], [1, 0], [0, 1]])
    prior, action = np.full(4, 0.25), np.array([0, 1, 1, 0])
    assert information_about(action, prior, first) == 0.0
    assert information_about(action, prior, second) == 0.0
    assert joint_information(action, prior, first, second) == pytest.approx(1.0)


def banded(draw: np.random.Generator) -> Outcomes:
    band = draw.uniform(0, 0.2, size=(5, 4))
    wide = draw.dirichlet(np.ones(12), size=1)
    first = draw.integers(0, 7, 5)
    return Outcomes(size=12, first=first, band=band, elsewhere=1 - band.sum(axis=1), wide=wide)


@pytest.mark.parametrize("seed", range(10))
def test_a_band_gives_the_same_information_as_its_full_table(seed: int) -> None:
    draw = np.random.default_rng(seed)
    outcomes, prior = banded(draw), draw.dirichlet(np.ones(6))
    told = expected_information(prior, outcomes)
    assert np.allclose(outcomes.rows().sum(axis=1), 1.0)
    assert expected_information(prior, Outcomes.table(outcomes.rows())) == pytest.approx(told, abs=1e-12)
    assert np.allclose(outcomes.marginal(prior), prior @ outcomes.rows())
    assert expected_information(prior, Outcomes.table(outcomes.condensed())) == pytest.approx(told, abs=1e-12)


def test_the_gain_is_the_rise_in_probability_of_the_best_order() -> None:
    # Two orders at 0.6 and 0.4; a test that is right nine times in ten: the best order is then right in 0.54 + 0.36.
    prior, table = np.array([0.6, 0.4]), np.array([[0.9, 0.1], [0.1, 0.9]])
    assert expected_gain(np.array([0, 1]), prior, table) == pytest.approx(0.3)
    assert expected_gain(np.array([0, 0]), prior, table) == 0.0


def test_an_experiment_with_the_same_outcomes_for_every_answer_gives_no_information() -> None:
    prior, table = np.array([0.2, 0.3, 0.5]), np.tile([0.25, 0.75], (3, 1))
    assert expected_information(prior, Outcomes.table(table)) == pytest.approx(0.0, abs=1e-12)
