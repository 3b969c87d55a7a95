"""Models of contact maps: what was found at a half's contacts, and what that means at its mate's."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from api.schemas.answers import Out
from api.schemas.requests import Request, Word
from api.schemas.words import CONTACT_WORDS, explained
from catalog.model.entry_parts import Basis, Correspondence
from catalog.model.numbering import Side
from catalog.model.text_fields import Line

MOST_CONTACTS = 2000
"""Most contacts in one request: more than the largest half has with its power contacts and hold-downs."""

LONGEST_NET = 60
"""Most characters of a net's name, so that it can be drawn beside its contact. Our own choice, no source."""

Role = Literal["supply", "ground", "signal", "open"]
BoardSide = Literal["top", "bottom"]
Fold = Literal["none", "along_rows", "across_rows"]
Severity = Literal[
    "supply_to_ground", "supply_to_other_supply", "supply_to_signal", "ground_to_signal", "signal_to_signal"
]
Displacement = Literal["turned", "one_position_right", "one_position_left", "one_row_down", "one_row_up"]
ViewName = Literal["mating_face", "board_side", "in_place"]
Short = Annotated[str, Field(max_length=200)]

NETS_EXAMPLES: list[dict[str, Any]] = [
    {
        "half": "ouzelby:mossipet-p04",
        "mate": "ouzelby:mossipet-r04",
        "contacts": [
            {"contact": "1", "net": "BAT+", "reading": "3.9 V to contact 4"},
            {"contact": "2", "net": "SDA"},
            {"contact": "3", "net": "SCL"},
            {"contact": "4", "net": "GND", "note": "to the shield of the microphone"},
        ],
    }
]


class FoundContact(Request):
    """What one contact of the half carries."""

    contact: Word = Field(
        description="Its name by the half's numbering (`12`, `P1`), or its place as `row/position`, as the side in "
        "`seen_from` shows it: `2/5` is the second row from above, the fifth position from the left, positions left "
        "out included."
    )
    net: Annotated[str, Field(max_length=LONGEST_NET)] = Field(
        default="", description="The net; empty if it was not traced."
    )
    role: Role | None = Field(
        default=None, description="Left out: guessed from the net's name, and shown so that it can be corrected."
    )
    reading: Short = Field(default="", description="What a meter showed.")
    note: Short = ""


class ContactMapRequest(Request):
    """A half, what its contacts carry, and the mate that it is asked for."""

    model_config = ConfigDict(frozen=True, extra="forbid", json_schema_extra={"examples": [*NETS_EXAMPLES]})

    half: Word = Field(description="Key of the half.")
    mate: Word | None = Field(default=None, description="Key of the other half; left out: the half alone is drawn.")
    mating: Word | None = Field(
        default=None, description="Key of the mating, where sources disagree on which contact meets which."
    )
    seen_from: Side = Field(
        default="mating_face", description="The side from which places given as `row/position` were counted."
    )
    mate_on: BoardSide = Field(
        default="top",
        description="The side of its board on which the mate stands; the board is looked at from the top.",
    )
    fold: Fold = Field(
        default="none",
        description="How the mate's flex is folded over, since it lay flat with its top to the person: with the fold "
        "along the rows or across them.",
    )
    contacts: Annotated[tuple[FoundContact, ...], Field(max_length=MOST_CONTACTS)] = Field(
        default=(), description="Every contact of the half once; or none, for a map without nets."
    )


class MappedContact(Out):
    """A contact of the half, what it carries, and the mate's contact that meets it."""

    contact: Line
    net: str
    role: Role | None = Field(description="As given, or guessed from the net's name.")
    role_guessed: bool
    reading: str
    note: str
    mate_contact: str | None = Field(description="Null: none meets it, or it is not known which.")


class SeenContact(Out):
    """A contact as a view shows it: x to the right and y downwards, mm from the middle of the contacts. `net` is what
    the contact carries, or would carry; empty unless that is sure."""

    contact: str
    net: str
    role: Role | None
    x: float
    y: float
    first: bool = Field(description="Whether it is contact 1.")


class MapView(Out):
    """A half seen from one side: its rows from above, each from the left; null is a site left out."""

    name: ViewName
    whose: Literal["half", "mate"]
    title: str
    side: Side = Field(description="Which side of the half is seen. The board side is the mirror of the mating face.")
    rows: tuple[tuple[SeenContact | None, ...], ...]
    ends: tuple[SeenContact, ...] = Field(
        description="Power contacts and hold-downs that have a number, at their end of the rows; their distance is not "
        "to scale."
    )


class Meeting(Out):
    """Two nets that would meet, with all pairs of contacts where they would."""

    severity: Severity
    net: str = Field(description="What the half carries.")
    meets: str = Field(description="What the mate's board has there.")
    contacts: tuple[tuple[str, str, str | None], ...] = Field(
        description="The half's contact, the contact in whose place it would stand, and the mate's contact there."
    )


class Misplaced(Out):
    """The half put in where it does not belong. `meetings` are worst first; equal nets, two grounds and contacts that
    meet nothing are left out."""

    displacement: Displacement
    title: str
    possible: bool
    why: str = Field(description="What allows or stops it.")
    meetings: tuple[Meeting, ...]


class MapHalf(Out):
    """A half of the map, and how it is numbered."""

    key: str
    part_number: str
    maker: str
    numbering: str


class ContactMapAnswer(Out):
    """Which contact of the mate has which net. Where `sure` is false no net is stated for the mate: verify by
    continuity."""

    half: MapHalf
    mate: MapHalf | None
    mating: str | None
    correspondence: Correspondence | None = Field(description=explained(CONTACT_WORDS))
    basis: Basis | None
    sure: bool
    doubts: tuple[str, ...] = Field(description="Why it is not sure.")
    contacts: tuple[MappedContact, ...]
    unmet: tuple[str, ...] = Field(description="Contacts of the mate that no contact of the half is said to meet.")
    views: tuple[MapView, ...]
    misplaced: tuple[Misplaced, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
