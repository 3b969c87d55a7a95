"""How observations split into independent parts: each reading's share, the rest without it, and what is exact."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from matcher.columns.columns import Columns
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.likelihood import Part, likelihood
from matcher.likelihood.shared_errors import SharedGroup, exact
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns
from tests.matcher.random_catalogues import Bench, random_columns
from tests.matcher.reference_model.mates import mate_likelihood
from tests.matcher.reference_model.whole import log_likelihood

COLUMNS = random_columns(np.random.default_rng(21), 14)
ZERO = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.05)
PICTURE = SharedError(group="picture", kind=SharedKind.SCALE, sd=0.05)


def bench() -> Bench:
    """Observations of one half, always the same."""
    return Bench(np.random.default_rng(22), COLUMNS, 3)


JOINT: dict[str, Callable[[Bench], list[Reduced]]] = {
    "one reading": lambda bench: [bench.value("body_length")],
    "two readings with a zero error": lambda bench: bench.group(SharedKind.ZERO, size=2),
    "three readings with a zero error": lambda bench: bench.group(SharedKind.ZERO, size=3),
    "two readings of a picture": lambda bench: bench.group(SharedKind.SCALE, size=2),
    "two readings of an unscaled picture": lambda bench: bench.group(SharedKind.SCALE, unscaled=True, size=2),
    "three readings of an unscaled picture": lambda bench: bench.group(SharedKind.SCALE, unscaled=True, size=3),
    "power contacts and hold-downs": lambda bench: [bench.count("power_contact_count"), bench.count("hold_down_count")],
    "the mate": lambda bench: [bench.of_mate() for _ in range(3)],
}


def together(part: Part, chosen: slice) -> np.ndarray:
    """Log-likelihood of some of a part's readings; a shared error is not folded in, just as beside other readings."""
    evidence = part.evidence[chosen]
    dimensions = tuple(each for each in evidence if isinstance(each, DimensionEvidence) and each.reading.shared)
    if dimensions:
        return exact(SharedGroup(evidence=dimensions), np.arange(len(COLUMNS)))
    return likelihood(COLUMNS, [each.reading for each in evidence]).with_causes().total


@pytest.mark.parametrize("case", JOINT)
def test_a_share_is_what_the_reading_adds_to_those_before_it_averaged_over_both_orders(case: str) -> None:
    (part,) = likelihood(COLUMNS, JOINT[case](bench())).parts
    expected = np.array(
        [
            together(part, slice(0, i + 1))
            - together(part, slice(0, i))
            + together(part, slice(i, None))
            - together(part, slice(i + 1, None))
            for i in range(len(part.readings))
        ]
    )
    assert part.shares(np.arange(len(COLUMNS))) == pytest.approx(expected / 2, abs=1e-8)
    assert part.shares(np.array([6, 5])) == pytest.approx(expected[:, [6, 5]] / 2, abs=1e-8)


@pytest.mark.parametrize("case", JOINT)
def test_leaving_out_a_reading_gives_the_likelihood_of_the_others(case: str) -> None:
    extra = [replace(bench().value("height"), index=100), replace(bench().category("mounting"), index=101)]
    whole = likelihood(COLUMNS, [*JOINT[case](bench()), *extra])
    assert len(whole.parts) == 3
    for part in whole.parts:
        for place, dropped in enumerate(part.readings):
            rest = whole.without(part, place)
            others = [each.reading for each in whole.evidence if each.reading is not dropped]
            assert sorted(each.reading.index for each in rest.evidence) == sorted(other.index for other in others)
            assert rest.total == pytest.approx(likelihood(COLUMNS, others).with_causes().total, abs=1e-8)
            assert sum(each.log_likelihood for each in rest.parts) == pytest.approx(rest.total, abs=1e-8)


def test_a_bound_shares_no_error_with_a_value() -> None:
    value = Reduced(index=0, feature="body_length", value=9.0, u=0.02, total_u=math.hypot(0.02, 0.05), shared=ZERO)
    bound = Reduced(index=1, feature="body_width", at_most=4.0, u=0.02, total_u=math.hypot(0.02, 0.05), shared=ZERO)
    weighed = likelihood(COLUMNS, [value, bound])
    assert [len(part.readings) for part in weighed.parts] == [1, 1]
    reference = [log_likelihood(COLUMNS, half, [value, bound]) for half in range(len(COLUMNS))]
    assert weighed.total == pytest.approx(np.array(reference), abs=1e-9)


SIZES = {"body_length": 9.0, "body_width": 4.0, "land_span": 5.0}
VAGUE = [
    *(
        Reduced(index=i, feature=name, value=size, u=1.5, total_u=1.5, shared=ZERO)
        for i, (name, size) in enumerate(SIZES.items())
    ),
    *(
        Reduced(index=3 + i, feature=name, value=1.01 * size, u=1.5, total_u=1.5, shared=PICTURE)
        for i, (name, size) in enumerate(SIZES.items())
    ),
]
"""By a caliper and from a picture, so coarse that many halves remain possible."""


