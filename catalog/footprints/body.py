"""The moulded body as drawn on the fabrication layer, checked against the lands.

The outline is the largest connected drawing of the layer: pins, latches and pin-1 marks are mostly drawn separately. A
connected drawing may include hold-down metal; the lands show where that is possible, and the length is then doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import Box, Stroke
from catalog.footprints.lands import Lands
from matcher.features import FEATURES

JOINED = 0.015
"""Strokes whose ends are this close are connected, mm; files round to 0.01."""

LONG_EDGE_SHARE = 0.5
"""An edge of the moulding runs along the rows for at least this share of the outline."""

HOLD_DOWN_DOUBT = 0.05
"""Standard uncertainty of a length that may include hold-down metal, mm: common practice, no source.

Small on purpose: in most such drawings the moulding does end there. `overall_length` is given as well, so that a
caliper reading of the other length is covered by the named slip between the two.
"""

CENTRED_SHARE, ASIDE_SHARE = 0.15, 0.3
"""A body whose offset from its lands is below the first share of its width mates upwards, above the second share
sideways.

Compared with the words in 5,110 real names: 7 % of the sideways ones lie within the first share, 7 % of the upward ones
(with latches) beyond the second; between them both are possible.
"""


@dataclass(frozen=True, kw_only=True)
class Body:
    """Extent of the moulded housing, mm: ``box`` in (along the rows, across them).

    ``overall_length`` is known where metal is drawn, or may be drawn, beyond the plastic; ``doubtful`` says that hold-
    downs may be counted in ``length``. ``orientation`` lists what is possible from the body's place over the lands.
    """

    box: Box
    overall_length: float | None
    doubtful: bool
    orientation: tuple[str, ...]

    @property
    def length(self) -> float:
        """Along the rows, mm."""
        return self.box.width

    @property
    def width(self) -> float:
        """Across the rows, mm."""
        return self.box.height


def read_body(strokes: Sequence[Stroke], lands: Lands) -> Body:
    """Find the body in the fabrication layer's strokes; raises UnusableFootprint when none surrounds the contacts."""
    if not strokes:
        raise UnusableFootprint("no body outline")
    parts = _parts([stroke.turned() if lands.turned else stroke for stroke in strokes])
    box = _around_contacts(parts, lands)
    _check_size(box)
    everything = Box.around(stroke.box for part in parts for stroke in part)
    return _judged(box, everything, lands)


def _parts(strokes: Sequence[Stroke]) -> list[list[Stroke]]:
    """Strokes grouped into connected drawings by their ends, with the help of a grid of cell size ``JOINED``."""
    group = list(range(len(strokes)))

    def root(index: int) -> int:
        while group[index] != index:
            group[index] = group[group[index]]
            index = group[index]
        return index

    owner: dict[tuple[int, int], int] = {}
    for index, stroke in enumerate(strokes):
        for u, v in stroke.ends:
            column, row = cell = (round(u / JOINED), round(v / JOINED))
            for beside in (column - 1, column, column + 1):
                for near in ((beside, row - 1), (beside, row), (beside, row + 1)):
                    if near in owner:
                        group[root(index)] = root(owner[near])
            owner[cell] = index
    parts: dict[int, list[Stroke]] = {}
    for index, stroke in enumerate(strokes):
        parts.setdefault(root(index), []).append(stroke)
    return list(parts.values())


def _around_contacts(parts: Sequence[Sequence[Stroke]], lands: Lands) -> Box:
    """The largest drawing, joined with drawings that touch it if it is shorter than the rows of contacts."""
    boxes = [Box.around(stroke.box for stroke in part) for part in parts]
    largest = max(range(len(parts)), key=lambda index: boxes[index].area)
    box = _without_leg(parts[largest], boxes[largest], lands)
    rest = [other for index, other in enumerate(boxes) if index != largest]
    first, last = lands.centre_span
    while box.width < last - first:
        touching = [other for other in rest if other.touches(box, JOINED)]
        if not touching:
            raise UnusableFootprint("no body outline around the contacts")
        rest = [other for other in rest if other not in touching]
        box = Box.around([box, *touching])
    return box


def _without_leg(part: Sequence[Stroke], box: Box, lands: Lands) -> Box:
    """Remove one contact's leg that is connected to the body: narrower than a pitch, beyond the long edges."""
    edges = [s.box.top for s in part if s.box.height <= JOINED and s.box.width >= LONG_EDGE_SHARE * box.width]
    if lands.layout.pitch is None or len(edges) < 2 or max(edges) - min(edges) < box.height / 2:
        return box
    top, bottom = box.top, box.bottom
    above = [s.box for s in part if s.box.top < min(edges) - JOINED]
    below = [s.box for s in part if s.box.bottom > max(edges) + JOINED]
    if above and Box.around(above).width < lands.layout.pitch:
        top = min(edges)
    if below and Box.around(below).width < lands.layout.pitch:
        bottom = max(edges)
    return Box(left=box.left, top=top, right=box.right, bottom=bottom)


def _check_size(box: Box) -> None:
    for name, value in (("body_length", box.width), ("body_width", box.height)):
        feature = FEATURES[name]
        if not feature.low <= value <= feature.high:
            raise UnusableFootprint(
                "not in millimetres, or no connector's body", f"{feature.label} {value:.4g} is implausible"
            )


def _judged(box: Box, everything: Box, lands: Lands) -> Body:
    """Compare the outline's ends with the hold-down lands that lie beyond the contacts at each end."""
    first, last = lands.centre_span
    left = [h for h in lands.hold_downs if h.right < first]
    right = [h for h in lands.hold_downs if h.left > last]
    doubtful = drawn_apart = False
    if left and right:
        outer_left, outer_right = min(h.left for h in left), max(h.right for h in right)
        middle_left = min((h.left + h.right) / 2 for h in left)
        middle_right = max((h.left + h.right) / 2 for h in right)
        doubtful = lands.mounting == "surface_mount" and box.left < middle_left and box.right > middle_right
        drawn_apart = (
            everything.left < box.left - JOINED
            and everything.right > box.right + JOINED
            and everything.left >= outer_left - JOINED
            and everything.right <= outer_right + JOINED
        )
    overall = everything.width if drawn_apart else box.width if doubtful else None
    return Body(
        box=box, overall_length=overall, doubtful=doubtful and not drawn_apart, orientation=_leaning(box, lands)
    )


def _leaning(box: Box, lands: Lands) -> tuple[str, ...]:
    offset = abs((box.top + box.bottom) / 2 - (lands.signal.top + lands.signal.bottom) / 2)
    if offset <= CENTRED_SHARE * box.height:
        return ("vertical",)
    return ("right_angle",) if offset > ASIDE_SHARE * box.height else ("vertical", "right_angle")
