"""The two sheets to fill in: a half from above; the half and the mated pair from the end. Both in true proportions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from api.drawing.contact_sites import Site
from api.drawing.geometry import Box, DrawingError, bounds_of
from api.drawing.mating import MatedShape, mated
from api.drawing.outline import HalfShape, half_shape
from api.drawing.section import board, section
from api.drawing.size_sources import make_sizes, pair_lengths, sizes_of_observed
from api.drawing.sizes import Length, Sizes, Source
from api.web.bench.sheet_markup import Fit, Lane, Span, balloon, caption, dimension, note, picture
from matcher.features import FEATURES
from matcher.observations import Of, Reduced

ABOVE_HEIGHT, ABOVE_PLACE = 500.0, Box(left=226.0, top=204.0, right=554.0, bottom=402.0)
"""The first sheet, and where the half is drawn on it, in the sheet's units."""

END_HEIGHT = 320.0
END_PLACE, PAIR_PLACE = (
    Box(left=112.0, top=92.0, right=304.0, bottom=246.0),
    Box(left=436.0, top=92.0, right=640.0, bottom=246.0),
)
"""The second sheet, and where half and pair are drawn on it."""

CAPTIONS = (((208.0, END_HEIGHT - 16), "this half alone"), ((684.0, END_HEIGHT - 34), "the mated pair"))
"""The contents of the two drawings of the second sheet."""

ABOVE: tuple[Lane, ...] = (
    Lane(name="pitch", letter="C", line=162.0, field=(390.0, 162.0), along=True, outwards=-1.0),
    Lane(name="body_length", letter="D", line=102.0, field=(390.0, 102.0), along=True, outwards=-1.0),
    Lane(name="overall_length", letter="E", line=42.0, field=(390.0, 42.0), along=True, outwards=-1.0),
    Lane(name="opening_width", letter="G", line=632.0, field=(704.0, 180.0), along=False, outwards=1.0),
    Lane(name="row_spacing", letter="H", line=588.0, field=(704.0, 408.0), along=False, outwards=1.0),
    Lane(name="opening_length", letter="I", line=452.0, field=(390.0, 452.0), along=True, outwards=1.0),
    Lane(name="body_width", letter="J", line=196.0, field=(76.0, 408.0), along=False, outwards=-1.0),
    Lane(name="tail_span", letter="K", line=150.0, field=(76.0, 180.0), along=False, outwards=-1.0),
)
"""Dimensions of the first sheet, in the order in which they are typed: from the contacts outwards, then clockwise."""

FROM_END: tuple[Lane, ...] = (
    Lane(name="height", letter="L", line=92.0, field=(76.0, 42.0), along=False, outwards=-1.0),
    Lane(name="stack_height", letter="M", line=664.0, field=(704.0, 42.0), along=False, outwards=1.0),
    Lane(name="mated_width", letter="N", line=282.0, field=(540.0, 282.0), along=True, outwards=1.0),
    Lane(name="other.body_width", letter="O", line=42.0, field=(540.0, 42.0), along=True, outwards=-1.0),
    Lane(name="other.height", letter="P", line=410.0, field=(356.0, 42.0), along=False, outwards=-1.0),
)
"""Dimensions of the second sheet."""

BOARD_THICKNESS, BOARD_BEYOND = 0.12, 1.14
"""How boards of unknown size are drawn: thickness as a share of the height, reach as a share of that of the half."""

CONTACTS, ROWS, HOLD_DOWNS = (64.0, 56.0), (156.0, 56.0), (704.0, 56.0)
"""Where contacts, rows and hold-downs are counted on the first sheet."""

BREADTH = {
    "body_length": "body_width",
    "overall_length": "body_width",
    "opening_length": "opening_width",
    "opening_width": "opening_length",
    "body_width": "body_length",
    "tail_span": "body_length",
}
"""For each dimension, the one that gives the length of its edges."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The data from which the sheets are drawn. ``gaps``: the number over which the pitch was measured, 0 where it was
    not. ``states`` are the states of fields by name: given, wrong, next."""

    this: Sizes
    other: Sizes
    pair: MatedShape
    gaps: int = 0
    states: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def of(self, name: str) -> tuple[str, ...]:
        """States of a field."""
        return self.states.get(name, ())


