"""A land pattern as files: `.kicad_mod` for board programs and SVG at 1:1 for paper. Both name source and licence."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from api.drawing.svg import NAMESPACE, element, escape, number, words
from api.fitting.lands.pattern_geometry import Corner, bounds, first_mark, is_contact, outline_of
from catalog.model.land_pattern import LandPattern, LandsAlike, Stroke

SUFFIXES = (".kicad_mod", ".svg")

CALCULATED = "Calculated, for a dummy only: not its maker's lands."
CHECK = "Check them against the maker's drawing before a board is made."

WIDTHS = {"F.CrtYd": 0.05, "F.Fab": 0.1}
"""Line widths of layers, mm: common practice of the format's libraries."""

MARGIN, LETTERS, LEADING, RULER = 4.0, 2.0, 2.8, 10.0
"""Border, height of letters, distance of lines and length of the check ruler of the SVG, mm."""

NARROWEST = 70.0
"""Width of the SVG that holds a line of its caption, mm."""

LETTER_SHARE = 0.56
"""Mean width of a letter as a share of its height."""


def told(pattern: LandPattern, name: str) -> tuple[str, ...]:
    """What must stand beside the lands wherever they go: whose they are, where they are from, and the licence."""
    first = f"{name}: lands, seen from the side on which the half sits."
    if pattern.basis == "calculated":
        return first, CALCULATED, f"Method: {pattern.source}.", CHECK
    return first, f"Source: {pattern.source}. Licence: {pattern.licence or 'not stated'}.", CHECK


def kicad_mod(pattern: LandPattern, name: str) -> str:
    """The pattern as an open footprint file, coordinates to a nanometre."""
    holes = sum(len(alike.at) for alike in pattern.lands if alike.kind == "thru_hole")
    surface = sum(len(alike.at) for alike in pattern.lands if alike.kind == "smd")
    box = bounds(pattern)
    lines = [
        f"(footprint {_quoted(name)} (version 20211014) (generator otherhalf)",
        '(layer "F.Cu")',
        f"(descr {_quoted(' '.join(told(pattern, name)))})",
        f"(attr {'through_hole' if holes > surface else 'smd'})",
        _text("reference", "REF**", box.top - 2.0, "F.SilkS"),
        _text("value", name, box.bottom + 2.0, "F.Fab"),
        *(_line(stroke, "F.CrtYd") for stroke in pattern.courtyard),
        *(_line(stroke, "F.Fab") for stroke in outline_of(pattern.body)),
        *_first(pattern),
        *(_pad(alike, at) for alike in pattern.lands for at in alike.at),
        *(_keepout(area) for area in pattern.keepouts),
    ]
    return "\n  ".join(lines) + "\n)\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _mm(length: float) -> str:
    text = f"{length:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _text(what: str, said: str, y: float, layer: str) -> str:
    effects = "(effects (font (size 1 1) (thickness 0.15)))"
    return f'(fp_text {what} {_quoted(said)} (at 0 {_mm(y)}) (layer "{layer}") {effects})'


def _line(stroke: Stroke, layer: str) -> str:
    x0, y0, x1, y1 = map(_mm, stroke)
    return f'(fp_line (start {x0} {y0}) (end {x1} {y1}) (layer "{layer}") (width {WIDTHS[layer]}))'


def _points(corners: tuple[Corner, ...]) -> str:
    return " ".join(f"(xy {_mm(x)} {_mm(y)})" for x, y in corners)


def _first(pattern: LandPattern) -> Iterator[str]:
    mark = first_mark(pattern)
    if mark:
        yield f'(fp_poly (pts {_points(mark)}) (layer "F.SilkS") (width 0.1) (fill solid))'


def _pad(alike: LandsAlike, at: tuple[str, float, float]) -> str:
    name, x, y = at
    turn = f" {_mm(alike.turn)}" if alike.turn else ""
    layers = " ".join(_quoted(layer) for layer in alike.all_layers)
    parts = [
        f"(pad {_quoted(name)} {alike.kind} {alike.shape} (at {_mm(x)} {_mm(y)}{turn})",
        f"(size {_mm(alike.width)} {_mm(alike.height)})",
    ]
    drill = [*(["oval"] if len(alike.drill) > 1 else []), *map(_mm, alike.drill)]
    aside = [f"(offset {' '.join(map(_mm, alike.offset))})"] if any(alike.offset) else []
    if drill or aside:
        parts.append(f"(drill {' '.join([*drill, *aside])})")
    parts.append(f"(layers {layers})")
    if alike.shape == "roundrect":
        parts.append(f"(roundrect_rratio {_mm(alike.rounding)})")
    return f"{' '.join(parts)})"


