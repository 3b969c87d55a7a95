"""Connectors that this program does not identify, and what to do instead: a short table.

Common practice, no source. People read it before they measure; the ranking does not use it.
"""

from __future__ import annotations

from api.schemas.lists import FeatureList, OutOfScopeOut, feature_out
from matcher.features import FEATURES

TRIAGE: tuple[OutOfScopeOut, ...] = (
    OutOfScopeOut(
        name="flex clamp",
        sign="A bare flex or flat cable enters a slot and a flap or slide clamps it.",
        reason="Its mate is the cable's own end, not another half.",
        instead="Note the cable's pitch, contact count, thickness and the side its contacts are on.",
    ),
    OutOfScopeOut(
        name="card edge",
        sign="A board's own edge, with lands on it, is pushed into the connector.",
        reason="Its mate is a bare board.",
        instead="Measure the board's edge and look for the specification of that module.",
    ),
    OutOfScopeOut(
        name="coaxial snap",
        sign="A small round metal shell with one pin in the middle.",
        reason="One contact: families differ by shell diameter and height only.",
        instead="Measure the shell's diameter and mated height and compare the few families there are.",
    ),
    OutOfScopeOut(
        name="soldered flex",
        sign="A flex or wire is soldered straight to lands; nothing unplugs.",
        reason="There is no connector.",
        instead="Photograph and trace it before you unsolder; take the cell away first.",
    ),
    OutOfScopeOut(
        name="compression only",
        sign="Springs, pogo pins or an elastic strip press on flat lands; something else holds it.",
        reason="Its mate is a pattern of lands.",
        instead="Measure the spring's free and pressed height and the lands' pitch.",
    ),
)
"""Every kind out of scope, most common first."""


def feature_list() -> FeatureList:
    """Every feature of the table, and what is out of scope."""
    return FeatureList(items=tuple(map(feature_out, FEATURES.values())), out_of_scope=TRIAGE)
