"""Reading the bench's address: every parameter is an observation in the short form, or a setting.

The short form is that of the command line, so page, command and interface understand each other. A field that cannot
be read keeps what was typed and says why; the others still count.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from api.identification.advising import readings_of
from api.identification.answering import check_tried_halves
from api.observations.checking import form_of
from api.observations.short_form import ShortFormError, parse_pieces
from api.schemas.problems import FieldProblem
from api.schemas.requests import AskRequest
from api.service.problems import ApiError, problem_of
from api.web.bench.parameters import (
    AT_HAND,
    INSTRUMENT,
    LIMIT,
    PRIOR,
    REMAINS,
    SETTINGS,
    UNIT,
    has_gaps,
    query_of,
)
from catalog.snapshot.snapshot import Snapshot
from matcher.errors import ObservationError, ObservationErrors
from matcher.features import FEATURES, Feature, Kind, Remains
from matcher.observations import MAX_OBSERVATIONS, Reduced
from matcher.uncertainty.instruments import BUILT_IN
from matcher.vocabulary import PIXEL, canonical_unit, closest, remedy_for

LONGEST_TEXT = 500
"""Most characters of one field: room for a hundred readings."""

SHOWN = 6
"""Candidates shown at first: as many as fit beside the drawing."""

MOST_SHOWN = 24
"""Most candidates shown: people do not read further, and the page stays small enough for a slow connection."""

_BOUNDS: tuple[tuple[str, re.Pattern[str]], ...] = (
    (">=", re.compile(r"(?:at least|more than|over|above|from|min\.?|>=|≥|>)\s*(?P<rest>.*)", re.IGNORECASE)),
    ("<=", re.compile(r"(?:at most|less than|under|below|up to|max\.?|<=|≤|<)\s*(?P<rest>.*)", re.IGNORECASE)),
)
"""How people write bounds."""

_WITH_GAPS = re.compile(r"(?P<length>[^/@]*)/\s*(?P<gaps>\d{1,4})\s*")
_BARE_FRACTION = re.compile(r"(?:\d+[ -])?\d+/\d+")
_PLACE = re.compile(r"observations\[(\d+)\]")


def sentences(problem: FieldProblem | None) -> str:
    """The problem and its remedy in sentences; empty where nothing is wrong."""
    if problem is None:
        return ""
    said = [problem.message, problem.remedy] if problem.remedy else [problem.message]
    return " ".join(f"{each[:1].upper()}{each[1:].rstrip('.')}." for each in said)


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A field with text in it: its parameter, the text, and the observation that it gives or what is wrong with it."""

    name: str
    text: str
    observation: Mapping[str, Any] | None = None
    error: FieldProblem | None = None

    @property
    def label(self) -> str:
        """The label of the field; the name itself where it is not a feature."""
        body, _, name = self.name.rpartition(".")
        label = FEATURES[name].label if name in FEATURES else self.name
        return f"{label} of the {body}" if body and name in FEATURES else label

    @property
    def usable(self) -> bool:
        """Whether it was understood."""
        return self.observation is not None and self.error is None


