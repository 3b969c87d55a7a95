"""A half cut across its rows and seen from the end, standing on its board.

x runs across the rows, y down: the board's surface is y = 0 and a height z lies at y = −z. mm.
"""

from __future__ import annotations

from collections.abc import Iterable

from api.drawing.contact_sites import one_sided
from api.drawing.geometry import Blocks, Box, Discs, Part, Point, Polygon, Wire, rectangle
from api.drawing.outline import ISLAND_SHARE, has_island, has_opening, island_share, sideways, trough_width
from api.drawing.sizes import Sizes

FLOOR, ISLAND_TOP, SPRING_TOP = 0.20, 0.86, 0.80
"""Floor of a pocket, top of its island and of its springs, as shares of the height."""

ENTRY = 0.16
"""Height at which a gull tail leaves the body, the same."""

SHEET, THIN = 0.085, 0.03
"""Thickness of contact metal as a share of the height, and the least as a share of the width."""

BLOCK = 0.36
"""Height of a pin header's plastic as a share of the whole, where that is less than a pitch."""

RAIL, RAIL_GAP, REST = 0.435, 0.04, 0.5
"""Outer and inner wall of a hermaphroditic rail as shares of the width; height of the body beside it."""


def section(sizes: Sizes) -> tuple[Part, ...]:
    """The half from the end, without its board: body, then metal."""
    if sideways(sizes):
        return tuple(_sideways(sizes))
    if sizes.gridded:
        return tuple(_grid(sizes))
    body = {"plug": _plug_body, "receptacle": _receptacle_body, "hermaphroditic": _rail_body}[sizes.kind]
    metal = {"plug": _plug_metal, "receptacle": _receptacle_metal, "hermaphroditic": _rail_metal}[sizes.kind]
    known = sizes.known("body_width", "height") and sizes.half_kind is not None
    lines = [*metal(sizes, 1.0), *(() if one_sided(sizes) else metal(sizes, -1.0))]
    wire = Wire(lines=tuple(lines), thickness=sheet(sizes))
    return (
        Part(role="plastic", shape=Polygon(points=tuple(body(sizes))), feature="body", assumed=not known),
        Part(role="wire", shape=wire, feature="contacts", assumed="tail_form" not in sizes.categories),
    )


def sheet(sizes: Sizes) -> float:
    """Thickness of contact metal, mm."""
    return max(min(SHEET * sizes.mm("height"), 0.05 * sizes.mm("body_width")), THIN * sizes.mm("body_width") / 2)


def board(sizes: Sizes, thickness: float, reach: float) -> Part:
    """The board under the half; its surface is y = 0. Its thickness is unknown, so it is drawn broken off below."""
    box = Box(left=-reach, top=0.0, right=reach, bottom=thickness)
    return Part(role="board", shape=rectangle(box), feature="board")


def _mirrored(right: list[Point]) -> list[Point]:
    """A closed outline from its right half, given from the board upwards to the middle."""
    return [*right, *((-x, y) for x, y in reversed(right))]


def _plug_body(sizes: Sizes) -> list[Point]:
    wall, top = sizes.mm("body_width") / 2, -sizes.mm("height")
    inner = _trough(sizes)
    if not inner:
        return _mirrored([(wall, 0.0), (wall, top)])
    right = [(wall, 0.0), (wall, top), (inner, top), (inner, 0.3 * top)]
    if has_island(sizes):
        bar = island_share(sizes) * sizes.mm("row_spacing") / 2
        right += [(bar, 0.3 * top), (bar, 0.8 * top)]
    return _mirrored(right)


def _trough(sizes: Sizes) -> float:
    """Half the width of a plug's trough, mm; 0 where it has none."""
    return trough_width(sizes) / 2 if sizes.rows == 2 else 0.0


def _receptacle_body(sizes: Sizes) -> list[Point]:
    wall, top, pocket = sizes.mm("body_width") / 2, -sizes.mm("height"), sizes.mm("opening_width") / 2
    floor = FLOOR * top
    right = [(wall, 0.0), (wall, top), (pocket, top), (pocket, floor)]
    if has_island(sizes):
        island = _island(sizes)
        right += [(island, floor), (island, ISLAND_TOP * top)]
    return _mirrored(right)


def _island(sizes: Sizes) -> float:
    """Half the width of the island, mm; in a pocket without an island, the position of its springs."""
    return min(ISLAND_SHARE * sizes.mm("row_spacing"), 0.5 * sizes.mm("opening_width")) / 2


