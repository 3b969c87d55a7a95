"""Checks a half's drawings against its sizes: every stated dimension is read back between its edges."""

from __future__ import annotations

import pytest

from api.drawing.measures import ACROSS, ALONG
from api.drawing.sizes import Sizes
from api.drawing.views import Look, side_view, top_view
from tests.api.drawing.reading_back import ReadDrawing

NOT_ALL_APPLY = {"row_spacing", "land_row_spacing", "bank_gap", "pitch", "tail_pitch"}
"""Dimensions that cannot be drawn with only one row, one group or one contact."""

MICROMETRE = 0.001
"""Largest difference between edges in a drawing and the dimension, mm: finer than any dimension is stated."""


def assert_edges_are_true(sizes: Sizes) -> int:
    """Check that a view shows every stated dimension with its edges that far apart; return the number of them."""
    top = ReadDrawing(top_view(sizes).svg).between_edges()
    side = ReadDrawing(side_view(sizes, Look(features=(*ACROSS, "height"))).svg).between_edges()
    checked = 0
    for feature in (*ALONG, *ACROSS, "height"):
        if not sizes.known(feature):
            continue
        found = [view[feature] for view in (top, side) if feature in view]
        assert found or feature in NOT_ALL_APPLY, f"{sizes.name}: {feature} is not drawn"
        for distance in found:
            assert distance == pytest.approx(sizes.mm(feature), abs=MICROMETRE), f"{sizes.name}: {feature}"
            checked += 1
    return checked
