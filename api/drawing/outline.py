"""A half seen from above, on its mating face, as shapes in mm around the centre of the contact field."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from api.drawing.contact_sites import Site, contact_sites, tail_places
from api.drawing.fittings import hold_downs, lands, latches, pegs, power_contacts, shield
from api.drawing.geometry import Blocks, Box, Part, Point, Polygon, bounds_of, rectangle
from api.drawing.proportions import SLIMMEST
from api.drawing.sizes import Sizes

CHAMFER, END_CUT = 0.22, 0.26
"""A cut corner, and the two cut corners of a shaped end, as a share of the body's width."""

CORNER_LEFT = 0.85
"""Largest share of the plastic between a corner of the pocket and one of the body that a cut may remove."""

PROUD = 0.02
"""How far a plug's bent contacts stand proud of its wall, as a share of its width."""

BEYOND_FIELD = 0.7
"""How far trough and island reach beyond the outermost contact centres, in pitches."""

ISLAND_SHARE, TROUGH_SHARE = 0.42, 0.44
"""Width of a receptacle's island and of a plug's trough, as a share of the row spacing."""

SOCKET = 0.56
"""Mouth of a socket for a straight pin, in pitches."""

NOTCH = 0.13
"""Depth of the notch between two cells of a pin header, in pitches."""

FIRST_PITCHES, FIRST_SHARE, FIRST_APART = 0.7, 0.022, 0.25
"""Size of the arrowhead at contact 1, in pitches and at least this share of the half's length; its distance from the
half, as a share of its size."""

RIB = 0.12
"""Width of a rib as a share of the body's width."""


@dataclass(frozen=True, kw_only=True)
class HalfShape:
    """One half from above: its parts from the lowest to the uppermost, and its contact sites."""

    sizes: Sizes
    parts: tuple[Part, ...]
    sites: tuple[Site, ...]


def half_shape(sizes: Sizes, *, with_lands: bool = False) -> HalfShape:
    """The half from above; ``with_lands`` adds the lands of its board underneath."""
    sites = contact_sites(sizes)
    fixing = list(hold_downs(sizes))
    over = sizes.form("hold_down_form", "") == "wrap_round"
    parts = [
        *(lands(sizes, sites) if with_lands else ()),
        *tails(sizes, sites),
        *(() if over else fixing),
        _body(sizes),
        *(fixing if over else ()),
        *_face(sizes, sites),
        *_keys(sizes),
        *shield(sizes),
        *latches(sizes),
        *power_contacts(sizes, sites),
        *mating_contacts(sizes, sites),
        *pegs(sizes),
    ]
    parts += first_mark(sizes, sites, bounds_of(parts))
    return HalfShape(sizes=sizes, parts=tuple(parts), sites=sites)


def first_mark(sizes: Sizes, sites: Sequence[Site], half: Box) -> Iterable[Part]:
    """An arrowhead outside the half that points at contact 1, where its place is stated."""
    for site in sites:
        if (site.row, site.position) == sizes.first:
            below = site.y > 0 or (sizes.rows > 1 and site.row == sizes.rows)
            tip, away = (half.bottom, 1.0) if below else (half.top, -1.0)
            size = max(FIRST_PITCHES * sizes.mm("pitch"), FIRST_SHARE * half.width)
            base = tip + away * (FIRST_APART + 1.0) * size
            points = ((site.x, tip + away * FIRST_APART * size), (site.x - size / 2, base), (site.x + size / 2, base))
            yield Part(role="first", shape=Polygon(points=points))


def sideways(sizes: Sizes) -> bool:
    """Whether it mates along its own board."""
    return sizes.only("orientation", "right_angle", "coplanar")


def has_opening(sizes: Sizes) -> bool:
    """Whether a pocket is drawn: a receptacle that is no plain block of sockets, or whose pocket is known."""
    if sizes.kind != "receptacle":
        return False
    plain = sizes.form("tail_form", "") == "pin"
    return not plain or sizes.known("opening_width") or sizes.known("opening_length")


def has_island(sizes: Sizes) -> bool:
    """Whether a bar is drawn between the rows: where it is stated, or usual in a two-row pocket."""
    if "centre_island" in sizes.categories:
        return sizes.only("centre_island", "yes")
    return sizes.kind == "receptacle" and sizes.rows == 2 and not sizes.gridded


