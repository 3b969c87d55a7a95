"""The edges between which each dimension of a half is measured, in the view that shows it. mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from api.drawing.contact_sites import bank_sizes, tail_places
from api.drawing.outline import HalfShape, contact_length, has_opening
from api.drawing.sizes import Length, Sizes
from matcher.features import FEATURES

Side = Literal["above", "below", "left", "right"]

ALONG = (
    "contact_width",
    "pitch",
    "bank_gap",
    "opening_length",
    "tail_pitch",
    "body_length",
    "peg_hole_span",
    "overall_length",
    "hold_down_land_span",
)
"""Taken along the rows: shown in the view from above."""

ACROSS = ("row_spacing", "opening_width", "land_row_spacing", "body_width", "tail_span", "land_span")
"""Taken across the rows."""

ABOVE = frozenset({"contact_width", "pitch", "bank_gap", "opening_length", "row_spacing", "opening_width"})
"""Dimensions of the mating face stand above the drawing, those of body and board below."""

EVEN_MM = 1e-6
"""Steps between tails that differ by less are one pitch, mm."""


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A dimension between two edges.

    ``low`` and ``high`` are the places of its edges along the measured direction; ``edge`` is from where to where each
    edge line runs across it. ``layer`` says to which half it belongs if several lie over each other ("": one is drawn).
    """

    feature: str
    low: float
    high: float
    edge: tuple[float, float]
    side: Side
    length: Length
    layer: str = ""

    @property
    def upright(self) -> bool:
        """Whether the measured direction is up and down the sheet."""
        return self.side in ("left", "right")


def applies(sizes: Sizes, feature: str) -> bool:
    """Whether this kind of half can have this dimension, as far as is known."""
    if FEATURES[feature].repeats:
        return (sizes.positions if FEATURES[feature].is_pitch else sizes.rows) > 1
    if feature == "bank_gap":
        return sizes.banks > 1
    if sizes.known(feature):
        return True
    if feature in ("opening_length", "opening_width"):
        return has_opening(sizes)
    if feature == "tail_span":
        return not sizes.gridded
    if feature == "hold_down_land_span":
        return sizes.form("hold_down_form", "end_tab") in ("end_tab", "wrap_round")
    if feature == "peg_hole_span":
        return not sizes.only("pegs", "none")
    return feature != "overall_length" or not sizes.only("hold_down_form", "none", "side_tab", "through_board")


def top_measures(shape: HalfShape, features: Iterable[str]) -> list[Measure]:
    """The dimensions seen from above."""
    made = []
    for feature in features:
        if feature in ALONG and applies(shape.sizes, feature):
            made += _along(shape, feature)
        elif feature in ACROSS and applies(shape.sizes, feature):
            made.append(_across_seen_from_above(shape.sizes, feature))
    return made


def _side_of(feature: str) -> Side:
    return "above" if feature in ABOVE else "below"


def _along(shape: HalfShape, feature: str) -> list[Measure]:
    sizes = shape.sizes
    between = {"pitch": _pitch_gap, "tail_pitch": _tail_gap, "bank_gap": _bank_gap, "contact_width": _one_contact}
    half = sizes.mm(feature) / 2
    ends = between[feature](shape) if feature in between else (-half, half)
    if ends is None:
        return []
    return [
        Measure(
            feature=feature,
            low=ends[0],
            high=ends[1],
            edge=_edge_along(sizes, feature),
            side=_side_of(feature),
            length=sizes.lengths[feature],
        )
    ]


def _first_row(shape: HalfShape) -> list[float]:
    """Contacts of the first full row's first group, as places along it."""
    longest = max(range(shape.sizes.rows), key=lambda row: shape.sizes.row_contacts[row]) + 1
    return [site.x for site in shape.sites if site.row == longest and site.bank == 0]


def _gap(places: Sequence[float]) -> tuple[float, float] | None:
    """The gap a third of the way along."""
    if len(places) < 2:
        return None
    first = (len(places) - 1) // 3
    return places[first], places[first + 1]


