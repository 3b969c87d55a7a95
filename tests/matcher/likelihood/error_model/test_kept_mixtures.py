"""Explanations of readings are kept for a catalogue: what is kept equals what would be made, and does not grow."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest

from matcher.columns.columns import Columns
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.error_model import kept_mixtures
from matcher.likelihood.error_model.gross_errors import Mixture
from matcher.observations import Reduced, SharedError, SharedKind
from tests.matcher.invented import invented_columns

PITCH = Reduced(index=0, feature="pitch", value=0.5, u=0.01, total_u=0.01, spans=11)
UNSCALED = SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True)
ALTERED = {
    "another feature": {"feature": "body_width"},
    "other gaps": {"spans": 12},
    "no scale": {"shared": UNSCALED},
    "something subtracted": {"corrected": 0.05},
    "counted over the row": {"counted": (12, 2)},
}
"""Readings that are explained otherwise than `PITCH`."""


@pytest.fixture
def columns() -> Columns:
    """A catalogue for which nothing is kept yet."""
    return invented_columns(6)


def explained(columns: Columns, reading: Reduced) -> Mixture:
    return DimensionEvidence(reading=reading, columns=columns).mixture


def test_another_number_of_the_same_size_has_the_same_explanations(columns: Columns) -> None:
    first, second = explained(columns, PITCH), explained(columns, replace(PITCH, index=4, value=0.8, u=0.02))
    assert second.weight is first.weight
    assert second.reading.number == 0.8


@pytest.mark.parametrize("altered", ALTERED)
def test_a_reading_that_is_explained_otherwise_does_not_get_what_is_kept(columns: Columns, altered: str) -> None:
    reading = replace(PITCH, **ALTERED[altered])  # type: ignore[arg-type]
    usual, found, anew = explained(columns, PITCH), explained(columns, reading), explained(replace(columns), reading)
    assert found.weight is not usual.weight
    assert found.words == anew.words
    assert np.array_equal(found.tables, anew.tables)
    assert found.tables.shape != usual.tables.shape or not np.array_equal(found.tables, usual.tables)


def test_another_catalogue_has_explanations_of_its_own(columns: Columns) -> None:
    assert explained(invented_columns(7), PITCH).weight.shape != explained(columns, PITCH).weight.shape


def test_beyond_the_limit_the_first_that_was_made_goes_first(columns: Columns, monkeypatch: pytest.MonkeyPatch) -> None:
    readings = [replace(PITCH, spans=spans) for spans in (11, 12, 13)]
    monkeypatch.setattr(kept_mixtures, "MOST_KEPT", 2 * explained(replace(columns), PITCH).nbytes)
    first = [explained(columns, reading).weight for reading in readings]
    again = [explained(columns, reading).weight for reading in reversed(readings)][::-1]
    assert [old is new for old, new in zip(first, again, strict=True)] == [False, True, True]


def test_what_is_larger_than_the_limit_is_not_kept(columns: Columns, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_mixtures, "MOST_KEPT", 100)
    assert explained(columns, PITCH).weight is not explained(columns, PITCH).weight


def test_nothing_is_kept_for_a_catalogue_that_is_gone(columns: Columns) -> None:
    own = replace(columns)
    weight = weakref.ref(explained(own, PITCH).weight)
    assert weight() is not None
    del own
    gc.collect()
    assert weight() is None
