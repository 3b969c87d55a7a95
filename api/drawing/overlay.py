"""Halves laid over each other, and over what was measured, to scale on one datum: the centre of the contact field
from above, the board's surface and the middle line from the end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from api.drawing.dimension_lines import place
from api.drawing.faults import DrawingError
from api.drawing.figures import dimension_markup
from api.drawing.geometry import Part, bounds_of
from api.drawing.measures import ACROSS, ALONG, Measure, section_measures, top_measures
from api.drawing.outline import HalfShape, half_shape
from api.drawing.section import section
from api.drawing.sizes import Sizes
from api.drawing.svg import document, group, line_path, part_markup
from api.drawing.views import MARGIN_PX, Look, View

MOST_LAYERS = 4
"""Halves that can be told apart when they lie over each other."""

SAME_MM = 0.0005
"""Values that differ by less are shown as equal: half of the last figure that drawings print, mm."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A dimension in which halves differ: values in mm in the order of the halves, None where it is not known."""

    feature: str
    values: tuple[float | None, ...]

    @property
    def largest(self) -> float:
        """Largest minus smallest known value, mm."""
        known = [value for value in self.values if value is not None]
        return max(known) - min(known)


def differences(halves: Sequence[Sizes]) -> tuple[Difference, ...]:
    """The dimensions that at least two halves know and that are not the same in all of them."""
    found = []
    for feature in (*ALONG, *ACROSS, "height"):
        values = tuple(half.mm(feature) if half.known(feature) else None for half in halves)
        known = [value for value in values if value is not None]
        if len(known) > 1 and max(known) - min(known) > SAME_MM:
            found.append(Difference(feature=feature, values=values))
    return tuple(found)


def overlay_top(halves: Sequence[Sizes], *, measured: Sizes | None = None, look: Look | None = None) -> View:
    """One to four halves from above, the first lowest; ``measured`` is laid on top as an outline.

    ``look.features`` None: the dimensions in which the halves differ, a line for each half.
    """
    shapes = [half_shape(half) for half in _checked(halves, measured)]
    look = look or Look()
    wanted = _wanted(halves, look)
    layers = [shape.parts for shape in shapes]
    measures = [top_measures(shape, _known(shape.sizes, wanted)) for shape in shapes]
    outline = [] if measured is None else _outline_of(half_shape(measured))
    return _overlaid(layers, measures, outline, look, _title(halves, measured, "from above"), "top")


def overlay_side(halves: Sequence[Sizes], *, measured: Sizes | None = None, look: Look | None = None) -> View:
    """The same cut across the rows, standing on one board."""
    look = look or Look()
    wanted = [feature for feature in _wanted(halves, look) if feature not in ALONG]
    if look.features is None:
        wanted = [feature for feature in wanted if feature == "height"]
    layers = [section(half) for half in _checked(halves, measured)]
    measures = [section_measures(half, _known(half, wanted)) for half in halves]
    outline = [] if measured is None else _bodies(section(measured))
    return _overlaid(layers, measures, outline, look, _title(halves, measured, "cut across the rows"), "side")


def _checked(halves: Sequence[Sizes], measured: Sizes | None) -> Sequence[Sizes]:
    if not 1 <= len(halves) <= MOST_LAYERS or (len(halves) == 1 and measured is None):
        raise DrawingError(
            f"{len(halves)} halves cannot be laid over each other",
            field="half",
            value=len(halves),
            remedy=f"name two to {MOST_LAYERS} halves, or one and what was measured",
        )
    return halves


def _wanted(halves: Sequence[Sizes], look: Look) -> Sequence[str]:
    if look.features is not None:
        return look.features
    return [difference.feature for difference in differences(halves)]


def _known(sizes: Sizes, features: Iterable[str]) -> list[str]:
    return [feature for feature in features if sizes.known(feature)]


def _outline_of(shape: HalfShape) -> Sequence[Part]:
    kept = ("body", "opening", "contacts", "tails")
    return [replace(part, role="measured-edge") for part in shape.parts if part.feature in kept]


def _bodies(parts: Iterable[Part]) -> Sequence[Part]:
    return [replace(part, role="measured-edge") for part in parts if part.feature == "body"]


def _overlaid(
    layers: Sequence[Sequence[Part]],
    measures: Sequence[Sequence[Measure]],
    outline: Sequence[Part],
    look: Look,
    title: str,
    css: str,
) -> View:
    content = bounds_of([part for layer in (*layers, outline) for part in layer])
    marked = [replace(m, layer=str(number)) for number, own in enumerate(measures, 1) for m in own]
    room = look.fitting_room(content, marked)
    placed, box = place(marked, content, room)
    box = box.grown(room.mm(MARGIN_PX))
    datum = [((content.left, 0.0), (content.right, 0.0)), ((0.0, content.top), (0.0, content.bottom))]
    drawn = [
        *(group(f"layer layer-{number}", map(part_markup, parts)) for number, parts in enumerate(layers, 1)),
        *([group("measured-outline", map(part_markup, outline))] if outline else ()),
        line_path("centre-line", datum),
        group("dimensions", (dimension_markup(each, room, prefix=look.prefix) for each in reversed(placed))),
    ]
    described = "Drawn to scale around one centre. " + _differing(marked)
    svg = document(
        box, room.px_per_mm, title, described, drawn, css=f"overlay {css}", prefix=f"{look.prefix}overlay-{css}-"
    )
    return View(svg=svg, box=box, px_per_mm=room.px_per_mm, dimensions=tuple(placed))


def _differing(marked: Sequence[Measure]) -> str:
    names = sorted({measure.feature.replace("_", " ") for measure in marked})
    return f"Different: {', '.join(names)}." if names else "No dimension is marked as different."


def _title(halves: Sequence[Sizes], measured: Sizes | None, seen: str) -> str:
    named = [half.name or f"half {number}" for number, half in enumerate(halves, 1)]
    if measured is not None:
        named.append("what was measured")
    return f"{' over '.join(reversed(named))}, {seen}"
