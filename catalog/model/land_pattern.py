"""Land patterns: the lands, holes and courtyard that a half needs on its board, pad by pad, mm.

x points right and y down, as in open footprint files. A pattern is a document about a half, so that the snapshot for
the matcher never loads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, FiniteFloat, StringConstraints, model_validator

from catalog.model.entry_parts import Entry
from catalog.model.text_fields import Line, Passage, plain_line

RECORD = "land_pattern"

FARTHEST = 500.0
"""Largest coordinate and size, mm; beyond it nothing is a connector's."""

MOST_LANDS = 5000
MOST_STROKES = 5000
"""More than any connector has: the largest open footprint known to us has some 600 lands (counted in Debian's)."""

LONGEST_NUMBER = 40
"""Letters of a land's number."""

USUAL_ROUNDING = 0.25
"""Corner radius over the shorter side where a file does not state it: the format's default."""

USUAL_LAYERS: Mapping[str, tuple[str, ...]] = {
    "smd": ("F.Cu", "F.Paste", "F.Mask"),
    "connect": ("F.Cu", "F.Mask"),
    "thru_hole": ("*.Cu", "*.Mask"),
    "np_thru_hole": ("*.Cu", "*.Mask"),
}
"""Layers of each kind of land, where a land does not name others."""

Place = Annotated[FiniteFloat, Field(ge=-FARTHEST, le=FARTHEST)]
Number = Annotated[str, StringConstraints(max_length=LONGEST_NUMBER)]
Size = Annotated[FiniteFloat, Field(gt=0, le=FARTHEST)]
Point = tuple[Place, Place]
Stroke = tuple[Place, Place, Place, Place]
"""x0, y0, x1, y1."""

Key = Annotated[str, StringConstraints(min_length=1, max_length=1000), AfterValidator(plain_line)]

LandKind = Literal["smd", "thru_hole", "connect", "np_thru_hole"]
LandShape = Literal["rect", "roundrect", "oval", "circle"]


class LandsAlike(Entry):
    """Lands or holes of one form, and where they are: ``at`` has number, x and y of each.

    ``width`` and ``height`` are the copper's before it is turned by ``turn`` degrees, counter-clockwise. ``kind``
    connect is a bare land that is not soldered, np_thru_hole a hole without copper. ``drill`` has one diameter or, of a
    slot, width and height; ``offset`` moves the copper from the hole, and turns with it. ``rounding`` is the radius of
    a roundrect's corners over its shorter side. ``layers`` is empty where the kind says which they are.
    """

    kind: LandKind = "smd"
    shape: LandShape = "rect"
    width: Size
    height: Size
    turn: Annotated[FiniteFloat, Field(ge=-360, le=360)] = 0.0
    drill: Annotated[tuple[Size, ...], Field(max_length=2)] = ()
    offset: Point = (0.0, 0.0)
    rounding: Annotated[FiniteFloat, Field(ge=0, le=0.5)] = USUAL_ROUNDING
    layers: Annotated[tuple[Line, ...], Field(max_length=20)] = ()
    at: Annotated[tuple[tuple[Number, Place, Place], ...], Field(min_length=1, max_length=MOST_LANDS)]

    @model_validator(mode="after")
    def _drilled_if_a_hole(self) -> Self:
        if bool(self.drill) != self.kind.endswith("thru_hole"):
            raise ValueError("a hole needs its drill, and nothing else has one")
        return self

    @property
    def all_layers(self) -> tuple[str, ...]:
        """The layers, as named or as usual for the kind."""
        return self.layers or USUAL_LAYERS[self.kind]


class LandPattern(Entry):
    """The land pattern of a half: as a file gives it, or calculated from the half's sizes.

    ``courtyard`` has the strokes drawn for it, ``body`` the moulding's left, top, right and bottom, ``keepouts`` areas
    without copper. ``source`` names the file or the method, and ``licence`` its terms, empty where nobody stated them.
    """

    record: Literal["land_pattern"] = "land_pattern"
    half: Key
    basis: Literal["file", "calculated"] = "file"
    lands: Annotated[tuple[LandsAlike, ...], Field(min_length=1, max_length=MOST_LANDS)]
    courtyard: Annotated[tuple[Stroke, ...], Field(max_length=MOST_STROKES)] = ()
    body: Stroke
    keepouts: Annotated[tuple[tuple[Point, ...], ...], Field(max_length=100)] = ()
    source: Passage
    licence: Passage = ""
