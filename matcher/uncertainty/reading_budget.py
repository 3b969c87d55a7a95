"""One dimension as it was taken, and what makes it uncertain: the lines of its budget, by the GUM (JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from matcher.features import FEATURES, Feature
from matcher.observations import (
    RECTANGULAR,
    TYPE_A,
    UNSCALED_SD,
    BudgetLine,
    Observation,
    Of,
    Reduced,
    SharedError,
    SharedKind,
)
from matcher.uncertainty.gum import combine, rectangular, resolution, type_a
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.measuring_setup import group_of, mm_per_unit, net_mm, picture_of, plane_of
from matcher.vocabulary import PIXEL, canonical_unit, is_number

STATED_FIGURES = 9
"""Decimals, mm, to which uncertainties stated in different units are the same one: a thousandth of a nanometre."""

STATED = "stated with the reading"
"""Source of a standard uncertainty that came with the reading: a person's own, or that of clicks and found contacts."""


@dataclass(frozen=True, kw_only=True)
class Taking:
    """One dimension as it was taken: numbers in mm (px in an unscaled picture), before division by ``spans``.

    ``readings`` are net: what is taken off (``less``) is off, and a tool's known zero error is corrected.
    ``repeats`` says how many of them are repeats of one reading (bounds are not). ``scale_rel`` is the relative
    standard uncertainty of the picture's scale (0: no picture, or no scale).
    """

    given: Observation
    instrument: Instrument | None
    readings: tuple[float, ...]
    repeats: int
    unit_mm: float
    in_pixels: bool
    off_plane: bool
    scale_rel: float

    @classmethod
    def of(
        cls,
        given: Observation,
        instrument: Instrument | None,
        reference: Mapping[str, str],
        scales: Mapping[str, float],
    ) -> Taking:
        """Convert the numbers of an observation that was found to be without fault.

        ``reference`` names each picture's plane, ``scales`` the relative uncertainty stated for a group's scale.
        """
        numbers = given.readings or [v for v in (given.value, given.min, given.max) if is_number(v)]
        off_plane, scale_rel = False, 0.0
        if instrument is not None and instrument.optical:
            off_plane = reference[picture_of(given, instrument)] != plane_of(given)
            scale_rel = scales.get(group_of(given, instrument), instrument.scale_rel)
        return cls(
            given=given,
            instrument=instrument,
            readings=tuple(net_mm(given, instrument, number) for number in numbers),
            repeats=max(len(given.readings), 1),
            unit_mm=mm_per_unit(given, instrument),
            in_pixels=canonical_unit(given.unit) == PIXEL,
            off_plane=off_plane,
            scale_rel=scale_rel,
        )

    @property
    def size(self) -> float:
        """What the reading says before division: the mean of repeats, the middle of bounds."""
        return type_a(self.readings).mean if len(self.readings) > 1 else self.readings[0]

    @property
    def stated(self) -> bool:
        """Whether the person's own uncertainty replaces the instrument's."""
        return self.given.u is not None or self.given.plus_minus is not None

    @property
    def way(self) -> tuple[object, ...]:
        """What readings have in common that are repeats of one reading: tool, picture, plane, own statements, mm."""
        given, tool = self.given, self.instrument
        picture = None if tool is None or not tool.optical else (picture_of(given, tool), plane_of(given))
        own = (given.u, given.plus_minus, given.less, given.less_u)
        stated = tuple(None if part is None else round(part * self.unit_mm, STATED_FIGURES) for part in own)
        pixel = self.unit_mm if self.in_pixels else None
        return None if tool is None else tool.name, picture, pixel, given.plane_rel, stated

    def line(self, source: str, distribution: str, u: float, dof: float = math.inf) -> BudgetLine:
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


def dimension(index: int, of: Of, taking: Taking) -> Reduced:
    """Value and standard uncertainty of one dimension, with its budget: its own lines first, a shared one last."""
    given = taking.given
    own = (*_own_lines(taking), *_less_lines(taking), *_plane_lines(taking))
    shared, shared_lines = _shared(taking)
    u = combine([line.contribution for line in own])
    bound = given.min is not None or given.max is not None
    limits = [
        None if number is None else net_mm(given, taking.instrument, number) / given.spans
        for number in (given.min, given.max)
    ]
    return Reduced(
        index=index,
        feature=given.feature,
        of=of,
        value=None if bound else taking.size / given.spans,
        at_least=limits[0],
        at_most=limits[1],
        u=u,
        total_u=combine([u, *(line.contribution for line in shared_lines)]),
        spans=given.spans,
        shared=None if bound else shared,
        budget=(*own, *shared_lines),
    )


def _own_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    """What belongs to this reading alone, the plane left out: the person's own statement, or type A and type B."""
    if taking.stated:
        return (_stated_line(taking),)
    instrument = _known(taking)
    lines = (_display_line(taking, instrument), *_type_b_lines(taking, instrument))
    return tuple(line for line in lines if line.contribution > 0.0)


def _stated_line(taking: Taking) -> BudgetLine:
    given = taking.given
    if given.u is not None:
        return taking.line(STATED, "normal", given.u * taking.unit_mm)
    a = (given.plus_minus or 0.0) * taking.unit_mm
    return taking.line("limit stated with the reading", RECTANGULAR, rectangular(a))


def _known(taking: Taking) -> Instrument:
    if taking.instrument is None:
        raise TypeError("a reading without its own uncertainty has an instrument")
    return taking.instrument


def _step(taking: Taking, instrument: Instrument) -> float:
    return (instrument.step_px or 0.0) * taking.unit_mm if taking.in_pixels else instrument.step_mm


