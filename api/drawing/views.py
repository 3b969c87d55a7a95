"""The three views of a half as SVG: from above, cut across the rows, and mated."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from api.drawing.dimension_lines import Placed, Room, place
from api.drawing.faults import DrawingError
from api.drawing.figures import dimension_markup
from api.drawing.geometry import Box, Part, Point, bounds_of
from api.drawing.mating import MatedShape
from api.drawing.measures import ACROSS, ALONG, Measure, section_measures, top_measures
from api.drawing.outline import half_shape, kind_of
from api.drawing.section import board, section, section_lands
from api.drawing.sizes import Sizes
from api.drawing.svg import document, group, line_path, part_markup

MARGIN_PX = 8.0
"""Clear paper around everything, px."""

BOARD_PX, COPPER_PX = 9.0, 5.0
"""Thickness of the board and of its copper as they are drawn: how thick they are is not known, px."""

LEAST_CONTENT_PX = 40.0
"""The half itself is never drawn narrower, px; a view that has no more room becomes wider than asked for."""

BOARD_BEYOND = 1.12
"""How far the board is drawn to each side, as a share of the widest thing on it."""

SMALLEST_PX_PER_MM, LARGEST_PX_PER_MM = 0.05, 2000.0
"""Scales that a view can have: a metre on a phone, half a millimetre across a desk."""


@dataclass(frozen=True, kw_only=True)
class View:
    """A finished view: its SVG, its viewBox in mm, its scale, and where its dimension lines stand."""

    svg: str
    box: Box
    px_per_mm: float
    dimensions: tuple[Placed, ...]


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a view is made.

    Attributes
    ----------
    px_per_mm: screen pixels per mm; None: such that the view becomes ``width_px`` wide.
    width_px: width of the whole view on screen, lines and figures included.
    features: dimensions to show; None: all that are known.
    with_lands: draw the lands of the board as well.
    letters: a letter on each dimension line, by feature.
    whole_row: draw a pitch over all gaps of a group.
    possible: draw also what the half may have though nobody has said so.
    room: lanes, see `Room` (its own scale is replaced).
    tallest_px: content is kept from getting taller than this.
    prefix: keeps the ids of several views on one page apart.
    """

    px_per_mm: float | None = None
    width_px: float = 640.0
    features: Sequence[str] | None = None
    with_lands: bool = False
    letters: Mapping[str, str] | None = None
    whole_row: bool = False
    possible: bool = False
    lane_px: float = 21.0
    shared_lanes: bool = True
    field_px: tuple[float, float] = (0.0, 0.0)
    tallest_px: float = 420.0
    prefix: str = ""

    def room(self, px_per_mm: float) -> Room:
        """The lanes' room at a scale; DrawingError for a scale that cannot be shown."""
        if not SMALLEST_PX_PER_MM <= px_per_mm <= LARGEST_PX_PER_MM:
            raise DrawingError(
                f"{px_per_mm} px per mm cannot be shown",
                field="px_per_mm",
                value=px_per_mm,
                remedy=f"give {SMALLEST_PX_PER_MM} to {LARGEST_PX_PER_MM:.0f} px per mm",
            )
        return Room(
            px_per_mm=px_per_mm,
            lane_px=self.lane_px,
            shared=self.shared_lanes,
            field_px=self.field_px,
            lettered=bool(self.letters),
        )

    def fitting_room(self, content: Box, measures: Sequence[Measure]) -> Room:
        """The lanes' room at the scale asked for, or at the one with which everything becomes ``width_px`` wide."""
        return self.room(fitting_scale(content, measures, self) if self.px_per_mm is None else self.px_per_mm)

    def wanted(self, sizes: Sizes, candidates: Iterable[str]) -> list[str]:
        """Which of a view's dimensions are shown."""
        if self.features is None:
            return [feature for feature in candidates if sizes.known(feature)]
        return [feature for feature in candidates if feature in self.features]


def top_view(sizes: Sizes, look: Look | None = None) -> View:
    """The half from above on its mating face."""
    look = look or Look()
    wanted = look.wanted(sizes, (*ALONG, *ACROSS))
    shape = half_shape(sizes, with_lands=look.with_lands, possible=look.possible)
    measures = top_measures(shape, wanted, look.whole_row)
    extent = bounds_of(shape.parts)
    centre = [((extent.left, 0.0), (extent.right, 0.0)), ((0.0, extent.top), (0.0, extent.bottom))]
    title = f"{_called(sizes)}, seen from above"
    room = look.fitting_room(extent, measures)
    return _drawn(shape.parts, measures, look, room, title, describe(sizes), "top", centre, "centre-line")


