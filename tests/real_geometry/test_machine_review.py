"""The machine review on real geometry: false alarms on right entries, and slips that are found.

Figures are for this set of footprints only; run with ``-s`` to see them. They are printed by code, never by name.
"""

from __future__ import annotations

import pytest

from catalog.model.entries import Half
from catalog.review.slips import PROPORTIONS
from matcher.feature_fields import CONTACT_ROW
from tests.real_geometry.review_study import Detection, FalseAlarms, Neighbourhood, detection, false_alarms

pytestmark = pytest.mark.real_geometry

EVERY = 3
"""Every third half is reviewed for false alarms, against all others."""

OF_EACH = 80
"""Slips of each kind."""


@pytest.fixture(scope="module")
def neighbourhood(real_halves: tuple[Half, ...]) -> Neighbourhood:
    return Neighbourhood(real_halves)


@pytest.fixture(scope="module")
def alarms(real_halves: tuple[Half, ...], neighbourhood: Neighbourhood) -> FalseAlarms:
    count = false_alarms(real_halves[::EVERY], neighbourhood)
    print(f"\n{count.halves} real halves reviewed as they stand:")
    print(f"  severe {count.share('severe'):.2%}, warning {count.share('warning'):.2%}")
    for (code, severity), times in sorted(count.by_code.items()):
        print(f"  {code.value} {severity}: {times / count.halves:.2%}")
    return count


@pytest.fixture(scope="module")
def caught(real_halves: tuple[Half, ...], neighbourhood: Neighbourhood) -> dict[str, Detection]:
    return _shown("three sizes of siblings and more", real_halves, neighbourhood, with_law=True)


@pytest.fixture(scope="module")
def caught_alone(real_halves: tuple[Half, ...], neighbourhood: Neighbourhood) -> dict[str, Detection]:
    return _shown("no law to hold them against", real_halves, neighbourhood, with_law=False)


def _shown(
    words: str, halves: tuple[Half, ...], neighbourhood: Neighbourhood, *, with_law: bool
) -> dict[str, Detection]:
    found = detection(halves, neighbourhood, of_each=OF_EACH, seed=20, with_law=with_law)
    print(f"\nslips in halves with {words}:")
    for kind, count in found.items():
        print(f"  {kind}: {count.line}")
    return found


def test_at_most_one_right_entry_in_two_hundred_needs_an_acknowledgement(alarms: FalseAlarms) -> None:
    assert alarms.share("severe") <= 0.005


def test_few_right_entries_are_questioned(alarms: FalseAlarms) -> None:
    assert alarms.share("warning") <= 0.015


@pytest.mark.parametrize(
    ("kind", "severe"),
    [
        ("inches as millimetres", 0.97),
        ("millimetres as inches", 0.97),
        ("whole entry in inches", 0.97),
        ("decimal point left", 0.95),
        ("decimal point right", 0.95),
        ("doubled", 0.95),
        ("halved", 0.95),
        ("figures swapped", 0.9),
        ("next row of the table", 0.9),
    ],
)
def test_slips_among_siblings_are_severe(caught: dict[str, Detection], kind: str, severe: float) -> None:
    count = caught[kind]
    assert count.made == OF_EACH
    assert count.severe >= severe * count.made


@pytest.mark.parametrize(
    "kind", ["inches as millimetres", "millimetres as inches", "decimal point left", "doubled", "figures swapped"]
)
def test_the_suggested_value_is_right(caught: dict[str, Detection], kind: str) -> None:
    assert caught[kind].put_right >= 0.9 * caught[kind].made


@pytest.mark.parametrize("kind", ["inches as millimetres", "millimetres as inches", "whole entry in inches"])
def test_a_unit_slip_is_found_without_siblings(caught_alone: dict[str, Detection], kind: str) -> None:
    assert caught_alone[kind].met >= 0.95 * caught_alone[kind].made


def test_the_limits_of_proportions_contain_real_halves(real_halves: tuple[Half, ...]) -> None:
    """For each proportion known from real geometry, at most one half in a thousand lies outside."""
    for name, proportion in PROPORTIONS.items():
        ratios = [ratio for half in real_halves if (ratio := _ratio(half, name, proportion.to))]
        outside = sum(not proportion.low <= ratio <= proportion.high for ratio in ratios)
        assert outside <= len(ratios) / 1000, (name, proportion, outside, len(ratios))


def _ratio(half: Half, inner: str, outer: str) -> float | None:
    lengths = {name: dimension.value for name, dimension in half.dimensions.items()}
    if "pitch" in lengths:
        lengths[CONTACT_ROW] = lengths["pitch"] * half.contacts_per_row
    return lengths[inner] / lengths[outer] if inner in lengths and outer in lengths else None