def island_share(sizes: Sizes) -> float:
    """Width of the island as a share of the row spacing; a plug's stands in its trough and is narrower."""
    return ISLAND_SHARE if sizes.kind != "plug" else 0.4 * TROUGH_SHARE


def _body(sizes: Sizes) -> Part:
    length, width = sizes.mm("body_length"), sizes.mm("body_width")
    known = sizes.known("body_length", "body_width") and sizes.half_kind is not None
    return Part(role="plastic", shape=_outline(sizes, length, width), feature="body", assumed=not known)


def _outline(sizes: Sizes, length: float, width: float) -> Polygon:
    """The body with its cut corner or shaped end; its extent stays length × width."""
    keys = sizes.categories.get("keying", frozenset())
    most = min(length / 4, _corner_room(sizes, length, width))
    corner = min(CHAMFER * width, most) if "corner_chamfer" in keys else 0.0
    end = min(END_CUT * width, most) if "end_shape" in keys else 0.0
    x, y = length / 2, width / 2
    notches = _notches(sizes, width)
    corners = [
        *_cut((-x, -y), (0.0, corner), (corner, 0.0)),
        *notches,
        *_cut((x, -y), (-end, 0.0), (0.0, end)),
        *_cut((x, y), (0.0, -end), (-end, 0.0)),
        *((-px, -py) for px, py in notches),
        (-x, y),
    ]
    return Polygon(points=tuple(corners))


def _corner_room(sizes: Sizes, length: float, width: float) -> float:
    """How much of a corner can be cut before the cut reaches the pocket, mm."""
    if not has_opening(sizes):
        return length
    walls = (length - sizes.mm("opening_length")) / 2 + (width - sizes.mm("opening_width")) / 2
    return max(CORNER_LEFT * walls, 0.0)


def _notches(sizes: Sizes, width: float) -> list[Point]:
    """Notches along the upper edge between the cells of a block that consists only of its pins' cells."""
    pitch = sizes.mm("pitch")
    plain = sizes.form("tail_form", "") == "pin" and sizes.form("keying", "none") in ("none", "blocked_position")
    if (
        not plain
        or sizes.banks > 1
        or width > (sizes.rows + 0.6) * pitch
        or sizes.mm("body_length") < pitch * sizes.positions
    ):
        return []
    deep, first = NOTCH * pitch, (1 - sizes.positions / 2) * pitch
    between = [first + pitch * place for place in range(sizes.positions - 1)]
    return [(x + dx, -width / 2 + dy) for x in between for dx, dy in ((-deep, 0.0), (0.0, deep), (deep, 0.0))]


def _cut(corner: Point, before: Point, after: Point) -> list[Point]:
    points = [(corner[0] + before[0], corner[1] + before[1]), (corner[0] + after[0], corner[1] + after[1])]
    return points[:1] if points[0] == points[1] else points


