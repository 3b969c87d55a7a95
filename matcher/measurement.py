"""From what a person gives to numbers with a standard uncertainty and its budget, by the GUM (JCGM 100:2008).

A reading's budget has

* type A: scatter of repeats, s/√n;
* type B: where the edge is (feel), the step of the display, inside jaws and depth rods, another plane of the picture.
  Repeats do not make these smaller, since one hand repeats the same wrong edge;
* what is shared with other readings: a tool's zero error, a picture's scale. It is kept out of ``u``, handed to the
  likelihood as `SharedError`, and included in ``total_u``.

``u`` is a standard uncertainty without any factor of Student's t; few repeats show in the budget's degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matcher.budget import combine, rectangular, resolution, type_a
from matcher.checking import faults
from matcher.errors import ObservationErrors
from matcher.faults import is_number
from matcher.features import FEATURES, Kind, Subject
from matcher.instruments import BUILT_IN, Instrument
from matcher.observations import UNSCALED_SD, BudgetLine, Observation, Of, Reduced, SharedError, SharedKind, TrialFit
from matcher.setups import (
    group_of,
    instrument_of,
    mm_per_unit,
    picture_of,
    plane_of,
    reference_planes,
)
from matcher.units import PIXEL, canonical_unit
from matcher.words import named_values

INSIDE_OR_DEPTH = frozenset({"opening_length", "opening_width", "height", "stack_height"})
"""Dimensions that inside jaws or a depth rod take."""


def reduce(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN
) -> tuple[Reduced, ...]:
    """Observations as the likelihood uses them, in the given order; ``index`` is the position in that order.

    Without an instrument a reading counts as taken by caliper on a loose part; in pixels as from an unscaled photo;
    with ``image`` or ``px_per_mm`` as from a scaled photo. A person's own ``u`` or ``plus_minus`` (± a, rectangular:
    a/√3) replaces everything the instrument would add, its zero error included. A picture's scale is no matter of
    reading: where an optical instrument is named it stays shared, another plane still adds its own part, and an
    unscaled picture stays unscaled.

    Within one picture the plane with most readings holds the scale; readings in other planes keep sharing it and get
    the instrument's ``other_plane_rel`` on top (`matcher.instruments.OTHER_PLANE_REL`). For an unscaled picture
    ``total_u`` leaves the unknown scale out. Bounds share nothing: the shared part is in their ``total_u`` only.
    What belongs to the pair alone is taken to be ``of`` the pair even if nothing is said.

    Raises
    ------
    ObservationErrors
        With every fault of the list, each at its place, e.g. ``observations[2].unit``.
    """
    if found := faults(observations, instruments):
        raise ObservationErrors(found)
    taken = [(given, instrument_of(given, instruments)) for given in observations]
    reference = reference_planes([(given, tool) for given, tool in taken if tool and _is_picture_reading(given, tool)])
    return tuple(_reduced(index, given, tool, reference) for index, (given, tool) in enumerate(taken))


def _is_picture_reading(given: Observation, instrument: Instrument) -> bool:
    return instrument.optical and FEATURES[given.feature].kind is Kind.DIMENSION


def _reduced(index: int, given: Observation, instrument: Instrument | None, reference: Mapping[str, str]) -> Reduced:
    feature = FEATURES[given.feature]
    of = Of.PAIR if feature.subject is Subject.PAIR else Of(given.of)
    if feature.kind is Kind.DIMENSION:
        return _dimension(index, of, Taking.of(given, instrument, reference))
    if feature.kind is Kind.COUNT:
        count = int(given.value) if is_number(given.value) else None
        return Reduced(index=index, feature=feature.name, of=of, count=count, at_least=given.min, at_most=given.max)
    if isinstance(given.value, TrialFit):
        return Reduced(index=index, feature=feature.name, of=of, fit=given.value)
    if feature.kind is Kind.TEXT:
        return Reduced(index=index, feature=feature.name, of=of, text=str(given.value).strip())
    values = frozenset(named_values(feature, given.value))
    return Reduced(index=index, feature=feature.name, of=of, values=values)


@dataclass(frozen=True, kw_only=True)
class Taking:
    """One dimension as it was taken: numbers in mm (px in an unscaled picture), before division by ``spans``."""

    given: Observation
    instrument: Instrument | None
    readings: tuple[float, ...]
    unit_mm: float
    in_pixels: bool
    off_plane: bool

    @classmethod
    def of(cls, given: Observation, instrument: Instrument | None, reference: Mapping[str, str]) -> Taking:
        """Convert the numbers of an observation that was found to be without fault."""
        unit_mm = mm_per_unit(given, instrument)
        numbers = given.readings or [v for v in (given.value, given.min, given.max) if is_number(v)]
        off_plane = (
            instrument is not None
            and instrument.optical
            and reference[picture_of(given, instrument)] != plane_of(given)
        )
        return cls(
            given=given,
            instrument=instrument,
            readings=tuple(float(number) * unit_mm for number in numbers),
            unit_mm=unit_mm,
            in_pixels=canonical_unit(given.unit) == PIXEL,
            off_plane=off_plane,
        )

    @property
    def size(self) -> float:
        """What the reading says before division: the mean of repeats, the middle of bounds."""
        return type_a(self.readings).mean if len(self.readings) > 1 else self.readings[0]

    def line(self, source: str, distribution: str, u: float, dof: float = float("inf")) -> BudgetLine:
        """Budget line of an uncertainty of the reading as taken; the gaps divide its contribution."""
        sensitivity = 1.0 / self.given.spans
        return BudgetLine(
            source=source,
            distribution=distribution,
            u=u,
            sensitivity=sensitivity,
            contribution=u * sensitivity,
            degrees_of_freedom=dof,
        )

    def relative_line(self, source: str, relative: float) -> BudgetLine:
        """Budget line of an error that is proportional to the reading."""
        size = self.size / self.given.spans
        return BudgetLine(
            source=source, distribution="normal", u=relative, sensitivity=size, contribution=relative * size
        )


def _dimension(index: int, of: Of, taking: Taking) -> Reduced:
    given, own = taking.given, (*_own_lines(taking), *_plane_lines(taking))
    shared, shared_lines = _shared(taking)
    u = combine([line.contribution for line in own])
    total = combine([u, *(line.contribution for line in shared_lines)])
    bound = given.min is not None or given.max is not None
    factor = taking.unit_mm / given.spans
    return Reduced(
        index=index,
        feature=given.feature,
        of=of,
        value=None if bound else taking.size / given.spans,
        at_least=None if given.min is None else given.min * factor,
        at_most=None if given.max is None else given.max * factor,
        u=u,
        total_u=total,
        spans=given.spans,
        shared=None if bound else shared,
        budget=(*own, *shared_lines),
    )


def _own_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    """What belongs to this reading alone, the plane left out: the person's own statement, or type A and type B."""
    given = taking.given
    if given.u is not None:
        return (taking.line("stated with the reading", "normal", given.u * taking.unit_mm),)
    if given.plus_minus is not None:
        a = given.plus_minus * taking.unit_mm
        return (taking.line("limit stated with the reading", "rectangular", rectangular(a)),)
    if taking.instrument is None:
        raise TypeError("a reading without its own uncertainty has an instrument")
    return (*_repeat_lines(taking), *_instrument_lines(taking, taking.instrument))


