"""Lands calculated from the tails of a half whose lands nobody states, for a dummy only.

A land reaches beyond the foot of its tail by goals for toe, heel and side, as in the land pattern standards
(IPC-7351B, gull-wing leads, density level B; from memory, the document was not opened, and its tolerance terms are left
out). Where the foot begins is not listed: it is taken to begin at the wall of the moulding. Stated sizes of lands go
first. Hold-downs and pegs are not calculated.
"""

from __future__ import annotations

from api.drawing.contact_sites import contact_sites, tail_places
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Sizes
from catalog.model.contact_names import numbered_sites
from catalog.model.entries import Half
from catalog.model.land_pattern import LandPattern

TOE = HEEL = 0.35
"""Copper beyond the foot's end and before its beginning, mm (from memory, as above)."""

SIDE, SIDE_FINE = 0.03, -0.02
FINE_PITCH = 0.625
"""Copper beside the foot, mm, and the pitch up to which the smaller figure holds (from memory, as above)."""

COURTYARD = 0.25
"""Room around everything, mm (from memory, as above)."""

METHOD = (
    f"stated sizes of lands first; else toe and heel {TOE:g} mm, side {SIDE:g} mm (pitch to {FINE_PITCH:g} mm: "
    f"{SIDE_FINE:g} mm) as in IPC-7351B, level B, from memory; without hold-downs and pegs"
)
UNNUMBERED = "; numbering not stated: rows X and Y, counted from the left"

ROW_LETTERS = "XY"
"""Letters of the rows where the numbering is not stated; contact 1 has none of them."""


class NotCalculableError(Exception):
    """The lands of a half cannot be calculated; ``why`` says what is missing or in the way."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


def calculated_pattern(half: Half) -> LandPattern:
    """Lands for a dummy of this half, in its own frame. Raises NotCalculableError.

    It must have one or two rows of tails bent outwards for surface mounting and stand upright; pitch, spans over the
    tails or lands, the body and a width of contacts or lands must be stated.
    """
    sizes = sizes_of(half)
    _refuse_others(half, sizes)
    outer, inner = _span(sizes)
    width = _width(sizes)
    if inner >= outer or width >= sizes.mm("pitch"):
        raise NotCalculableError("the stated sizes leave no room between or for the lands")
    places = _places(half, sizes)
    y = (outer + inner) / 4
    at = [(name, round(x, 6), round(side * y, 6)) for name, x, side in places]
    reach = max(abs(x) for _, x, _ in at) + width / 2
    length, across = sizes.mm("body_length") / 2, sizes.mm("body_width") / 2
    right, bottom = max(reach, length) + COURTYARD, max(outer / 2, across) + COURTYARD
    return LandPattern.model_validate(
        {
            "half": half.key,
            "basis": "calculated",
            "lands": [{"width": round(width, 6), "height": round((outer - inner) / 2, 6), "at": at}],
            "courtyard": [
                (-right, -bottom, right, -bottom),
                (right, -bottom, right, bottom),
                (right, bottom, -right, bottom),
                (-right, bottom, -right, -bottom),
            ],
            "body": (-length, -across, length, across),
            "source": METHOD if numbered_sites(half) else METHOD + UNNUMBERED,
        }
    )


def _refuse_others(half: Half, sizes: Sizes) -> None:
    if half.rows > 2:
        raise NotCalculableError("only lands of one or two rows are calculated")
    for category, needed in (("mounting", "surface_mount"), ("orientation", "vertical"), ("tail_form", "gull_out")):
        if not sizes.only(category, needed):
            raise NotCalculableError(f"only lands of {needed.replace('_', ' ')} halves are calculated ({category})")
    missing = [name for name in ("pitch", "body_length", "body_width") if not sizes.known(name)]
    if not sizes.known("tail_span") and not sizes.known("land_span"):
        missing.append("tail_span or land_span")
    if not sizes.known("contact_width") and not sizes.known("land_width"):
        missing.append("contact_width or land_width")
    if missing:
        raise NotCalculableError(f"not stated: {', '.join(missing)}")
    if half.counts.get("bank_count", 1) > 1 and not sizes.known("bank_gap"):
        raise NotCalculableError("not stated: bank_gap")


def _span(sizes: Sizes) -> tuple[float, float]:
    """Between the outer ends of the lands, and between their inner ends, mm."""
    outer = sizes.mm("land_span") if sizes.known("land_span") else sizes.mm("tail_span") + 2 * TOE
    if sizes.known("land_length"):
        return outer, outer - 2 * sizes.mm("land_length")
    if sizes.known("land_row_spacing") and sizes.rows == 2:
        return outer, 2 * sizes.mm("land_row_spacing") - outer
    return outer, sizes.mm("body_width") - 2 * HEEL


def _width(sizes: Sizes) -> float:
    if sizes.known("land_width"):
        return sizes.mm("land_width")
    return sizes.mm("contact_width") + 2 * (SIDE_FINE if sizes.mm("pitch") <= FINE_PITCH else SIDE)


def _places(half: Half, sizes: Sizes) -> list[tuple[str, float, float]]:
    """Number, place along the row and side (−1 upper) of each land. Without a stated numbering it is a letter and the
    position, so that no land passes for contact 1."""
    sites, numbers = contact_sites(sizes), numbered_sites(half)
    found: list[tuple[str, float, float]] = []
    for side in (-1.0, 1.0):
        row = 1 if side < 0 else sizes.rows
        own = [site for site in sites if site.row == row and not site.blocked]
        along = tail_places(sizes, sites, side)
        if len(along) != len(own):  # tails of one row that leave to both sides, or all to the other
            own = [site for site in own if any(abs(site.x - x) < sizes.mm("pitch") / 2 for x in along)]
        if len(along) != len(own):
            raise NotCalculableError("which tail leaves to which side is not known")
        found += [
            (str(numbers.get((site.row, site.position), f"{ROW_LETTERS[site.row - 1]}{site.position}")), x, side)
            for site, x in zip(own, along, strict=True)
        ]
    return found
