"""Drawings of real halves are as accurate as those of invented halves."""

from __future__ import annotations

import pytest

from api.drawing.size_sources import sizes_of
from api.drawing.views import top_view
from catalog.model.entries import Half
from tests.api.drawing.drawn_edges import assert_edges_are_true
from tests.api.drawing.reading_back import ReadDrawing

EVERY = 13
"""Step between the drawn halves: a prime, so that it does not follow the pattern of a series."""


@pytest.mark.real_geometry
def test_dimensions_and_contact_counts_of_real_halves_can_be_read_back(real_halves: tuple[Half, ...]) -> None:
    drawn = real_halves[::EVERY]
    checked = 0
    for half in drawn:
        sizes = sizes_of(half)
        checked += assert_edges_are_true(sizes)
        contacts = ReadDrawing(top_view(sizes).svg).pieces("metal")
        assert len(contacts) == half.contact_count, half.key
    assert checked > 3 * len(drawn)
