"""The drawing on the bench: every dimension that such a half can have has its line, known or not, and a place for its
field or letter."""

from __future__ import annotations

import string
from dataclasses import dataclass, replace

from api.drawing.dimension_lines import Placed, Room
from api.drawing.mating import MatedShape
from api.drawing.measures import ACROSS, ALONG, Side
from api.drawing.sizes import Sizes
from api.drawing.views import Look, View, mated_view, side_view, top_view
from matcher.features import DIMENSIONS, PAIR_DIMENSIONS

LANE_PX = 28.0
"""Distance of two dimension lines on the bench, px: a field of 26 px, or a letter that a finger can touch."""

LETTER_FIELD_PX = (24.0, 24.0)
"""Room around a letter where fields stand below the drawing, px."""

BENCH_FEATURES = (*ALONG, *ACROSS, "height", *PAIR_DIMENSIONS)
"""Every dimension of a half and of the pair, in the order of their letters."""

LETTERS = dict(zip(BENCH_FEATURES, string.ascii_uppercase, strict=False))
"""One letter per dimension, the same on every drawing."""


@dataclass(frozen=True, kw_only=True)
class Anchor:
    """Where a page puts the field (or finds the letter) of a dimension.

    ``x``, ``y`` is the middle of its dimension line in view units (mm of the view's viewBox); ``width`` and ``height``
    the room kept free around it, in the same units. ``spans``: gaps that a pitch is drawn over.
    """

    feature: str
    letter: str
    view: str
    x: float
    y: float
    width: float
    height: float
    side: Side
    spans: int = 1


@dataclass(frozen=True, kw_only=True)
class BenchDrawing:
    """Three views and their anchors; ``not_drawn`` are dimensions that such a half cannot have, as far as is known."""

    top: View
    side: View
    mated: View
    anchors: tuple[Anchor, ...]
    not_drawn: tuple[str, ...]


def bench_drawing(
    pair: MatedShape,
    this: Sizes,
    *,
    width_px: float = 340.0,
    field_px: tuple[float, float] = LETTER_FIELD_PX,
    prefix: str = "",
) -> BenchDrawing:
    """The bench's views of ``this`` half, mated as in ``pair``, each ``width_px`` wide on screen.

    ``field_px`` is the size of the field that the page puts at each line; the least is room for a letter.
    """
    look = Look(
        width_px=width_px,
        with_lands=True,
        letters=LETTERS,
        whole_row=True,
        possible=True,
        lane_px=LANE_PX,
        shared_lanes=False,
        field_px=field_px,
        tallest_px=width_px / 2,
        prefix=prefix,
    )
    views = {
        "top": top_view(this, replace(look, features=ALONG)),
        "side": side_view(this, replace(look, features=(*ACROSS, "height"))),
        "mated": mated_view(pair, replace(look, features=PAIR_DIMENSIONS)),
    }
    anchors = [_anchor(name, placed, view, field_px) for name, view in views.items() for placed in view.dimensions]
    drawn = {anchor.feature for anchor in anchors}
    return BenchDrawing(
        top=views["top"],
        side=views["side"],
        mated=views["mated"],
        anchors=tuple(sorted(anchors, key=lambda anchor: anchor.letter)),
        not_drawn=tuple(feature for feature in (*DIMENSIONS, *PAIR_DIMENSIONS) if feature not in drawn),
    )


def _anchor(name: str, placed: Placed, view: View, field_px: tuple[float, float]) -> Anchor:
    room = Room(px_per_mm=view.px_per_mm)
    x, y = placed.middle
    return Anchor(
        feature=placed.measure.feature,
        letter=LETTERS[placed.measure.feature],
        view=name,
        x=x,
        y=y,
        width=room.mm(field_px[0]),
        height=room.mm(field_px[1]),
        side=placed.measure.side,
        spans=placed.measure.spans,
    )
