"""A dialogue that asks for the most informative measurement, takes the reading, and goes on until the answer is
settled.

`Dialogue` knows no terminal: it gives questions and takes lines of text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from api.identification.advising import advice_on, further_measuring, next_measurements, readings_of, worth_taking
from api.identification.answering import answer, check_tried_halves
from api.observations.checking import form_of
from api.observations.short_form import parse_pieces
from api.schemas.answers import Answer, FurtherMeasuring, NextMeasurement
from api.schemas.requests import AnyObservation, AskRequest, DimensionObservation
from catalog.snapshot.snapshot import Snapshot
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND
from matcher.features import FEATURES, Feature
from matcher.vocabulary import PIXEL, canonical_unit

_OPERATORS = "=<>≤≥"
_WHOLE_PIECE = re.compile(rf"\s*[a-z][^{_OPERATORS}]*[{_OPERATORS}]", re.IGNORECASE)
"""A piece that names its feature: it begins with a letter, unlike ``4.62/11+less=0.21`` and ``<=0.9``."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """The measurement to take now, and how far the answer is from being settled."""

    advised: NextMeasurement
    further: FurtherMeasuring

    @property
    def feature(self) -> Feature:
        """What is asked for."""
        return FEATURES[self.advised.feature]


@dataclass(frozen=True, kw_only=True)
class Dialogue:
    """Where the dialogue stands. ``request`` holds the observations so far, ``skipped`` what cannot be told.

    ``said`` is the last step in words, ``before`` where the dialogue stood without it; None at the beginning.
    """

    snapshot: Snapshot
    request: AskRequest
    skipped: frozenset[str] = field(default=frozenset())
    said: str = ""
    before: Dialogue | None = None

    @property
    def steps(self) -> int:
        """Number of steps taken, those taken back left out."""
        return 0 if self.before is None else self.before.steps + 1

    @property
    def taken(self) -> bool:
        """Whether the last step was a reading."""
        return self.before is not None and self.before.request != self.request

    def question(self) -> Question | FurtherMeasuring:
        """The most informative measurement; where there is none to ask for, the reason."""
        found = advice_on(self.snapshot, self.request, skipped=self.skipped)
        further = further_measuring(found)
        measurements = [each for each in next_measurements(self.snapshot, found) if worth_taking(each)]
        return further if further.settled or not measurements else Question(advised=measurements[0], further=further)

    def answered(self, question: Question, line: str) -> Dialogue:
        """After a reading of what was asked, or other observations in short form, as ``feature=value``.

        A length that reads as before counts as a repeat; anything else that was told already changes nothing. Neither
        that nor what was taken again is asked once more. Raises ShortFormError, ApiError or ObservationErrors for what
        makes no sense; nothing is lost then, and places of errors count from the observations so far.
        """
        earlier, pieces = self.request.observations, pieces_in(question.feature, line)
        bare = not _WHOLE_PIECE.match(line)
        told = [_with_tool(given, question) if bare else given for given in parse_pieces(pieces)]
        request = self._with([*earlier, *told])
        request = self._with(_joined(earlier, request.observations[len(earlier) :]))
        check_tried_halves(self.snapshot, request)
        readings_of(request)
        repeated = question.feature.name if question.advised.again else None
        settled = {given["feature"] for given in told if request == self.request or given["feature"] == repeated}
        return replace(self, request=request, skipped=self.skipped | settled, said=" ".join(pieces), before=self)

    def _with(self, observations: Sequence[Any]) -> AskRequest:
        fields = {name: getattr(self.request, name) for name in AskRequest.model_fields}
        return form_of(AskRequest, fields | {"observations": observations})

    def without(self, feature: str) -> Dialogue:
        """The dialogue after the person could not tell a feature."""
        said = f"{FEATURES[feature].label}, not told"
        return replace(self, skipped=self.skipped | {feature}, said=said, before=self)

    def undone(self) -> Dialogue:
        """Without the last step, a reading or what could not be told; the same where none was taken."""
        return self if self.before is None else self.before

    def answer(self) -> Answer | None:
        """The answer so far, with no advice to take what cannot be told; None where nothing was observed."""
        if not self.request.observations:
            return None
        found = answer(self.snapshot, self.request)
        advised = tuple(each for each in found.next_measurements if each.feature not in self.skipped)
        return found.model_copy(update={"next_measurements": advised})


def pieces_in(feature: Feature, line: str) -> list[str]:
    """A line as pieces of the short form: one or several whole ones, or a bare reading of the feature."""
    words = line.split()
    if len(words) > 1 and all(_WHOLE_PIECE.match(word) for word in words):
        return words
    if _WHOLE_PIECE.match(line):
        return [line]
    return [f"{feature.name}{line}" if line[:1] in _OPERATORS else f"{feature.name}={line}"]


def _with_tool(given: dict[str, Any], question: Question) -> dict[str, Any]:
    """A bare reading with the instrument that was asked for, unless it names another."""
    tool = question.advised.instrument
    usual = tool is None or tool == DEFAULT_AT_HAND[0]
    if usual or "instrument" in given or canonical_unit(given.get("unit", "mm")) == PIXEL:
        return given
    return given | {"instrument": tool}


def _joined(earlier: Iterable[AnyObservation], told: Iterable[AnyObservation]) -> list[AnyObservation]:
    """All observations; an exact repeat of a length becomes a repeated reading, any other repeat is left out."""
    joined = list(earlier)
    for given in told:
        if given not in joined:
            joined.append(given)
        elif isinstance(given, DimensionObservation) and given.min is None and given.max is None:
            readings = given.readings or (given.value,)
            joined[joined.index(given)] = given.model_copy(update={"value": None, "readings": (*readings, *readings)})
    return joined
