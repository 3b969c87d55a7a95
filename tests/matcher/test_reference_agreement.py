"""The likelihood and the reference model, written independently from the same text, agree on random catalogues."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from matcher.features import CATEGORIES, COUNTS, DIMENSIONS
from matcher.likelihood.likelihood import likelihood
from matcher.observations import Of, Reduced, SharedError, SharedKind
from tests.matcher.random_catalogues import Bench, random_columns
from tests.matcher.reference_model.whole import log_likelihood, shared_groups

TOLERANCE = 1e-9
COMPARED_WITHIN = 30.0
"""Nats below the best within which a half must agree where readings share an error."""

FAR_BELOW = 25.0
"""Nats below the best half that the fast code must keep all other halves."""

BY_HAND = 0.02
"""Relative standard uncertainty of each length in a picture taken by hand."""

Maker = Callable[[Bench], list[Reduced]]


def _everything(bench: Bench) -> list[Reduced]:
    found = [bench.value(bench.any_dimension()) for _ in range(4)]
    found += [bench.bound(bench.any_dimension()) for _ in range(2)]
    found += [bench.count(feature) for feature in COUNTS if bench.draw.random() < 0.5]
    found += [bench.category(feature) for feature in CATEGORIES if bench.draw.random() < 0.3]
    found += [bench.text(), bench.fit()]
    found += [bench.of_mate() for _ in range(int(bench.draw.integers(0, 5)))]
    return found


def _everything_shared(bench: Bench) -> list[Reduced]:
    scaled = bench.group(SharedKind.SCALE)
    zero = bench.group(SharedKind.ZERO)
    return _everything(bench) + scaled + zero


def _by_hand(reading: Reduced) -> Reduced:
    u = math.hypot(reading.u, BY_HAND * reading.number)
    return replace(reading, u=u, total_u=u)


def _over_a_miscounted_row(bench: Bench) -> list[Reduced]:
    """A pitch over the gaps of a row whose contacts were counted one too many."""
    rows = max(int(bench.columns.counts["rows"][bench.half]), 1)
    counted = max(-(-int(bench.columns.counts["contact_count"][bench.half]) // rows), 3) + 1
    pitch = replace(bench.value("pitch"), spans=counted - 1, counted=(counted, rows))
    return [pitch, Reduced(index=pitch.index + 1, feature="rows", count=rows)]


LONE: dict[str, Maker] = {
    "a pitch over a miscounted row": _over_a_miscounted_row,
    "every dimension": lambda bench: [bench.value(feature) for feature in DIMENSIONS],
    "bounds on every dimension": lambda bench: [bench.bound(feature) for feature in DIMENSIONS],
    "contact count": lambda bench: [bench.count("contact_count")],
    "rows": lambda bench: [bench.count("rows")],
    "power contacts and hold-downs": lambda bench: [bench.count("power_contact_count"), bench.count("hold_down_count")],
    "one of the fittings": lambda bench: [bench.count("hold_down_count"), bench.count_bound("power_contact_count")],
    "bounds on every count": lambda bench: [bench.count_bound(feature) for feature in COUNTS],
    "every category": lambda bench: [bench.category(feature) for feature in CATEGORIES],
    "text": lambda bench: [bench.text(), bench.text()],
    "trial fits": lambda bench: [bench.fit(), bench.fit()],
    "the mate": lambda bench: [bench.of_mate() for _ in range(4)],
    "a mate in a picture without a scale": lambda bench: [
        bench.value(feature, of, SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True))
        for feature, of in (("body_width", Of.OTHER), ("stack_height", Of.PAIR))
    ],
    "one reading of a picture": lambda bench: bench.group(SharedKind.SCALE, size=1),
    "one reading of an unscaled picture": lambda bench: bench.group(SharedKind.SCALE, unscaled=True, size=1),
    "one reading with a zero error": lambda bench: bench.group(SharedKind.ZERO, size=1),
    "everything at once": _everything,
}

SHARED: dict[str, Maker] = {
    "two readings of a picture": lambda bench: bench.group(SharedKind.SCALE, size=2),
    "a picture": lambda bench: bench.group(SharedKind.SCALE),
    "two readings of an unscaled picture": lambda bench: bench.group(SharedKind.SCALE, unscaled=True, size=2),
    "an unscaled picture": lambda bench: bench.group(SharedKind.SCALE, unscaled=True),
    "a picture taken by hand": lambda bench: [
        _by_hand(reading) for reading in bench.group(SharedKind.SCALE, unscaled=True)
    ],
    "two readings with a zero error": lambda bench: bench.group(SharedKind.ZERO, size=2),
    "one caliper's zero error": lambda bench: bench.group(SharedKind.ZERO),
    "everything at once": _everything_shared,
}


def _bench(subject: str, seed: int, largest: int) -> Bench:
    draw = np.random.default_rng([zlib.crc32(subject.encode()), seed])
    columns = random_columns(draw, int(draw.integers(5, largest + 1)))
    return Bench(draw, columns, int(draw.integers(len(columns))))


def _agree(fast: float, reference: float) -> bool:
    return math.isclose(fast, reference, rel_tol=TOLERANCE, abs_tol=TOLERANCE)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("subject", LONE)
def test_every_half_has_the_same_log_likelihood(subject: str, seed: int) -> None:
    bench = _bench(subject, seed, 60)
    observations = LONE[subject](bench)
    fast = likelihood(bench.columns, observations).with_causes().total
    reference = [log_likelihood(bench.columns, half, observations) for half in range(len(bench.columns))]
    off = [
        (half, float(fast[half]), value) for half, value in enumerate(reference) if not _agree(float(fast[half]), value)
    ]
    assert fast.shape == (len(bench.columns),)
    assert not off


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("subject", SHARED)
def test_leading_halves_agree_where_readings_share_an_error(subject: str, seed: int) -> None:
    bench = _bench(subject, seed, 12)
    observations = SHARED[subject](bench)
    fast = [float(value) for value in likelihood(bench.columns, observations).with_causes().total]
    reference = [log_likelihood(bench.columns, half, observations) for half in range(len(bench.columns))]
    best = max(reference)
    near = [half for half, value in enumerate(reference) if value >= best - COMPARED_WITHIN]
    off = [(half, fast[half], reference[half]) for half in near if not _agree(fast[half], reference[half])]
    raised = [half for half in range(len(reference)) if half not in near and fast[half] > best - FAR_BELOW]
    assert not off
    assert not raised


def test_the_random_observations_reach_groups_of_two_and_more() -> None:
    """Without this, the test above could pass with a generator that never shares an error."""
    sizes = {len(group) for seed in range(8) for group in shared_groups(_everything_shared(_bench("sizes", seed, 12)))}
    assert {2, 3, 4, 5} & sizes
    assert 1 not in sizes
