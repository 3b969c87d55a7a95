"""What fixes a half to its board, seen from above: hold-downs, power contacts, pegs, lands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from api.drawing.contact_sites import Site, tail_places
from api.drawing.geometry import Blocks, Discs, Part, Point, Polygon, Wire
from api.drawing.sizes import Sizes

TAB_WIDTH = 0.22
"""Width of a tab across the rows as a share of the body's width."""

WRAP_WIDTH = 0.66
"""Width across the rows of metal that wraps an end, the same."""

WRAP_DEPTH, WRAP_ARM = 0.2, 0.16
"""How far its arms reach back over the body, and how wide they are, the same."""

SIDE_TAB = 1.6
"""Length along the rows of a tab on a long side, in pitches."""

SMALL_PEG = 0.68
"""The smaller one of unequal pegs as a share of the other."""

HOLE = 0.36
"""Diameter of a hole with its ring, in pitches at the pin."""

SHIELD, LATCH = 0.035, 0.09
"""Thickness of a shield, and size of what latches, as shares of the body's width."""

POWER_WIDTH = 1.3
"""Width of a power contact in pitches."""


def hold_downs(sizes: Sizes) -> Iterable[Part]:
    """Fixing metal by its form; dashed tabs at the ends where the form is unknown."""
    form = sizes.form("hold_down_form", "end_tab")
    makers = {"end_tab": _end_tabs, "wrap_round": _wraps, "side_tab": _side_tabs, "through_board": _through}
    if form not in makers:
        return
    assumed = "hold_down_form" not in sizes.categories or not (form == "side_tab" or sizes.known("overall_length"))
    for shape in makers[form](sizes):
        yield Part(role="hold-down", shape=shape, feature="hold_downs", assumed=assumed, hidden=form == "through_board")


def _ends(sizes: Sizes) -> tuple[float, float]:
    """Half the body's length and half the overall length."""
    body = sizes.mm("body_length") / 2
    return body, max(sizes.mm("overall_length") / 2, 0.0)


def _end_tabs(sizes: Sizes) -> list[Blocks | Polygon | Discs]:
    body, tip = _ends(sizes)
    width = sizes.mm("body_width")
    inner = min(body - 0.06 * width, tip - 0.06 * width)
    places = (0.0,) if sizes.counts.get("hold_down_count") == 2 else (-0.33 * width, 0.33 * width)
    centres = tuple((side * (inner + tip) / 2, y) for side in (-1.0, 1.0) for y in places)
    return [Blocks(centres=centres, width=tip - inner, height=TAB_WIDTH * width)]


def _wraps(sizes: Sizes) -> list[Blocks | Polygon | Discs]:
    """A bracket round each end: a cheek outside the end wall, two arms laid over it."""
    body, tip = _ends(sizes)
    across = WRAP_WIDTH * sizes.mm("body_width") / 2
    arm = WRAP_ARM * sizes.mm("body_width")
    back = max(body - WRAP_DEPTH * sizes.mm("body_width"), 0.6 * body)
    cheek = min(body - 0.25 * (body - back), tip - 0.25 * (body - back))
    right = (
        (back, -across),
        (tip, -across),
        (tip, across),
        (back, across),
        (back, across - arm),
        (cheek, across - arm),
        (cheek, arm - across),
        (back, arm - across),
    )
    return [Polygon(points=tuple((side * x, y) for x, y in right)) for side in (-1.0, 1.0)]


def _side_tabs(sizes: Sizes) -> list[Blocks | Polygon | Discs]:
    width, tip = sizes.mm("body_width"), max(sizes.mm("tail_span"), 1.1 * sizes.mm("body_width"))
    length = SIDE_TAB * sizes.mm("pitch")
    x = max(sizes.mm("body_length") / 2 - length, 0.0)
    inner = 0.9 * width
    sides = (-1.0, 1.0) if sizes.counts.get("hold_down_count") != 2 else (1.0,)
    centres = tuple((end * x, side * (inner + tip) / 4) for end in (-1.0, 1.0) for side in sides)
    return [Blocks(centres=centres, width=length, height=(tip - inner) / 2)]


def _through(sizes: Sizes) -> list[Blocks | Polygon | Discs]:
    x = sizes.mm("body_length") / 2 - 0.12 * sizes.mm("body_width")
    return [Discs(centres=((-max(x, 0.0), 0.0), (max(x, 0.0), 0.0)), radius=0.08 * sizes.mm("body_width"))]


