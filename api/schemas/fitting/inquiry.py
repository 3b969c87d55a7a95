"""Models of an inquiry: what is sent to somebody who may know a half that the catalogue does not have."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from api.schemas.answers import HalfRef, Out, Requirement
from api.schemas.measuring import ClickedPicture
from api.schemas.requests import IdentifyRequest
from catalog.cases.specimens import MAX_PICTURES


class InquiryRequest(IdentifyRequest):
    """A specimen, and the points that were marked in pictures of it."""

    pictures: Annotated[tuple[ClickedPicture, ...], Field(max_length=MAX_PICTURES)] = Field(
        default=(), description="As for /v1/measure. They are told, not measured again."
    )


class InquiryFigure(Out):
    """One observation, as it was given and what it comes to."""

    feature: str
    given: str = Field(description="The observation in words, with the instrument.")
    found: str = Field(description="What a length comes to, with its interval of 95 %; empty for anything else.")


class Excluded(Out):
    """A half of the catalogue that it is not, or hardly."""

    half: HalfRef
    why: str


class Inquiry(Out):
    """Everything that somebody needs who is asked for an unknown half, and a drawing to scale."""

    figures: tuple[InquiryFigure, ...]
    marks: tuple[str, ...] = Field(description="What was marked in pictures, in pixels from the upper left corner.")
    required: tuple[Requirement, ...] = Field(
        description="What the mate must be; empty until contacts and rows are counted."
    )
    excluded: tuple[Excluded, ...] = Field(description="The likeliest halves of the catalogue and why it is not they.")
    probability_absent: float
    text: str = Field(description="The whole inquiry as plain text, to send.")
    drawing: str = Field(description="What was measured, seen from the mating face, as SVG; dashed where assumed.")
