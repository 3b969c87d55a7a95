"""Sizes of single things on the board, which repeat contact by contact or peg by peg: lands, and holes for pegs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from catalog.footprints.footprint_file import Box, Pad

SURFACE = ("smd", "connect")
"""Kinds of pads that are lands: the ring around a plated hole is none."""

DRAWN_WHOLE = ("rect", "roundrect", "oval", "circle")
"""Shapes whose size is in the file as width and height; of others it is only a part."""

COMMON_SHARE = 2 / 3
"""Share of the lands that must have a size for it to be that of the half; first lands often differ. Common practice, no
source."""

SAME_SIZE = 3
"""Decimals, mm, to which sizes are compared: files round to 0.01, sums of coordinates add less than this."""


def land_size(lands: Sequence[Pad], *, turned: bool) -> tuple[float | None, float | None]:
    """Width (along the rows) and length (across them) that most contact lands have, mm; None where none is common."""
    surface = [pad for pad in lands if pad.kind in SURFACE]
    boxes = [_box(pad, turned) if pad.shape in DRAWN_WHOLE else None for pad in surface]
    return _common([box.width if box else None for box in boxes]), _common(
        [box.height if box else None for box in boxes]
    )


def _box(pad: Pad, turned: bool) -> Box:
    return pad.box.turned() if turned else pad.box


def _common(sizes: Sequence[float | None]) -> float | None:
    """The size that at least `COMMON_SHARE` of them have."""
    rounded = [None if size is None else round(size, SAME_SIZE) for size in sizes]
    size, number = Counter(rounded).most_common(1)[0] if rounded else (None, 0)
    return size if number >= COMMON_SHARE * len(rounded) else None


FEW_PEGS = 2
"""So many holes without copper are for pegs, also on a half with as few contacts."""


def peg_hole_diameter(holes: Sequence[Pad], contacts: int) -> float | None:
    """Diameter of the holes without copper, mm; None where they differ, or any is not round.

    None as well where there is one for each contact: those hold the contacts' wires, not pegs.
    """
    if len(holes) >= contacts and len(holes) > FEW_PEGS:
        return None
    diameters = {hole.drill for hole in holes}
    return diameters.pop() if len(diameters) == 1 else None