@dataclass(frozen=True, kw_only=True)
class Bench:
    """Everything in an address.

    ``unit`` and ``instrument`` hold for lengths that name none. ``request`` is the request, ``places`` the entry of
    each of its observations, ``readings`` their values.
    """

    entries: tuple[Entry, ...] = ()
    unit: str = "mm"
    instrument: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    wrong_settings: tuple[FieldProblem, ...] = ()
    request: AskRequest = field(default_factory=AskRequest)
    places: tuple[int, ...] = ()
    readings: tuple[Reduced, ...] = ()

    def text(self, name: str) -> str:
        """The text of a field without its gaps; the first one where the address repeats the name."""
        return self._split(name)[0]

    def gaps(self, name: str) -> str:
        """The gaps counted, from the end of the field's text."""
        return self._split(name)[1]

    def _split(self, name: str) -> tuple[str, str]:
        text = next((entry.text for entry in self.entries if entry.name == name), "")
        match = _WITH_GAPS.fullmatch(text)
        if match is None or not has_gaps(name):
            return text, ""
        return match["length"].strip(), match["gaps"]

    def chosen(self, name: str) -> frozenset[str]:
        """Values of a category that were chosen."""
        return frozenset(
            value
            for entry in self.entries
            if entry.name == name and entry.observation is not None and isinstance(entry.observation.get("value"), list)
            for value in entry.observation["value"]
        )

    def error(self, name: str) -> FieldProblem | None:
        """The error of a field."""
        return next((entry.error for entry in self.entries if entry.name == name and entry.error), None)

    def further(self, fields: Iterable[str]) -> tuple[Entry, ...]:
        """Entries that no field of the page shows: other names, and repeats of a name."""
        shown, rest = set(fields), []
        for entry in self.entries:
            if entry.name in shown:
                shown.discard(entry.name)
            else:
                rest.append(entry)
        return tuple(rest)

    @property
    def errors(self) -> tuple[Entry, ...]:
        """Entries that could not be read."""
        return tuple(entry for entry in self.entries if entry.error)

    def query(self, change: Callable[[int, Entry], Entry | None] | None = None) -> str:
        """The address's part after the question mark; ``change`` replaces each entry, or leaves it out."""
        kept = [change(place, entry) if change else entry for place, entry in enumerate(self.entries)]
        pairs = [(entry.name, entry.text) for entry in kept if entry is not None]
        pairs += [(name, value) for name, value in self.settings.items()]
        return query_of(pairs)


def read(snapshot: Snapshot, pairs: Sequence[tuple[str, str]]) -> Bench:
    """The bench that a tidy address describes."""
    settings, wrong = _settings([pair for pair in pairs if pair[0] in SETTINGS])
    kept = {name: text for name, text in pairs if name in SETTINGS}
    bench = Bench(
        unit=settings.get(UNIT, "mm"),
        instrument=settings.get(INSTRUMENT, ""),
        settings=kept,
        wrong_settings=wrong,
    )
    typed = [pair for pair in pairs if pair[0] not in SETTINGS]
    entries = [_entry(name, text, bench, place) for place, (name, text) in enumerate(typed)]
    return _checked(snapshot, replace(bench, entries=tuple(entries)), settings)


def _settings(pairs: Sequence[tuple[str, str]]) -> tuple[dict[str, Any], tuple[FieldProblem, ...]]:
    found: dict[str, Any] = {}
    wrong = []
    for name, text in pairs:
        try:
            found[name] = _setting(name, text)
        except ObservationError as error:
            wrong.append(FieldProblem(field=name, value=text, message=error.message, remedy=error.remedy))
    return found, tuple(wrong)


def _setting(name: str, text: str) -> Any:
    if name == UNIT:
        return canonical_unit(text)
    if name == PRIOR:
        return _share(text)
    if name == LIMIT:
        return _limit(text)
    if name == REMAINS:
        return _remains(text)
    tools = [_tool(name, each.strip()) for each in text.split(",")] if name == AT_HAND else []
    return tuple(tools) if name == AT_HAND else _tool(name, text)


def _share(text: str) -> float:
    if not re.fullmatch(r"0?\.\d{1,6}", text):
        remedy = "give a number between 0 and 1, as in 0.1"
        raise ObservationError(f"{text!r} is not a probability", field=PRIOR, value=text, remedy=remedy)
    if not float(text):
        raise ObservationError("zero would rule it out", field=PRIOR, value=text, remedy="give more than 0")
    return float(text)


def _limit(text: str) -> int:
    if not re.fullmatch(r"[1-9]\d{0,2}", text) or int(text) > MOST_SHOWN:
        remedy = f"give 1 to {MOST_SHOWN}"
        raise ObservationError(f"{text!r} is not a number of halves to show", field=LIMIT, value=text, remedy=remedy)
    return int(text)


def _remains(text: str) -> Remains:
    known = [each.value for each in Remains]
    if text not in known:
        remedy = remedy_for(known, closest(text, known))
        raise ObservationError(f"{text!r} is not something that remains", field=REMAINS, value=text, remedy=remedy)
    return Remains(text)


def _tool(name: str, text: str) -> str:
    if text not in BUILT_IN:
        remedy = remedy_for(tuple(BUILT_IN), closest(text, tuple(BUILT_IN)))
        raise ObservationError(f"the instrument {text!r} is not known", field=name, value=text, remedy=remedy)
    return text


