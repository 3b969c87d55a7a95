"""The feature table: everything that can be seen or measured on a board-to-board connector.

This is the only place that knows what a feature is: everything else (checks, forms, columns of files, help, ranking,
advice) is made from its entries, whose fields `matcher.feature_fields` describes. To add a feature, add an entry.
Lengths are millimetres.

Shares of slips, reliabilities and look-alikes of categories and process tolerances are common practice, no source. ISO
2768-1 covers machined parts, not mouldings (ISO 20457 does).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from matcher.feature_fields import (
    CONTACT_ROW,
    Beyond,
    Direction,
    Feature,
    Kind,
    Moved,
    Plane,
    Process,
    Proportion,
    Remains,
    SameAs,
    Slip,
    Subject,
)

__all__ = [
    "CATEGORIES",
    "CONSTRUCTION",
    "COUNTS",
    "DIMENSIONS",
    "ENTRY_CATEGORIES",
    "ENTRY_COUNTS",
    "ESSENTIAL",
    "FEATURES",
    "LENGTHS",
    "PAIR_DIMENSIONS",
    "PITCHES",
    "Direction",
    "Feature",
    "Kind",
    "Plane",
    "Remains",
    "Slip",
    "Subject",
]

WITHOUT_SCALE = ("unscaled_photo", "unscaled_photo_from_above", "unscaled_photo_rectified")
CALIPER_KIND = (
    "caliper",
    "caliper_on_board",
    "vernier",
    "micrometer",
    "microscope",
    "usb_microscope",
    "loupe",
    "scanner",
    "photo",
    *WITHOUT_SCALE,
    "steel_rule",
)
INSIDE_KIND = tuple(name for name in CALIPER_KIND if name != "micrometer")
OPTICAL = (
    "microscope",
    "loupe",
    "usb_microscope",
    "scanner",
    "caliper_on_board",
    "photo",
    *WITHOUT_SCALE,
    "steel_rule",
)
MAGNIFYING = tuple(name for name in OPTICAL if name not in ("caliper_on_board", "steel_rule"))
DEPTH_KIND = ("caliper", "height_over_board", "micrometer", "vernier", "microscope", "steel_rule")

LENGTH = Process(0.10, above=((10.0, 0.15), (30.0, 0.25)))
"""Moulded lengths along the rows, by size."""

WIDTH = Process(0.10, coarse=0.15)
"""Moulded widths."""

STACK = Process(0.10, above=((1.0, 0.15), (5.0, 0.25)))
"""Stack heights, by size."""

FILLETS = (-1.2, -0.3)
"""By how much metal is longer than its lands, mm: a fillet of 0.15 to 0.6 mm at each end. Common practice, no
source."""

HOLD_DOWNS = (0.25, 2.75)
"""By how much hold-downs make a half longer than its moulding, mm: 0.12 to 1.4 mm at each end. Common practice, no
source."""

LANDS = Process((0.45 + 0.05) / 2, shift=(0.45 - 0.05) / 2, broad=(0.85 + 0.45) / 2, broad_share=0.2)
"""Lands: a found board's are 0.05 mm inside to 0.45 mm outside of the recommended ones, mostly larger; on one board in
five 0.45 mm inside to 0.85 mm outside. Common practice, no source."""

LAND_WIDTHS = Process(0.05, above=((0.6, 0.10),), broad=0.15, broad_share=0.2)
"""Copper of a land along the rows: the neighbours leave no room, so a found board's lands are as often narrower as
wider than the recommended ones; on one board in five by up to 0.15 mm. Common practice, no source."""

LAND_LENGTHS = Process((0.325 + 0.125) / 2, shift=(0.325 - 0.125) / 2, broad=0.6, broad_share=0.2)
"""Copper of a land across the rows: the outer end as of `LANDS`, 0.025 mm inside to 0.225 mm outside of the recommended
one, and the inner end 0.1 mm to either side; on one board in five by up to 0.6 mm. Common practice, no source."""

PEG_HOLES = Process(0.10, shift=0.05, broad=0.25, broad_share=0.2)
"""Holes for pegs: 0.05 mm smaller to 0.15 mm larger than recommended, for the next drill and easy fitting; on one board
in five by up to 0.25 mm. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class _Dimension(Feature):
    """A length; of the plastic, across the rows and for a caliper unless its entry says otherwise."""

    kind: Kind = Kind.DIMENSION
    instruments: tuple[str, ...] = CALIPER_KIND
    plane: Plane | None = Plane.HOUSING_TOP


