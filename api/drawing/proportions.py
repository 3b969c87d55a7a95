"""Usual proportions for unknown sizes of a half, so that the drawing has a shape. They are never shown as figures.

The factors are common practice, no source: the middle of what such parts usually have.
"""

from __future__ import annotations

from collections.abc import Mapping

from api.drawing.sizes import Sizes

DEFAULT_PITCH = 0.5
"""Pitch drawn where neither it nor a length is known, mm."""

HEADER_PITCH = 2.54
"""The same for straight pins through the board, mm."""

END_ALLOWANCE = {"plug": 6.0, "receptacle": 7.5, "hermaphroditic": 7.5}
"""Plastic beyond the contact field along the rows, in pitches."""

WIDTH = {"plug": 5.2, "receptacle": 6.6, "hermaphroditic": 7.0}
"""Width of a two-row body in pitches."""

ROW_SPACING = {"plug": 0.68, "receptacle": 0.52, "hermaphroditic": 0.55}
"""Row spacing of a two-row body as a share of its width."""

OPENING_WIDTH = 0.82
"""A pocket's width as a share of the body's."""

OPENING_ENDS = 2.2
"""Both end walls of a pocket together, in pitches."""

TAILS_OUT = 1.18
"""Span over gull tails as a share of the body's width."""

TAILS_UNDER = 0.92
"""Span over tails that stay under the body, the same."""

LANDS_OUT = 1.09
"""Span over the lands as a share of the span over the tails."""

LAND_ROWS = 0.86
"""Row spacing of the lands as a share of the span over the tails."""

LAND_WIDTH = 0.55
"""Width of a land in pitches."""

LAND_LENGTH = 0.14
"""Length of a land as a share of the span over the lands, where their rows do not tell it."""

PEG = 0.22
"""Diameter of a peg's hole as a share of the body's width."""

PIN_BELOW = 1.1
"""How far a pin reaches below the board's surface, in pitches."""

TABS = 1.4
"""Hold-downs beyond both ends together, in pitches."""

TAB_LANDS = 0.5
"""Hold-down lands beyond the hold-downs, both ends together, in pitches."""

PEGS_INSIDE = 2.0
"""Peg holes nearer together than the body is long, in pitches."""

HEIGHT = {"plug": 0.5, "receptacle": 0.45, "hermaphroditic": 0.7}
"""Height as a share of the body's width."""

CONTACT_WIDTH, POST_WIDTH = 0.4, 0.25
"""Width of a contact in pitches: sprung or bent metal; a straight square pin (0.64 mm at 2.54 mm)."""

POST_HEIGHT = 3.0
"""Height of a pin header above the board in pitches."""

BANK_GAP = 3.0
"""Gap between groups of contacts in pitches."""

SLIMMEST = 0.2
"""Least share of a known outer size that an assumed inner one keeps."""


def proportions(given: Sizes) -> dict[str, float]:
    """Every dimension of the half, mm; known ones keep their value."""
    known = _known(given)
    pitch = known.get("pitch") or _pitch(given)
    gap = known.get("bank_gap", BANK_GAP * pitch)
    field = pitch * (given.positions - given.banks) + gap * (given.banks - 1)
    found = {"pitch": pitch, "bank_gap": gap, "contact_width": _contact_width(given) * pitch}
    found |= _across(given, pitch)
    found |= _along(given, pitch, field)
    found |= _single(given, pitch, found)
    found["height"] = _height(given, pitch, found["body_width"])
    to_both_sides = given.rows == 1 and given.positions > 1 and not given.only("tail_layout", "one_row")
    found["tail_pitch"] = pitch * (2.0 if to_both_sides else 1.0)
    return found | dict(known)


def _known(given: Sizes) -> Mapping[str, float]:
    return {feature: length.value for feature, length in given.lengths.items()}


def _tails(given: Sizes) -> str:
    """Form of the tails; empty where it is unknown."""
    return given.form("tail_form", "")


def _array(given: Sizes) -> bool:
    """Whether there are more rows than walls that could carry them."""
    return given.rows > 2 or _tails(given) == "ball"


def _pitch(given: Sizes) -> float:
    """The pitch from the longest known length along the rows, else from the width, else the usual one."""
    known = _known(given)
    allowance = 1.0 if given.gridded else END_ALLOWANCE[given.kind]
    for name, more in (
        ("body_length", 0.0),
        ("overall_length", TABS),
        ("opening_length", -OPENING_ENDS),
        ("hold_down_land_span", TABS + TAB_LANDS),
        ("peg_hole_span", -PEGS_INSIDE),
    ):
        if name in known:
            return known[name] / (given.positions - 1 + max(allowance + more, 1.0))
    for name in ("tail_pitch", "body_width", "tail_span", "land_span"):
        if name in known:
            return known[name] / (1.0 if name == "tail_pitch" else _widths(given))
    return HEADER_PITCH if _tails(given) == "pin" else DEFAULT_PITCH