def _face(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    """The moulding on the mating face: pocket and island, or trough."""
    kind = sizes.kind
    if has_opening(sizes):
        yield _pocket(sizes)
    elif kind == "hermaphroditic":
        yield from _two_natures(sizes)
    elif kind == "plug" and sizes.rows == 2 and not sizes.gridded:
        yield _bar(sizes, sites, "well", trough_width(sizes))
    if has_island(sizes):
        across = sizes.mm("row_spacing") if sizes.rows > 1 else sizes.mm("body_width") / 2
        yield _bar(sizes, sites, "raised", min(island_share(sizes) * across, 0.5 * sizes.mm("body_width")))


def trough_width(sizes: Sizes) -> float:
    """Width of the trough between a plug's two rows, mm."""
    if sizes.known("wall_thickness"):
        return max(sizes.mm("body_width") - 2 * sizes.mm("wall_thickness"), SLIMMEST * sizes.mm("body_width"))
    return min(TROUGH_SHARE * sizes.mm("row_spacing"), 0.5 * sizes.mm("body_width"))


def _pocket(sizes: Sizes) -> Part:
    box = Box.centred(sizes.mm("opening_length"), sizes.mm("opening_width"))
    known = sizes.known("opening_length", "opening_width")
    return Part(role="well", shape=rectangle(box), feature="opening", assumed=not known)


def _bar(sizes: Sizes, sites: Sequence[Site], role: str, width: float) -> Part:
    """An island or trough between two rows, or on the middle line of one."""
    reach = 2 * (max(site.x for site in sites) + BEYOND_FIELD * sizes.mm("pitch"))
    length = min(reach, 0.96 * sizes.mm("opening_length" if role == "raised" else "body_length"))
    box = Box.centred(length, width)
    return Part(role=role, shape=rectangle(box), assumed=True)


def _two_natures(sizes: Sizes) -> Iterable[Part]:
    """A hermaphroditic face: a raised rail along one row, a pocket for the other's rail along the other row."""
    length, width = sizes.mm("opening_length"), sizes.mm("body_width")
    for role, side in (("raised", -1.0), ("well", 1.0)):
        box = Box.centred(length, 0.40 * width, y=side * 0.235 * width)
        yield Part(role=role, shape=rectangle(box), assumed=True)


def _keys(sizes: Sizes) -> Iterable[Part]:
    """A rib at one end, off the middle line."""
    if "offset_rib" not in sizes.categories.get("keying", frozenset()):
        return
    width = sizes.mm("body_width")
    inner = sizes.mm("opening_length") if has_opening(sizes) else sizes.mm("body_length")
    role = "key" if has_opening(sizes) else "well"
    deep = RIB * width
    box = Box.centred(deep, deep, x=inner / 2 - deep / 2, y=0.2 * width)
    yield Part(role=role, shape=rectangle(box), feature="keying", assumed=True)


def mating_contacts(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    """The mating metal, one part per row, and the sites left out."""
    width, length = sizes.mm("contact_width"), contact_length(sizes)
    known = sizes.known("pitch") and sizes.counted and (sizes.rows == 1 or sizes.known("row_spacing"))
    free = [site for site in sites if not site.blocked]
    if sizes.gridded and sizes.kind == "receptacle" and not has_opening(sizes):
        mouth = min(SOCKET * sizes.mm("pitch"), SOCKET * sizes.mm("body_width") / max(sizes.rows, 1))
        yield Part(role="well", shape=Blocks(centres=_centres(free), width=mouth, height=mouth), assumed=not known)
    for row in range(1, sizes.rows + 1):
        centres = _centres(site for site in free if site.row == row)
        if centres:
            shape = Blocks(centres=centres, width=width, height=length)
            yield Part(role="metal", shape=shape, feature="contacts", assumed=not known)
    blocked = _centres(site for site in sites if site.blocked)
    if blocked:
        yield Part(role="blocked", shape=Blocks(centres=blocked, width=width, height=length))


def contact_length(sizes: Sizes) -> float:
    """Length of the mating metal across the rows, around its row's centre line, mm."""
    if sizes.gridded:
        return sizes.mm("contact_width") * (1.0 if sizes.form("tail_form", "") == "pin" else 1.8)
    row = sizes.mm("row_spacing") / 2 if sizes.rows > 1 else 0.0
    width = sizes.mm("body_width")
    reach = {"plug": (0.5 + PROUD) * width, "receptacle": sizes.mm("opening_width") / 2}.get(sizes.kind, 0.42 * width)
    inner = row * (1 - ISLAND_SHARE) if sizes.rows > 1 else 0.3 * width
    return 2 * max(min(reach - row, inner), 0.05 * width)


def _centres(sites: Iterable[Site]) -> tuple[Point, ...]:
    return tuple((site.x, site.y) for site in sites)


def tails(sizes: Sizes, sites: Sequence[Site]) -> Iterable[Part]:
    """The metal towards the board where it can be seen from above, or dashed where the body hides it."""
    if sizes.gridded:
        return
    tip, wall = sizes.mm("tail_span") / 2, sizes.mm("body_width") / 2
    hidden = tip <= wall
    root = min(wall, 0.7 * tip) if hidden else wall - min(0.1 * wall, tip - wall)
    known = sizes.known("tail_span", "pitch") and "tail_form" in sizes.categories
    for side in (-1.0, 1.0):
        places = tail_places(sizes, sites, side)
        shape = Blocks(
            centres=tuple((x, side * (tip + root) / 2) for x in places),
            width=sizes.mm("contact_width"),
            height=tip - root,
        )
        if places:
            yield Part(role="tail", shape=shape, feature="tails", assumed=not known, hidden=hidden)
