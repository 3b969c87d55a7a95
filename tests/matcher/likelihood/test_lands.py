"""Lands of found boards: a recommendation without a tolerance is kept to loosely, and that is no mistake."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent, readings_of
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim
from matcher.decision.likely_slips import hints
from matcher.decision.posterior import posterior
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model.normal_readings import NormalReadings
from matcher.likelihood.evidence import Comparison
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_rows
from tests.matcher.reference_model.bodies import ListedHalf
from tests.matcher.reference_model.intervals import rectangle_cumulative, rectangle_density
from tests.matcher.reference_model.readings import build_reading

U = 0.03
GROSS = 0.04
"""Share of grossly wrong readings of the lands' span in the feature table."""


def catalogue(tolerance: float | None) -> Columns:
    """The invented catalogue with that tolerance of all lands."""
    rows, matings = invented_rows(2)
    lands = [Dim(value=row.dimensions["land_span"].value, tolerance=tolerance) for row in rows]
    rows = [replace(row, dimensions={**row.dimensions, "land_span": dim}) for row, dim in zip(rows, lands, strict=True)]
    return build_columns(rows, matings)


FOUND, STATED = catalogue(None), catalogue(0.15)
PLUG = FOUND.keys.index("plug-0-20")
SIZE = float(FOUND.dimensions["land_span"].stated[PLUG])
SCALE = SharedError(group="picture", kind=SharedKind.SCALE, sd=0.01)


def lands(off: float, columns: Columns = FOUND, shared: SharedError | None = None, index: int = 0) -> DimensionEvidence:
    """A reading of lands that are off by that much, mm."""
    value = SIZE + off
    reading = Reduced(index=index, feature="land_span", value=value, u=U, total_u=U, shared=shared)
    return DimensionEvidence(reading=reading, columns=columns)


def against(evidence: DimensionEvidence) -> Comparison:
    """The reading against the half that it is of."""
    return evidence.against([PLUG])[0]


def by_hand(off: float) -> float:
    """Density of a right reading, from the limits −0.05…+0.45 and −0.45…+0.85 mm."""
    return 0.8 * rectangle_density(off, 0.2, 0.25, U) + 0.2 * rectangle_density(off, 0.2, 0.65, U)


@pytest.mark.parametrize("off", [-0.5, -0.44, -0.14, -0.05, 0.1, 0.45, 0.7, 0.86])
def test_a_right_reading_is_of_a_usual_board_or_of_one_in_five_that_lies_farther_off(off: float) -> None:
    evidence = lands(off)
    assert float(evidence.log_right(np.array([PLUG]))[0]) == pytest.approx(math.log((1 - GROSS) * by_hand(off)))
    right = evidence.right_and_wrong[0][PLUG]
    assert right == pytest.approx((1 - GROSS) * by_hand(off), rel=1e-9)


@pytest.mark.parametrize("off", [-0.14, -0.3, -0.42, 0.6, 0.8])
def test_lands_farther_off_are_no_slip(off: float) -> None:
    found, slow = against(lands(off)), build_reading(lands(off).reading, ListedHalf(FOUND, PLUG), folded=True)
    right = replace(slow, pieces=slow.pieces[:1], background=0.0)
    assert found.slip_probability == pytest.approx(1 - right.density() / slow.density(), rel=1e-9)
    assert found.slip_probability < 0.5
    assert found.slip is None


def test_lands_fit_within_their_usual_limits_and_a_little_beyond_and_strain_towards_the_broad_ones() -> None:
    words = [against(lands(off)).word for off in (-0.14, 0.0, 0.4, 0.54, -0.35, 0.75)]
    assert words == ["fits", "fits", "fits", "fits", "strains", "strains"]


@pytest.mark.parametrize("off", [-1.0, 1.4])
def test_lands_beyond_the_broad_limits_may_be_a_slip_or_off(off: float) -> None:
    assert against(lands(off)).word in ("off", "likely slip")


@pytest.mark.parametrize("off", [-0.45, -0.14, 0.2, 0.3, 0.84])
def test_the_p_value_is_that_of_both_parts_of_the_process(off: float) -> None:
    below = 0.8 * rectangle_cumulative(off, 0.2, 0.25, U) + 0.2 * rectangle_cumulative(off, 0.2, 0.65, U)
    assert against(lands(off)).p_value == pytest.approx(2 * min(below, 1 - below), rel=1e-6)


