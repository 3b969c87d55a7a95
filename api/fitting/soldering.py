"""Whether a person can solder a half with what they have, and how halves are taken off and put on.

Common practice at the bench, no source; the maker's datasheet and local rules decide.
"""

from __future__ import annotations

from collections.abc import Collection

from api.schemas.fitting.order_note import Soldering
from catalog.model.entries import Half

EASY_PITCH, FINE_PITCH = 0.8, 0.5
"""Pitches, mm: from the first, an iron reaches the tails one by one; below the second, only under a microscope."""

HOT = ("hot_air", "hot_plate", "oven")
"""Tools that heat all tails at once."""

HIDDEN_TAILS = ("under_body", "ball")
IN_HOLES = ("through_hole", "press_fit")

FITTING = (
    "Take the old half off with all its tails molten at once: hot air, with the neighbours shielded, or low-melting "
    "solder along both rows. Do not lever: lands tear off before the moulding lets go.",
    "Clean the lands with wick and flux until they are level, and look for torn ones.",
    "Little no-clean flux, only on the lands: flux that creeps into the contacts spoils them.",
    "Lay the new half on flat glass: all tails must touch. Beyond about 0.1 mm some will not solder (common practice).",
    "The datasheet's limits of temperature, time and number of reflows decide; the moulding warps above them. Never "
    "solder a half with its mate plugged in, unless its maker says so.",
    "Hold-downs first, then look along both rows under magnification before the other tails.",
)
"""Removal, heat, flux and flatness."""


def soldering(half: Half, tools: Collection[str] | None) -> Soldering:
    """Whether the half can be soldered with these tools; None: the person did not say what they have."""
    needed, hard = _needed(half)
    if needed is None:
        return Soldering(verdict="unknown", why=hard)
    if tools is None:
        return Soldering(verdict="unknown", why=f"It takes {needed}. Say what you have.")
    if set(tools) & set(HOT):
        fine = _pitch(half) < FINE_PITCH and "microscope" not in tools
        why = "All tails melt at once." + (" Look for bridges under a microscope: the pitch is fine." if fine else "")
        return Soldering(verdict="hard" if fine else "yes", why=why)
    if "iron" not in tools:
        return Soldering(verdict="no", why=f"It takes {needed}.")
    if hard == "hidden":
        return Soldering(verdict="no", why=f"An iron does not reach the tails. It takes {needed}.")
    if hard == "fine":
        seen = "microscope" in tools
        why = "A fine pitch: flux, a small tip and practice, one row at a time, and wick for the bridges."
        return Soldering(verdict="hard" if seen else "no", why=why if seen else f"{why} Not without a microscope.")
    return Soldering(verdict="yes", why="An iron with a fine tip reaches the tails.")


def _needed(half: Half) -> tuple[str | None, str]:
    """What the half takes, and what makes it hard (hidden, fine or nothing); None and why if it is not known."""
    mounting, form = half.categories.get("mounting", ()), half.categories.get("tail_form", ())
    if set(mounting) & {"compression"}:
        return "no solder at all: it is pressed against its lands", "hidden"
    if set(mounting) & set(IN_HOLES):
        return "an iron", ""
    if set(form) & set(HIDDEN_TAILS) or set(mounting) & {"ball_array"}:
        return "hot air, a hot plate or an oven", "hidden"
    if not form or "pitch" not in half.dimensions:
        return None, "The entry does not state how its tails leave or their pitch: look at its drawing."
    if _pitch(half) < EASY_PITCH:
        fine = _pitch(half) < FINE_PITCH
        needed = "hot air, a hot plate or an oven; or an iron, a microscope and practice"
        return (needed, "fine") if fine else ("hot air, a hot plate, an oven, or an iron with a fine tip", "")
    return "an iron, hot air, a hot plate or an oven", ""


def _pitch(half: Half) -> float:
    return half.dimensions["pitch"].value if "pitch" in half.dimensions else 0.0