def _repeat_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    if len(taking.given.readings) < 2:
        return ()
    scatter = type_a(taking.readings)
    source = f"scatter of {len(taking.readings)} readings"
    return (taking.line(source, "normal, type A", scatter.u, scatter.degrees_of_freedom),)


def _instrument_lines(taking: Taking, instrument: Instrument) -> tuple[BudgetLine, ...]:
    feature = FEATURES[taking.given.feature]
    feel, step = instrument.feel_mm, instrument.step_mm
    if taking.in_pixels:
        feel, step = (instrument.feel_px or 0.0) * taking.unit_mm, (instrument.step_px or 0.0) * taking.unit_mm
    doubt = "" if feature.name in instrument.can else f" (not made for {feature.label})"
    lines = [
        taking.line(f"where the edge is, {instrument.label}{doubt}", instrument.feel_distribution, feel),
        taking.line("step of the display", "rectangular", resolution(step)),
    ]
    if instrument.zero_tool is None:
        lines.append(taking.line("limit of error", "rectangular", rectangular(instrument.limit_mm)))
    if feature.name in INSIDE_OR_DEPTH:
        extra = rectangular(instrument.inside_and_depth_extra_mm)
        lines.append(taking.line("inside jaws or depth rod", "rectangular", extra))
    return tuple(line for line in lines if line.contribution > 0.0)


def _plane_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    if taking.instrument is None or not taking.off_plane or taking.instrument.other_plane_rel == 0.0:
        return ()
    source = "scale of another plane than most readings of the picture"
    return (taking.relative_line(source, taking.instrument.other_plane_rel),)


def _shared(taking: Taking) -> tuple[SharedError | None, tuple[BudgetLine, ...]]:
    """What the reading shares with others, and its budget line; an unknown scale has no number to show."""
    given, instrument = taking.given, taking.instrument
    if instrument is None:
        return None, ()
    if instrument.unscaled:
        group = group_of(given, instrument)
        return SharedError(group=group, kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True), ()
    if instrument.optical:
        error = SharedError(group=group_of(given, instrument), kind=SharedKind.SCALE, sd=instrument.scale_rel)
        return error, (taking.relative_line("scale of the picture (shared)", instrument.scale_rel),)
    stated = given.u is not None or given.plus_minus is not None
    if stated or instrument.zero_tool is None or instrument.limit_mm == 0.0:
        return None, ()
    return _shared_zero(taking, instrument)


def _shared_zero(taking: Taking, instrument: Instrument) -> tuple[SharedError, tuple[BudgetLine, ...]]:
    sd = rectangular(instrument.limit_mm)
    error = SharedError(
        group=f"zero:{instrument.zero_tool}:{instrument.limit_mm!r}",
        kind=SharedKind.ZERO,
        sd=sd,
        coefficient=1.0 / taking.given.spans,
    )
    return error, (taking.line("limit of error of the tool (shared)", "rectangular", sd),)