_TABLE: tuple[Feature, ...] = (
    Feature(
        name="contact_count",
        label="contacts",
        kind=Kind.COUNT,
        meaning=(
            "Signal contact sites at the mating face, blocked positions left out; no tails, hold-downs, power "
            "contacts or ground blades."
        ),
        how="Count one row at the mating face under a lens with a pointer, then the other; write both down.",
        synonyms=("pin count", "pins", "ways", "number of contacts", "circuits"),
        low=1,
        high=1000,
        own_field=True,
        copied=0.95,
        direction=Direction.ALONG,
        along_rows=True,
        on_bare_board=True,
    ),
    Feature(
        name="rows",
        label="rows",
        kind=Kind.COUNT,
        meaning="Rows of signal contacts at the mating face.",
        how="Look into the mating face; rows of tails may differ.",
        synonyms=("number of rows",),
        low=1,
        high=20,
        gross_share=0.03,
        own_field=True,
        copied=0.97,
        on_bare_board=True,
    ),
    Feature(
        name="bank_count",
        label="groups of contacts",
        kind=Kind.COUNT,
        meaning="Groups of contacts along a row, with a wider gap between them.",
        how="Count the groups along one row.",
        synonyms=("banks",),
        low=1,
        high=12,
        gross_share=0.03,
        direction=Direction.ALONG,
        along_rows=True,
    ),
    Feature(
        name="power_contact_count",
        label="power contacts",
        kind=Kind.COUNT,
        meaning="Wider contacts for supply current, one per separate conductor.",
        how="Count the wide contacts; an end fitting may be a power contact too.",
        synonyms=("power pins",),
        low=0,
        high=64,
        gross_share=0.08,
        direction=Direction.ALONG,
        along_rows=True,
    ),
    Feature(
        name="hold_down_count",
        label="hold-downs",
        kind=Kind.COUNT,
        meaning="Metal fittings that fix the housing to the board, one per separate piece of metal.",
        how="Count the separate soldered fittings; an end fitting may carry power as well.",
        synonyms=("solder tabs", "hold-down tabs", "mounting pins"),
        low=0,
        high=64,
        gross_share=0.08,
        construction=True,
        direction=Direction.ALONG,
        along_rows=True,
        on_bare_board=True,
    ),
    _Dimension(
        name="pitch",
        label="pitch",
        meaning=(
            "Centre to centre of neighbouring contacts of one row at the mating face, never across a gap between "
            "groups."
        ),
        how="Measure over as many gaps as can be reached (gaps, not contacts) and give that number as spans.",
        synonyms=("contact spacing", "lead pitch", "centres"),
        low=0.15,
        high=10.0,
        gross_share=0.03,
        direction=Direction.ALONG,
        repeats=True,
        plane=Plane.MATING_FACE,
        same_within=0.01,
        process=Process(0.05),
        essential=True,
        copied=0.98,
    ),
    _Dimension(
        name="tail_pitch",
        label="pitch at the board",
        meaning=(
            "Centre to centre of neighbouring tails along one side at the board. Entries state it where it differs "
            "from the pitch (tails leaving alternately)."
        ),
        how="Measure over several gaps between tails on one side and give the number of gaps as spans.",
        synonyms=("land pitch",),
        low=0.15,
        high=20.0,
        gross_share=0.03,
        slips=(Slip("pitch", 1.0),),
        direction=Direction.ALONG,
        repeats=True,
        plane=Plane.LANDS,
        process=Process(0.05),
        proportion=Proportion("pitch", low=0.9, usual=2.0, high=4.5),
        same_as=SameAs("pitch", or_twice_where="tail_layout", value="alternating"),
        copied=0.98,
        on_bare_board=True,
    ),
    _Dimension(
        name="row_spacing",
        label="row spacing at the mating face",
        meaning="Centre line to centre line of neighbouring occupied rows at the mating face.",
        how="Outer edge to outer edge minus one contact width, under a microscope.",
        instruments=OPTICAL,
        low=0.2,
        high=30.0,
        gross_share=0.06,
        slips=(Slip("land_row_spacing", 0.6), Slip("body_width", 0.4)),
        repeats=True,
        plane=Plane.MATING_FACE,
        process=Process(0.08),
        proportion=Proportion("body_width", low=0.04, usual=0.5, high=1.5),
    ),
    _Dimension(
        name="land_row_spacing",
        label="row spacing of the lands",
        meaning="Centre line to centre line of neighbouring rows of lands or holes on the board.",
        how="Outer edges of the lands minus one land length, or hole centre to hole centre.",
        instruments=OPTICAL,
        low=0.2,
        high=40.0,
        gross_share=0.06,
        slips=(Slip("row_spacing", 0.6), Slip("land_span", 0.4)),
        repeats=True,
        plane=Plane.LANDS,
        proportion=Proportion("land_span", low=0.04, usual=0.6, high=1.5),
        on_bare_board=True,
    ),
    _Dimension(
        name="body_length",
        label="body length",
        meaning=(
            "Moulded plastic along the rows at its longest point, end walls and moulded keys included, metal excluded."
        ),
        how="Close the jaws on plastic only; where metal wraps the end give the overall length instead.",
        synonyms=("length", "housing length"),
        low=1.0,
        high=250.0,
        gross_share=0.04,
        slips=(
            Slip("overall_length", 0.8, "may reach over the hold-downs; the body length is plastic only"),
            Slip("opening_length", 0.2),
        ),
        direction=Direction.ALONG,
        along_rows=True,
        process=LENGTH,
        encloses_contacts=True,
        proportion=Proportion(CONTACT_ROW, low=0.4, usual=1.2, high=14.0),
        essential=True,
        copied=0.67,
    ),
    _Dimension(
        name="overall_length",
        label="overall length",
        meaning="Along the rows over everything, hold-downs included.",
        how="Close the jaws on the outermost metal.",
        low=1.0,
        high=260.0,
        gross_share=0.03,
        slips=(
            Slip("body_length", 0.7, "may leave the hold-downs out; the overall length includes them"),
            Slip("hold_down_land_span", 0.3),
        ),
        direction=Direction.ALONG,
        along_rows=True,
        process=LENGTH,
        encloses_contacts=True,
        needs="hold_down_count",
        beyond=(Beyond("hold_down_land_span", *FILLETS), Beyond("body_length", *HOLD_DOWNS)),
        proportion=Proportion("body_length", low=0.9, usual=1.1, high=2.2),
        lost_when_torn=True,
    ),
    _Dimension(
        name="body_width",
        label="body width",
        meaning=(
            "Moulded plastic at its widest across the rows; contacts bent over a plug's wall stand proud: measure "
            "between them."
        ),
        how="Place the jaws between contacts, on plastic, above the tails.",
        synonyms=("width", "housing width", "depth"),
        low=0.5,
        high=60.0,
        gross_share=0.05,
        slips=(
            Slip("tail_span", 0.7, "may reach over the tails; the body width is plastic only"),
            Slip("opening_width", 0.15),
            Slip("land_span", 0.15),
        ),
        process=WIDTH,
        essential=True,
        of_profile=True,
        copied=0.46,
    ),
    _Dimension(
        name="opening_length",
        label="opening length",
        meaning="A receptacle's pocket along the rows, wall to wall.",
        how="Inside jaws or a calibrated image; not over the lead-in chamfer.",
        synonyms=("pocket length",),
        instruments=INSIDE_KIND,
        low=0.5,
        high=240.0,
        gross_share=0.05,
        slips=(Slip("body_length", 1.0),),
        direction=Direction.ALONG,
        along_rows=True,
        inside_or_depth=True,
        not_of_kind="plug",
        process=LENGTH,
        encloses_contacts=True,
        proportion=Proportion("body_length", low=0.2, usual=0.85, high=1.5),
    ),
    _Dimension(
        name="opening_width",
        label="opening width",
        meaning="A receptacle's pocket across the rows, wall to wall.",
        how="Inside jaws or a calibrated image; not over the lead-in chamfer.",
        synonyms=("pocket width",),
        instruments=("pin_gauge", *INSIDE_KIND),
        low=0.2,
        high=50.0,
        gross_share=0.05,
        slips=(Slip("body_width", 1.0),),
        inside_or_depth=True,
        not_of_kind="plug",
        process=WIDTH,
        proportion=Proportion("body_width", low=0.1, usual=0.75, high=1.5),
    ),
    _Dimension(
        name="tail_span",
        label="span over the tails",
        meaning="Across the rows, tip to tip of the metal tails, solder fillet left out.",
        how="From above under magnification, or jaws held level on the tips.",
        synonyms=("lead span", "tip to tip"),
        low=0.5,
        high=70.0,
        gross_share=0.05,
        slips=(Slip("body_width", 0.6), Slip("land_span", 0.4)),
        plane=Plane.LANDS,
        process=Process(0.15),
        proportion=Proportion("body_width", low=0.1, usual=1.1, high=3.5),
        beyond=(Beyond("land_span", *FILLETS),),
        lost_when_torn=True,
    ),
    _Dimension(
        name="land_span",
        label="span over the lands",
        meaning="Across the rows, outer edge to outer edge of the lands: what a bare board still shows.",
        how="On the bare board, outer copper edge to outer copper edge, under magnification.",
        synonyms=("pad span", "footprint width"),
        instruments=OPTICAL,
        low=0.5,
        high=80.0,
        gross_share=0.04,
        slips=(Slip("tail_span", 0.7), Slip("body_width", 0.3)),
        plane=Plane.LANDS,
        process=LANDS,
        proportion=Proportion("body_width", low=0.06, usual=1.0, high=3.5),
        of_profile=True,
        copied=0.30,
        on_bare_board=True,
    ),
    _Dimension(
        name="land_width",
        label="land width",
        meaning=(
            "Along the rows, edge to edge of the copper of one contact land, as most contacts have it. The ring around "
            "a plated hole is no land in this sense."
        ),
        how="On the bare board, a land in the middle of a row, under magnification; first and last ones may differ.",
        synonyms=("pad width",),
        instruments=MAGNIFYING,
        low=0.1,
        high=6.0,
        gross_share=0.04,
        slips=(Slip("land_length", 1.0),),
        direction=Direction.ALONG,
        plane=Plane.LANDS,
        process=LAND_WIDTHS,
        proportion=Proportion("pitch", low=0.08, usual=0.5, high=1.5),
        copied=0.70,
        on_bare_board=True,
    ),
    _Dimension(
        name="land_length",
        label="land length",
        meaning=(
            "Across the rows, edge to edge of the copper of one contact land, as most contacts have it. The ring "
            "around a plated hole is no land in this sense."
        ),
        how="On the bare board, a land in the middle of a row, under magnification; first and last ones may differ.",
        synonyms=("pad length",),
        instruments=MAGNIFYING,
        low=0.2,
        high=15.0,
        gross_share=0.04,
        slips=(Slip("land_width", 1.0),),
        plane=Plane.LANDS,
        process=LAND_LENGTHS,
        proportion=Proportion("land_span", low=0.04, usual=0.3, high=1.2),
        copied=0.30,
        on_bare_board=True,
    ),
    _Dimension(
        name="hold_down_land_span",
        label="span over the hold-down lands",
        meaning="Along the rows, outer edge to outer edge of the hold-down lands.",
        how="On the bare board, outer copper edges.",
        instruments=OPTICAL,
        low=1.0,
        high=260.0,
        gross_share=0.05,
        slips=(Slip("overall_length", 0.7), Slip("body_length", 0.3)),
        direction=Direction.ALONG,
        along_rows=True,
        plane=Plane.LANDS,
        process=LANDS,
        needs="hold_down_count",
        proportion=Proportion("body_length", low=0.15, usual=1.05, high=2.4),
        on_bare_board=True,
    ),
    _Dimension(
        name="peg_hole_span",
        label="distance between peg holes",
        meaning="Along the rows, centre to centre of the holes for the plastic pegs.",
        how="Hole edge to the same edge of the other hole.",
        instruments=OPTICAL,
        low=0.5,
        high=250.0,
        gross_share=0.05,
        direction=Direction.ALONG,
        along_rows=True,
        plane=Plane.LANDS,
        proportion=Proportion("body_length", low=0.15, usual=0.9, high=2.2),
        on_bare_board=True,
    ),
    _Dimension(
        name="peg_hole_diameter",
        label="peg hole diameter",
        meaning="Diameter of the board's holes for the plastic pegs, where all are equal; left out where they differ.",
        how="Between the gauge pins that just enter and just do not, or edge to edge through the middle of a hole.",
        synonyms=("locating hole diameter",),
        instruments=("pin_gauge", *MAGNIFYING),
        low=0.3,
        high=6.0,
        gross_share=0.04,
        plane=Plane.LANDS,
        inside_or_depth=True,
        process=PEG_HOLES,
        proportion=Proportion("body_width", low=0.025, usual=0.23, high=1.0),
        copied=0.60,
        on_bare_board=True,
    ),
    _Dimension(
        name="tail_length",
        label="tail length",
        meaning=(
            "Metal of one tail outside the moulding: from the wall to the tip where tails leave sideways, from the "
            "plastic that rests on the board to the tip where they are straight pins."
        ),
        how="Of tails from above, wall to tip; of pins from the side of a loose part, plastic to tip.",
        synonyms=("lead length", "length below the board"),
        low=0.05,
        high=25.0,
        gross_share=0.06,
        plane=Plane.LANDS,
        proportion=Proportion("pitch", low=0.1, usual=1.2, high=12.0),
        lost_when_torn=True,
    ),
    _Dimension(
        name="wall_thickness",
        label="wall thickness",
        meaning=(
            "Plastic of one long wall at its upper edge, from the outside to the pocket or to a plug's trough, without "
            "contacts on the wall and without the lead-in chamfer."
        ),
        how="From above between two contacts under magnification, or one jaw in the pocket and one outside.",
        synonyms=("side wall",),
        instruments=INSIDE_KIND,
        low=0.08,
        high=8.0,
        gross_share=0.06,
        process=Process(0.05, above=((1.0, 0.10),)),
        proportion=Proportion("body_width", low=0.02, usual=0.12, high=0.45),
    ),
    _Dimension(
        name="contact_width",
        label="contact width",
        meaning="Width of the mating metal of one signal contact; microscope only.",
        how="A calibrated image at high magnification.",
        instruments=("microscope", "usb_microscope", "loupe"),
        low=0.05,
        high=5.0,
        gross_share=0.05,
        direction=Direction.ALONG,
        plane=Plane.MATING_FACE,
        process=Process(0.03),
        proportion=Proportion("pitch", low=0.1, usual=0.4, high=1.5),
    ),
    _Dimension(
        name="bank_gap",
        label="gap between groups",
        meaning="Last contact centre of one group to the first contact centre of the next.",
        how="Centre to centre under magnification.",
        instruments=OPTICAL,
        low=0.3,
        high=30.0,
        gross_share=0.05,
        direction=Direction.ALONG,
        plane=Plane.MATING_FACE,
    ),
    _Dimension(
        name="height",
        label="height",
        meaning=(
            "Board surface to the highest fixed plastic or metal of this half alone, without pick-up cap or guide "
            "posts, where the half touches the board. A soldered half sits 0.02 to 0.08 higher: readings of a half on "
            "its board are corrected for that."
        ),
        how="Depth rod on the board, or height over the board minus the bare board's thickness.",
        synonyms=("profile", "above board"),
        instruments=(*DEPTH_KIND, "caliper_on_board"),
        low=0.2,
        high=40.0,
        gross_share=0.05,
        slips=(Slip("stack_height", 1.0, "may be that of the mated pair; the height is this half's alone"),),
        direction=Direction.UPWARDS,
        plane=None,
        inside_or_depth=True,
        seated=True,
        of_profile=True,
        copied=0.43,
    ),
    _Dimension(
        name="stack_height",
        label="stack height",
        meaning="Of the mated pair, board surface to board surface; on flex, the surface on the connector's side.",
        how="Over both boards minus both boards' thicknesses, fully mated.",
        synonyms=("mated height", "board spacing", "mating height"),
        instruments=DEPTH_KIND,
        subject=Subject.PAIR,
        low=0.3,
        high=60.0,
        gross_share=0.08,
        slips=(Slip("height", 1.0, "may be one half's height alone; the stack height goes from board to board"),),
        direction=Direction.UPWARDS,
        plane=None,
        inside_or_depth=True,
        process=STACK,
    ),
    _Dimension(
        name="mated_width",
        label="mated width",
        meaning="Of the mated pair: largest extent across the rows, tails included.",
        how="Jaws over the widest points of the mated pair.",
        subject=Subject.PAIR,
        low=0.5,
        high=80.0,
        gross_share=0.08,
        slips=(Slip("body_width", 1.0),),
        plane=None,
        process=Process(0.20),
    ),
    Feature(
        name="half_kind",
        label="kind of half",
        kind=Kind.CATEGORY,
        meaning=(
            "A receptacle's housing surrounds the other when mated; a plug's goes inside; a hermaphroditic half "
            "mates with its like."
        ),
        how="Which housing would be outside when mated?",
        synonyms=("gender",),
        right_share=0.85,
        values={
            "plug": "plug (goes inside)",
            "receptacle": "receptacle (goes around)",
            "hermaphroditic": "hermaphroditic (mates with its like)",
        },
        own_field=True,
        of_profile=True,
    ),
    Feature(
        name="latch_style",
        label="latch",
        kind=Kind.CATEGORY,
        meaning="What can be seen or felt that keeps the pair together.",
        how="Look for metal or moulded hooks; if the pair is at hand, feel for a click.",
        synonyms=("lock", "locking"),
        right_share=0.8,
        looks_like={"click_felt": {"none_visible": 0.8}, "none_visible": {"click_felt": 0.1}},
        values={
            "none_visible": "none to be seen",
            "click_felt": "a click is felt, nothing seen",
            "housing_snap": "moulded hooks",
            "metal_snap": "metal snaps",
            "lever_or_slide": "lever or slide",
            "screwed": "screws",
            "held_from_outside": "held by something outside",
        },
    ),
    Feature(
        name="contact_layout",
        label="contacts opposite or staggered",
        kind=Kind.CATEGORY,
        meaning="How the contacts of neighbouring rows stand at the mating face.",
        how="Look into the mating face, along one contact across the rows; tails may stand otherwise.",
        synonyms=("stagger",),
        right_share=0.9,
        values={"aligned": "opposite each other", "staggered": "half a pitch apart"},
        moved=Moved("tail_layout", {"alternating_tails": "alternating"}),
    ),
    Feature(
        name="tail_layout",
        label="how the tails leave",
        kind=Kind.CATEGORY,
        meaning=(
            "How the tails stand at the board: those of neighbouring rows opposite each other or half a pitch apart, "
            "those of one row to both sides in turn, or all in one row."
        ),
        how="Look at the board from above, along one tail across the half; a bare board shows it by its lands.",
        synonyms=("tail arrangement", "land layout"),
        right_share=0.9,
        looks_like={"alternating": {"staggered": 0.4}, "staggered": {"alternating": 0.1}},
        values={
            "aligned": "opposite each other",
            "staggered": "half a pitch apart",
            "alternating": "one row's, to both sides in turn",
            "one_row": "all in one row, e.g. to one side",
        },
        on_bare_board=True,
    ),
    Feature(
        name="centre_island",
        label="island in the middle",
        kind=Kind.CATEGORY,
        meaning="Whether a moulded bar stands between the rows at the mating face.",
        how="Look into the mating face.",
        synonyms=("tongue",),
        right_share=0.9,
        values={"yes": "yes", "no": "no"},
    ),
    Feature(
        name="shield",
        label="metal shield",
        kind=Kind.CATEGORY,
        meaning="Whether sheet metal surrounds the housing.",
        how="Look at the outer walls.",
        right_share=0.95,
        looks_like={"partial": {"full": 0.1}, "full": {"partial": 0.1}},
        values={"none": "none", "partial": "on some sides", "full": "all round"},
    ),
    Feature(
        name="tail_form",
        label="form of the tails",
        kind=Kind.CATEGORY,
        meaning="How the metal leaves the housing towards the board.",
        how="Look from the side at the board.",
        synonyms=("lead form", "termination"),
        right_share=0.92,
        looks_like={"flush": {"under_body": 0.2}, "under_body": {"flush": 0.2}},
        values={
            "gull_out": "bent outwards",
            "under_body": "under the body",
            "flush": "flush with the wall",
            "pin": "straight pins",
            "ball": "balls",
        },
        lost_when_torn=True,
    ),
    Feature(
        name="mounting",
        label="mounting",
        kind=Kind.CATEGORY,
        meaning="How the half is fixed to its board.",
        how="Look at both sides of the board.",
        synonyms=("termination style",),
        right_share=0.98,
        looks_like={"press_fit": {"through_hole": 0.5}, "ball_array": {"surface_mount": 0.2}},
        values={
            "surface_mount": "surface mount",
            "through_hole": "through holes, soldered",
            "press_fit": "pressed into holes",
            "ball_array": "ball array",
            "straddle": "straddles the board's edge",
            "mid_board": "sunk into a cut-out",
            "compression": "pressed against lands",
        },
        of_profile=True,
        construction=True,
        copied=0.49,
        on_bare_board=True,
    ),
    Feature(
        name="orientation",
        label="direction of mating",
        kind=Kind.CATEGORY,
        meaning="The way in which the mate comes off, seen from the half's own board.",
        how="Which way does the mate come off?",
        right_share=0.995,
        values={"vertical": "upwards", "right_angle": "sideways", "coplanar": "edge to edge"},
        of_profile=True,
        construction=True,
    ),
    Feature(
        name="hold_down_form",
        label="form of the hold-downs",
        kind=Kind.CATEGORY,
        meaning="Where the metal sits that fixes the housing to the board.",
        how="Look at the ends and the long sides.",
        right_share=0.88,
        values={
            "none": "none",
            "end_tab": "tabs at the ends",
            "side_tab": "tabs on the long sides",
            "wrap_round": "metal wraps the ends",
            "through_board": "pins through the board",
        },
        lost_when_torn=True,
    ),
    Feature(
        name="keying",
        label="keys",
        kind=Kind.LABELS,
        meaning=(
            "Shapes that stop the half from being put in the wrong way round: into its mate or, with unequal pegs, "
            "into its board. Unequal pegs do not stop the mate. A shape that stops nothing is not a key."
        ),
        how="Name every one that can be seen; 'none' when there is none.",
        synonyms=("polarisation",),
        right_share=0.85,
        looks_like={"unequal_pegs": {"none": 0.5}},
        values={
            "none": "none",
            "corner_chamfer": "a cut corner",
            "end_shape": "ends shaped differently",
            "offset_rib": "a rib off the middle",
            "blocked_position": "a blocked position",
            "unequal_pegs": "pegs of unequal size, for the board",
        },
        varies=True,
    ),
    Feature(
        name="pegs",
        label="pegs at the back",
        kind=Kind.CATEGORY,
        meaning="Moulded pegs that enter holes in the board. If the back cannot be seen, give no observation.",
        how="Look at the back of a loose part, or for filled holes in the board.",
        synonyms=("locating posts",),
        right_share=0.9,
        values={"none": "none", "present": "present"},
        on_bare_board=True,
    ),
    Feature(
        name="housing_colour",
        label="colour of the housing",
        kind=Kind.CATEGORY,
        meaning="Colour of the moulding. It is weak evidence, since colours vary by lot.",
        how="Look by daylight.",
        right_share=0.75,
        strongest=2.5,
        values={
            "black": "black",
            "white": "white",
            "natural": "natural (ivory)",
            "brown": "brown",
            "grey": "grey",
            "other": "another",
        },
        varies=True,
    ),
    Feature(
        name="marking",
        label="letters that can be read",
        kind=Kind.TEXT,
        meaning="Letters and figures still readable on the half; short ones are mostly cavity or date codes.",
        how="Use side light and a loupe; give only what is certain.",
        synonyms=("text", "imprint"),
    ),
    Feature(
        name="trial_fit",
        label="trial fit",
        kind=Kind.FIT,
        meaning="Whether this half mates with a half that is known. Never force it.",
        how="Align both by eye and press lightly with the fingers only.",
        synonyms=("fits",),
    ),
)

