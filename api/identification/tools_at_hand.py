"""The instruments of a request: built-in figures, the user's own, zero errors, and which ones are at hand."""

from __future__ import annotations

from collections.abc import Mapping

from api.schemas.measuring import MeasureRequest
from api.schemas.requests import IdentifyRequest
from matcher.decision.next_measurement.tools import DEFAULT_AT_HAND
from matcher.errors import ObservationError, ObservationErrors
from matcher.uncertainty.instruments import Instrument, overridden
from matcher.uncertainty.zero_error import with_closed_jaws
from matcher.vocabulary import closest, remedy_for


def tools_of(request: IdentifyRequest | MeasureRequest) -> Mapping[str, Instrument]:
    """The instruments with the user's own figures and with the zero errors from closed jaws."""
    return with_closed_jaws(overridden(request.instruments), request.closed_jaws)


def at_hand(request: IdentifyRequest, known: Mapping[str, Instrument]) -> tuple[str, ...]:
    """Names of the instruments (among ``known``) that the user has: those of the request, or else the default ones and
    those used in the observations.

    Raises ObservationErrors for an unknown name.
    """
    if request.at_hand is not None:
        unknown = [
            ObservationError(
                f"the instrument {name!r} is not known",
                field=f"at_hand[{place}]",
                value=name,
                remedy=remedy_for(tuple(known), closest(name, tuple(known))),
            )
            for place, name in enumerate(request.at_hand)
            if name not in known
        ]
        if unknown:
            raise ObservationErrors(unknown)
        return tuple(dict.fromkeys(request.at_hand))
    used = [getattr(given, "instrument", None) for given in request.observations]
    return tuple(dict.fromkeys([*DEFAULT_AT_HAND, *(name for name in used if name is not None)]))
