"""Explanations of a reading that no present catalogue reaches, and their wording."""

from __future__ import annotations

import math

import numpy as np
import pytest

from matcher.columns.columns import DimensionColumn
from matcher.likelihood.error_model.gross_errors import Rectangle, mixture
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns
from tests.matcher.reference_model.intervals import (
    Interval,
    log_uniform_density,
    meaningless_density,
    rectangle_density,
)


def contact_width() -> DimensionColumn:
    """One half's contacts, 0.5 mm wide."""
    half, nothing = np.array([0.5]), np.zeros(1)
    return DimensionColumn(stated=half, centre=half, half_width=nothing, broad=nothing, extra_u=nothing)


def test_a_size_of_the_pair_may_be_measured_instead_of_any_size_of_the_half() -> None:
    """A contact's width has no slips of its own; of its gross errors (0.05) 0.4 are slips, 0.2 misread, 0.1 in wrong
    units, and 0.3 may be anything. Of the misread ones 0.4 are off by up to 1.1 mm, 0.15 each by ±0.5 and ±1 mm."""
    own = contact_width()
    share, centre, half_width = np.array([0.25]), np.array([2.0]), np.array([0.1])
    pair = Rectangle(words="of the pair", share=share, centre=centre, half_width=half_width, entry_u=np.zeros(1))
    found = mixture(Reduced(index=0, feature="contact_width", value=2.05, u=0.05, total_u=0.05), own, {}, [pair])
    slip = 0.4 * 0.25 * rectangle_density(2.05, 2.0, 0.1, 0.05)
    size, t, w = float(own.centre[0]), float(own.half_width[0]), math.hypot(0.05, float(own.extra_u[0]))
    steps = [0.15 * rectangle_density(2.05, size + step, t, w) for step in (-1.0, -0.5, 0.5, 1.0)]
    misread = 0.2 * (0.4 * rectangle_density(2.05, size, t + 1.1, w) + math.fsum(steps))
    where = Interval(centre=size, half=t, extra=0.0)
    anything = (0.3 + 0.4 * 0.75) * meaningless_density("contact_width", 2.05, where)
    assert found.words[:3] == ("", "of the pair", "misread by up to a millimetre")
    assert found.words[3:7] == (
        "read a whole millimetre too long",
        "read a whole millimetre too short",
        "read half a millimetre too long",
        "read half a millimetre too short",
    )
    assert sum(found.right_and_wrong()) == pytest.approx([0.05 * (slip + misread + anything)], rel=1e-9)


@pytest.mark.parametrize("by", [2.71, 1 / 2.71, 2.72, 1 / 2.72])
def test_half_of_what_may_be_anything_is_within_a_factor_e_of_the_size(by: float) -> None:
    own = contact_width()
    size = float(own.centre[0])
    reading = Reduced(index=0, feature="contact_width", value=by * size, u=0.0, total_u=0.0)
    expected = meaningless_density("contact_width", by * size, Interval(centre=size, half=0.1, extra=0.0))
    assert mixture(reading, own, {}).floor == pytest.approx([0.05 * (0.3 + 0.4) * expected], rel=1e-12)


def test_without_a_scale_wrong_units_are_sizes_that_may_be_anything() -> None:
    """A contact's width has no slips: all gross errors, 0.05, may be anything."""
    own = contact_width()
    shared = SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True)
    reading = Reduced(index=0, feature="contact_width", value=40.0, u=1.0, total_u=1.0, shared=shared)
    found = mixture(reading, own, {})
    assert found.words == ("",)
    assert found.floor == pytest.approx([0.05 * log_uniform_density("contact_width", 40.0)], rel=1e-12)


def test_a_slip_is_described_by_the_names_of_both_features() -> None:
    columns = invented_columns(1)
    lands = Reduced(
        index=0, feature="body_width", value=float(columns.dimensions["land_span"].stated[0]), u=0.02, total_u=0.02
    )
    assert evidence_of(lands, columns).against([0])[0].slip == "span over the lands taken for body width"
