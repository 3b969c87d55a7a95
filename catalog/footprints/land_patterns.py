"""The land pattern of a half, pad by pad, from the footprint file that the half was made from."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import ValidationError

from catalog.footprints.footprint_file import Box, Footprint, Pad
from catalog.model.entry_parts import DIGITS_MM
from catalog.model.land_pattern import USUAL_LAYERS, USUAL_ROUNDING, LandPattern

FORM = ("kind", "shape", "width", "height", "turn", "drill", "offset", "rounding", "layers")
"""What lands of one form have in common."""


def land_pattern(footprint: Footprint, half: str, body: Box, source: str, licence: str) -> LandPattern | None:
    """The pattern of the half with this key, or None where a land has a shape or size that a pattern cannot hold: part
    of its copper would be missing.

    ``source`` names the file, ``licence`` its terms.
    """
    given = {
        "half": half,
        "lands": _alike(footprint.pads),
        "courtyard": [_rounded(*segment) for segment in footprint.courtyard],
        "body": _rounded(body.left, body.top, body.right, body.bottom),
        "keepouts": [[_rounded(*point) for point in area] for area in footprint.keepouts],
        "source": source,
        "licence": licence,
    }
    try:
        return LandPattern.model_validate(given)
    except ValidationError:
        return None


def _alike(pads: Sequence[Pad]) -> list[dict[str, object]]:
    """The lands, those of one form together: a tenth of the text of one by one."""
    found: dict[tuple[object, ...], list[tuple[object, ...]]] = {}
    for pad in pads:
        drill = pad.drills if pad.kind.endswith("thru_hole") else ()
        layers = () if pad.layers == USUAL_LAYERS.get(pad.kind) else pad.layers
        rounding = pad.rounding if pad.shape == "roundrect" else USUAL_ROUNDING
        size, aside = _rounded(pad.width, pad.height), _rounded(*pad.offset)
        form = pad.kind, pad.shape, *size, pad.turn, _rounded(*drill), aside, rounding, layers
        found.setdefault(form, []).append((pad.number, *_rounded(pad.x, pad.y)))
    return [{**dict(zip(FORM, form, strict=True)), "at": at} for form, at in found.items()]


def _rounded(*lengths: float) -> tuple[float, ...]:
    return tuple(round(length, DIGITS_MM) for length in lengths)
