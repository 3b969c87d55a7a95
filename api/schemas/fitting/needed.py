"""What is needed to connect to a half: the request and the answer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, JsonValue, model_validator

from api.schemas.answers import HalfRef, Mate, Out, RequiredMate
from api.schemas.requests import Number, Request, Word

Need = Literal["mate", "same", "both"]
Fits = Literal["yes", "tight", "no", "unknown"]
Relation = Literal["intermateable", "intermountable", "interchangeable"]

MOST_ASKED = 12
"""Most halves of one request: a shortlist, not the catalogue."""

Thickness = Annotated[Number, Field(ge=0, le=100)]

NEEDED_EXAMPLE: dict[str, JsonValue] = {
    "halves": ["maker:part-number"],
    "need": "mate",
    "gap": {"most": 1.2},
    "width_most": 3.0,
    "added": {"flex": 0.12, "stiffener": 0.2},
}


class Gap(Request):
    """The distance between the two surfaces, mm: as much as there is, and as little as they can come together."""

    least: Thickness | None = None
    most: Thickness | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Gap:
        if self.least is None and self.most is None:
            raise ValueError("give least, most or both")
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError("least is larger than most")
        return self


class NeededRequest(Request):
    """Halves that it may be, what is to be connected, and the room that there is."""

    model_config = ConfigDict(json_schema_extra={"examples": [NEEDED_EXAMPLE]})

    halves: Annotated[tuple[Word, ...], Field(min_length=1, max_length=MOST_ASKED)] = Field(
        description="Keys of the half, or of a shortlist."
    )
    need: Need = Field(
        default="mate",
        description="mate: what goes onto this half; same: this half once more, for its board; both: for an extension, "
        "a breakout or a tap between two boards.",
    )
    gap: Gap | None = Field(default=None, description="Room between the surfaces that hold the two halves, mm.")
    width_most: Thickness | None = Field(default=None, description="Room across the rows, mm.")
    length_most: Thickness | None = Field(default=None, description="Room along the rows, mm.")
    added: dict[Annotated[str, Field(min_length=1, max_length=40)], Thickness] = Field(
        default_factory=dict,
        max_length=12,
        description="What else lies in the gap, each at its thickest, mm: flex, stiffener, solder, foam, the board of "
        "an extension.",
    )


class Extent(Out):
    """A length with the limits within which parts lie, mm."""

    nominal: float
    least: float
    most: float


class Room(Out):
    """Whether a pair goes into one direction of the room: in the worst case too, only as a rule, or not."""

    direction: Literal["height", "width", "length"]
    fits: Fits
    taken: Extent | None = Field(description="What the pair takes, with all that was added; null if not stated.")
    margin: float | None = Field(description="Room that is left in the worst case, mm; below 0 it may not fit.")


class NeededMate(Out):
    """A mate, and whether the pair goes into the room."""

    mate: Mate
    rooms: tuple[Room, ...] = Field(description="The directions that were asked about.")
    fits: Fits = Field(description="The worst one of them; yes if none was asked about.")


class Equivalent(Out):
    """A listed half that can take this one's place, and in what respect."""

    half: HalfRef
    relation: Relation = Field(
        description="intermateable: takes the same mate; intermountable: goes onto the same lands; interchangeable: "
        "both, at the same stack height. None of them says anything of ratings."
    )
    why: str


class Needed(Out):
    """What can be ordered for one half."""

    half: HalfRef
    mates: tuple[NeededMate, ...] = Field(description="The safest that fits comes first.")
    required_mate: RequiredMate | None = Field(description="Where no mate is listed.")
    equivalents: tuple[Equivalent, ...]
    added_height: Extent | None = Field(
        description="For an extension: by how much it raises the upper board with the first mate, mm."
    )


class NeededAnswer(Out):
    """What is needed, half by half."""

    need: Need
    halves: tuple[Needed, ...]
    suits_all: tuple[str, ...] = Field(description="Keys of mates that fit every one of the halves.")
    advice: tuple[str, ...] = Field(description="What to order and what to do if it cannot be bought, in sentences.")
    cautions: tuple[str, ...]
