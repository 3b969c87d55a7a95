"""Many contradicting readings of one size still get an answer, and it agrees with the reference model."""

from __future__ import annotations

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.decision.posterior import posterior
from matcher.errors import ObservationErrors
from matcher.identify import identify
from matcher.likelihood.likelihood import likelihood
from matcher.observations import MAX_OBSERVATIONS, MAX_UNSCALED, Observation, Reduced
from matcher.results import Verdict
from matcher.uncertainty.reduce import reduction
from tests.matcher.invented import invented_columns
from tests.matcher.reference_model import absence, whole

COLUMNS = invented_columns(2)
MODEL = fit_absent(COLUMNS)
FEW = 9
"""More than the closed form treats one by one, few enough for the reference model."""


def contradicting(number: int, step: float = 0.3) -> list[Observation]:
    """Lengths by one caliper, each far from the next; they share its zero error."""
    return [Observation(feature="body_length", value=5.0 + step * place) for place in range(number)]


def readings(number: int) -> tuple[Reduced, ...]:
    """The observations as the likelihood uses them."""
    return reduction(contradicting(number)).readings


def test_the_most_readings_allowed_get_an_answer() -> None:
    found = reduction(contradicting(MAX_OBSERVATIONS))
    answer = identify(COLUMNS, MODEL, found.readings)
    shown = answer.candidates[0]
    assert answer.verdict is Verdict.NO_MATCH
    assert len(found.readings) == len(shown.evidence) - 1 > 0.9 * MAX_OBSERVATIONS
    assert sum(line.log_odds for line in shown.evidence) == pytest.approx(shown.log_odds, rel=1e-9)
    assert len(found.contradictions) == 1


def in_a_picture(number: int) -> list[Observation]:
    """Contradicting lengths in pixels, from one picture without a scale."""
    return [Observation(feature="body_length", value=500.0 + 30.0 * place, unit="px") for place in range(number)]


def test_a_picture_without_a_scale_takes_as_many_readings_as_can_be_weighed() -> None:
    found = reduction(in_a_picture(MAX_UNSCALED)).readings
    assert len(found) == MAX_UNSCALED
    shown = identify(COLUMNS, MODEL, found).candidates[0]
    assert sum(line.log_odds for line in shown.evidence) == pytest.approx(shown.log_odds, rel=1e-9)


def test_more_readings_are_refused_with_the_first_excess_reading_and_the_remedy() -> None:
    with pytest.raises(ObservationErrors) as refused:
        reduction(in_a_picture(MAX_UNSCALED + 2))
    (error,) = refused.value.errors
    assert (error.field, error.value) == ("observations[16].value", 980.0)
    assert "18 readings" in error.message
    assert "scale" in error.remedy


def test_repeats_in_one_observation_are_one_reading() -> None:
    repeats = Observation(feature="body_length", readings=tuple(500.0 + place % 2 for place in range(40)), unit="px")
    assert len(reduction([repeats]).readings) == 1


def test_every_half_has_the_log_likelihood_of_the_reference_model() -> None:
    fast = posterior(COLUMNS, MODEL, readings(FEW)).weighed.total
    for half in (0, 7, 19, 33):
        assert fast[half] == pytest.approx(whole.log_likelihood(COLUMNS, half, readings(FEW)), rel=1e-9)


def test_absent_has_the_density_of_the_reference_model() -> None:
    given = readings(FEW)
    result = posterior(COLUMNS, MODEL, given)
    alone = {each.index: likelihood(COLUMNS, [each]).with_causes().total.tolist() for each in given}
    reference = absence.log_density(MODEL, COLUMNS, [given], [result.weighed.total.tolist()], alone)
    assert result.under_absent.log_density == pytest.approx(reference, rel=1e-9)


def test_leaving_out_one_reading_gives_the_answer_of_the_others() -> None:
    given = readings(FEW)
    result = posterior(COLUMNS, MODEL, given)
    (part,) = result.weighed.parts
    for place in range(FEW):
        left = result.without(part, place)
        others = posterior(COLUMNS, MODEL, [*given[:place], *given[place + 1 :]])
        assert left.log_absent == pytest.approx(others.log_absent, abs=1e-9)
        assert np.exp(left.log_geometry) == pytest.approx(np.exp(others.log_geometry), abs=1e-9)
