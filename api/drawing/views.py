"""The views of a half as SVG: from above, cut across the rows, mated, and several halves laid over each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from api.drawing.dimension_lines import Scale, dimension_markup, place
from api.drawing.geometry import Box, DrawingError, Part, Point, bounds_of
from api.drawing.mating import MatedShape
from api.drawing.measures import ACROSS, ALONG, Measure, section_measures, top_measures
from api.drawing.outline import half_shape
from api.drawing.section import board, section
from api.drawing.sizes import Sizes
from api.drawing.svg import document, group, line_path, part_markup

MARGIN_PX = 8.0
"""Clear paper around everything, px."""

BOARD_PX = 9.0
"""Drawn thickness of the board, px; the true one is unknown."""

LEAST_CONTENT_PX = 40.0
"""Least drawn width of the half itself, px; a view with less room becomes wider than asked for."""

BOARD_BEYOND = 1.12
"""How far the board is drawn to each side, as a share of the widest thing on it."""

SMALLEST_PX_PER_MM, LARGEST_PX_PER_MM = 0.05, 2000.0
"""Scales that a view can have: a metre on a phone, half a millimetre across a desk."""

ROUNDS = 4
"""Rounds of fitting the scale: the room for figures beside the content depends on it only a little."""

FIRST_WORDS = "the arrowhead points at contact 1, seen from the mating face"
"""What the mark at contact 1 means: all drawings from above show the mating face."""

MOST_LAYERS = 4
"""Most halves that lie over each other: more cannot be told apart."""

Line = tuple[Point, Point]


@dataclass(frozen=True, kw_only=True)
class View:
    """A finished view: its SVG, its viewBox in mm, and its scale."""

    svg: str
    box: Box
    px_per_mm: float


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a view is made: ``width_px`` on screen, lines and figures included; content no taller than ``tallest_px``;
    ``features`` are the dimensions to show (None: all that are known)."""

    width_px: float = 640.0
    tallest_px: float = 420.0
    features: Sequence[str] | None = None

    def wanted(self, sizes: Sizes, candidates: Iterable[str]) -> list[str]:
        """Which of a view's dimensions are shown."""
        if self.features is None:
            return [feature for feature in candidates if sizes.known(feature)]
        return [feature for feature in candidates if feature in self.features]


def top_view(sizes: Sizes, look: Look | None = None) -> View:
    """The half from above on its mating face."""
    look = look or Look()
    shape = half_shape(sizes)
    measures = top_measures(shape, look.wanted(sizes, (*ALONG, *ACROSS)))
    extent = bounds_of(shape.parts)
    frame = _Frame(name="top", title=f"{_called(sizes)}, seen from above", description=describe(sizes))
    scale = _fitting_scale(extent, measures, look)
    return _drawn([("half", shape.parts)], measures, scale, frame, _cross(extent))


def side_view(sizes: Sizes, look: Look | None = None) -> View:
    """The half on its board, cut across the rows and seen from the end; it shows the height alone unless ``look`` asks
    for more."""
    look = look or Look()
    measures = section_measures(
        sizes, look.wanted(sizes, ("height",) if look.features is None else (*ACROSS, "height"))
    )
    half = section(sizes)
    body = bounds_of([part for part in half if part.shape.bounds.top < 0])
    reach = BOARD_BEYOND * max(body.right, -body.left)
    surface = [((-reach, 0.0), (reach, 0.0))]
    scale = _fitting_scale(_with_lines(half, surface), measures, look)
    frame = _Frame(
        name="side", title=f"{_called(sizes)}, cut across the rows", description=describe(sizes), line="board-line"
    )
    return _drawn([("half", [board(sizes, scale.mm(BOARD_PX), reach), *half])], measures, scale, frame, surface)


def mated_view(mated: MatedShape, look: Look | None = None) -> View:
    """Both halves mated, with both boards, cut across the rows."""
    look = look or Look()
    measures = mated.measures(look.features)
    surfaces = mated.surfaces(BOARD_BEYOND)
    scale = _fitting_scale(_with_lines(mated.parts, surfaces), measures, look)
    lower = [*mated.boards(scale.mm(BOARD_PX), BOARD_BEYOND), *section(mated.lower)]
    frame = _Frame(
        name="mated",
        title=f"{_called(mated.lower)} mated with {_called(mated.upper)}, cut across the rows",
        description=mated.description,
        line="board-line",
    )
    return _drawn([("half", lower), ("half upper", mated.hanging)], measures, scale, frame, surfaces)


def overlay_top(halves: Sequence[Sizes], look: Look) -> View:
    """Two to four halves from above, their contacts centred on one point, the first half lowest; each of
    ``look.features`` has a line for every half that knows it."""
    shapes = [half_shape(half) for half in _checked(halves)]
    measures = [top_measures(shape, _known(shape.sizes, look)) for shape in shapes]
    return _overlaid([shape.parts for shape in shapes], measures, look, _title(halves, "from above"), "top")


def overlay_side(halves: Sequence[Sizes], look: Look) -> View:
    """The same cut across the rows, standing on one board."""
    layers = [section(half) for half in _checked(halves)]
    measures = [section_measures(half, [name for name in _known(half, look) if name not in ALONG]) for half in halves]
    return _overlaid(layers, measures, look, _title(halves, "cut across the rows"), "side")


