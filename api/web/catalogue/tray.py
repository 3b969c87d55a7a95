"""Halves in a tray: small outlines, all at one scale, so that sizes can be compared by eye."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from api.drawing.contact_sites import Site, contact_sites
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Sizes
from api.drawing.svg import element, line_path, number
from catalog.records.read_models import HalfRecord

WIDEST_PX, TALLEST_PX, LARGEST_SCALE = 210.0, 64.0, 14.0
"""Room for the longest and the widest outline of a tray, px, and px per mm at most."""

EDGE = 2.0
"""Clear paper around an outline, px."""


@dataclass(frozen=True, kw_only=True)
class Tray:
    """Outlines of several halves, in their order, and their common scale in px per mm."""

    outlines: tuple[Markup, ...]
    px_per_mm: float
    ruler: Markup


def tray_of(records: Sequence[HalfRecord]) -> Tray:
    """The halves, drawn at the largest scale at which all have room."""
    sizes = [sizes_of(record.half) for record in records]
    longest = max((each.mm("body_length") for each in sizes), default=1.0)
    widest = max((max(each.mm("body_width"), each.mm("tail_span")) for each in sizes), default=1.0)
    scale = min(WIDEST_PX / longest, TALLEST_PX / widest, LARGEST_SCALE)
    return Tray(outlines=tuple(_outline(each, scale) for each in sizes), px_per_mm=scale, ruler=_ruler(scale))


def _outline(sizes: Sizes, scale: float) -> Markup:
    length, width = sizes.mm("body_length"), sizes.mm("body_width")
    tall = max(width, sizes.mm("tail_span"))
    edge = EDGE / scale
    known = sizes.known("body_length", "body_width")
    body = f"M{number(-length / 2)},{number(-width / 2)}h{number(length)}v{number(width)}h{number(-length)}z"
    box = (-length / 2 - edge, -tall / 2 - edge, length + 2 * edge, tall + 2 * edge)
    attributes: dict[str, str | float | None] = {
        "class": "drawing outline",
        "viewBox": " ".join(number(value) for value in box),
        "width": round(box[2] * scale, 1),
        "height": round(box[3] * scale, 1),
        "aria-hidden": "true",
    }
    plastic: dict[str, str | float | None] = {
        "class": "plastic" if known else "plastic assumed",
        "d": body,
        "vector-effect": "non-scaling-stroke",
    }
    return Markup(element("svg", attributes, element("path", plastic), *_rows(sizes)))


def _rows(sizes: Sizes) -> list[str]:
    """A row of contacts as one dashed line: dashes as wide as a contact, a pitch apart."""
    pitch, contact = sizes.mm("pitch"), min(sizes.mm("contact_width"), 0.8 * sizes.mm("pitch"))
    rows: dict[tuple[int, int], list[Site]] = defaultdict(list)
    for site in contact_sites(sizes):
        if not site.blocked:
            rows[site.row, site.bank].append(site)
    tall = min(0.35 * sizes.mm("row_spacing") if sizes.rows > 1 else 0.4 * sizes.mm("body_width"), 2.2 * contact)
    return [
        element(
            "path",
            {
                "class": "contact-row",
                "d": f"M{number(own[0].x - contact / 2)},{number(own[0].y)}H{number(own[-1].x + contact / 2)}",
                "stroke-width": tall,
                "stroke-dasharray": f"{number(contact)} {number(pitch - contact)}",
            },
        )
        for own in rows.values()
    ]


def _ruler(scale: float) -> Markup:
    """Ten millimetres at the tray's scale."""
    long = RULER_MM * scale
    ticks = [((mm * scale + 1, 3.0), (mm * scale + 1, 10.0 if mm % 5 == 0 else 7.0)) for mm in range(RULER_MM + 1)]
    attributes: dict[str, str | float | None] = {
        "class": "tray-ruler",
        "viewBox": f"0 0 {number(long + 2)} 12",
        "width": round(long + 2, 1),
        "height": 12,
        "aria-hidden": "true",
    }
    return Markup(element("svg", attributes, line_path("ruler-marks", [((1.0, 3.0), (long + 1, 3.0)), *ticks])))


RULER_MM = 10
"""Length of a tray's ruler, mm."""
