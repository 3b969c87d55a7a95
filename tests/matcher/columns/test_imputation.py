"""What a dimension is taken to be where the entry does not state it, and where it cannot exist."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow
from matcher.features import FEATURES
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.kinds import evidence_of
from matcher.observations import UNSCALED_SD, Reduced, SharedError, SharedKind

HOLD_DOWNS = FEATURES["overall_length"].beyond[1]
FILLETS = FEATURES["overall_length"].beyond[0]


def half(key: str, counts: dict[str, int], kind: str = "receptacle", **sizes: float) -> HalfRow:
    """A half of a series of its own, 20 contacts in two rows."""
    return HalfRow(
        key=key,
        series=key,
        dimensions={
            "pitch": Dim(value=0.5),
            "body_length": Dim(value=7.0),
            **{name: Dim(value=size) for name, size in sizes.items()},
        },
        counts={"contact_count": 20, "rows": 2, **counts},
        categories={"half_kind": frozenset({kind})},
    )


def halves() -> Columns:
    """With hold-downs of unknown size, with their lands stated, without any, and some that state everything."""
    rows = [
        half("unknown", {"hold_down_count": 2}),
        half("with lands", {"hold_down_count": 2}, hold_down_land_span=9.0),
        half("without", {"hold_down_count": 0}),
        half("plug", {"hold_down_count": 2}, kind="plug"),
    ]
    sizes = {"overall_length": 8.0, "opening_length": 6.0, "tail_span": 5.0}
    return build_columns([*rows, *(half(f"whole {n}", {"hold_down_count": 2}, **sizes) for n in range(4))], [])


def test_an_overall_length_that_is_not_stated_lies_anywhere_over_the_moulding_or_inside_the_lands() -> None:
    column = halves().dimensions["overall_length"]
    low, high = column.centre - column.half_width, column.centre + column.half_width
    assert (low[0], high[0]) == pytest.approx((7.0 + HOLD_DOWNS.low, 7.0 + HOLD_DOWNS.high))
    assert (low[1], high[1]) == pytest.approx((9.0 + FILLETS.low, 9.0 + FILLETS.high))
    assert column.centre[4] == pytest.approx(8.0), "stated ones stay"


def test_a_half_without_hold_downs_has_no_length_over_them_and_a_plug_no_opening() -> None:
    dimensions = halves().dimensions
    assert np.isnan(dimensions["overall_length"].centre[2])
    assert np.isnan(dimensions["opening_length"].centre[3])
    assert not np.isnan(dimensions["opening_length"].centre[0]), "predicted from the others"


def slip_share(columns: Columns, length: float) -> list[float]:
    """Probability under each half that a body length of so many mm is a slip."""
    reading = Reduced(index=0, feature="body_length", value=length, u=0.02, total_u=0.02)
    evidence = evidence_of(reading, columns)
    mix = evidence.mixture  # type: ignore[attr-defined]
    row = mix.words.index("overall length taken for body length")
    return (mix.densities()[row] / evidence.of_halves()).tolist()


def test_only_a_body_that_looks_longer_may_reach_over_the_hold_downs() -> None:
    """7.9 mm is 0.9 mm more than the moulding of half 0; 6.5 mm is less; half 2 has nothing to reach over."""
    columns = halves()
    longer, shorter = slip_share(columns, 7.9), slip_share(columns, 6.5)
    assert longer[0] > 0.4
    assert longer[2] == 0.0
    assert max(shorter) < 1e-6


def test_where_the_own_dimension_cannot_exist_another_may_have_been_measured() -> None:
    """An opening of 7 mm "on the plug" is the body's length, or anything."""
    columns = halves()
    found = [
        evidence_of(Reduced(index=0, feature="opening_length", value=x, u=0.02, total_u=0.02), columns).of_halves()[3]
        for x in (7.0, 6.0)
    ]
    row = FEATURES["opening_length"]
    assert found[0] > 2 * found[1], "the body's length is likelier than anything else"
    plausible, wide = (1.0 / (6.0 * np.log(by * row.high / row.low)) for by in (1.0, 1e6))
    anything = 0.9 * plausible + 0.1 * wide
    assert found[1] == pytest.approx((1.0 - 0.4 * row.gross_share) * anything), "four gross errors in ten have a name"


def test_a_stated_size_stays_even_where_the_half_should_not_have_it() -> None:
    row = half("odd", {"hold_down_count": 0}, overall_length=7.5)
    assert build_columns([replace(row)], []).dimensions["overall_length"].centre[0] == pytest.approx(7.5)


def test_in_a_picture_without_a_scale_only_stated_sizes_can_have_been_measured_instead() -> None:
    """A size that is not stated would fit nearly any ratio."""
    columns = halves()
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    reading = Reduced(index=0, feature="body_length", value=632.0, u=1.6, total_u=1.6, shared=picture)
    mix = DimensionEvidence(reading=reading, columns=columns).mixture
    weight = mix.weight[mix.words.index("overall length taken for body length")]
    assert (weight > 0).tolist() == [False, False, False, False, True, True, True, True]