def test_an_entry_that_states_a_tolerance_for_its_lands_holds_them_to_it() -> None:
    evidence = lands(-0.45, STATED)
    assert evidence.mixture.right == 1
    assert against(evidence).word in ("off", "likely slip")
    assert against(lands(0.1, STATED)).word == "fits"


@pytest.mark.parametrize(("at_least", "at_most"), [(-0.1, None), (None, 0.5), (0.3, 0.6)])
def test_a_bound_on_lands_holds_for_both_parts_of_the_process(at_least: float | None, at_most: float | None) -> None:
    low, high = (None if each is None else SIZE + each for each in (at_least, at_most))
    reading = Reduced(index=0, feature="land_span", at_least=low, at_most=high, u=U, total_u=U)
    inside = sum(
        share
        * (
            rectangle_cumulative(math.inf if at_most is None else at_most, 0.2, half_width, U)
            - rectangle_cumulative(-math.inf if at_least is None else at_least, 0.2, half_width, U)
        )
        for share, half_width in ((0.8, 0.25), (0.2, 0.65))
    )
    found = DimensionEvidence(reading=reading, columns=FOUND).of_halves()[PLUG]
    assert found == pytest.approx((1 - GROSS) * inside + GROSS * 0.5, rel=1e-9)


def test_the_mates_lands_may_be_farther_off_too() -> None:
    columns = FOUND
    mating = int(np.flatnonzero(columns.matings.half == PLUG)[0])
    mate = int(columns.matings.other[mating])
    size = float(columns.dimensions["land_span"].stated[mate]) - 0.3
    reading = Reduced(index=0, feature="land_span", of=Of.OTHER, value=size, u=U, total_u=U)
    evidence = DimensionEvidence(reading=reading, columns=columns)
    assert evidence.of_listed_mates()[mating] > (1 - GROSS) * by_hand(-0.3)
    listed = math.log(0.9 * (1 - GROSS) * by_hand(-0.3))
    assert evidence.log_right(np.array([PLUG]))[0] == pytest.approx(listed, abs=1e-6)
    for off in (-0.4, 0.0, 0.8):
        given = replace(reading, value=size + 0.3 + off)
        assert hints(posterior(columns, fit_absent(columns), [given], 0.0), [given]) == ()


@pytest.mark.parametrize(
    ("feature", "value"), [("land_span", (SIZE - 0.3) / 25.4), ("body_width", SIZE - 0.3), ("body_width", SIZE + 0.1)]
)
def test_slips_to_lands_and_lands_in_inches_may_be_of_a_board_farther_off(feature: str, value: float) -> None:
    reading = Reduced(index=0, feature=feature, value=value, u=0.01, total_u=0.01)
    slow = build_reading(reading, ListedHalf(FOUND, PLUG), folded=True).density()
    assert DimensionEvidence(reading=reading, columns=FOUND).density[PLUG] == pytest.approx(slow, rel=1e-9)


def test_in_the_closed_form_right_readings_have_the_variance_of_both_parts() -> None:
    evidence = lands(0.1, shared=SCALE)
    found = NormalReadings.of([evidence])
    centre = SIZE + 0.2
    spread = (0.8 * 0.25**2 + 0.2 * 0.65**2) / 3
    assert found.variance[0, PLUG] == pytest.approx((U / (SIZE + 0.1)) ** 2 + spread / centre**2, rel=1e-5)
    assert found.right[0, PLUG] == pytest.approx(math.log((1 - GROSS) / (SIZE + 0.1)))


def test_no_hint_names_a_mistake_for_lands_farther_off() -> None:
    given = [
        Reduced(index=1, feature="contact_count", count=20),
        *(
            Reduced(index=i, feature=name, value=float(FOUND.dimensions[name].stated[PLUG]), u=U, total_u=U)
            for i, name in enumerate(("body_length", "body_width"), start=2)
        ),
    ]
    for off in (-0.14, -0.3, 0.6):
        observations = [lands(off).reading, *given]
        assert hints(posterior(FOUND, fit_absent(FOUND), observations, 0.1), observations) == ()


def test_boards_are_simulated_for_the_fit_with_both_parts_of_the_process() -> None:
    draw = np.random.default_rng(3)
    read = [next(readings_of(FOUND, PLUG, draw, ["land_span"])).number - SIZE for _ in range(4000)]
    beyond = float(np.mean(np.abs(np.array(read) - 0.2) > 0.25 + 3 * U))
    assert beyond == pytest.approx(0.2 * (0.4 - 3 * U) / 0.65, abs=0.015)