def _checked(halves: Sequence[Sizes]) -> Sequence[Sizes]:
    if not 2 <= len(halves) <= MOST_LAYERS:
        raise DrawingError(
            f"{len(halves)} halves cannot be laid over each other",
            field="half",
            value=len(halves),
            remedy=f"name two to {MOST_LAYERS} halves",
        )
    return halves


def _known(sizes: Sizes, look: Look) -> list[str]:
    return [feature for feature in look.features or () if sizes.known(feature)]


def _overlaid(
    layers: Sequence[Sequence[Part]], measures: Sequence[Sequence[Measure]], look: Look, title: str, name: str
) -> View:
    content = bounds_of([part for layer in layers for part in layer])
    marked = [replace(m, layer=str(number)) for number, own in enumerate(measures, 1) for m in own]
    names = sorted({measure.feature.replace("_", " ") for measure in marked})
    different = f"Different: {', '.join(names)}." if names else "No dimension is marked as different."
    frame = _Frame(name=f"overlay {name}", title=title, description=f"Drawn to scale around one centre. {different}")
    groups = [(f"layer layer-{number}", parts) for number, parts in enumerate(layers, 1)]
    return _drawn(groups, marked, _fitting_scale(content, marked, look), frame, _cross(content))


def _title(halves: Sequence[Sizes], seen: str) -> str:
    named = [half.name or f"half {number}" for number, half in enumerate(halves, 1)]
    return f"{' over '.join(reversed(named))}, {seen}"


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """What a view is called, as a class and to a screen reader, and the class of its datum line."""

    name: str
    title: str
    description: str
    line: str = "centre-line"


def _drawn(
    groups: Sequence[tuple[str, Sequence[Part]]],
    measures: Sequence[Measure],
    scale: Scale,
    frame: _Frame,
    lines: Sequence[Line],
) -> View:
    content = bounds_of([part for _, parts in groups for part in parts])
    placed, box = place(measures, content, scale)
    box = box.grown(scale.mm(MARGIN_PX))
    # Outer dimensions first, so that the halo of an inner figure lies over their witness lines.
    drawn = [
        *(group(css, (part_markup(part) for part in parts)) for css, parts in groups),
        line_path(frame.line, lines),
        group("dimensions", (dimension_markup(each, scale) for each in reversed(placed))),
    ]
    prefix = frame.name.replace(" ", "-") + "-"
    svg = document(box, scale.px_per_mm, frame.title, frame.description, drawn, css=frame.name, prefix=prefix)
    return View(svg=svg, box=box, px_per_mm=scale.px_per_mm)


def _cross(box: Box) -> list[Line]:
    """Both centre lines."""
    return [((box.left, 0.0), (box.right, 0.0)), ((0.0, box.top), (0.0, box.bottom))]


def _with_lines(parts: Sequence[Part], lines: Sequence[Line]) -> Box:
    """The box of a half and the surface of its board."""
    box = bounds_of(parts)
    for (x0, y0), (x1, y1) in lines:
        box = box.around(Box(left=min(x0, x1), top=min(y0, y1), right=max(x0, x1), bottom=max(y0, y1)))
    return box


def _fitting_scale(content: Box, measures: Sequence[Measure], look: Look) -> Scale:
    """The scale with which content, lines and figures together become ``look.width_px`` wide."""
    found = min(
        max((look.width_px - 2 * MARGIN_PX) / content.width, SMALLEST_PX_PER_MM), look.tallest_px / content.height
    )
    for _ in range(ROUNDS):
        scale = _within(found)
        _, box = place(measures, content, scale)
        wide = box.grown(scale.mm(MARGIN_PX)).width * scale.px_per_mm
        fixed = wide - content.width * scale.px_per_mm
        found = min(max(look.width_px - fixed, LEAST_CONTENT_PX) / content.width, look.tallest_px / content.height)
    return _within(found)


def _within(px_per_mm: float) -> Scale:
    return Scale(px_per_mm=min(max(px_per_mm, SMALLEST_PX_PER_MM), LARGEST_PX_PER_MM))


def _called(sizes: Sizes) -> str:
    return sizes.name or {"plug": "Plug", "receptacle": "Receptacle"}.get(sizes.half_kind or "", "Half")


def describe(sizes: Sizes) -> str:
    """The description for screen readers: kind, contacts, and the known dimensions."""
    kind = sizes.half_kind or f"kind unknown, drawn as a {sizes.kind}"
    said = [kind]
    if sizes.counted:
        said.append(f"{sum(sizes.row_contacts) - len(sizes.blocked)} contacts in {sizes.rows} rows")
    known = [name for name in ("pitch", "body_length", "body_width", "height") if sizes.known(name)]
    said += [f"{name.replace('_', ' ')} {sizes.mm(name):g} mm" for name in known]
    assumed = [name for name in ("body_length", "body_width", "height") if not sizes.known(name)]
    if assumed:
        said.append(f"{', '.join(name.replace('_', ' ') for name in assumed)} drawn from usual proportions")
    if sizes.first is not None:
        said.append(FIRST_WORDS)
    return "; ".join(said) + "."