def vague_groups(columns: Columns) -> list[SharedGroup]:
    """The group of the caliper and the group of the picture."""
    evidence = tuple(DimensionEvidence(reading=reading, columns=columns) for reading in VAGUE)
    return [SharedGroup(evidence=evidence[:3]), SharedGroup(evidence=evidence[3:])]


def closed_forms(columns: Columns) -> np.ndarray:
    """Their log-likelihood in closed form alone."""
    return np.asarray(sum(group.normal.closed_form() for group in vague_groups(columns)))


@pytest.mark.parametrize("weighed_beside", [False, True])
def test_all_but_a_millionth_of_the_probability_is_integrated_exactly(weighed_beside: bool) -> None:
    """A millionth by the closed forms, which are right to a few nats; no more halves than needed are integrated."""
    columns = invented_columns(12)
    draw = np.random.default_rng(23)
    columns = replace(columns, prior_weight=np.exp(draw.uniform(-12, 0, len(columns))))
    beside = draw.uniform(-12, 0, len(columns)) if weighed_beside else np.zeros(len(columns))
    found = likelihood(columns, VAGUE, beside=beside).total
    groups, everyone = vague_groups(columns), np.arange(len(columns))
    precise, closed = sum(exact(group, everyone) for group in groups), closed_forms(columns)
    posterior = closed + beside + np.log(columns.prior_weight)
    probability = np.exp(posterior - logsumexp(posterior))
    in_closed_form = found == closed
    assert 32 < np.count_nonzero(~in_closed_form) < len(columns)
    assert found[~in_closed_form] == pytest.approx(precise[~in_closed_form], abs=1e-9)
    assert probability[in_closed_form].sum() <= 1e-6
    assert probability[in_closed_form].sum() + probability[~in_closed_form].min() > 1e-6


def falling_off(columns: Columns) -> np.ndarray:
    """Log-probabilities of the halves: in a random order, each is less probable than the one before by a tenth."""
    return -0.1 * np.random.default_rng(24).permutation(len(columns))


def integrated(found: np.ndarray, closed: np.ndarray) -> list[int]:
    """The halves whose log-likelihood is not that of the closed form."""
    return np.flatnonzero(np.abs(found - closed) > 1e-9).tolist()


def test_halves_are_integrated_exactly_until_less_than_the_limit_remains() -> None:
    """e^(−0.1 k) remains from the k-th on: more than 1e-6 to k = 138; without a reading more than 1e-4 to k = 92."""
    columns = invented_columns(12)
    columns = replace(columns, prior_weight=np.exp(np.random.default_rng(25).uniform(-3, 0, len(columns))))
    log_probability, caliper = falling_off(columns), vague_groups(columns)[0]
    for dropped, group, last in ((False, caliper, 138), (True, caliper.of_some([1, 2]), 92)):
        closed = group.normal.closed_form()
        (part,) = likelihood(columns, VAGUE[:3], beside=log_probability - closed - columns.log_prior).parts
        found = part.drop(0) if dropped else part
        assert found is not None
        assert integrated(found.log_likelihood, closed) == np.flatnonzero(log_probability > -0.1 * last - 0.05).tolist()


def test_the_32_likeliest_halves_are_always_integrated_exactly() -> None:
    columns = invented_columns(12)
    beside = np.arange(len(columns)) * -20.0
    found = likelihood(columns, VAGUE, beside=beside).total
    closed = closed_forms(columns)
    assert np.flatnonzero(found != closed).tolist() == np.sort(np.argsort(-(closed + beside))[:32]).tolist()


def with_matings(columns: Columns, chosen: np.ndarray) -> Columns:
    """The catalogue with only some of its matings."""
    listed = columns.matings
    dimensions = {name: column.take(chosen) for name, column in listed.dimensions.items()}
    matings = replace(listed, half=listed.half[chosen], other=listed.other[chosen], dimensions=dimensions)
    return replace(columns, matings=matings)


def test_observations_of_the_mate_weigh_each_listed_mate_and_an_unlisted_one() -> None:
    """By the reference model: the likelihood with one mating alone, and with none, shows what each mate adds."""
    seen = [
        Reduced(index=0, feature="body_width", of=Of.OTHER, value=4.0, u=1.0, total_u=1.0),
        Reduced(index=1, feature="hold_down_count", of=Of.OTHER, count=2),
    ]
    group = likelihood(COLUMNS, seen).mates
    assert group is not None
    reached = 0
    for half in range(len(COLUMNS)):
        matings, probabilities = group.mate_probabilities(half)
        assert matings.tolist() == np.flatnonzero(COLUMNS.matings.half == half).tolist()
        unlisted = mate_likelihood(with_matings(COLUMNS, matings[:0]), half, seen)
        for mating, probability in zip(matings, probabilities, strict=True):
            alone = mate_likelihood(with_matings(COLUMNS, np.array([mating])), half, seen) - 0.1 * unlisted
            expected = alone / len(matings) / mate_likelihood(COLUMNS, half, seen)
            assert probability == pytest.approx(expected, rel=1e-8)
        reached += len(matings) > 1
    assert reached >= 2
