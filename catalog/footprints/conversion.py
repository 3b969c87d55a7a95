"""Makes one half of the catalogue from one footprint."""

from __future__ import annotations

from catalog.footprints.body import HOLD_DOWN_DOUBT, Body, read_body
from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import Box, Footprint
from catalog.footprints.lands import Lands, read_lands
from catalog.footprints.name_facts import NameFacts, name_facts
from catalog.model.entries import Half
from catalog.model.entry_parts import MOST_CONTACTS, BlockedPosition, Citation, Dimension
from catalog.model.text_fields import LONGEST_LINE
from matcher.features import FEATURES

SOURCE = Citation(title="footprint file")
DOUBTFUL_LENGTH = "the drawn outline extends over the hold-down lands and may include their metal"


def half_and_body(footprint: Footprint, *, along_y: bool | None = None) -> tuple[Half, Box]:
    """The half that belongs to a footprint, and its body as it lies on the lands in the file, mm; raises
    UnusableFootprint with the reason if there is none.

    ``along_y`` says how the rows run where the lands do not show it (see `lands.read_lands`). The series is the name
    itself until `catalog.model.part_number_patterns.group` finds the family.
    """
    name = " ".join(footprint.name.split())
    if not name or len(name) > LONGEST_LINE:
        raise UnusableFootprint("no usable name", f"{len(name)} characters")
    facts = name_facts(name)
    lands = read_lands(footprint, facts, along_y=along_y)
    if lands.contact_count > MOST_CONTACTS:
        raise UnusableFootprint("too many contacts", f"{lands.contact_count}")
    body = read_body(footprint.outline, lands)
    layout = lands.layout
    row_contacts = layout.row_contacts if sum(layout.row_contacts) == lands.contact_count else ()
    half = Half(
        maker=facts.maker,
        series=name,
        part_number=name,
        half_kind=facts.half_kind,
        rows=layout.rows,
        contact_count=lands.contact_count,
        positions=max(layout.positions, -(-lands.contact_count // layout.rows)),
        row_contacts=row_contacts,
        blocked=tuple(BlockedPosition(row=row, position=position) for row, position in layout.blocked),
        dimensions=_dimensions(lands, body),
        counts=_counts(lands),
        categories=_categories(lands, body, facts),
        datasheet=SOURCE,
    )
    return half, body.box.turned() if lands.turned else body.box


def _dimensions(lands: Lands, body: Body) -> dict[str, Dimension]:
    """Every dimension that the drawing has, by feature, to 0.1 µm."""
    values = {
        "pitch": lands.layout.pitch,
        "tail_pitch": lands.layout.tail_pitch,
        "land_row_spacing": lands.layout.row_spacing,
        "land_span": lands.signal.height,
        "land_width": lands.land_width,
        "land_length": lands.land_length,
        "body_length": body.length,
        "overall_length": body.overall_length,
        "body_width": body.width,
        "hold_down_land_span": _hold_down_span(lands),
        "peg_hole_span": lands.peg_span,
        "peg_hole_diameter": lands.peg_diameter,
        "bank_gap": lands.layout.bank_gap,
    }
    found = {
        name: Dimension(value=round(value, 4)) for name, value in values.items() if value is not None and value > 0
    }
    if body.doubtful:
        found["body_length"] = Dimension(
            value=found["body_length"].value, extra_u=HOLD_DOWN_DOUBT, doubt=DOUBTFUL_LENGTH
        )
    return found


def _hold_down_span(lands: Lands) -> float | None:
    """Outer edges of hold-down lands along the rows; nothing for a single one."""
    return Box.around(lands.hold_downs).width if len(lands.hold_downs) > 1 else None


def _counts(lands: Lands) -> dict[str, int]:
    counts = {"hold_down_count": len(lands.hold_downs), "bank_count": lands.layout.banks}
    return {name: n for name, n in counts.items() if FEATURES[name].low <= n <= FEATURES[name].high}


def _categories(lands: Lands, body: Body, facts: NameFacts) -> dict[str, tuple[str, ...]]:
    """Words in the name take precedence over the place of the body; unknown categories are left out.

    Lands opposite each other mean contacts opposite each other: contacts are cut from straight strips, and where tails
    are bent aside along the row it is to set them apart, never to bring them in line (common practice, no source).
    Lands half a pitch apart say nothing of the contacts: tails are set so to make room on the board.
    """
    layout = lands.layout.tail_layout
    values = {
        "mounting": (lands.mounting,),
        "orientation": (facts.orientation,) if facts.orientation else body.orientation,
        "contact_layout": ("aligned",) if layout == "aligned" else (),
        "tail_layout": (layout,) if layout else (),
        "pegs": ("present" if lands.pegs else "none",),
    }
    return {name: value for name, value in values.items() if value}
