"""Cautions shown with every answer: each candidate may carry power.

Our own words for what the trade knows; general practice of handling cells and fine connectors. The figure on
ratings is that of IEC 60512-5-2 (derating curves hold for a stated number of loaded contacts).
"""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Take the cell away before any heat comes near the assembly. Disconnect the cell first and connect it last.",
    "Do not pry, bend or pierce pouch cells. Swollen, hot or smelling: stop, and follow local rules.",
    "Never defeat or imitate a line for protection, identification or temperature. Charger and cell must match.",
    "A meter's probe can short fine contacts by itself: probe at wire ends or on a breakout board.",
    "That two halves fit does not say that they are wired alike: trace the contacts before you connect.",
    "Such connectors are seldom made to be mated under power, and only for few cycles. Do not force them.",
    "After checks for shorts and continuity, power up first from a supply with a current limit.",
    "Supply and return contacts both carry the current. Ratings hold for the stated number of loaded contacts "
    "and the stated copper (IEC 60512-5-2); thin flex carries less.",
    "Mind static discharge and fumes; protect your eyes.",
    "Not for medical, life-safety, aviation or mains use without release by a qualified person.",
    "The maker's datasheet and local rules decide.",
)
"""The full list, as the JSON answer carries it."""

SHORT_CAUTIONS: tuple[str, ...] = (
    "Cell off before heat comes near; disconnect it first, connect it last. Never force, pry or pierce.",
    "That it fits does not say it is wired alike: trace, check for shorts, first power with a current limit.",
    "Ratings count supply and return contacts, loaded as the datasheet states. The datasheet and local rules decide.",
)
"""What the command line prints under every answer; ``--cautions`` prints all."""
