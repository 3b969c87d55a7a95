"""A dialogue that asks for the measurement that tells most, takes the reading, and asks on until it is settled.

`Dialogue` knows no terminal: it gives questions and takes lines of text.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from api.advising import advice_on, further_measuring, next_measurements, readings_of
from api.answering import answer
from api.forms import form_of
from api.schemas.answers import Answer, FurtherMeasuring, NextMeasurement
from api.schemas.requests import AskRequest
from api.shortform import parse_pieces
from catalog.snapshot import Snapshot
from matcher.advice.tools import DEFAULT_AT_HAND
from matcher.features import FEATURES, Kind


@dataclass(frozen=True, kw_only=True)
class Question:
    """The measurement to take now, and what is not known yet, bits."""

    advised: NextMeasurement
    open_bits: float


@dataclass(frozen=True, kw_only=True)
class Dialogue:
    """Where the dialogue stands. ``request`` holds the observations so far.

    ``pieces`` are the lines taken so far, in short form; ``skipped`` the features that cannot be told.
    """

    snapshot: Snapshot
    request: AskRequest
    pieces: tuple[str, ...] = ()
    skipped: frozenset[str] = field(default=frozenset())

    def advice(self) -> tuple[tuple[NextMeasurement, ...], FurtherMeasuring]:
        """What to measure next, most telling first, and whether to go on."""
        found = advice_on(self.snapshot, self.request, skipped=self.skipped)
        return next_measurements(self.snapshot, found), further_measuring(found)

    def answered(self, question: Question, line: str) -> Dialogue:
        """After a reading of what was asked, or any other observation in short form, as ``feature=value``.

        Raises ShortFormError, ApiError or ObservationErrors for what makes no sense; nothing is lost then.
        """
        feature = FEATURES[question.advised.feature]
        piece = line if any(sign in line for sign in "=<>≤≥") else f"{feature.name}={line}"
        tool = question.advised.instrument
        if piece is not line and feature.kind is Kind.DIMENSION and "@" not in line and tool != DEFAULT_AT_HAND[0]:
            piece = f"{piece}@{tool}"
        observed = form_of(AskRequest, {"observations": parse_pieces([piece])}).observations
        request = self.request.model_copy(update={"observations": (*self.request.observations, *observed)})
        readings_of(request)
        return replace(self, request=request, pieces=(*self.pieces, piece))

    def without(self, feature: str) -> Dialogue:
        """After the person could not tell a feature."""
        return replace(self, skipped=self.skipped | {feature})

    def undone(self) -> Dialogue:
        """Without the last reading; the same where none was taken in this dialogue."""
        if not self.pieces:
            return self
        request = self.request.model_copy(update={"observations": self.request.observations[:-1]})
        return replace(self, request=request, pieces=self.pieces[:-1])

    def answer(self) -> Answer | None:
        """The answer so far; None where nothing was observed."""
        return answer(self.snapshot, self.request) if self.request.observations else None