def _widths(given: Sizes) -> float:
    """A usual body width in pitches."""
    if _array(given) and _tails(given) != "pin":
        return given.rows - 1 + 3.0
    return float(given.rows) if given.gridded else WIDTH[given.kind]


def _contact_width(given: Sizes) -> float:
    return POST_WIDTH if given.gridded else CONTACT_WIDTH


def _across(given: Sizes, pitch: float) -> dict[str, float]:
    known = _known(given)
    width = known.get("body_width") or _body_width(given, pitch)
    reach = {"gull_out": TAILS_OUT, "under_body": TAILS_UNDER}.get(given.form("tail_form", "gull_out"), 1.0)
    tails = known.get("tail_span", width * reach)
    if "tail_span" not in known and "tail_length" in known and _tails(given) == "gull_out":
        tails = width + 2 * known["tail_length"]
    if given.gridded:
        rows = known.get("row_spacing", known.get("land_row_spacing", pitch))
        land_rows = known.get("land_row_spacing", rows)
        span = land_rows * (given.rows - 1) + 0.6 * pitch
    else:
        rows = known.get("row_spacing") or _row_spacing(given, width)
        land_rows = known.get("land_row_spacing", tails * LAND_ROWS)
        span = tails * LANDS_OUT
    return {
        "body_width": width,
        "opening_width": _opening_width(width, rows, given),
        "row_spacing": rows,
        "tail_span": tails,
        "land_row_spacing": land_rows,
        "land_span": known.get("land_span", span),
    }


def _body_width(given: Sizes, pitch: float) -> float:
    known = _known(given)
    shares = {"opening_width": OPENING_WIDTH, "tail_span": TAILS_OUT, "land_span": TAILS_OUT * LANDS_OUT}
    if given.gridded:
        return max(known.get("row_spacing", pitch) * given.rows, known.get("opening_width", 0.0) / OPENING_WIDTH)
    if given.rows == 2:
        shares["row_spacing"] = ROW_SPACING[given.kind]
    for name, share in shares.items():
        if name in known:
            return known[name] / share
    return WIDTH[given.kind] * pitch


def _row_spacing(given: Sizes, width: float) -> float:
    """The rows share the space that two rows would take."""
    return ROW_SPACING[given.kind] * width / max(given.rows - 1, 1)


def _opening_width(width: float, rows: float, given: Sizes) -> float:
    known = _known(given)
    if "wall_thickness" in known:
        return max(width - 2 * known["wall_thickness"], SLIMMEST * width)
    if _array(given):
        return max(min(width * 0.97, rows * (given.rows - 1) + 0.8 * rows), SLIMMEST * width)
    return OPENING_WIDTH * width


def _along(given: Sizes, pitch: float, field: float) -> dict[str, float]:
    known = _known(given)
    body = known.get("body_length") or _body_length(given, pitch, field)
    overall = known.get("overall_length") or body + (
        0.0 if given.form("hold_down_form", "") in NOT_AT_ENDS else TABS * pitch
    )
    return {
        "body_length": body,
        "overall_length": overall,
        "opening_length": max(body - OPENING_ENDS * pitch, SLIMMEST * body),
        "hold_down_land_span": overall + TAB_LANDS * pitch,
        "peg_hole_span": max(body - PEGS_INSIDE * pitch, SLIMMEST * body),
    }


def _single(given: Sizes, pitch: float, found: Mapping[str, float]) -> dict[str, float]:
    """Sizes of a single land, peg hole, tail and wall beside the others, which are already found."""
    known = {**found, **_known(given)}
    span, rows = known["land_span"], known["land_row_spacing"]
    below = given.gridded or _tails(given) == "pin"
    return {
        "land_width": LAND_WIDTH * pitch,
        # Twice from the outer edge to the row's centre line, kept sensible.
        "land_length": span - rows if 0 < span - rows < 0.5 * span else LAND_LENGTH * span,
        "peg_hole_diameter": PEG * known["body_width"],
        "tail_length": PIN_BELOW * pitch if below else max(known["tail_span"] - known["body_width"], 0.0) / 2,
        "wall_thickness": max(known["body_width"] - known["opening_width"], 0.0) / 2,
    }


NOT_AT_ENDS = ("none", "side_tab", "through_board")
"""Forms of hold-downs that do not reach beyond the ends of the body."""


def _body_length(given: Sizes, pitch: float, field: float) -> float:
    known = _known(given)
    for name, change in (("opening_length", OPENING_ENDS), ("overall_length", -TABS), ("peg_hole_span", PEGS_INSIDE)):
        if name in known:
            return max(known[name] + change * pitch, SLIMMEST * known[name])
    return field + pitch * (1.0 if _tails(given) == "pin" else END_ALLOWANCE[given.kind])


def _height(given: Sizes, pitch: float, width: float) -> float:
    if _tails(given) == "pin" and given.form("orientation", "") not in ("right_angle", "coplanar"):
        return POST_HEIGHT * pitch
    return HEIGHT[given.kind] * width