def _entry(name: str, text: str, bench: Bench, place: int) -> Entry:
    """One field, read by itself."""
    entry = Entry(name=name, text=text)
    if place >= MAX_OBSERVATIONS:
        return _refused(entry, "there are too many observations", f"give at most {MAX_OBSERVATIONS}")
    if len(text) > LONGEST_TEXT:
        return _refused(entry, "this is too long", f"give at most {LONGEST_TEXT} characters")
    try:
        in_inches = bench.unit == "in" and _BARE_FRACTION.fullmatch(text)
        observation = parse_pieces([_piece(name, f"{text}in" if in_inches else text)])[0]
    except ShortFormError as error:
        return _refused(entry, error.errors[0].message, error.errors[0].remedy)
    observation = _with_habits(observation, FEATURES[observation["feature"]], bench)
    try:
        form_of(AskRequest, {"observations": [observation]})
    except ApiError as error:
        first = error.errors[0] if error.errors else FieldProblem(field="", message=error.detail)
        return _refused(entry, first.message, first.remedy)
    return replace(entry, observation=observation)


def _refused(entry: Entry, message: str, remedy: str) -> Entry:
    return replace(entry, error=FieldProblem(field=entry.name, value=entry.text, message=message, remedy=remedy))


def _piece(name: str, text: str) -> str:
    for sign, pattern in _BOUNDS if _can_be_bound(name) else ():
        if match := pattern.fullmatch(text):
            return f"{name}{sign}{match['rest']}"
    return f"{name}={text}"


def _can_be_bound(name: str) -> bool:
    feature = FEATURES.get(name.rpartition(".")[2])
    return feature is not None and feature.kind in (Kind.DIMENSION, Kind.COUNT)


def _with_habits(observation: dict[str, Any], feature: Feature, bench: Bench) -> dict[str, Any]:
    """A length with the unit and the instrument chosen for all, where it names none and they apply to it."""
    if feature.kind is not Kind.DIMENSION:
        return observation
    habits: dict[str, Any] = {}
    if bench.unit != "mm" and "unit" not in observation:
        habits[UNIT] = bench.unit
    in_pixels = {**habits, **observation}.get(UNIT) == PIXEL
    tool = BUILT_IN.get(bench.instrument)
    takes_it = tool is not None and feature.name in tool.can and (tool.optical or not in_pixels)
    if tool is not None and takes_it and INSTRUMENT not in observation:
        habits[INSTRUMENT] = tool.name
    return {**observation, **habits}


def _checked(snapshot: Snapshot, bench: Bench, settings: Mapping[str, Any]) -> Bench:
    """The entries checked together. One at fault is left out, and the others are checked again."""
    while True:
        places = tuple(place for place, entry in enumerate(bench.entries) if entry.usable)
        asked = {name: settings[name] for name in (AT_HAND, PRIOR, REMAINS) if name in settings}
        asked[LIMIT] = settings.get(LIMIT, SHOWN)
        given = [bench.entries[place].observation for place in places]
        request = form_of(AskRequest, {"observations": given, **asked})
        try:
            check_tried_halves(snapshot, request)
            readings = readings_of(request)
        except (ApiError, ObservationErrors) as error:
            bench = _with_faults(bench, places, error)
            continue
        return replace(bench, request=request, places=places, readings=readings)


def _with_faults(bench: Bench, places: Sequence[int], error: ApiError | ObservationErrors) -> Bench:
    """Each fault at its entry; a fault that names no observation is raised again."""
    entries = list(bench.entries)
    for problem in problem_of(error).errors:
        match = _PLACE.match(problem.field)
        if match is None:
            raise error
        place = places[int(match[1])]
        if entries[place].error is None:
            entries[place] = _refused(entries[place], _in_words(problem.message, bench, places), problem.remedy)
    return replace(bench, entries=tuple(entries))


def _in_words(message: str, bench: Bench, places: Sequence[int]) -> str:
    """A message with the names of fields instead of places in a list that the person never sees."""
    return _PLACE.sub(lambda match: bench.entries[places[int(match[1])]].name, message)
