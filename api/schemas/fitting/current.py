"""Whether a half and its mate carry a current: the request and the answer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, JsonValue, StrictInt

from api.schemas.answers import Out
from api.schemas.requests import Number, Request, Word
from catalog.evidence.standing import Standing
from catalog.model.entry_parts import Citation, Ratings

MOST_CONTACTS_ASKED = 10_000
"""Most contacts in a request: more than any half has, so that the answer can say how many it has."""

Enough = Literal["enough", "not_enough", "unknown"]

Contacts = Annotated[StrictInt, Field(ge=1, le=MOST_CONTACTS_ASKED)]

CURRENT_EXAMPLE: dict[str, JsonValue] = {
    "half": "maker:part-number",
    "mate": "maker:other-part-number",
    "current_a": 1.5,
    "supply_contacts": 4,
    "return_contacts": 4,
    "ambient_c": 40,
}


class CurrentRequest(Request):
    """A current that flows through some contacts of a half and back through others."""

    model_config = ConfigDict(json_schema_extra={"examples": [CURRENT_EXAMPLE]})

    half: Word = Field(description="Key of the half.")
    mate: Word | None = Field(
        default=None, description="Key of its mate; left out: enough only if all its listed mates are."
    )
    current_a: Number = Field(description="The current from the supply, A.")
    supply_contacts: Contacts = Field(description="Contacts in parallel for the supply.")
    return_contacts: Contacts = Field(description="Contacts in parallel for the return.")
    ambient_c: Number = Field(description="Temperature of the air around the mated pair, °C.")
    power_contacts: bool = Field(default=False, description="They are the wide power contacts, not the others.")


class RatedHalf(Out):
    """One half of the pair: what is stated for it, and what that allows."""

    id: str
    part_number: str
    maker: str
    verdict: Enough
    reason: str
    ratings: Ratings | None = Field(
        description="As its maker states them; without currents taken with more contacts loaded than it has."
    )
    allowed_a: float | None = Field(
        description="Current of one contact at this ambient, A: 0.8 of the base curve (IEC 60512-5-2), and never more "
        "than stated; null if the ratings do not say."
    )
    margin_a: float | None = Field(description="allowed_a less the current of the contact that carries most, A.")
    missing: tuple[str, ...] = Field(description="What would have to be known.")
    standing: Standing
    citation: Citation | None
    beware: tuple[str, ...] = Field(description="Of a mate: what must be said of it wherever it is named.")


class CurrentAnswer(Out):
    """Whether the ratings that are known cover the current. It is never more than what the ratings say."""

    verdict: Enough
    reason: str
    current_per_contact_a: float = Field(
        description="Current of each contact on the side, supply or return, that has fewer, A; if shared equally."
    )
    loaded_contacts: int = Field(description="Contacts that carry the current, there and back.")
    margin_a: float | None = Field(description="The smallest margin of the halves, A on one contact; null if unknown.")
    contact_resistance_mohm: float | None = Field(description="Of one mated contact; the largest stated.")
    loss_w: float | None = Field(description="Heat in all its contacts, W.")
    voltage_drop_v: float | None = Field(description="Supply and return together, V.")
    halves: tuple[RatedHalf, ...] = Field(description="The half itself, then its mate or all its listed mates.")
    missing: tuple[str, ...] = Field(description="What would have to be known to say enough.")
    rests_on: tuple[str, ...] = Field(description="Assumptions, approximations and sources.")
    cautions: tuple[str, ...] = Field(description="Read them before you connect anything.")
    catalogue_version: int
