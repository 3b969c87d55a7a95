"""Log-probability of a right reading, which decides which mistakes are weighed in full."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from matcher.columns.columns import DimensionColumn
from matcher.features import FEATURES
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.random_catalogues import random_columns
from tests.matcher.reference_model.bodies import interval_of
from tests.matcher.reference_model.intervals import rectangle_density

COLUMNS = random_columns(np.random.default_rng(41), 40)
EVERYONE = np.arange(40)
ZERO = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.5, coefficient=0.5)
SCALE = SharedError(group="picture", kind=SharedKind.SCALE, sd=0.1)


def right(columns: dict[str, DimensionColumn], place: int, reading: Reduced) -> float:
    """Density of a right reading by the reference model; 1e-300 where nothing is known."""
    where = interval_of(columns, reading.feature, place)
    if not where.known:
        return 1e-300
    error = 0.0
    if reading.shared is not None:
        factor = reading.number if reading.shared.kind is SharedKind.SCALE else reading.shared.coefficient
        error = factor * reading.shared.sd
    density = rectangle_density(reading.number, where.centre, where.half, math.hypot(reading.u, where.extra, error))
    return max((1 - FEATURES[reading.feature].gross_share) * density, 1e-300)


@pytest.mark.parametrize("shared", [None, ZERO, SCALE], ids=["alone", "with a zero error", "with a scale's error"])
def test_a_right_size_has_the_density_of_its_tolerance_and_all_errors(shared: SharedError | None) -> None:
    middle = float(np.nanmedian(COLUMNS.dimensions["body_length"].centre))
    reading = Reduced(index=0, feature="body_length", value=middle, u=1.0, total_u=1.0, shared=shared)
    expected = [math.log(right(dict(COLUMNS.dimensions), half, reading)) for half in EVERYONE]
    found = evidence_of(reading, COLUMNS).log_right(EVERYONE)
    near = np.array(expected) > -60  # beyond twelve standard deviations the fast density is 0
    assert np.count_nonzero(near) > 5
    assert found[near] == pytest.approx(np.array(expected)[near], abs=1e-6)


@pytest.mark.parametrize("of", [Of.OTHER, Of.PAIR])
def test_a_right_size_of_a_mate_counts_listed_mates_and_an_unlisted_mate_at_one_in_ten(of: Of) -> None:
    feature = "stack_height" if of is Of.PAIR else "body_length"
    matings = COLUMNS.matings
    middle = float(np.nanmedian(COLUMNS.unlisted_mate[feature].centre))
    reading = Reduced(index=0, feature=feature, of=of, value=middle, u=3.0, total_u=3.0)
    expected = []
    for half in EVERYONE:
        own = np.flatnonzero(matings.half == half).tolist()
        if of is Of.PAIR:
            listed = [right(dict(matings.dimensions), mating, reading) for mating in own]
        else:
            listed = [right(dict(COLUMNS.dimensions), int(matings.other[mating]), reading) for mating in own]
        unlisted = right(dict(COLUMNS.unlisted_mate), int(half), reading)
        mean = 0.9 * math.fsum(listed) / len(listed) + 0.1 * unlisted if listed else unlisted
        expected.append(math.log(max(mean, 1e-300)))
    near = np.array(expected) > -60
    assert np.count_nonzero(near) > 5
    assert evidence_of(reading, COLUMNS).log_right(EVERYONE)[near] == pytest.approx(np.array(expected)[near], abs=1e-6)


def test_without_listed_mates_a_right_size_is_that_of_an_unlisted_mate() -> None:
    nobody, listed = np.zeros(0, dtype=np.int64), COLUMNS.matings
    dimensions = {name: column.take(nobody) for name, column in listed.dimensions.items()}
    columns = replace(COLUMNS, matings=replace(listed, half=nobody, other=nobody, dimensions=dimensions))
    middle = float(np.nanmedian(columns.unlisted_mate["body_length"].centre))
    reading = Reduced(index=0, feature="body_length", of=Of.OTHER, value=middle, u=3.0, total_u=3.0)
    expected = np.array([math.log(right(dict(columns.unlisted_mate), half, reading)) for half in EVERYONE])
    near = expected > -60
    assert np.count_nonzero(near) > 5
    assert evidence_of(reading, columns).log_right(EVERYONE)[near] == pytest.approx(expected[near], abs=1e-6)


@pytest.mark.parametrize(("feature", "number", "wrong"), [("contact_count", 20, 0.028), ("contact_count", 400, 0.15)])
def test_a_count_is_right_where_it_equals_the_stated_count(feature: str, number: int, wrong: float) -> None:
    """0.02 and 0.0004 a contact, at most 0.15: our own choices, no source."""
    found = evidence_of(Reduced(index=0, feature=feature, count=number), COLUMNS).log_right(EVERYONE)
    expected = np.where(COLUMNS.counts[feature] == number, math.log(1 - wrong), -1e4)
    assert np.any(expected > -1)
    assert found == pytest.approx(expected)


@pytest.mark.parametrize(
    "reading",
    [
        Reduced(index=0, feature="contact_count", at_least=12, at_most=40),
        Reduced(index=0, feature="contact_count", of=Of.OTHER, count=20),
    ],
    ids=["a bound on a count", "a count of the mate"],
)
def test_an_observation_without_mistakes_keeps_its_likelihood(reading: Reduced) -> None:
    evidence = evidence_of(reading, COLUMNS)
    assert evidence.log_right(EVERYONE) == pytest.approx(np.log(evidence.of_halves()))


def test_a_bound_is_right_as_probably_as_sizes_keep_it_and_wrong_bounds_do_not_count() -> None:
    """Half of the grossly wrong bounds are true by chance: our own choice, no source. A right one is none of these."""
    evidence = evidence_of(Reduced(index=0, feature="body_width", at_most=4.0, u=0.02, total_u=0.02), COLUMNS)
    gross = evidence.feature.gross_share
    known = ~np.isnan(COLUMNS.dimensions["body_width"].centre)
    expected = np.where(known, evidence.of_halves() - 0.5 * gross, 0.0)
    assert 0 < np.count_nonzero(known) < len(known)
    assert np.exp(evidence.log_right(EVERYONE)) == pytest.approx(expected, abs=1e-12)
