"""The answer of the bench: candidates with what fits and what does not, and hints with their links."""

from __future__ import annotations

import math
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from api.drawing.geometry import Box, Part, bounds_of
from api.drawing.outline import half_shape
from api.drawing.size_sources import sizes_of
from api.drawing.sizes import Sizes
from api.drawing.svg import element, line_path, part_markup
from api.identification import answer_words as words
from api.identification.advising import worth_taking
from api.observations.short_form_writing import arguments_of, piece_of
from api.schemas.answers import Candidate, EvidenceLine, Hint, NextMeasurement, Ranking
from api.web.bench.request import SHOWN, Bench, Entry
from api.web.bench.sheet_markup import banded
from api.web.page.addresses import PRINT, half_page, of_halves
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES, Kind
from matcher.observations import Of, Reduced
from matcher.uncertainty.instruments import BUILT_IN

SHOWN_MATES = 3
"""Mates shown with a candidate; the candidate's page lists all of them."""

SHOWN_EXPECTED = 3
"""Expected values shown with a measurement: those of the likeliest halves."""

SILHOUETTE_PIECES = 40
"""The first silhouettes draw every contact up to this many in a row; beyond that, and in later silhouettes, rows are
bands."""

SILHOUETTE_ROLES = ("plastic", "well", "raised", "metal", "tail", "hold-down")
"""Parts of a half that its silhouette shows."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the list: a candidate, or that the half is not in this catalogue (``candidate`` is None)."""

    probability: float
    candidate: Candidate | None = None
    fits: tuple[str, ...] = ()
    strains: tuple[tuple[str, str], ...] = ()
    silhouette: str = ""

    @property
    def chance(self) -> str:
        """The probability in words."""
        return words.percent(self.probability)


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """The plastic beyond the contacts along the rows, mm, and its standard uncertainty."""

    value: float
    u: float


def rows_of(snapshot: Snapshot, ranking: Ranking, measured: Sizes) -> list[Row]:
    """The candidates and 'not in this catalogue', likeliest first."""
    sizes = [sizes_of(snapshot.halves[each.half.id].half) for each in ranking.candidates]
    drawn = silhouettes(sizes, measured)
    rows = [
        Row(
            probability=each.probability,
            candidate=each,
            fits=tuple(_label(line) for line in each.evidence if line.reading == "fits"),
            strains=tuple(
                words.strain(line) for line in each.evidence if line.reading in ("strains", "off", "likely slip")
            ),
            silhouette=silhouette,
        )
        for each, silhouette in zip(ranking.candidates, drawn, strict=True)
    ]
    return sorted([*rows, Row(probability=ranking.probability_absent)], key=lambda row: -row.probability)


def shortlist(ranking: Ranking) -> list[str]:
    """Keys of the halves of the smallest set with most of the probability: at least the first, and no more than are
    shown at first."""
    within = ranking.credible_set
    halves = max(within.members - within.includes_absent, 1)
    return [each.half.id for each in ranking.candidates[: min(halves, SHOWN)]]


def shortlist_pages(ranking: Ranking) -> tuple[str, str]:
    """The pages that print the shortlist, and that compare its mates with the room."""
    keys = shortlist(ranking)
    return of_halves(PRINT, keys), of_halves(half_page(keys[0], "/mates"), keys[1:])


def _label(line: EvidenceLine) -> str:
    return words.feature_label(line.feature, line.of)


def silhouettes(halves: Sequence[Sizes], measured: Sizes) -> list[Markup]:
    """Every half at one scale around the centre of its contacts, with the measured outline over it."""
    if not halves:
        return []
    shapes = [half_shape(sizes).parts for sizes in halves]
    box = bounds_of([part for parts in shapes for part in parts])
    for name, along in (("body_length", True), ("body_width", False)):
        if measured.known(name):
            size = measured.mm(name)
            box = box.around(Box.centred(size, 0.0) if along else Box.centred(0.0, size))
    box = box.grown(0.03 * box.width)
    view = f"{box.left:.3f} {box.top:.3f} {box.width:.3f} {box.height:.3f}"
    over = _outline(measured, box)
    return [
        Markup(element("svg", {"class": "drawing silhouette", "viewBox": view, "aria-hidden": "true"}, *drawn, over))
        for drawn in (
            [part_markup(banded(part, SILHOUETTE_PIECES if place < SHOWN else 0)) for part in parts if _shown(part)]
            for place, parts in enumerate(shapes)
        )
    ]


def _shown(part: Part) -> bool:
    return part.role in SILHOUETTE_ROLES


