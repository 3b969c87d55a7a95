"""The order note: the request, and what is taken to the shop and to the bench."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, JsonValue, StrictInt

from api.schemas.answers import HalfRef, Mate, Out
from api.schemas.requests import AskRequest, Word

SolderTool = Literal["iron", "hot_air", "hot_plate", "oven", "microscope"]
Solderable = Literal["yes", "hard", "no", "unknown"]

ORDER_NOTE_EXAMPLE: dict[str, JsonValue] = {
    "half": "maker:part-number",
    "observations": [{"feature": "contact_count", "value": 24}],
    "quantity": 1,
    "tools": ["hot_air", "microscope"],
}


class OrderNoteRequest(AskRequest):
    """The half that was identified, from what, and the mate to order."""

    model_config = ConfigDict(json_schema_extra={"examples": [ORDER_NOTE_EXAMPLE]})

    half: Word = Field(description="Key of the half that it is.")
    mate: Word | None = Field(default=None, description="Key of the mate to order; left out: the safest one.")
    quantity: Annotated[StrictInt, Field(ge=1, le=100_000)] = Field(default=1, description="Pieces that are fitted.")
    tools: tuple[SolderTool, ...] | None = Field(default=None, description="What you solder with.", max_length=5)


class Soldering(Out):
    """Whether the mate can be soldered with the tools at hand. Common practice, no source."""

    verdict: Solderable
    why: str


class ArrivalCheck(Out):
    """What to check on the part that arrives, before it is soldered."""

    feature: str = Field(description="The feature, or what is tried.")
    expected: str
    how: str


class OrderNote(Out):
    """What to order and from what it was identified; how to fit it; what to check before and after."""

    half: HalfRef
    mate: Mate
    quantity: int
    spares: int
    order: tuple[str, ...]
    identified_from: tuple[str, ...]
    probability: float | None = Field(description="Of this half by the observations; null without any.")
    not_verified: tuple[str, ...]
    soldering: Soldering
    fitting: tuple[str, ...]
    on_arrival: tuple[ArrivalCheck, ...]
    after_fitting: tuple[str, ...]
    cautions: dict[str, tuple[str, ...]]
    text: str = Field(description="The whole note as plain text.")
