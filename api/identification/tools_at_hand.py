"""Which instruments a request works with: built-in figures, the person's own, zero errors, and what is at hand."""

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
    """The instruments with the person's own figures and with the zero errors that closed jaws showed."""
    return with_closed_jaws(overridden(request.instruments), request.closed_jaws)


def at_hand(request: IdentifyRequest, known: Mapping[str, Instrument]) -> tuple[str, ...]:
    """Names of the instruments (of those ``known``) that a person has: as told, or what all have and what was used.

    Raises ObservationErrors for a name that no instrument has.
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