def _outline(measured: Sizes, box: Box) -> str:
    """The measured length and width of the plastic; where only one was measured, its two edges."""
    x = measured.mm("body_length") / 2 if measured.known("body_length") else None
    y = measured.mm("body_width") / 2 if measured.known("body_width") else None
    if x is not None and y is not None:
        return line_path("measured", [[(-x, -y), (x, -y), (x, y), (-x, y), (-x, -y)]])
    if x is not None:
        return line_path("measured", [[(side * x, box.top), (side * x, box.bottom)] for side in (-1.0, 1.0)])
    if y is not None:
        return line_path("measured", [[(box.left, side * y), (box.right, side * y)] for side in (-1.0, 1.0)])
    return ""


def allowance(readings: Sequence[Reduced]) -> Allowance | None:
    """The measured end allowance: body length − pitch × (positions − 1); None while one of these is missing."""
    seen = {reading.feature: reading for reading in readings if reading.of is Of.THIS}
    length, pitch, contacts = seen.get("body_length"), seen.get("pitch"), seen.get("contact_count")
    banks = seen.get("bank_count")
    if length is None or pitch is None or contacts is None or contacts.count is None or (banks and banks.count != 1):
        return None
    unscaled = [each.unscaled for each in (length, pitch)]
    if length.value is None or pitch.value is None or any(unscaled):
        return None
    rows = seen.get("rows")
    per_row = math.ceil(contacts.count / (rows.count if rows and rows.count else 2))
    value = length.value - pitch.value * (per_row - 1)
    return Allowance(value=value, u=math.hypot(length.total_u, pitch.total_u * (per_row - 1)))


@dataclass(frozen=True, kw_only=True)
class Suggestion:
    """A hint, and the address of the bench with its correction; None where it corrects nothing."""

    hint: Hint
    address: str | None
    fields: tuple[str, ...]


def suggestions(bench: Bench, hints: Sequence[Hint]) -> list[Suggestion]:
    """Hints with links. Nothing changes until the person follows one."""
    return [Suggestion(hint=hint, address=_mended(bench, hint), fields=_fields(bench, hint)) for hint in hints]


def _fields(bench: Bench, hint: Hint) -> tuple[str, ...]:
    return tuple(bench.entries[bench.places[index]].name for index in hint.indices)


def _mended(bench: Bench, hint: Hint) -> str | None:
    """The address of the bench with the hint's correction."""
    if not hint.corrected or not hint.indices:
        return None
    mended = {bench.places[index] for index in hint.indices}

    def change(place: int, entry: Entry) -> Entry:
        if place not in mended or entry.observation is None:
            return entry
        return with_change(entry, hint.corrected)

    return f"/?{bench.query(change)}"


def with_change(entry: Entry, corrected: Mapping[str, Any]) -> Entry:
    """An entry with some fields of its observation replaced; one number replaces repeated readings."""
    given = {name: value for name, value in (entry.observation or {}).items() if value is not None}
    if "value" in corrected:
        given.pop("readings", None)
    name, _, text = piece_of({**given, **corrected}).partition("=")
    return replace(entry, name=name, text=text)


def next_fields(measurements: Sequence[NextMeasurement]) -> frozenset[str]:
    """Names of the fields that the best advice is about: one, or two that tell most together."""
    best = next((each for each in measurements if worth_taking(each)), None)
    return frozenset() if best is None else frozenset({best.feature, best.together_with or best.feature})


def expected_values(measurement: NextMeasurement) -> list[tuple[str, str]]:
    """The values stated in the entries of the leading halves, each once, with the first half that has it."""
    found: dict[str, str] = {}
    for each in measurement.predicted:
        found.setdefault(_value(measurement.feature, each.value), each.part_number)
    return list(found.items())[:SHOWN_EXPECTED]


def _value(name: str, value: float | int | str) -> str:
    feature = FEATURES[name]
    if feature.kind is Kind.DIMENSION and isinstance(value, int | float):
        return f"{words.length(float(value), name).rstrip('0').rstrip('.')} mm"
    return feature.values.get(str(value), str(value))


def instrument_label(name: str | None) -> str:
    """The label of the instrument."""
    return "by eye" if name is None else BUILT_IN[name].label


def as_command(bench: Bench) -> str:
    """The command that asks the same."""
    return shlex.join(["otherhalf", "identify", *arguments_of(bench.request)])


def as_json(bench: Bench) -> str:
    """The JSON request that asks the same."""
    return bench.request.model_dump_json(exclude_none=True, exclude_defaults=True, indent=1)
