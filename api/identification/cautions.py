"""Cautions by the stage of the work: every candidate may carry power.

Common practice for cells, heat and fine connectors, in our own words, no source. The sentence on ratings follows
IEC 60512-5-2 (derating curves hold for a stated number of loaded contacts).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

BY_STAGE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "before measuring": (
            "Switch off and take the cell out before you measure or try a fit: steel jaws, tweezers and a metal rule "
            "bridge battery contacts.",
            "Large capacitors stay charged. Wait, then check with a meter; what stays above a few "
            "volts is discharged by a qualified person.",
            "Do not pry, bend or pierce pouch cells. Swollen, hot or smelling: stop, and follow local rules.",
            "A meter's probe can short fine contacts by itself: probe at wire ends or on a breakout board.",
            "Many halves go together turned end for end as well: find contact 1 on both before a trial fit. Do not "
            "force them.",
            "Mind static discharge; protect your eyes.",
        ),
        "before soldering": (
            "Take the cell away before any heat comes near the assembly.",
            "Solvents and their vapour burn: let what was cleaned dry, and put the bottle away, before hot air or an "
            "iron is on.",
            "Draw off fumes, protect your eyes, and mind static discharge.",
        ),
        "before power": (
            "Two halves that fit can be wired differently: trace the contacts before you connect them.",
            "Never defeat or imitate a line for protection, identification or temperature. Charger and cell must "
            "match.",
            "Check for shorts and continuity, connect the cell last, and power up first from a supply with a current "
            "limit.",
            "These connectors are rarely made for mating under power, and only for few mating cycles.",
            "Supply and return contacts both carry the current. Ratings hold for the stated number of loaded contacts "
            "and the stated copper (IEC 60512-5-2); thin flex carries less.",
        ),
        "in all work": (
            "Not for medical, life-safety, aviation or mains use without release by a qualified person.",
            "The maker's datasheet and local rules decide. Where you are not sure, ask a qualified person.",
        ),
    }
)
"""All cautions, by the stage before which they are read, in the order of the work."""

CAUTIONS: tuple[str, ...] = tuple(caution for cautions in BY_STAGE.values() for caution in cautions)
"""The full list, as in the JSON answer."""

SHORT_CAUTIONS: tuple[str, ...] = (
    "Power off and cell out before you measure, try a fit or heat anything; connect it last. Never force or pierce it.",
    "A half that fits can be wired differently: trace it, check for shorts, and limit the current at first power.",
    "Ratings count supply and return contacts, loaded as the datasheet states. The datasheet and local rules decide.",
)
"""The short list that the command line prints below every answer; ``--cautions`` prints all."""


def cautions_before(*stages: str) -> dict[str, tuple[str, ...]]:
    """The cautions of these stages and of all work, by stage, for a text that is taken to the bench. Raises KeyError
    for an unknown stage."""
    return {stage: BY_STAGE[stage] for stage in (*stages, "in all work")}


def listed_cautions(*stages: str) -> tuple[str, ...]:
    """The same in one list."""
    return tuple(caution for cautions in cautions_before(*stages).values() for caution in cautions)
