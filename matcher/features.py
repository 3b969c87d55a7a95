"""The feature table: everything that can be seen or measured on a board-to-board connector.

One place defines each feature's name, bench label, synonyms, kind, exact meaning, plausible range,
how and with what it is measured, and how often people slip. Schemas, help, import columns and advice
are made from it. Lengths are millimetres.

Shares of slips and reliabilities of categories are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType


class Kind(StrEnum):
    """How a feature is observed."""

    DIMENSION = "dimension"
    COUNT = "count"
    CATEGORY = "category"
    LABELS = "labels"
    TEXT = "text"
    FIT = "fit"


class Subject(StrEnum):
    """What a feature belongs to: one half, or the mated pair alone."""

    HALF = "half"
    PAIR = "pair"


class Plane(StrEnum):
    """Depth at which a dimension is seen in an image; a scale holds only within one plane."""

    LANDS = "lands"
    MATING_FACE = "mating_face"
    HOUSING_TOP = "housing_top"


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One way a dimension is commonly taken wrong: another feature is measured in its place.

    ``instead`` names the feature really measured. ``share`` is the part of the named slips it takes.
    """

    instead: str
    share: float


@dataclass(frozen=True, kw_only=True)
class Feature:
    """One row of the feature table.

    Attributes
    ----------
    name, label, synonyms: identifier, bench words, and what the trade also calls it.
    kind, subject: how it is observed and whether it belongs to a half or to the mated pair.
    meaning: the exact definition, shown wherever the feature is asked for.
    how: how to take it at the bench.
    instruments: names of built-in instruments that can take it, best first; empty for what is seen by eye.
    low, high: plausible range; mm for dimensions, whole numbers for counts.
    gross_share: probability that a reading is grossly wrong (dimensions) or the count is wrong beyond
        the miscount law (0 for contact_count, which has its own law).
    slips: named slips of a dimension.
    along_rows: the dimension grows with positions (its *allowance* over the contact span is what stays).
    plane: where the dimension lies in an image.
    values: names and bench words of a category's values, in order.
    right_share: probability that the eye names the right value of a category.
    """

    name: str
    label: str
    kind: Kind
    meaning: str
    how: str
    subject: Subject = Subject.HALF
    synonyms: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0
    gross_share: float = 0.0
    slips: tuple[Slip, ...] = ()
    along_rows: bool = False
    plane: Plane | None = None
    values: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    right_share: float = 0.0


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
    "unscaled_photo",
    "steel_rule",
)
OPTICAL = (
    "microscope",
    "loupe",
    "usb_microscope",
    "scanner",
    "caliper_on_board",
    "photo",
    "unscaled_photo",
    "steel_rule",
)
DEPTH_KIND = ("caliper", "height_over_board", "micrometer", "vernier", "microscope", "steel_rule")


def _dimension(
    name: str,
    label: str,
    meaning: str,
    how: str,
    low: float,
    high: float,
    gross_share: float,
    *,
    slips: tuple[tuple[str, float], ...] = (),
    synonyms: tuple[str, ...] = (),
    instruments: tuple[str, ...] = CALIPER_KIND,
    along_rows: bool = False,
    plane: Plane | None = Plane.HOUSING_TOP,
    subject: Subject = Subject.HALF,
) -> Feature:
    return Feature(
        name=name,
        label=label,
        kind=Kind.DIMENSION,
        meaning=meaning,
        how=how,
        low=low,
        high=high,
        gross_share=gross_share,
        slips=tuple(Slip(instead=other, share=share) for other, share in slips),
        synonyms=synonyms,
        instruments=instruments,
        along_rows=along_rows,
        plane=plane,
        subject=subject,
    )


def _count(name: str, label: str, meaning: str, how: str, low: int, high: int, wrong: float, *synonyms: str) -> Feature:
    return Feature(
        name=name,
        label=label,
        kind=Kind.COUNT,
        meaning=meaning,
        how=how,
        low=low,
        high=high,
        gross_share=wrong,
        synonyms=synonyms,
    )


def _category(
    name: str,
    label: str,
    meaning: str,
    how: str,
    right: float,
    values: dict[str, str],
    *synonyms: str,
    kind: Kind = Kind.CATEGORY,
) -> Feature:
    return Feature(
        name=name,
        label=label,
        kind=kind,
        meaning=meaning,
        how=how,
        right_share=right,
        values=MappingProxyType(values),
        synonyms=synonyms,
    )


