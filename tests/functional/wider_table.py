"""A pytest plugin that adds three features to the feature table only, before anything reads the table.

The entries are inserted into the text of ``matcher/features.py`` as a developer would write them; no other file knows
their names. The tests of ``features_in_use.py`` then use them everywhere.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import matcher

TABLE = Path(__file__).parents[2] / "matcher" / "features.py"
END_OF_TABLE = "\n)\n\nFEATURES"

MORE = """
    _Dimension(
        name="key_width",
        label="key width",
        meaning="Across the rows, wall to wall of the moulded key at one end of the housing.",
        how="Close the jaws on the key alone.",
        synonyms=("width of the key",),
        low=0.1,
        high=10.0,
        gross_share=0.05,
        slips=(Slip("body_width", 1.0),),
        process=Process(0.08),
    ),
    Feature(
        name="vent_count",
        label="vents",
        kind=Kind.COUNT,
        meaning="Openings in the floor of the housing through which flux can escape.",
        how="Look through the housing against the light.",
        low=0,
        high=40,
        gross_share=0.05,
    ),
    Feature(
        name="floor_form",
        label="floor of the housing",
        kind=Kind.CATEGORY,
        meaning="Whether the housing is open towards the board.",
        how="Look at the back of a loose part.",
        right_share=0.95,
        values={"open": "open", "closed": "closed by plastic"},
    ),"""


def widen() -> None:
    """Replace ``matcher.features`` by a feature table with the entries of `MORE`."""
    if "matcher.features" in sys.modules:
        raise RuntimeError("something has read the feature table already")
    text = TABLE.read_text(encoding="utf-8")
    if text.count(END_OF_TABLE) != 1:
        raise RuntimeError("the end of the feature table was not found")
    wider = ModuleType("matcher.features")
    wider.__file__ = str(TABLE)
    sys.modules["matcher.features"] = matcher.features = wider  # type: ignore[attr-defined]
    exec(compile(text.replace(END_OF_TABLE, MORE + END_OF_TABLE), str(TABLE), "exec"), wider.__dict__)


widen()
