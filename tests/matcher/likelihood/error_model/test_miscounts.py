"""The laws of counted numbers agree with the reference model, number by number."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from matcher.likelihood.error_model.miscounts import contact_law, count_probability, small_count_law
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Of, Reduced
from tests.matcher.invented import invented_columns
from tests.matcher.reference_model import counts

CASES = [
    *itertools.product((24, 400), (2,), (-1, 0, 1, 2, 4), (-1, 0, 1, 2, 4)),
    *((stated, rows, 2, 2) for stated in (1, 7, 60) for rows in (1, 2, 3, 10)),
]


def test_the_law_of_contacts_agrees_with_the_reference_model() -> None:
    stated, rows, hold_downs, power = (np.array(column) for column in zip(*CASES, strict=True))
    law = contact_law(stated, rows, hold_downs, power)
    for number in (*range(90), *range(380, 420), 2000):
        reference = [counts.contact_law(number, *case) for case in CASES]
        assert law.probability(number, number) == pytest.approx(reference, rel=1e-9), number
    several = [math.fsum(counts.contact_law(number, *case) for number in range(20, 31)) for case in CASES]
    assert law.probability(20, 30) == pytest.approx(several, rel=1e-9)


def test_the_law_of_small_counts_agrees_with_the_reference_model() -> None:
    stated = np.array([0, 1, 2, 4, 10])
    law = small_count_law(stated, 0.08)
    for number in range(14):
        reference = [counts.other_law(number, int(true), 0.08) for true in stated]
        assert law.probability(number, number) == pytest.approx(reference, rel=1e-9), number


def test_any_count_is_possible_where_the_number_is_unknown() -> None:
    law = small_count_law(np.array([-1]), 0.08)
    assert law.probability(3, 3)[0] == pytest.approx(counts.any_count(3), rel=1e-9)


def test_an_unlisted_mate_has_as_many_rows_as_the_half_itself() -> None:
    columns = invented_columns(6)
    seen = evidence_of(Reduced(index=0, feature="rows", of=Of.OTHER, count=2), columns)
    assert seen.of_unlisted_mates() == pytest.approx(count_probability("rows", 2, 2, columns), rel=1e-12)
