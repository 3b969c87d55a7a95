"""The fields of the bench, by part of the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from api.schemas.problems import FieldProblem
from api.web.bench.parameters import has_gaps
from api.web.bench.request import Bench
from api.web.bench.sheets import ABOVE, FROM_END
from matcher.features import FEATURES, Feature, Kind, Remains

ABOVE_NAMES = (
    "contact_count",
    "rows",
    *(lane.name for lane in ABOVE[:3]),
    "hold_down_count",
    *(lane.name for lane in ABOVE[3:]),
)
"""Fields of the sheet from above, in the order of the keyboard."""

END_NAMES = tuple(lane.name for lane in FROM_END)
"""Fields of the sheet from the end."""

OTHER_NAMES = ("other.contact_count", "other.pitch", "other.body_length")
"""Further readings of the other half, perhaps on an old cable."""

FINER_NAMES = tuple(
    feature.name
    for feature in FEATURES.values()
    if feature.kind in (Kind.DIMENSION, Kind.COUNT) and feature.name not in (*ABOVE_NAMES, *END_NAMES)
)
"""Lengths and counts without a place in the drawing."""

FIRST_EYE = "half_kind"
"""The category that shapes the drawing, so it is asked first."""

EYE_NAMES = tuple(
    feature.name
    for feature in FEATURES.values()
    if feature.kind in (Kind.CATEGORY, Kind.LABELS) and feature.name != FIRST_EYE
)
"""Categories: features that can be seen."""

SHORT = {"row_spacing": "row spacing", "tail_span": "over the tails", "half_kind": "which is it"}
"""Shorter labels for fields whose place in the drawing says the rest."""

TEXT_NAMES = tuple(feature.name for feature in FEATURES.values() if feature.kind in (Kind.TEXT, Kind.FIT))
"""Fields of text: letters that can be read, and fits that were tried."""

SHOWN = (*ABOVE_NAMES, *END_NAMES, *OTHER_NAMES, *FINER_NAMES, FIRST_EYE, *EYE_NAMES, *TEXT_NAMES)
"""Every name with its own field on the page."""

LETTERS = {"contact_count": "A", "rows": "B", "hold_down_count": "F"} | {
    lane.name: lane.letter for lane in (*ABOVE, *FROM_END)
}


@dataclass(frozen=True, kw_only=True)
class Field:
    """A field: what it asks for, its text, and what is wrong with it. ``gaps`` is None where the length is not measured
    over gaps."""

    name: str
    feature: Feature
    value: str
    letter: str = ""
    gaps: str | None = None
    error: FieldProblem | None = None
    states: tuple[str, ...] = ()
    chosen: frozenset[str] = frozenset()

    @property
    def key(self) -> str:
        """The name as an id of the page and as a class."""
        return self.name.replace(".", "-")

    @property
    def label(self) -> str:
        """The label, in its short form where there is one."""
        own = SHORT.get(self.name, self.feature.label)
        return f"other's {own}" if self.name.startswith("other.") else own

    @property
    def whole(self) -> bool:
        """Whether a whole number is asked for."""
        return self.feature.kind is Kind.COUNT


def fields_of(bench: Bench, names: tuple[str, ...], next_up: frozenset[str]) -> list[Field]:
    """The fields of these names as they are filled in."""
    states = states_of(bench, next_up)
    return [
        Field(
            name=name,
            feature=FEATURES[name.rpartition(".")[2]],
            value=bench.text(name),
            letter=LETTERS.get(name, ""),
            gaps=bench.gaps(name) if has_gaps(name) else None,
            error=bench.error(name),
            states=states.get(name, ()),
            chosen=bench.chosen(name),
        )
        for name in names
    ]


def states_of(bench: Bench, next_up: frozenset[str]) -> dict[str, tuple[str, ...]]:
    """States of fields by name: given, wrong, next; gone, or cut short, with what remains of the half."""
    remains = bench.request.remains
    lost = {name for name in SHOWN if name in FEATURES and not FEATURES[name].left_on(remains)}
    given = {entry.name for entry in bench.entries if entry.usable}
    wrong = {entry.name for entry in bench.errors}
    how = "cut" if remains is Remains.ONE_END_MISSING else "gone"
    named = (("given", given), ("wrong", wrong), ("next", next_up), (how, lost))
    every = sorted(given | wrong | lost | set(next_up))
    return {name: tuple(state for state, those in named if name in those) for name in every}


def glossary() -> Iterator[tuple[str, Feature]]:
    """Every feature that has a field, with the id of its definition on the page."""
    for name in dict.fromkeys(name.rpartition(".")[2] for name in SHOWN):
        yield f"about-{name}", FEATURES[name]