def drawable(readings: Sequence[Reduced], states: dict[str, tuple[str, ...]]) -> Seen:
    """The observations so far, as sizes to draw; what cannot be drawn is left out."""
    try:
        return _seen_in(readings, states)
    except DrawingError as error:
        fewer = [reading for reading in readings if reading.feature != error.field]
        if len(fewer) == len(readings):
            raise
        return drawable(fewer, states)


def _seen_in(readings: Sequence[Reduced], states: dict[str, tuple[str, ...]]) -> Seen:
    this = sizes_of_observed(readings)
    other = _mate(this, sizes_of_observed(readings, of=Of.OTHER))
    known = pair_lengths(readings)
    pair = mated(this, other, stack_height=known.get("stack_height"), mated_width=known.get("mated_width"))
    pitch = next((r for r in readings if r.feature == "pitch" and r.of is Of.THIS and r.value is not None), None)
    return Seen(this=this, other=other, pair=pair, gaps=0 if pitch is None else pitch.spans, states=states)


def _mate(this: Sizes, seen: Sizes) -> Sizes:
    """The other half as observed; its unknown sizes follow from this half."""
    opposite = {"plug": "receptacle", "receptacle": "plug"}.get(this.kind, this.kind)
    lengths = {name: length for name, length in seen.lengths.items() if length.known}
    lengths.setdefault("pitch", Length(value=this.mm("pitch"), source=Source.PREDICTED))
    return make_sizes(
        half_kind=seen.half_kind or opposite,
        row_contacts=this.row_contacts,
        lengths=lengths,
        categories=seen.categories,
    )


def from_above(seen: Seen) -> Markup:
    """The first sheet."""
    sizes, shape = seen.this, half_shape(seen.this)
    fit = Fit.into(ABOVE_PLACE, bounds_of(shape.parts))
    lanes = [lane for lane in ABOVE if lane.name not in voids(sizes)]
    lines = [dimension(lane, _span_above(lane.name, seen, shape, fit), seen.of(lane.name)) for lane in lanes]
    first = shape.sites[0]
    leader = [(196.0, 56.0), (212.0, 56.0), (fit.x(first.x), fit.y(first.y))]
    notes = [
        note("contact_count", "A", leader, CONTACTS, seen.of("contact_count")),
        balloon(ROWS, "B"),
        *_hold_downs(seen, shape, fit),
    ]
    said = f"A {_kind(sizes)} from above, in the proportions entered so far; dashed where they are assumed"
    return Markup(picture("above", ABOVE_HEIGHT, fit, said, [fit.drawn(shape.parts), *lines, *notes]))


def _hold_downs(seen: Seen, shape: HalfShape, fit: Fit) -> list[str]:
    """The note on hold-downs, with a line to the upper right one; nothing where none is drawn."""
    boxes = [part.shape.bounds for part in shape.parts if part.role == "hold-down"]
    if not boxes:
        return []
    right, top = max(box.right for box in boxes), min(box.top for box in boxes)
    leader = [(636.0, 56.0), (616.0, 56.0), (fit.x(right) - 4.0, fit.y(top) + 4.0)]
    return [note("hold_down_count", "F", leader, HOLD_DOWNS, seen.of("hold_down_count"))]