def _rail_body(sizes: Sizes) -> list[Point]:
    """A rail on the left, a pocket for the mate's rail on the right."""
    width, top = sizes.mm("body_width"), -sizes.mm("height")
    return [
        (width / 2, 0.0),
        (width / 2, 0.72 * top),
        (RAIL * width, 0.72 * top),
        (RAIL * width, FLOOR * top),
        (-RAIL_GAP * width, FLOOR * top),
        (-RAIL_GAP * width, top),
        (-RAIL * width, top),
        (-RAIL * width, REST * top),
        (-width / 2, REST * top),
        (-width / 2, 0.0),
    ]


def tail_line(sizes: Sizes, root: float) -> list[Point]:
    """The right tail from its tip to where it turns upwards at ``root``, mm from the middle."""
    tip, wall, half = sizes.mm("tail_span") / 2, sizes.mm("body_width") / 2, sheet(sizes) / 2
    if tip <= wall:
        return [(tip, -half), (root, -half)]
    out, entry = tip - wall, -max(ENTRY * sizes.mm("height"), 3 * half)
    return [(tip, -half), (wall + 0.45 * out, -half), (wall + 0.2 * out, entry), (root, entry)]


def _turned(line: list[Point], side: float) -> tuple[Point, ...]:
    return tuple((side * x, y) for x, y in line)


def _plug_metal(sizes: Sizes, side: float) -> list[tuple[Point, ...]]:
    """A strip that leaves as a tail, climbs the outer wall and is bent over it into the trough."""
    half, top = sheet(sizes) / 2, -sizes.mm("height")
    outer = sizes.mm("body_width") / 2 + half
    if sizes.rows != 2:
        return [_turned([*tail_line(sizes, 0.2 * outer), (0.2 * outer, 0.97 * top)], side)]
    inner = max(_trough(sizes) + half, 0.12 * outer)
    tail = tail_line(sizes, outer)[:-1] if sizes.mm("tail_span") > sizes.mm("body_width") else tail_line(sizes, outer)
    climb = [*tail, (outer, tail[-1][1]), (outer, top + half), (inner, top + half), (inner, 0.5 * top)]
    return [_turned(climb, side)]


def _receptacle_metal(sizes: Sizes, side: float) -> list[tuple[Point, ...]]:
    """A leg along the wall and a spring beside the island, bent to a U that takes the plug's wall."""
    half, top = sheet(sizes) / 2, -sizes.mm("height")
    pocket = sizes.mm("opening_width") / 2 - half
    inner = (_island(sizes) if sizes.rows > 1 else 0.2 * pocket) + half
    base = FLOOR * top - half
    leg = [*tail_line(sizes, pocket), (pocket, SPRING_TOP * top)]
    bulge = inner + 0.16 * (pocket - inner)
    spring = [(pocket, base), (inner, base), (inner, 0.5 * top), (bulge, 0.64 * top), (inner, SPRING_TOP * top)]
    return [_turned(leg, side), _turned(spring, side)]


def _rail_metal(sizes: Sizes, side: float) -> list[tuple[Point, ...]]:
    row, top = sizes.mm("row_spacing") / 2 * max(sizes.rows - 1, 1), -sizes.mm("height")
    reach = 0.96 if side < 0 else 0.66
    return [_turned([*tail_line(sizes, row), (row, reach * top)], side)]


def _rows(sizes: Sizes, spacing: str) -> list[float]:
    return [sizes.mm(spacing) * (row - (sizes.rows - 1) / 2) for row in range(sizes.rows)]


def _grid(sizes: Sizes) -> Iterable[Part]:
    """A block with pins, sockets or blades; pins go through the board, balls stand on it."""
    width, height = sizes.mm("body_width"), sizes.mm("height")
    foot = 0.0 if sizes.form("tail_form", "pin") != "ball" else 2 * _ball(sizes)
    posts = sizes.kind != "receptacle"
    top = foot + (min(BLOCK * height, max(sizes.mm("pitch"), BLOCK * height / 2)) if posts else height - foot)
    known = sizes.known("body_width", "height") and sizes.half_kind is not None
    yield from _grid_tails(sizes)
    box = Box(left=-width / 2, top=-top, right=width / 2, bottom=-foot)
    yield Part(role="plastic", shape=rectangle(box), feature="body", assumed=not known)
    if posts:
        yield _uprights(sizes, "metal", sizes.mm("contact_width"), foot, height)
        return
    if has_opening(sizes):
        pocket = Box.centred(sizes.mm("opening_width"), 0.6 * height, y=-0.7 * height)
        yield Part(role="well", shape=rectangle(pocket), assumed=not sizes.known("opening_width"))
        yield _uprights(sizes, "metal", sizes.mm("contact_width"), 0.2 * height, 0.8 * height)
        return
    mouth = min(0.56 * sizes.mm("pitch"), 0.7 * width / sizes.rows)
    yield _uprights(sizes, "well", mouth, 0.2 * height, height)
    yield _leaves(sizes, mouth)