def _keepout(area: tuple[Corner, ...]) -> str:
    """An area of all copper layers without tracks, vias and poured copper: what a source forbids there is not kept one
    by one, so that all of it is forbidden."""
    forbidden = "(tracks not_allowed) (vias not_allowed) (pads allowed) (copperpour not_allowed) (footprints allowed)"
    return (
        '(zone (net 0) (net_name "") (layers "*.Cu") (hatch edge 0.508) (connect_pads (clearance 0)) '
        f"(min_thickness 0.254) (keepout {forbidden}) (fill (thermal_gap 0.508) (thermal_bridge_width 0.508)) "
        f"(polygon (pts {_points(area)})))"
    )


def svg(pattern: LandPattern, name: str) -> str:
    """The pattern on paper at 1:1, with a ruler of 10 mm. Every piece says in words what it is."""
    box = bounds(pattern)
    width = max(NARROWEST, box.right - box.left + 2 * MARGIN)
    across = int((width - 2 * MARGIN) / (LETTERS * LETTER_SHARE))
    legend = "Arrowhead: land 1. " if first_mark(pattern) else "Land 1 is not known. "
    legend += "Dark: lands of contacts; light: other copper, such as hold-downs; rings: holes; dashed: courtyard"
    legend += "; dotted: no copper." if pattern.keepouts else "."
    said = [*told(pattern, name), legend, f"The bar is {RULER:g} mm long: print at 100 %."]
    lines = [line for sentence in said for line in textwrap.wrap(sentence, across)]
    middle = (box.left + box.right) / 2
    left, top = middle - width / 2, box.top - MARGIN
    below = box.bottom + MARGIN
    height = below - top + 3.0 + LEADING * len(lines) + MARGIN
    content = [
        element("title", {}, escape(f"Lands of {name}")),
        element("rect", {"x": left, "y": top, "width": width, "height": height, "fill": "#fff"}),
        *_drawn(pattern),
        element("path", {"d": _ruler(left + MARGIN, below), "stroke": "#000", "stroke-width": 0.2, "fill": "none"}),
        *(
            words("said", left + MARGIN, below + 4.5 + LEADING * place, LETTERS, line, anchor="start")
            for place, line in enumerate(lines)
        ),
    ]
    view = " ".join(map(number, (left, top, width, height)))
    size = {"width": f"{number(width)}mm", "height": f"{number(height)}mm"}
    return element("svg", {"xmlns": NAMESPACE, "viewBox": view, **size, "font-family": "sans-serif"}, *content) + "\n"


def _ruler(x: float, y: float) -> str:
    return f"M{number(x)},{number(y - 1)}v2M{number(x)},{number(y)}h{number(RULER)}m0,-1v2"


def _drawn(pattern: LandPattern) -> Iterator[str]:
    for area in pattern.keepouts:
        corners = " ".join(f"{number(x)},{number(y)}" for x, y in area)
        yield element(
            "polygon", {"class": "keep-out", "points": corners, **_thin("#a33"), "stroke-dasharray": "0.3 0.3"}
        )
    for css, strokes, dashes in (("courtyard", pattern.courtyard, "1 0.5"), ("body", outline_of(pattern.body), None)):
        d = "".join(f"M{number(x0)},{number(y0)}L{number(x1)},{number(y1)}" for x0, y0, x1, y1 in strokes)
        if d:
            yield element("path", {"class": css, "d": d, **_thin("#555"), "stroke-dasharray": dashes})
    for alike in pattern.lands:
        for name, x, y in alike.at:
            yield from _land(alike, name, x, y)
    mark = first_mark(pattern)
    if mark:
        corners = " ".join(f"{number(x)},{number(y)}" for x, y in mark)
        yield element("polygon", {"class": "first", "points": corners, "fill": "#000"})


def _thin(colour: str) -> dict[str, str | float | None]:
    return {"fill": "none", "stroke": colour, "stroke-width": 0.1}


def _land(alike: LandsAlike, name: str, x: float, y: float) -> Iterator[str]:
    """One land with its hole; a number is its tooltip."""
    turned = f"translate({number(x)} {number(y)}) rotate({number(-alike.turn)})"
    if alike.kind != "np_thru_hole":
        contact = is_contact(name)
        corner = {"rect": 0.0, "roundrect": alike.rounding}.get(alike.shape, 0.5) * min(alike.width, alike.height)
        yield element(
            "rect",
            {
                "class": "contact" if contact else "other",
                "transform": turned,
                "x": alike.offset[0] - alike.width / 2,
                "y": alike.offset[1] - alike.height / 2,
                "width": alike.width,
                "height": alike.height,
                "rx": corner or None,
                "fill": "#a86a2a" if contact else "#dcb98d",
            },
            element("title", {}, escape(name or "no number")),
        )
    if alike.drill:
        across, down = alike.drill[0], alike.drill[-1]
        yield element(
            "rect",
            {
                "class": "peg" if alike.kind == "np_thru_hole" else "hole",
                "transform": turned,
                "x": -across / 2,
                "y": -down / 2,
                "width": across,
                "height": down,
                "rx": min(across, down) / 2,
                "fill": "#fff",
                "stroke": "#000",
                "stroke-width": 0.1,
            },
        )
