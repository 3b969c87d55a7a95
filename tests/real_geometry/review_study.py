"""The machine review on real geometry: how often it raises a false alarm, and how many injected slips it finds.

Every real half is reviewed as if it were just being added to a catalogue that holds all others. Then slips of the
commonest kinds are made in one dimension of it and it is reviewed again.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from catalog.model.text_fields import comparable
from catalog.review import Code, Finding, Neighbours, Severity, review
from catalog.review.names import known_as, names_of, one_slip_apart, stem
from catalog.review.slips import swapped_figures
from matcher.features import FEATURES

Values = dict[str, float]
Slip = Callable[[Half, str, Mapping[str, Half], np.random.Generator], Values]
"""Makes wrong values of a half (with its siblings), including the named dimension; empty where it cannot."""

SEEN_FROM = 1.0
"""A slip of fewer default tolerances lies within the usual variation of parts and is not counted."""

SLIPPED = ("pitch", "body_length", "body_width", "land_span", "land_row_spacing", "hold_down_land_span")
"""Dimensions in which slips are made, equally often where the half has them."""


class Neighbourhood:
    """All halves, indexed so that the entries to compare with are found quickly."""

    def __init__(self, halves: Sequence[Half]) -> None:
        self._series: dict[str, list[Half]] = defaultdict(list)
        self._contacts: dict[tuple[int, int], list[Half]] = defaultdict(list)
        self._names: dict[str, dict[str, Half]] = defaultdict(dict)
        self._near: dict[str, dict[str, Half]] = defaultdict(dict)
        for half in halves:
            self._series[half.series_key].append(half)
            self._contacts[half.contact_count, half.rows].append(half)
            for name in known_as(half):
                self._names[stem(name)][half.key] = half
            for short in _shortened(comparable(half.part_number)):
                self._near[short][half.key] = half

    def siblings(self, half: Half) -> dict[str, Half]:
        """Halves of its series, rows and kind by key, itself left out."""
        own = (other for other in self._series[half.series_key] if other.key != half.key and other.rows == half.rows)
        return {other.key: other for other in own if len({half.half_kind, other.half_kind} - {None}) < 2}

    def around(self, half: Half) -> Neighbours:
        """The entries to compare with, without the half itself."""
        named = {key: other for name in names_of(half) for key, other in self._names.get(stem(name), {}).items()}
        name = comparable(half.part_number)
        near = {key: other for short in _shortened(name) for key, other in self._near.get(short, {}).items()}
        named |= {key: other for key, other in near.items() if one_slip_apart(name, comparable(other.part_number))}
        return Neighbours(
            siblings=tuple(self.siblings(half).values()),
            alike=tuple(o for o in self._contacts[half.contact_count, half.rows] if o.key != half.key),
            namesakes=tuple(other for key, other in named.items() if key != half.key),
        )


def _shortened(text: str) -> set[str]:
    """The text, and the text with each character left out: names one typing error apart share one of these."""
    return {text, *(text[:place] + text[place + 1 :] for place in range(len(text)))}


@dataclass(kw_only=True)
class FalseAlarms:
    """Findings on right entries: the number of halves with each code, by severity, and of all halves."""

    halves: int = 0
    with_severity: Counter[Severity] = field(default_factory=Counter)
    by_code: Counter[tuple[Code, Severity]] = field(default_factory=Counter)
    examples: dict[tuple[Code, Severity], list[Finding]] = field(default_factory=lambda: defaultdict(list))

    def share(self, severity: Severity) -> float:
        """Share of the halves with at least one finding of this severity."""
        return self.with_severity[severity] / self.halves


def false_alarms(halves: Sequence[Half], neighbourhood: Neighbourhood) -> FalseAlarms:
    """Review every half unchanged."""
    count = FalseAlarms(halves=len(halves))
    for half in halves:
        found = review(half, neighbourhood.around(half))
        count.with_severity.update({finding.severity for finding in found})
        count.by_code.update({(finding.code, finding.severity) for finding in found})
        for finding in found:
            count.examples[finding.code, finding.severity].append(finding)
    return count


@dataclass(kw_only=True)
class Detection:
    """Results for slips of one kind: how many were made, found at their field, severe, and corrected."""

    made: int = 0
    met: int = 0
    severe: int = 0
    put_right: int = 0

    @property
    def line(self) -> str:
        """The shares as text."""
        made = max(self.made, 1)
        return (
            f"{self.made} made, {self.met / made:.1%} met, {self.severe / made:.1%} severe, "
            f"{self.put_right / made:.1%} with the right value"
        )


def factor(by: float) -> Slip:
    """Multiplies the value."""
    return lambda half, name, siblings, rng: {name: round(half.dimensions[name].value * by, 4)}


def all_by(by: float) -> Slip:
    """Multiplies every dimension of the half."""
    return lambda half, name, siblings, rng: {n: round(d.value * by, 4) for n, d in half.dimensions.items()}


def swapped(half: Half, name: str, siblings: Mapping[str, Half], rng: np.random.Generator) -> Values:
    """Swaps two neighbouring digits; the value stays above 0."""
    values = [value for value in swapped_figures(half.dimensions[name].value) if value > 0]
    return {name: float(rng.choice(values))} if values else {}


def other_row(half: Half, name: str, siblings: Mapping[str, Half], rng: np.random.Generator) -> Values:
    """The value of the next size up or down in the series."""
    sizes = {o.contacts_per_row: o.dimensions[name].value for o in siblings.values() if name in o.dimensions}
    sizes.pop(half.contacts_per_row, None)
    if not sizes:
        return {}
    nearest = min(sizes, key=lambda size: (abs(size - half.contacts_per_row), size))
    return {name: sizes[nearest]}


SLIPS: Mapping[str, Slip] = {
    "inches as millimetres": factor(1 / 25.4),
    "millimetres as inches": factor(25.4),
    "whole entry in inches": all_by(1 / 25.4),
    "decimal point left": factor(0.1),
    "decimal point right": factor(10.0),
    "doubled": factor(2.0),
    "halved": factor(0.5),
    "figures swapped": swapped,
    "next row of the table": other_row,
}


def detection(
    halves: Sequence[Half], neighbourhood: Neighbourhood, *, of_each: int, seed: int, with_law: bool
) -> dict[str, Detection]:
    """Make ``of_each`` slips of every kind in halves that have (or have not) three sizes of siblings."""
    rng = np.random.default_rng(seed)
    able = [half for half in halves if (_sizes(half, neighbourhood) >= 3) is with_law]
    return {kind: _detected(slip, able, neighbourhood, of_each, rng) for kind, slip in SLIPS.items()}


def _sizes(half: Half, neighbourhood: Neighbourhood) -> int:
    sizes = {other.contacts_per_row for other in neighbourhood.siblings(half).values()}
    return len(sizes - {half.contacts_per_row})


def _detected(
    slip: Slip, halves: Sequence[Half], neighbourhood: Neighbourhood, of_each: int, rng: np.random.Generator
) -> Detection:
    count = Detection()
    for half, name, wrong in _slipped(slip, halves, neighbourhood, rng):
        if count.made == of_each:
            break
        already = {(f.code, f.field) for f in review(half, neighbourhood.around(half))}
        spoiled = half.model_copy(update={"dimensions": {**half.dimensions, **wrong}})
        found = review(spoiled, neighbourhood.around(spoiled))
        new = [f for f in found if f.severity != "notice" and (f.code, f.field) not in already]
        here = [f.expected for f in new if f.field == f"dimensions.{name}"]
        count.made += 1
        count.met += bool(new)
        count.severe += any(finding.severity == "severe" for finding in new)
        count.put_right += any(isinstance(e, float) and _close(name, e, half.dimensions[name].value) for e in here)
    return count


def _close(name: str, value: float, right: float) -> bool:
    return abs(value - right) <= FEATURES[name].process.half_width(right, None)


def _slipped(
    slip: Slip, halves: Sequence[Half], neighbourhood: Neighbourhood, rng: np.random.Generator
) -> Iterator[tuple[Half, str, dict[str, Dimension]]]:
    """Halves in random order with one dimension each, and the wrong dimensions if the slip is large enough to see."""
    for index in rng.permutation(len(halves)):
        half = halves[int(index)]
        name = str(rng.choice([name for name in SLIPPED if name in half.dimensions]))
        wrong = slip(half, name, neighbourhood.siblings(half), rng)
        right = half.dimensions[name].value
        if not wrong or not all(0 < value <= 1000 for value in wrong.values()):
            continue
        if abs(wrong[name] - right) > SEEN_FROM * FEATURES[name].process.half_width(right, None):
            yield half, name, {n: Dimension(value=value, bound=half.dimensions[n].bound) for n, value in wrong.items()}