def _uprights(sizes: Sizes, role: str, width: float, low: float, high: float) -> Part:
    """One upright block per row between two heights."""
    centres = tuple((x, -(low + high) / 2) for x in _rows(sizes, "row_spacing"))
    shape = Blocks(centres=centres, width=width, height=high - low)
    return Part(role=role, shape=shape, feature="contacts", assumed=not sizes.known("height"))


def _leaves(sizes: Sizes, mouth: float) -> Part:
    """The pair of springs inside each socket."""
    height = sizes.mm("height")
    lines = []
    for x in _rows(sizes, "row_spacing"):
        for side in (-1.0, 1.0):
            wall, pinch = x + side * 0.42 * mouth, x + side * 0.16 * mouth
            lines.append(((wall, -0.24 * height), (pinch, -0.66 * height), (wall, -0.88 * height)))
    return Part(role="wire", shape=Wire(lines=tuple(lines), thickness=0.1 * mouth), assumed=True)


def _ball(sizes: Sizes) -> float:
    return min(0.26 * sizes.mm("pitch"), 0.12 * sizes.mm("height"))


def _grid_tails(sizes: Sizes) -> Iterable[Part]:
    rows = _rows(sizes, "land_row_spacing" if sizes.known("land_row_spacing") else "row_spacing")
    form = sizes.form("tail_form", "pin")
    if form == "ball":
        radius = _ball(sizes)
        yield Part(role="tail", shape=Discs(centres=tuple((x, -radius) for x in rows), radius=radius), assumed=True)
    elif form == "pin":
        below = sizes.mm("tail_length")
        centres = tuple((x, below / 2) for x in rows)
        shape = Blocks(centres=centres, width=sizes.mm("contact_width"), height=below)
        yield Part(role="tail", shape=shape, assumed=True)
    else:
        outermost = [*tail_line(sizes, rows[-1]), (rows[-1], -0.3 * sizes.mm("height"))]
        lines = (_turned(outermost, 1.0), _turned(outermost, -1.0))
        yield Part(role="wire", shape=Wire(lines=lines, thickness=sheet(sizes)), assumed=True)


def _sideways(sizes: Sizes) -> Iterable[Part]:
    """A half that mates along its board, towards the right."""
    width, height = sizes.mm("body_width"), sizes.mm("height")
    body = rectangle(Box(left=-width / 2, top=-height, right=width / 2, bottom=0.0))
    known = sizes.known("body_width", "height") and sizes.half_kind is not None
    yield Part(role="plastic", shape=body, feature="body", assumed=not known)
    around = sizes.kind == "receptacle"
    mouth = Box(left=-0.15 * width, top=-0.84 * height, right=width / 2, bottom=-0.16 * height)
    if around or sizes.gridded:
        yield Part(role="well", shape=rectangle(mouth), assumed=True)
    thick = max(sheet(sizes), sizes.mm("contact_width") * 0.4)
    lines = tuple(tuple(line) for line in _sideways_lines(sizes))
    yield Part(role="wire", shape=Wire(lines=lines, thickness=thick), feature="contacts", assumed=True)


def _sideways_lines(sizes: Sizes) -> Iterable[list[Point]]:
    width, height = sizes.mm("body_width"), sizes.mm("height")
    for row in range(sizes.rows):
        z = height * (row + 1) / (sizes.rows + 1)
        end = (0.42 * width, -z)
        if sizes.form("tail_form", "gull_out") == "pin":
            leg = -width / 2 + width * 0.3 - row * sizes.mm("land_row_spacing") * 0.5
            yield [(leg, sizes.mm("tail_length")), (leg, -z), end]
        else:
            tip = sizes.mm("tail_span") / 2
            foot = sheet(sizes) / 2
            yield [(-tip, -foot), (-width / 2 - 0.4 * max(tip - width / 2, 0.0), -foot), (-0.48 * width, -z), end]
