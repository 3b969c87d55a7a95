"""The lands of a half, as the JSON interface gives them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from api.schemas.answers import Out
from catalog.model.land_pattern import LandPattern

Form = Literal["json", "kicad_mod", "svg"]


class LandsAnswer(Out):
    """A land pattern, seen from the side on which the half sits: mm, x to the right, y down."""

    pattern: LandPattern = Field(description="`basis` calculated: for a dummy only, not the maker's lands.")
    told: tuple[str, ...] = Field(description="What must stand beside the lands: source, licence, how far to trust.")
    cautions: tuple[str, ...] = Field(description="Read them before you solder.")