def side_view(sizes: Sizes, look: Look | None = None) -> View:
    """The half on its board, cut across the rows and seen from the end."""
    look = look or Look()
    wanted = look.wanted(sizes, (*ACROSS, "height"))
    if look.features is None:
        wanted = [feature for feature in wanted if feature == "height"]
    measures = section_measures(sizes, wanted)
    half = section(sizes)
    body = bounds_of([part for part in half if part.shape.bounds.top < 0])
    reach = BOARD_BEYOND * max(body.right, -body.left, sizes.mm("land_span") / 2 if look.with_lands else 0.0)
    surface = [((-reach, 0.0), (reach, 0.0))]
    room = look.fitting_room(_with_lines(half, surface), measures)
    lands = section_lands(sizes, room.mm(COPPER_PX)) if look.with_lands else ()
    parts = [board(sizes, room.mm(BOARD_PX), reach), *lands, *half]
    title = f"{_called(sizes)}, cut across the rows"
    return _drawn(parts, measures, look, room, title, describe(sizes), "side", surface, "board-line")


def mated_view(mated: MatedShape, look: Look | None = None) -> View:
    """Both halves mated, with both boards, cut across the rows."""
    look = look or Look()
    measures = mated.measures(look.features)
    lines = mated.surfaces(BOARD_BEYOND)
    room = look.fitting_room(_with_lines(mated.parts, lines), measures)
    parts = [*mated.boards(room.mm(BOARD_PX), BOARD_BEYOND), *section(mated.lower)]
    title = f"{_called(mated.lower)} mated with {_called(mated.upper)}, cut across the rows"
    return _drawn(parts, measures, look, room, title, mated.description, "mated", lines, "board-line", mated.hanging)


def _drawn(
    parts: Sequence[Part],
    measures: Sequence[Measure],
    look: Look,
    room: Room,
    title: str,
    description: str,
    css: str,
    lines: list[tuple[Point, Point]],
    line_css: str,
    upper: Sequence[Part] = (),
) -> View:
    content = bounds_of([*parts, *upper])
    placed, box = place(measures, content, room)
    box = box.grown(room.mm(MARGIN_PX))
    # Outer dimensions first, so that the halo of an inner figure lies over their witness lines.
    drawn = [
        group("half", (part_markup(part) for part in parts)),
        *([group("half upper", (part_markup(part) for part in upper))] if upper else ()),
        line_path(line_css, lines),
        group(
            "dimensions",
            (dimension_markup(each, room, prefix=look.prefix, letters=look.letters) for each in reversed(placed)),
        ),
    ]
    svg = document(box, room.px_per_mm, title, description, drawn, css=css, prefix=f"{look.prefix}{css}-")
    return View(svg=svg, box=box, px_per_mm=room.px_per_mm, dimensions=tuple(placed))


def _with_lines(parts: Sequence[Part], lines: Sequence[tuple[Point, Point]]) -> Box:
    """The box of a half and the surface of its board."""
    box = bounds_of(parts)
    for start, end in lines:
        box = box.around(
            Box(
                left=min(start[0], end[0]),
                top=min(start[1], end[1]),
                right=max(start[0], end[0]),
                bottom=max(start[1], end[1]),
            )
        )
    return box


def fitting_scale(content: Box, measures: Sequence[Measure], look: Look) -> float:
    """Pixels per mm with which content, lines and figures together become ``look.width_px`` wide."""
    scale = min(
        max((look.width_px - 2 * MARGIN_PX) / content.width, SMALLEST_PX_PER_MM), look.tallest_px / content.height
    )
    for _ in range(ROUNDS):
        _, box = place(measures, content, look.room(_within(scale)))
        wide = box.grown(MARGIN_PX / _within(scale)).width * _within(scale)
        fixed = wide - content.width * _within(scale)
        scale = min(max(look.width_px - fixed, LEAST_CONTENT_PX) / content.width, look.tallest_px / content.height)
    return _within(scale)


ROUNDS = 4
"""Rounds of fitting a scale: what figures need beside the content changes little with it."""


def _within(scale: float) -> float:
    return min(max(scale, SMALLEST_PX_PER_MM), LARGEST_PX_PER_MM)


def _called(sizes: Sizes) -> str:
    return sizes.name or {"plug": "Plug", "receptacle": "Receptacle"}.get(sizes.half_kind or "", "Half")


def describe(sizes: Sizes) -> str:
    """What a screen reader says of the drawing: kind, contacts, and the dimensions that are known."""
    kind = sizes.half_kind or f"kind unknown, drawn as a {kind_of(sizes)}"
    said = [kind]
    if sizes.counted:
        said.append(f"{sum(sizes.row_contacts) - len(sizes.blocked)} contacts in {sizes.rows} rows")
    known = [name for name in ("pitch", "body_length", "body_width", "height") if sizes.known(name)]
    said += [f"{name.replace('_', ' ')} {sizes.mm(name):g} mm" for name in known]
    assumed = [name for name in ("body_length", "body_width", "height") if not sizes.known(name)]
    if assumed:
        said.append(f"{', '.join(name.replace('_', ' ') for name in assumed)} drawn from usual proportions")
    return "; ".join(said) + "."