def _pitch_gap(shape: HalfShape) -> tuple[float, float] | None:
    return _gap(_first_row(shape))


def _tail_gap(shape: HalfShape) -> tuple[float, float] | None:
    places = tail_places(shape.sizes, shape.sites, 1.0)
    first_bank = places[: bank_sizes(shape.sizes.positions, shape.sizes.banks)[0]]
    steps = [after - before for before, after in pairwise(first_bank)]
    return _gap(first_bank) if steps and max(steps) - min(steps) < EVEN_MM else None


def _bank_gap(shape: HalfShape) -> tuple[float, float] | None:
    first = _first_row(shape)
    return first[-1], first[-1] + shape.sizes.mm("bank_gap")


def _one_contact(shape: HalfShape) -> tuple[float, float] | None:
    places = [site.x for site in shape.sites if not site.blocked]
    if not places:
        return None
    row = [site.x for site in shape.sites if not site.blocked and site.row == 1] or places
    place, half = row[2 * (len(row) - 1) // 3], shape.sizes.mm("contact_width") / 2
    return place - half, place + half


def _edge_along(sizes: Sizes, feature: str) -> tuple[float, float]:
    """How far the edges of a dimension along the rows run across them."""
    wall = sizes.mm("body_width") / 2
    row = sizes.mm("row_spacing") * (sizes.rows - 1) / 2
    if feature in ("pitch", "contact_width", "bank_gap"):
        reach = contact_length(sizes) / 2
        return -row - reach, -row + reach
    if feature == "tail_pitch":
        return 0.8 * wall, max(sizes.mm("tail_span") / 2, wall)
    share = {"body_length": 0.72, "overall_length": 0.5, "hold_down_land_span": 0.45, "peg_hole_span": 0.2}
    if feature == "opening_length":
        wall, share = sizes.mm("opening_width") / 2, {"opening_length": 1.0}
    return -share[feature] * wall, share[feature] * wall


def _across_seen_from_above(sizes: Sizes, feature: str) -> Measure:
    low, high = _between_rows(sizes, feature)
    reach = sizes.mm("opening_length" if feature == "opening_width" else "body_length") / 2
    inner = {"body_width": 0.8, "opening_width": 1.0}.get(feature, 0.86)
    return Measure(
        feature=feature,
        low=low,
        high=high,
        edge=(-inner * reach, inner * reach),
        side="left" if feature in ABOVE or feature == "land_row_spacing" else "right",
        length=sizes.lengths[feature],
    )


def _between_rows(sizes: Sizes, feature: str) -> tuple[float, float]:
    """The edges of a dimension across the rows. Of many rows a row spacing is taken between two in the middle."""
    value = sizes.mm(feature)
    if FEATURES[feature].repeats and sizes.rows % 2:
        return 0.0, value
    return -value / 2, value / 2


def section_measures(sizes: Sizes, features: Iterable[str]) -> list[Measure]:
    """The dimensions seen from the end: across the rows, and the height."""
    made = []
    for feature in features:
        if feature == "height":
            made.append(_height(sizes))
        elif feature in ACROSS and applies(sizes, feature):
            made.append(_across_seen_from_the_end(sizes, feature))
    return made


def _height(sizes: Sizes) -> Measure:
    wall = sizes.mm("body_width") / 2
    return Measure(
        feature="height",
        low=-sizes.mm("height"),
        high=0.0,
        edge=(-wall, -0.5 * wall),
        side="left",
        length=sizes.lengths["height"],
    )


def _across_seen_from_the_end(sizes: Sizes, feature: str) -> Measure:
    low, high = _between_rows(sizes, feature)
    height = sizes.mm("height")
    edges = {
        "body_width": (-0.9 * height, -0.1 * height),
        "opening_width": (-height, -0.3 * height),
        "row_spacing": (-height, -0.45 * height),
        "tail_span": (-0.16 * height, 0.0),
    }
    return Measure(
        feature=feature,
        low=low,
        high=high,
        edge=edges.get(feature, (-0.08 * height, 0.08 * height)),
        side=_side_of(feature),
        length=sizes.lengths[feature],
    )