_TABLE: tuple[Feature, ...] = (
    _count(
        "contact_count",
        "contacts",
        "Signal contact sites at the mating face, blocked positions left out; no tails, hold-downs, "
        "power contacts or ground blades.",
        "Count one row at the mating face under a lens with a pointer, then the other; write both down.",
        1,
        1000,
        0.0,
        "pin count",
        "pins",
        "ways",
        "number of contacts",
        "circuits",
    ),
    _count(
        "rows",
        "rows",
        "Rows of signal contacts at the mating face.",
        "Look into the mating face; rows of tails may differ.",
        1,
        20,
        0.03,
        "number of rows",
    ),
    _count(
        "bank_count",
        "groups of contacts",
        "Groups that a wider gap divides along the rows.",
        "Count the groups along one row.",
        1,
        12,
        0.03,
        "banks",
    ),
    _count(
        "power_contact_count",
        "power contacts",
        "Wider contacts for supply current, one per separate conductor.",
        "Count the wide contacts; an end fitting may be a power contact too.",
        0,
        64,
        0.08,
        "power pins",
    ),
    _count(
        "hold_down_count",
        "hold-downs",
        "Metal fittings that fix the housing to the board, one per separate piece of metal.",
        "Count the separate soldered fittings; an end fitting may carry power as well.",
        0,
        64,
        0.08,
        "solder tabs",
        "hold-down tabs",
        "mounting pins",
    ),
    _dimension(
        "pitch",
        "pitch",
        "Centre to centre of neighbouring contacts of one row at the mating face, never across a gap between groups.",
        "Measure over as many gaps as can be reached (gaps, not contacts) and give that number as spans.",
        0.15,
        10.0,
        0.03,
        synonyms=("contact spacing", "lead pitch", "centres"),
        plane=Plane.MATING_FACE,
    ),
    _dimension(
        "tail_pitch",
        "pitch at the board",
        "Centre to centre of neighbouring tails along one side at the board, where it differs from the pitch "
        "(tails leaving alternately).",
        "Measure over several gaps between tails on one side and give the number of gaps as spans.",
        0.15,
        20.0,
        0.03,
        slips=(("pitch", 1.0),),
        synonyms=("land pitch",),
        plane=Plane.LANDS,
    ),
    _dimension(
        "row_spacing",
        "row spacing at the mating face",
        "Centre line to centre line of neighbouring occupied rows at the mating face.",
        "Outer edge to outer edge minus one contact width, under a microscope.",
        0.2,
        30.0,
        0.06,
        slips=(("land_row_spacing", 0.6), ("body_width", 0.4)),
        instruments=OPTICAL,
        plane=Plane.MATING_FACE,
    ),
    _dimension(
        "land_row_spacing",
        "row spacing of the lands",
        "Centre line to centre line of neighbouring rows of lands or holes on the board.",
        "Outer edges of the lands minus one land length, or hole centre to hole centre.",
        0.2,
        40.0,
        0.06,
        slips=(("row_spacing", 0.6), ("land_span", 0.4)),
        instruments=OPTICAL,
        plane=Plane.LANDS,
    ),
    _dimension(
        "body_length",
        "body length",
        "Moulded plastic along the rows at its longest point, end walls and moulded keys included, metal excluded.",
        "Close the jaws on plastic only; where metal wraps the end give the overall length instead.",
        1.0,
        250.0,
        0.04,
        slips=(("overall_length", 0.8), ("opening_length", 0.2)),
        synonyms=("length", "housing length"),
        along_rows=True,
    ),
    _dimension(
        "overall_length",
        "overall length",
        "Along the rows over everything, hold-downs included.",
        "Close the jaws on the outermost metal.",
        1.0,
        260.0,
        0.03,
        slips=(("body_length", 0.7), ("hold_down_land_span", 0.3)),
        along_rows=True,
    ),
    _dimension(
        "body_width",
        "body width",
        "Moulded plastic at its widest across the rows; contacts bent over a plug's wall stand proud: "
        "measure between them.",
        "Place the jaws between contacts, on plastic, above the tails.",
        0.5,
        60.0,
        0.05,
        slips=(("tail_span", 0.7), ("opening_width", 0.15), ("land_span", 0.15)),
        synonyms=("width", "housing width", "depth"),
    ),
    _dimension(
        "opening_length",
        "opening length",
        "A receptacle's pocket along the rows, wall to wall.",
        "Inside jaws or a calibrated image; not over the lead-in chamfer.",
        0.5,
        240.0,
        0.05,
        slips=(("body_length", 1.0),),
        synonyms=("pocket length",),
        along_rows=True,
    ),
    _dimension(
        "opening_width",
        "opening width",
        "A receptacle's pocket across the rows, wall to wall.",
        "Inside jaws or a calibrated image; not over the lead-in chamfer.",
        0.2,
        50.0,
        0.05,
        slips=(("body_width", 1.0),),
        synonyms=("pocket width",),
        instruments=("pin_gauge", *CALIPER_KIND),
    ),
    _dimension(
        "tail_span",
        "span over the tails",
        "Across the rows, tip to tip of the metal tails, solder fillet left out.",
        "From above under magnification, or jaws held level on the tips.",
        0.5,
        70.0,
        0.05,
        slips=(("body_width", 0.6), ("land_span", 0.4)),
        synonyms=("lead span", "tip to tip"),
        plane=Plane.LANDS,
    ),
    _dimension(
        "land_span",
        "span over the lands",
        "Across the rows, outer edge to outer edge of the lands: what a bare board still shows.",
        "On the bare board, outer copper edge to outer copper edge, under magnification.",
        0.5,
        80.0,
        0.04,
        slips=(("tail_span", 0.7), ("body_width", 0.3)),
        synonyms=("pad span", "footprint width"),
        instruments=OPTICAL,
        plane=Plane.LANDS,
    ),
    _dimension(
        "hold_down_land_span",
        "span over the hold-down lands",
        "Along the rows, outer edge to outer edge of the hold-down lands.",
        "On the bare board, outer copper edges.",
        1.0,
        260.0,
        0.05,
        slips=(("overall_length", 0.7), ("body_length", 0.3)),
        instruments=OPTICAL,
        along_rows=True,
        plane=Plane.LANDS,
    ),
    _dimension(
        "peg_hole_span",
        "peg holes apart",
        "Along the rows, centre to centre of the holes for the plastic pegs.",
        "Hole edge to the same edge of the other hole.",
        0.5,
        250.0,
        0.05,
        instruments=OPTICAL,
        along_rows=True,
        plane=Plane.LANDS,
    ),
    _dimension(
        "contact_width",
        "contact width",
        "Width of the mating metal of one signal contact; microscope only.",
        "A calibrated image at high magnification.",
        0.05,
        5.0,
        0.05,
        instruments=("microscope", "usb_microscope", "loupe"),
        plane=Plane.MATING_FACE,
    ),
    _dimension(
        "bank_gap",
        "gap between groups",
        "Last contact centre of one group to the first contact centre of the next.",
        "Centre to centre under magnification.",
        0.3,
        30.0,
        0.05,
        instruments=OPTICAL,
        plane=Plane.MATING_FACE,
    ),
    _dimension(
        "height",
        "height",
        "Board surface to the highest fixed plastic or metal of this half alone, without pick-up cap or "
        "guide posts; soldered parts sit 0.02 to 0.08 higher.",
        "Depth rod on the board, or height over the board minus the bare board's thickness.",
        0.2,
        40.0,
        0.05,
        slips=(("stack_height", 1.0),),
        synonyms=("profile", "above board"),
        instruments=DEPTH_KIND,
        plane=None,
    ),
    _dimension(
        "stack_height",
        "stack height",
        "Of the mated pair: board surface to board surface; on flex its connector side.",
        "Over both boards minus both boards' thicknesses, fully mated.",
        0.3,
        60.0,
        0.08,
        slips=(("height", 1.0),),
        synonyms=("mated height", "board spacing", "mating height"),
        instruments=DEPTH_KIND,
        plane=None,
        subject=Subject.PAIR,
    ),
    _dimension(
        "mated_width",
        "mated width",
        "Of the mated pair: largest extent across the rows, tails included.",
        "Jaws over the widest points of the mated pair.",
        0.5,
        80.0,
        0.08,
        slips=(("body_width", 1.0),),
        plane=None,
        subject=Subject.PAIR,
    ),
    _category(
        "half_kind",
        "kind of half",
        "A receptacle's housing surrounds the other when mated; a plug's goes inside; a hermaphroditic half "
        "mates with its like.",
        "Which housing would be outside when mated?",
        0.85,
        {
            "plug": "plug (goes inside)",
            "receptacle": "receptacle (goes around)",
            "hermaphroditic": "hermaphroditic (mates with its like)",
        },
        "gender",
    ),
    _category(
        "latch_style",
        "latch",
        "What can be seen or felt that keeps the pair together.",
        "Look for metal or moulded hooks; if the pair is at hand, feel for a click.",
        0.80,
        {
            "none_visible": "none to be seen",
            "click_felt": "a click is felt, nothing seen",
            "housing_snap": "moulded hooks",
            "metal_snap": "metal snaps",
            "lever_or_slide": "lever or slide",
            "screwed": "screws",
            "held_from_outside": "held by something outside",
        },
        "lock",
        "locking",
    ),
    _category(
        "contact_layout",
        "contacts opposite or staggered",
        "Whether the rows' contacts stand opposite each other, half a pitch apart, or leave alternately.",
        "Look along one contact across the rows.",
        0.90,
        {
            "aligned": "opposite each other",
            "staggered": "half a pitch apart",
            "alternating_tails": "tails leave alternately",
        },
        "stagger",
    ),
    _category(
        "centre_island",
        "island in the middle",
        "A moulded bar stands between the rows at the mating face.",
        "Look into the mating face.",
        0.90,
        {"yes": "yes", "no": "no"},
        "tongue",
    ),
    _category(
        "shield",
        "metal shield",
        "Sheet metal around the housing.",
        "Look at the outer walls.",
        0.95,
        {"none": "none", "partial": "on some sides", "full": "all round"},
    ),
    _category(
        "tail_form",
        "form of the tails",
        "How the metal leaves the housing towards the board.",
        "Look from the side at the board.",
        0.92,
        {
            "gull_out": "bent outwards",
            "under_body": "under the body",
            "flush": "flush with the wall",
            "pin": "straight pins",
            "ball": "balls",
        },
        "lead form",
        "termination",
    ),
    _category(
        "mounting",
        "mounting",
        "How the half is fixed to its board.",
        "Look at both sides of the board.",
        0.98,
        {
            "surface_mount": "surface mount",
            "through_hole": "through holes, soldered",
            "press_fit": "pressed into holes",
            "ball_array": "ball array",
            "straddle": "straddles the board's edge",
            "mid_board": "sunk into a cut-out",
            "compression": "pressed against lands",
        },
        "termination style",
    ),
    _category(
        "orientation",
        "direction of mating",
        "Direction of mating against the half's own board.",
        "Which way does the mate come off?",
        0.995,
        {"vertical": "upwards", "right_angle": "sideways", "coplanar": "edge to edge"},
    ),
    _category(
        "hold_down_form",
        "form of the hold-downs",
        "Where the fixing metal sits.",
        "Look at the ends and the long sides.",
        0.88,
        {
            "none": "none",
            "end_tab": "tabs at the ends",
            "side_tab": "tabs on the long sides",
            "wrap_round": "metal wraps the ends",
            "through_board": "pins through the board",
        },
    ),
    _category(
        "keying",
        "keys",
        "Marks that stop reversed mating; a mark is a key only if it does.",
        "Name every one that can be seen; 'none' when there is none.",
        0.85,
        {
            "none": "none",
            "corner_chamfer": "a cut corner",
            "end_shape": "ends shaped differently",
            "offset_rib": "a rib off the middle",
            "blocked_position": "a blocked position",
            "unequal_pegs": "pegs of unequal size",
        },
        "polarisation",
        kind=Kind.LABELS,
    ),
    _category(
        "pegs",
        "pegs at the back",
        "Moulded pegs that enter holes in the board, seen from the back; else give no observation.",
        "Look at the back of a loose part, or for filled holes in the board.",
        0.90,
        {"none": "none", "present": "present"},
        "locating posts",
    ),
    _category(
        "housing_colour",
        "colour of the housing",
        "Colour of the moulding; weak evidence only.",
        "By daylight.",
        0.75,
        {
            "black": "black",
            "white": "white",
            "natural": "natural (ivory)",
            "brown": "brown",
            "grey": "grey",
            "other": "another",
        },
    ),
    Feature(
        name="marking",
        label="letters that can be read",
        kind=Kind.TEXT,
        meaning="Letters and figures still readable on the half; short ones are mostly cavity or date codes.",
        how="Side light and a loupe; give only what is certain.",
        synonyms=("text", "imprint"),
    ),
    Feature(
        name="trial_fit",
        label="trial fit",
        kind=Kind.FIT,
        meaning="Whether this half mates with a known half; never forced.",
        how="Align by eye, light finger pressure only.",
        synonyms=("fits",),
    ),
)

FEATURES: Mapping[str, Feature] = MappingProxyType({feature.name: feature for feature in _TABLE})
"""Every feature by name, in the order in which a person at the bench would take them."""

DIMENSIONS = tuple(f.name for f in _TABLE if f.kind is Kind.DIMENSION and f.subject is Subject.HALF)
PAIR_DIMENSIONS = tuple(f.name for f in _TABLE if f.kind is Kind.DIMENSION and f.subject is Subject.PAIR)
COUNTS = tuple(f.name for f in _TABLE if f.kind is Kind.COUNT)
CATEGORIES = tuple(f.name for f in _TABLE if f.kind in (Kind.CATEGORY, Kind.LABELS))
