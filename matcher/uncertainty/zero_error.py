"""The zero error of an instrument, estimated from its readings with the jaws closed.

Every reading with the tool is then corrected (GUM 3.2.4: a known effect is corrected, and the correction's uncertainty
stays). The readings share the uncertainty of that estimate instead of the tool's limit of error. A simplification: the
other parts of a limit of error (scale, guides) count as small over the few millimetres of a connector; common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from matcher.errors import ObservationError, ObservationErrors
from matcher.observations import MAX_READINGS, RECTANGULAR, TYPE_A
from matcher.uncertainty.gum import resolution, type_a
from matcher.uncertainty.instruments import BUILT_IN, Instrument, ZeroError
from matcher.vocabulary import MM_PER_UNIT, PIXEL, canonical_unit, closest, is_number, remedy_for, to_mm

LARGEST_ZERO_MM = 1.0
"""Largest zero error that is corrected, mm: above it, the jaws were not closed or the unit is wrong. Common practice,
no source."""


def with_closed_jaws(
    instruments: Mapping[str, Instrument] = BUILT_IN,
    closed_jaws: Mapping[str, Sequence[float]] | None = None,
    *,
    unit: str = "mm",
) -> Mapping[str, Instrument]:
    """The instruments, with the zero error of some tools estimated from closed-jaws readings.

    ``closed_jaws`` names an instrument, e.g. ``{"caliper": (0.01, 0.02, 0.01)}``; all instruments with its
    ``zero_tool`` are corrected. Readings may be below 0. As for all repeats, the larger of their scatter and the
    display's step counts.

    Raises
    ------
    ObservationErrors
        With every fault, each at its place, e.g. ``closed_jaws.caliper[1]``.
    """
    given = closed_jaws or {}
    faults = _unit_faults(unit) or [f for name in given for f in _faults(instruments, name, given[name], unit)]
    if not faults:
        faults = _twice(instruments, given)
    if faults:
        raise ObservationErrors(faults)
    errors = {instruments[name].zero_tool: _estimate(instruments[name], given[name], unit) for name in given}
    changed = {
        name: replace(instrument, zero=errors[instrument.zero_tool]) if instrument.zero_tool in errors else instrument
        for name, instrument in instruments.items()
    }
    return MappingProxyType(changed)


def _estimate(instrument: Instrument, readings: Sequence[float], unit: str) -> ZeroError:
    """Mean of the closed-jaws readings; scatter or the display's step, whichever is larger."""
    shown = [to_mm(reading, unit) for reading in readings]
    tool, step = instrument.zero_tool, resolution(instrument.step_mm)
    if len(shown) > 1 and (scatter := type_a(shown)).u > step:
        return ZeroError(
            value_mm=scatter.mean,
            u_mm=scatter.u,
            distribution=TYPE_A,
            source=f"zero error of the {tool}, scatter of {len(shown)} closed-jaws readings (shared)",
            degrees_of_freedom=scatter.degrees_of_freedom,
        )
    return ZeroError(
        value_mm=type_a(shown).mean if len(shown) > 1 else shown[0],
        u_mm=step,
        distribution=RECTANGULAR,
        source=f"zero error of the {tool}, step of the display with closed jaws (shared)",
    )


def _unit_faults(unit: str) -> list[ObservationError]:
    field, remedy = "closed_jaws_unit", f"give one of {', '.join(MM_PER_UNIT)}"
    try:
        canonical = canonical_unit(unit, field=field)
    except ObservationError as error:
        return [error]
    if canonical == PIXEL:
        return [ObservationError("jaws open by a length, not by pixels", field=field, value=unit, remedy=remedy)]
    return []


def _faults(
    instruments: Mapping[str, Instrument], name: str, readings: Sequence[float], unit: str
) -> list[ObservationError]:
    field = f"closed_jaws.{name}"
    if name not in instruments:
        remedy = remedy_for(instruments, closest(name, instruments))
        return [ObservationError(f"the instrument {name!r} is not known", field=field, value=name, remedy=remedy)]
    if instruments[name].zero_tool is None:
        tools = [each for each, instrument in instruments.items() if instrument.zero_tool is not None]
        message = f"a {instruments[name].label} has no jaws to close"
        return [ObservationError(message, field=field, value=name, remedy=f"name one of {', '.join(tools)}")]
    if not 1 <= len(readings) <= MAX_READINGS:
        remedy = f"give 1 to {MAX_READINGS} readings with the jaws closed, or leave the tool out"
        return [
            ObservationError("the number of closed-jaws readings is wrong", field=field, value=readings, remedy=remedy)
        ]
    return [
        fault
        for i, reading in enumerate(readings)
        if (fault := _reading_fault(f"{field}[{i}]", reading, unit)) is not None
    ]


def _reading_fault(field: str, reading: object, unit: str) -> ObservationError | None:
    if not is_number(reading):
        message, remedy = f"{str(reading)[:40]!r} is not a finite number", "give what the display shows, e.g. 0.01"
    elif abs(to_mm(reading, unit)) > LARGEST_ZERO_MM:
        message = f"{reading:g} {unit} is too much for closed jaws"
        remedy = f"close the jaws, check the unit, or set zero: at most {LARGEST_ZERO_MM:g} mm is corrected"
    else:
        return None
    return ObservationError(message, field=field, value=reading, remedy=remedy)


def _twice(instruments: Mapping[str, Instrument], given: Mapping[str, Sequence[float]]) -> list[ObservationError]:
    """Errors where one instrument is given two zero errors."""
    first: dict[str | None, str] = {}
    found = []
    for name in given:
        earlier = first.setdefault(instruments[name].zero_tool, name)
        if earlier != name:
            message = f"{name} and {earlier} are the same tool, with one zero error"
            remedy = f"give all closed-jaws readings under {earlier}"
            found.append(ObservationError(message, field=f"closed_jaws.{name}", value=name, remedy=remedy))
    return found