def from_end(seen: Seen) -> Markup:
    """The second sheet: the half alone and the mated pair, both from the end."""
    thick = BOARD_THICKNESS * seen.this.mm("height")
    alone = (board(seen.this, thick, BOARD_BEYOND * _reach(seen.this)), *section(seen.this))
    pair = (*seen.pair.boards(thick, BOARD_BEYOND), *seen.pair.parts)
    scale = min(
        Fit.into(END_PLACE, bounds_of(alone)).scale,
        Fit.into(PAIR_PLACE, bounds_of(pair)).scale,
    )
    half = Fit.into(END_PLACE, bounds_of(alone), scale=scale)
    both = Fit.into(PAIR_PLACE, bounds_of(pair), scale=scale)
    lines = [
        dimension(lane, _span_from_end(lane.name, seen, half if lane.name == "height" else both), seen.of(lane.name))
        for lane in FROM_END
    ]
    told = "The half from the end on its board, and beside it the mated pair"
    drawn = [half.drawn(alone), both.drawn(pair), *lines, *(caption(at, said) for at, said in CAPTIONS)]
    return Markup(picture("end", END_HEIGHT, half, told, drawn))


def voids(sizes: Sizes) -> frozenset[str]:
    """Dimensions of the first sheet that a half of this kind does not have."""
    without = set() if sizes.rows > 1 else {"row_spacing"}
    if sizes.half_kind not in (None, "receptacle"):
        without |= {name for name in ("opening_length", "opening_width") if not sizes.known(name)}
    return frozenset(without)


def _kind(sizes: Sizes) -> str:
    return FEATURES["half_kind"].values[sizes.half_kind].split(" (")[0] if sizes.half_kind else "half of unknown kind"


def _span_above(name: str, seen: Seen, shape: HalfShape, fit: Fit) -> Span:
    sizes = seen.this
    if name == "pitch":
        first, last = gap_ends(shape.sites, seen.gaps)
        reach = 0.6 * sizes.mm("pitch")
        return Span(low=fit.x(first.x), high=fit.x(last.x), edges=(fit.y(first.y - reach), fit.y(first.y + reach)))
    if name == "row_spacing":
        upper, reach = _upper_row(sizes), max(abs(site.x) for site in shape.sites)
        edges = (fit.x(-reach), fit.x(reach))
        return Span(low=fit.y(upper), high=fit.y(upper + sizes.mm(name)), edges=edges)
    half, across = sizes.mm(name) / 2, sizes.mm(BREADTH[name]) / (4 if name == "overall_length" else 2)
    if name.endswith("length"):
        return Span(low=fit.x(-half), high=fit.x(half), edges=(fit.y(-across), fit.y(across)))
    return Span(low=fit.y(-half), high=fit.y(half), edges=(fit.x(-across), fit.x(across)))


def _upper_row(sizes: Sizes) -> float:
    """Position of the upper one of the two middle rows, mm."""
    return sizes.mm("row_spacing") * ((sizes.rows - 2) // 2 - (sizes.rows - 1) / 2)


def gap_ends(sites: Sequence[Site], gaps: int) -> tuple[Site, Site]:
    """The two contacts of the upper row's first group with this many gaps between them; 0 gaps: the first and the
    last."""
    row = [site for site in sites if site.row == sites[0].row and site.bank == sites[0].bank]
    return row[0], row[min(gaps or len(row), len(row) - 1)]


def _reach(sizes: Sizes) -> float:
    """How far a half reaches to each side, mm."""
    return max(sizes.mm("body_width"), sizes.mm("tail_span")) / 2


def _span_from_end(name: str, seen: Seen, fit: Fit) -> Span:
    stack = seen.pair.stack.value
    if name in ("mated_width", "other.body_width"):
        half = (seen.pair.width.value if name == "mated_width" else seen.other.mm("body_width")) / 2
        return Span(low=fit.x(-half), high=fit.x(half), edges=(fit.y(-stack), fit.y(0.0)))
    if name == "stack_height":
        reach = BOARD_BEYOND * max(_reach(seen.this), _reach(seen.other))
        return Span(low=fit.y(-stack), high=fit.y(0.0), edges=(fit.x(-reach), fit.x(reach)))
    sizes = seen.this if name == "height" else seen.other
    reach, top = sizes.mm("body_width") / 2, sizes.mm("height")
    hanging = name == "other.height" and seen.pair.upper is seen.other
    low, high = (-stack, top - stack) if hanging else (-top, 0.0)
    return Span(low=fit.y(low), high=fit.y(high), edges=(fit.x(-reach), fit.x(reach)))
