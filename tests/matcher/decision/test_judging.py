"""A judgement gives part of an identification's result at less cost; the two must agree."""

from __future__ import annotations

import pytest

from matcher.errors import UnknownHalfError
from matcher.identify import explain, identify, judge
from matcher.observations import Reduced
from tests.matcher.invented import invented_absent, invented_columns

COLUMNS = invented_columns(12)


def readings(half: int, off_mm: float) -> list[Reduced]:
    """The count and two lengths of a half, the lengths off by the same amount."""
    count = Reduced(index=0, feature="contact_count", count=int(COLUMNS.counts["contact_count"][half]))
    lengths = [
        Reduced(
            index=place, feature=name, value=float(COLUMNS.dimensions[name].stated[half]) + off_mm, u=0.02, total_u=0.02
        )
        for place, name in enumerate(("body_length", "body_width"), start=1)
    ]
    return [count, *lengths]


@pytest.mark.parametrize("half", range(0, len(COLUMNS.keys), 29))
@pytest.mark.parametrize("off_mm", [0.0, 0.05, 3.0])
def test_a_judgement_agrees_with_identification_and_explanation(half: int, off_mm: float) -> None:
    observed, keys = readings(half, off_mm), [COLUMNS.keys[half], COLUMNS.keys[0]]
    whole = identify(COLUMNS, invented_absent(12), observed, prior_absent=0.2)
    judged = judge(COLUMNS, invented_absent(12), observed, keys, prior_absent=0.2)
    assert (judged.verdict, judged.probability_absent) == (whole.verdict, whole.probability_absent)
    assert judged.first == whole.candidates[0]
    explained = [explain(COLUMNS, invented_absent(12), observed, key, prior_absent=0.2).candidate for key in keys]
    assert list(judged.named) == explained


def test_an_unknown_half_is_refused() -> None:
    with pytest.raises(UnknownHalfError):
        judge(COLUMNS, invented_absent(12), readings(0, 0.0), ["no:such"])
