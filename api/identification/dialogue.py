"""A dialogue that asks for the most informative measurement, takes the reading, and repeats this until the answer is
settled.

`Dialogue` does not depend on a terminal: it gives questions and takes lines of text.
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
from matcher.results import Reason
from matcher.vocabulary import PIXEL, canonical_unit

_OPERATORS = "=<>≤≥"
_WHOLE_PIECE = re.compile(rf"\s*[a-z][^{_OPERATORS}]*[{_OPERATORS}]", re.IGNORECASE)
"""A piece that names its feature: it begins with a letter, unlike ``4.62/11+less=0.21`` and ``<=0.9``."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """The measurement to take now, and how much is still open."""

    advised: NextMeasurement
    further: FurtherMeasuring

    @property
    def feature(self) -> Feature:
        """What is asked for."""
        return FEATURES[self.advised.feature]


@dataclass(frozen=True, kw_only=True)
class Dialogue:
    """The state of the dialogue. ``request`` holds the observations so far, ``skipped`` the features that the person
    cannot tell.

    ``said`` is the last step in words; ``before`` is the state before it, None at the beginning.
    """

    snapshot: Snapshot
    request: AskRequest
    skipped: frozenset[str] = field(default=frozenset())
    said: str = ""
    before: Dialogue | None = None

    @property
    def steps(self) -> int:
        """Number of steps so far, without undone ones."""
        return 0 if self.before is None else self.before.steps + 1

    @property
    def taken(self) -> bool:
        """Whether the last step was a reading."""
        return self.before is not None and self.before.request != self.request

    def question(self) -> Question | FurtherMeasuring:
        """The most informative measurement, or the reason why there is none to ask for."""
        found = advice_on(self.snapshot, self.request, skipped=self.skipped)
        further = further_measuring(found)
        measurements = [each for each in next_measurements(self.snapshot, found) if worth_taking(each)]
        ended = further.settled or further.reason is Reason.MATES_DIFFER or not measurements
        return further if ended else Question(advised=measurements[0], further=further)

    def answered(self, question: Question, line: str) -> Dialogue:
        """The dialogue after a reading of the feature asked for, or after other observations as ``feature=value``.

        The same length once more counts as a repeated reading; any other observation given again changes nothing. The
        feature is not asked for again if nothing changed, or if the question asked for a repeated measurement. Raises
        ShortFormError, ApiError or ObservationErrors for bad input; the dialogue then stays as it is, and indices in
        errors count all observations so far.
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
        """The dialogue after the person cannot tell a feature."""
        said = f"{FEATURES[feature].label}, not told"
        return replace(self, skipped=self.skipped | {feature}, said=said, before=self)

    def undone(self) -> Dialogue:
        """The dialogue without its last step; the same dialogue if there was none."""
        return self if self.before is None else self.before

    def answer(self) -> Answer | None:
        """The answer so far, without advice to measure skipped features; None if nothing was observed."""
        if not self.request.observations:
            return None
        found = answer(self.snapshot, self.request)
        advised = tuple(each for each in found.next_measurements if each.feature not in self.skipped)
        return found.model_copy(update={"next_measurements": advised})


def pieces_in(feature: Feature, line: str) -> list[str]:
    """A line as pieces of the short form: one or several complete pieces, or a bare reading of the feature."""
    words = line.split()
    if len(words) > 1 and all(_WHOLE_PIECE.match(word) for word in words):
        return words
    if _WHOLE_PIECE.match(line):
        return [line]
    return [f"{feature.name}{line}" if line[:1] in _OPERATORS else f"{feature.name}={line}"]


def _with_tool(given: dict[str, Any], question: Question) -> dict[str, Any]:
    """A bare reading with the instrument that was advised, unless it names another."""
    tool = question.advised.instrument
    usual = tool is None or tool == DEFAULT_AT_HAND[0]
    if usual or "instrument" in given or canonical_unit(given.get("unit", "mm")) == PIXEL:
        return given
    return given | {"instrument": tool}


def _joined(earlier: Iterable[AnyObservation], told: Iterable[AnyObservation]) -> list[AnyObservation]:
    """All observations; the same length again becomes a repeated reading, any other repetition is left out."""
    joined = list(earlier)
    for given in told:
        if given not in joined:
            joined.append(given)
        elif isinstance(given, DimensionObservation) and given.min is None and given.max is None:
            readings = given.readings or (given.value,)
            joined[joined.index(given)] = given.model_copy(update={"value": None, "readings": (*readings, *readings)})
    return joined
