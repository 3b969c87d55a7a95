"""Cautions shown with every answer: every candidate may carry power.

Common practice for handling cells and fine connectors, in our own words. The sentence on ratings follows
IEC 60512-5-2 (derating curves hold for a stated number of loaded contacts).
"""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Take the cell away before any heat comes near the assembly. Disconnect the cell first and connect it last.",
    "Do not pry, bend or pierce pouch cells. Swollen, hot or smelling: stop, and follow local rules.",
    "Never defeat or imitate a line for protection, identification or temperature. Charger and cell must match.",
    "A meter's probe can short fine contacts by itself: probe at wire ends or on a breakout board.",
    "Two halves that fit can be wired differently: trace the contacts before you connect them.",
    "These connectors are rarely made for mating under power, and only for few mating cycles. Do not force them.",
    "After checks for shorts and continuity, power up first from a supply with a current limit.",
    "Supply and return contacts both carry the current. Ratings hold for the stated number of loaded contacts "
    "and the stated copper (IEC 60512-5-2); thin flex carries less.",
    "Mind static discharge and fumes; protect your eyes.",
    "Not for medical, life-safety, aviation or mains use without release by a qualified person.",
    "The maker's datasheet and local rules decide.",
)
"""The full list, as in the JSON answer."""

SHORT_CAUTIONS: tuple[str, ...] = (
    "Take the cell away before any heat. Disconnect it first and connect it last. Never force, pry or pierce it.",
    "A half that fits can be wired differently: trace it, check for shorts, and limit the current at first power.",
    "Ratings count supply and return contacts, loaded as the datasheet states. The datasheet and local rules decide.",
)
"""The short list that the command line prints below every answer; ``--cautions`` prints all."""
