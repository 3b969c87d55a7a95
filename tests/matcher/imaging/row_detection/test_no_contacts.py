from __future__ import annotations

import numpy as np
import pytest

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.row_detection.detection import MOST_SAMPLES, find_contacts
from tests.matcher.imaging.row_detection.noise_profiles import KINDS, found_in, noise

NOISE_FAMILY, EACH = 20261126, 130
"""Seed family of the noise, on which nothing was tuned, and how many profiles of each kind are tried."""

X = np.linspace(0.0, 1.0, 400)

NOTHING = {
    "constant": np.full(400, 0.4),
    "a gradient": 0.2 + 0.5 * X,
    "a curve": 0.2 + 0.5 * X**2,
    "one edge": np.where(X < 0.5, 0.2, 0.7),
    "one line": 0.2 + 0.5 * np.exp(-0.5 * ((X - 0.5) / 0.02) ** 2),
}
TWO_LINES = 0.2 + 0.5 * (np.abs(np.abs(X - 0.5) - 0.2) < 0.03)


@pytest.mark.parametrize("values", NOTHING.values(), ids=NOTHING.keys())
def test_a_profile_without_contacts_is_refused(values: Floats) -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(values)
    assert refused.value.field == "profile"
    assert refused.value.remedy


@pytest.mark.parametrize("values", [*NOTHING.values(), TWO_LINES], ids=[*NOTHING.keys(), "two lines"])
def test_noise_on_a_profile_without_contacts_makes_no_sure_row(values: Floats) -> None:
    for seed in range(10):
        assert not is_sure(values + np.random.default_rng([3, seed]).normal(0, 0.02, 400))


def is_sure(values: Floats) -> bool:
    try:
        return find_contacts(values).sure
    except ObservationError:
        return False


def test_less_than_one_in_a_hundred_profiles_of_noise_is_answered_and_hardly_any_called_sure() -> None:
    rows = [row for kind in KINDS for number in range(EACH) if (row := found_in(noise(kind, NOISE_FAMILY, number)))]
    print(f"{len(rows)} of {EACH * len(KINDS)} answered, {sum(row.sure for row in rows)} sure")
    assert len(rows) < 0.01 * EACH * len(KINDS)
    # The blocks of a JPEG on a ramp form a staircase, which does repeat.
    assert sum(row.sure for row in rows) <= 0.001 * EACH * len(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_noise_is_refused_at_the_profile(kind: str) -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(noise(kind, NOISE_FAMILY, 0))
    assert refused.value.field == "profile"
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("values", "field"),
    [
        (np.zeros(15), "profile"),
        (np.zeros(0), "profile"),
        (np.zeros(MOST_SAMPLES + 1), "profile"),
        (np.zeros((20, 20)), "profile"),
        (np.where(np.arange(100) == 7, np.nan, 0.5), "profile[7]"),
        (np.where(np.arange(100) == 3, np.inf, 0.5), "profile[3]"),
        (np.where(np.arange(100) == 5, 1e300, 0.5), "profile[5]"),
    ],
)
def test_an_invalid_profile_is_refused_and_the_error_names_the_fault(values: Floats, field: str) -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(values)
    assert refused.value.field == field


def test_text_is_refused_as_a_profile() -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(["dark", "bright"] * 10)  # type: ignore[arg-type]
    assert refused.value.field == "profile"


def test_the_levels_beside_the_profile_are_checked_too() -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(0.5 + 0.2 * np.sin(np.arange(200.0)), ahead=[0.1, np.nan])
    assert refused.value.field == "ahead[1]"


@pytest.mark.parametrize("step", [0.0, -1.0, np.nan, np.inf])
def test_a_step_that_is_not_a_length_is_refused(step: float) -> None:
    with pytest.raises(ObservationError) as refused:
        find_contacts(0.5 + 0.2 * np.sin(np.arange(200.0)), step=step)
    assert refused.value.field == "step"