FEATURES: Mapping[str, Feature] = MappingProxyType({feature.name: feature for feature in _TABLE})
"""Every feature by name, in the order in which a person at the bench would take them."""

DIMENSIONS = tuple(f.name for f in _TABLE if f.kind is Kind.DIMENSION and f.subject is Subject.HALF)
PAIR_DIMENSIONS = tuple(f.name for f in _TABLE if f.kind is Kind.DIMENSION and f.subject is Subject.PAIR)
LENGTHS = (*DIMENSIONS, *PAIR_DIMENSIONS)
PITCHES = tuple(f.name for f in _TABLE if f.is_pitch)
"""What repeats along a row, so that gaps between contacts are counted."""

COUNTS = tuple(f.name for f in _TABLE if f.kind is Kind.COUNT)
ENTRY_COUNTS = tuple(name for name in COUNTS if not FEATURES[name].own_field)
"""Features that the ``counts`` of an entry may have."""

CATEGORIES = tuple(f.name for f in _TABLE if f.kind in (Kind.CATEGORY, Kind.LABELS))
ENTRY_CATEGORIES = tuple(name for name in CATEGORIES if not FEATURES[name].own_field)
"""Features that the ``categories`` of an entry may have."""

CONSTRUCTION = tuple(f.name for f in _TABLE if f.construction)
"""Counts and categories in which halves of one construction agree."""

ESSENTIAL = tuple(f.name for f in _TABLE if f.essential)
"""Dimensions that distinguish halves at first sight."""