def _feel(taking: Taking, instrument: Instrument) -> float:
    return (instrument.feel_px or 0.0) * taking.unit_mm if taking.in_pixels else instrument.feel_mm


def _display_line(taking: Taking, instrument: Instrument) -> BudgetLine:
    """Scatter of the repeats or step of the display, whichever is larger, never both.

    Scatter of rounded readings holds the rounding already; readings that all say the same, or one of two neighbouring
    steps, scatter less than the display can show. To take the larger of repeatability and resolution is the rule of
    ISO 14253-2 (from memory). From four readings on it is never below the digitised type A of R. Willink, Metrologia
    44 (2007) 73–81; that one's larger values for two or three equal readings are left out, since where the edge is
    (``feel_mm``) stands in the budget beside it.
    """
    step = resolution(_step(taking, instrument))
    if taking.repeats < 2:
        return taking.line("step of the display", RECTANGULAR, step)
    scatter = type_a(taking.readings)
    if scatter.u > step:
        return taking.line(f"scatter of {taking.repeats} readings", TYPE_A, scatter.u, scatter.degrees_of_freedom)
    return taking.line(f"step of the display ({taking.repeats} readings scatter less)", RECTANGULAR, step)


def _type_b_lines(taking: Taking, instrument: Instrument) -> tuple[BudgetLine, ...]:
    """What repeats do not make smaller: one hand repeats the same wrong edge."""
    feature = FEATURES[taking.given.feature]
    doubt = "" if feature.name in instrument.can else f" (not made for {feature.label})"
    source = f"where the edge is, {instrument.label}{doubt}"
    feel = taking.line(source, instrument.feel_distribution, _feel(taking, instrument))
    return (feel, *(taking.line(source, RECTANGULAR, u) for source, u in limits_of_error(feature, instrument)))


def limits_of_error(feature: Feature, instrument: Instrument) -> list[tuple[str, float]]:
    """Limits of error that each reading has to itself, with their standard uncertainties, mm."""
    limits = []
    if instrument.zero_tool is None:
        limits.append(("limit of error", rectangular(instrument.limit_mm)))
    if feature.inside_or_depth:
        limits.append(("inside jaws or depth rod", rectangular(instrument.inside_and_depth_extra_mm)))
    return limits


def length_u(feature: Feature, instrument: Instrument) -> float:
    """Standard uncertainty, mm, of one reading of a dimension with an instrument, a picture's scale left out."""
    zero = 0.0 if instrument.zero_tool is None else instrument.zero_error.u_mm
    limits = [u for _, u in limits_of_error(feature, instrument)]
    return combine([resolution(instrument.step_mm), instrument.feel_mm, *limits, zero])


def _less_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    """Uncertainty of the width that was taken off: as stated, else what one reading like this one has."""
    given = taking.given
    if given.less is None:
        return ()
    if given.less_u is not None:
        return (taking.line("the width taken off, as stated", "normal", given.less_u * taking.unit_mm),)
    if taking.stated:
        line = _stated_line(taking)
        return (replace(line, source="the width taken off, as the reading"),)
    instrument = _known(taking)
    lines = [
        taking.line(
            "where the edges of the width taken off are", instrument.feel_distribution, _feel(taking, instrument)
        ),
        taking.line("step of the display, width taken off", RECTANGULAR, resolution(_step(taking, instrument))),
    ]
    if instrument.zero_tool is None:
        limit = rectangular(instrument.limit_mm)
        lines.append(taking.line("limit of error, width taken off", RECTANGULAR, limit))
    return tuple(line for line in lines if line.contribution > 0.0)


def _plane_lines(taking: Taking) -> tuple[BudgetLine, ...]:
    instrument, stated = taking.instrument, taking.given.plane_rel
    if stated is not None:
        return (taking.relative_line("scale in the plane of the reading, as stated", stated),) if stated > 0.0 else ()
    if instrument is None or not taking.off_plane or instrument.other_plane_rel == 0.0:
        return ()
    return (
        taking.relative_line("scale of another plane than most readings of the picture", instrument.other_plane_rel),
    )


def _shared(taking: Taking) -> tuple[SharedError | None, tuple[BudgetLine, ...]]:
    """What the reading shares with others, and its budget line; an unknown scale has no number to show."""
    given, instrument = taking.given, taking.instrument
    if instrument is None:
        return None, ()
    if instrument.unscaled:
        group = group_of(given, instrument)
        return SharedError(group=group, kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True), ()
    if instrument.optical:
        error = SharedError(group=group_of(given, instrument), kind=SharedKind.SCALE, sd=taking.scale_rel)
        return error, (taking.relative_line("scale of the picture (shared)", taking.scale_rel),)
    if taking.stated or given.less is not None or instrument.zero_tool is None:
        return None, ()
    return _shared_zero(taking, instrument)


def _shared_zero(taking: Taking, instrument: Instrument) -> tuple[SharedError | None, tuple[BudgetLine, ...]]:
    zero = instrument.zero_error
    if zero.u_mm == 0.0:
        return None, ()
    error = SharedError(
        group=f"zero:{instrument.zero_tool}:{zero.u_mm!r}",
        kind=SharedKind.ZERO,
        sd=zero.u_mm,
        coefficient=1.0 / taking.given.spans,
    )
    return error, (taking.line(zero.source, zero.distribution, zero.u_mm, zero.degrees_of_freedom),)


def pooled(takings: Sequence[Taking]) -> Taking:
    """Readings taken in one `Taking.way` as repeats of one reading."""
    readings = tuple(reading for taking in takings for reading in taking.readings)
    return replace(takings[0], readings=readings, repeats=len(readings))