def power_contacts(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    """Wide contacts beyond the field of contacts; none if the hold-downs carry the power."""
    count = sizes.counts.get("power_contact_count", 0)
    if count == 0 or count == sizes.counts.get("hold_down_count"):
        return
    pitch, reach = sizes.mm("pitch"), max(site.x for site in sites)
    x = max((reach + sizes.mm("body_length") / 2) / 2, reach + 1.2 * pitch)
    rows = (0.0,) if count <= 2 else (-sizes.mm("row_spacing") / 2, sizes.mm("row_spacing") / 2)
    places = [(side * x, y) for y in rows for side in (-1.0, 1.0)][:count]
    shape = Blocks(centres=tuple(places), width=POWER_WIDTH * pitch, height=TAB_WIDTH * sizes.mm("body_width"))
    yield Part(role="power", shape=shape, feature="power_contacts", assumed=True)


def shield(sizes: Sizes) -> Iterable[Part]:
    """Sheet metal along the walls: along the long ones only where it is partial."""
    if not sizes.only("shield", "partial", "full"):
        return
    thick = SHIELD * sizes.mm("body_width")
    x, y = sizes.mm("body_length") / 2, (sizes.mm("body_width") - thick) / 2
    lines: list[tuple[Point, ...]] = [((-x, -y), (x, -y)), ((-x, y), (x, y))]
    if sizes.only("shield", "full"):
        inner = x - thick / 2
        lines += [((-inner, -y), (-inner, y)), ((inner, -y), (inner, y))]
    yield Part(role="shield", shape=Wire(lines=tuple(lines), thickness=thick), feature="shield")


def latches(sizes: Sizes) -> Iterable[Part]:
    """What latches at the ends: metal, hooks of the moulding, or screws."""
    style, width = sizes.form("latch_style", ""), sizes.mm("body_width")
    x = sizes.mm("body_length") / 2 - LATCH * width
    places = ((-x, 0.0), (x, 0.0))
    if style in ("metal_snap", "housing_snap"):
        shape = Blocks(centres=places, width=LATCH * width, height=3 * LATCH * width)
        yield Part(
            role="latch" if style == "metal_snap" else "raised", shape=shape, feature="latch_style", assumed=True
        )
    elif style == "screwed":
        shape_of_screws = Discs(centres=places, radius=LATCH * width)
        yield Part(role="latch", shape=shape_of_screws, feature="latch_style", assumed=True)


def pegs(sizes: Sizes) -> Iterable[Part]:
    """Pegs at the back, as wide as their holes, if they are certain or their holes are known; dashed, since the body
    hides them."""
    keys = sizes.categories.get("keying", frozenset())
    if not (sizes.only("pegs", "present") or sizes.known("peg_hole_span") or "unequal_pegs" in keys):
        return
    x, usual = sizes.mm("peg_hole_span") / 2, sizes.mm("peg_hole_diameter") / 2
    second = SMALL_PEG if "unequal_pegs" in keys else 1.0
    for place, radius in ((-x, usual), (x, second * usual)):
        shape = Discs(centres=((place, 0.0),), radius=radius)
        yield Part(role="peg", shape=shape, feature="pegs", assumed=not sizes.known("peg_hole_span"), hidden=True)


def lands(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    """The copper of the board: lands or holes of the contacts, lands of the hold-downs."""
    form = sizes.form("tail_form", "gull_out")
    if form in ("pin", "ball"):
        yield _holes(sizes, sites, form)
    elif sizes.rows <= 2:
        yield from _contact_lands(sizes, sites)
    if sizes.form("hold_down_form", "end_tab") in ("end_tab", "wrap_round") or sizes.known("hold_down_land_span"):
        yield _hold_down_lands(sizes)


def _holes(sizes: Sizes, sites: Sequence[Site], form: str) -> Part:
    scale = sizes.mm("land_row_spacing") / sizes.mm("row_spacing")
    centres: tuple[Point, ...] = tuple((site.x, site.y * scale) for site in sites if not site.blocked)
    outermost = max(abs(y) for _, y in centres)
    radius = HOLE * sizes.mm("pitch")
    if form == "ball" and sizes.known("land_span"):
        radius = max(sizes.mm("land_span") / 2 - outermost, 0.1 * sizes.mm("pitch"))
    shape = Discs(centres=centres, radius=radius)
    return Part(role="land", shape=shape, feature="lands", assumed=not sizes.known("pitch", "land_row_spacing"))


def _contact_lands(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    tip, length = sizes.mm("land_span") / 2, sizes.mm("land_length")
    known = sizes.known("land_span", "pitch")
    for side in (-1.0, 1.0):
        centres = tuple((x, side * (tip - length / 2)) for x in tail_places(sizes, sites, side))
        shape = Blocks(centres=centres, width=sizes.mm("land_width"), height=length)
        if centres:
            yield Part(role="land", shape=shape, feature="lands", assumed=not known)


def _hold_down_lands(sizes: Sizes) -> Part:
    tip, width = sizes.mm("hold_down_land_span") / 2, sizes.mm("body_width")
    inner = min(sizes.mm("body_length") / 2 - 0.08 * width, 0.95 * tip)
    centres = tuple((side * (inner + tip) / 2, 0.0) for side in (-1.0, 1.0))
    shape = Blocks(centres=centres, width=tip - inner, height=0.9 * width)
    return Part(role="land", shape=shape, feature="hold_down_lands", assumed=not sizes.known("hold_down_land_span"))
