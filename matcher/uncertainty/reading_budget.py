"""One dimension as it was measured, with its uncertainty budget by the GUM (JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from matcher.features import FEATURES, Direction, Feature
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
from matcher.uncertainty.measuring_setup import correction_mm, group_of, mm_per_unit, net_mm, picture_of, plane_of
from matcher.vocabulary import PIXEL, canonical_unit, is_number

STATED_FIGURES = 9
"""Decimals, mm, to which uncertainties stated in different units are compared: a thousandth of a nanometre."""

STATED = "stated with the reading"
"""Source of an uncertainty that came with the reading: a person's own, or that of clicks and found contacts."""


@dataclass(frozen=True, kw_only=True)
class MeasuredLength:
    """One dimension as it was measured: numbers in mm (px in an unscaled picture), before division by ``spans``.

    ``readings`` are net: ``less`` is subtracted, and a tool's known zero error is corrected. ``repeats`` says how many
    of them are repeats of one reading (bounds are not). ``scale_rel`` is the relative standard uncertainty of the
    picture's scale (0: no picture, or no scale).
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
    ) -> MeasuredLength:
        """Convert the numbers of a valid observation.

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
        """The size before division by the gaps: the mean of repeats, the middle of bounds."""
        return type_a(self.readings).mean if len(self.readings) > 1 else self.readings[0]

    @property
    def stated(self) -> bool:
        """Whether the person's own uncertainty replaces the instrument's."""
        return self.given.u is not None or self.given.plus_minus is not None

    @property
    def method(self) -> tuple[object, ...]:
        """Measuring method: readings that share it are repeats of one reading.

        It names tool, picture and plane, and the uncertainties stated with the reading, mm.
        """
        given, tool = self.given, self.instrument
        picture = None if tool is None or not tool.optical else (picture_of(given, tool), plane_of(given))
        own = (given.u, given.plus_minus, given.less, given.less_u)
        stated = tuple(None if part is None else round(part * self.unit_mm, STATED_FIGURES) for part in own)
        pixel = self.unit_mm if self.in_pixels else None
        return None if tool is None else tool.name, picture, pixel, given.plane_rel, stated

    def line(self, source: str, distribution: str, u: float, dof: float = math.inf) -> BudgetLine:
        """Budget line of an uncertainty of the whole reading; its contribution is divided by the gaps."""
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


def dimension(index: int, of: Of, length: MeasuredLength) -> Reduced:
    """Value and standard uncertainty of one dimension, with its budget: own lines first, the shared one last."""
    given = length.given
    own = (
        *_own_lines(length),
        *_less_lines(length),
        *_seating_lines(length),
        *_plane_lines(length),
        *_perspective_lines(length),
    )
    shared, shared_lines = _shared(length)
    u = combine([line.contribution for line in own])
    bound = given.min is not None or given.max is not None
    limits = [
        None if number is None else net_mm(given, length.instrument, number) / given.spans
        for number in (given.min, given.max)
    ]
    return Reduced(
        index=index,
        feature=given.feature,
        of=of,
        value=None if bound else length.size / given.spans,
        at_least=limits[0],
        at_most=limits[1],
        u=u,
        total_u=combine([u, *(line.contribution for line in shared_lines)]),
        spans=given.spans,
        corrected=correction_mm(given, length.instrument) / given.spans,
        shared=None if bound else shared,
        budget=(*own, *shared_lines),
    )


def _own_lines(length: MeasuredLength) -> tuple[BudgetLine, ...]:
    """Lines of this reading alone, without the picture's: the person's own uncertainty, or type A and type B."""
    if length.stated:
        return (_stated_line(length),)
    instrument = _known(length)
    lines = (_display_line(length, instrument), *_type_b_lines(length, instrument))
    return tuple(line for line in lines if line.contribution > 0.0)


def _stated_line(length: MeasuredLength) -> BudgetLine:
    given = length.given
    if given.u is not None:
        return length.line(STATED, "normal", given.u * length.unit_mm)
    a = (given.plus_minus or 0.0) * length.unit_mm
    return length.line("limit stated with the reading", RECTANGULAR, rectangular(a))


def _known(length: MeasuredLength) -> Instrument:
    if length.instrument is None:
        raise TypeError("a reading without its own uncertainty needs an instrument")
    return length.instrument


def _step(length: MeasuredLength, instrument: Instrument) -> float:
    return (instrument.step_px or 0.0) * length.unit_mm if length.in_pixels else instrument.step_mm


def _feel(length: MeasuredLength, instrument: Instrument) -> float:
    return (instrument.feel_px or 0.0) * length.unit_mm if length.in_pixels else instrument.feel_mm


def _display_line(length: MeasuredLength, instrument: Instrument) -> BudgetLine:
    """Scatter of the repeats or step of the display: the larger of the two, never both.

    The scatter of rounded readings already includes the rounding. Readings that are all equal, or differ by one step,
    scatter less than the display can show. ISO 14253-2 takes the larger of repeatability and resolution (from memory).
    From four readings on this is never below the digitised type A of R. Willink, Metrologia 44 (2007) 73–81. Willink's
    larger values for two or three equal readings are not used, since the budget also has the error of the edge
    (``feel_mm``).
    """
    step = resolution(_step(length, instrument))
    if length.repeats < 2:
        return length.line("step of the display", RECTANGULAR, step)
    scatter = type_a(length.readings)
    if scatter.u > step:
        return length.line(f"scatter of {length.repeats} readings", TYPE_A, scatter.u, scatter.degrees_of_freedom)
    return length.line(f"step of the display ({length.repeats} readings scatter less)", RECTANGULAR, step)


def _type_b_lines(length: MeasuredLength, instrument: Instrument) -> tuple[BudgetLine, ...]:
    """Errors that repeats do not make smaller: a person who misjudges the edge does so each time."""
    feature = FEATURES[length.given.feature]
    doubt = "" if feature.name in instrument.can else f" (not made for {feature.label})"
    source = f"where the edge is, {instrument.label}{doubt}"
    feel = length.line(source, instrument.feel_distribution, _feel(length, instrument))
    return (feel, *(length.line(source, RECTANGULAR, u) for source, u in limits_of_error(feature, instrument)))


def limits_of_error(feature: Feature, instrument: Instrument) -> list[tuple[str, float]]:
    """Limits of error that are independent for each reading, with their standard uncertainties, mm."""
    limits = []
    if instrument.zero_tool is None:
        limits.append(("limit of error", rectangular(instrument.limit_mm)))
    if feature.inside_or_depth:
        limits.append(("inside jaws or depth rod", rectangular(instrument.inside_and_depth_extra_mm)))
    if feature.direction is Direction.UPWARDS and not instrument.optical:
        half_depth = rectangular(instrument.focus_depth_mm / 2)
        limits += [("focus on the upper surface", half_depth), ("focus on the lower surface", half_depth)]
    return limits


def length_u(feature: Feature, instrument: Instrument) -> float:
    """Standard uncertainty, mm, of one reading of a dimension with an instrument, without a picture's scale."""
    zero = 0.0 if instrument.zero_tool is None else instrument.zero_error.u_mm
    limits = [u for _, u in limits_of_error(feature, instrument)]
    seating = rectangular(instrument.seating_limit_mm) if feature.seated else 0.0
    return combine([resolution(instrument.step_mm), instrument.feel_mm, *limits, seating, zero])


def _less_lines(length: MeasuredLength) -> tuple[BudgetLine, ...]:
    """Uncertainty of the width that was subtracted: as stated, else that of one reading like this one."""
    given = length.given
    if given.less is None:
        return ()
    if given.less_u is not None:
        return (length.line("the subtracted width, as stated", "normal", given.less_u * length.unit_mm),)
    if length.stated:
        line = _stated_line(length)
        return (replace(line, source="the subtracted width, as the reading"),)
    instrument = _known(length)
    lines = [
        length.line("edges of the subtracted width", instrument.feel_distribution, _feel(length, instrument)),
        length.line("step of the display, subtracted width", RECTANGULAR, resolution(_step(length, instrument))),
    ]
    if instrument.zero_tool is None:
        limit = rectangular(instrument.limit_mm)
        lines.append(length.line("limit of error, subtracted width", RECTANGULAR, limit))
    return tuple(line for line in lines if line.contribution > 0.0)


def _seating_lines(length: MeasuredLength) -> tuple[BudgetLine, ...]:
    """Uncertainty of the correction for the gap under the half, which no uncertainty stated with the reading includes.

    JCGM 100:2008 (GUM) 3.2.4: a recognised effect is corrected, and the correction's uncertainty counts.
    """
    instrument = length.instrument
    if instrument is None or not FEATURES[length.given.feature].seated or instrument.seating_limit_mm == 0.0:
        return ()
    source = f"gap under the half on its board ({instrument.seating_mm:g} mm subtracted)"
    return (length.line(source, RECTANGULAR, rectangular(instrument.seating_limit_mm)),)


def _plane_lines(length: MeasuredLength) -> tuple[BudgetLine, ...]:
    instrument, stated = length.instrument, length.given.plane_rel
    if stated is not None:
        return (length.relative_line("scale in the plane of the reading, as stated", stated),) if stated > 0.0 else ()
    if instrument is None or not length.off_plane or instrument.other_plane_rel == 0.0:
        return ()
    return (
        length.relative_line("scale of another plane than most readings of the picture", instrument.other_plane_rel),
    )


def _perspective_lines(length: MeasuredLength) -> tuple[BudgetLine, ...]:
    """Error of the picture that nobody sees in a reading, and so no uncertainty stated with the reading includes."""
    instrument = length.instrument
    if instrument is None or instrument.perspective_rel == 0.0:
        return ()
    return (length.relative_line(f"perspective and lens, {instrument.label}", instrument.perspective_rel),)


def _shared(length: MeasuredLength) -> tuple[SharedError | None, tuple[BudgetLine, ...]]:
    """The error that the reading shares with others, and its budget line; an unknown scale has no line."""
    given, instrument = length.given, length.instrument
    if instrument is None:
        return None, ()
    if instrument.unscaled:
        group = group_of(given, instrument)
        return SharedError(group=group, kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True), ()
    if instrument.optical:
        error = SharedError(group=group_of(given, instrument), kind=SharedKind.SCALE, sd=length.scale_rel)
        return error, (length.relative_line("scale of the picture (shared)", length.scale_rel),)
    if length.stated or given.less is not None or instrument.zero_tool is None:
        return None, ()
    return _shared_zero(length, instrument)


def _shared_zero(length: MeasuredLength, instrument: Instrument) -> tuple[SharedError | None, tuple[BudgetLine, ...]]:
    zero = instrument.zero_error
    if zero.u_mm == 0.0:
        return None, ()
    error = SharedError(
        group=f"zero:{instrument.zero_tool}:{zero.u_mm!r}",
        kind=SharedKind.ZERO,
        sd=zero.u_mm,
        coefficient=1.0 / length.given.spans,
    )
    return error, (length.line(zero.source, zero.distribution, zero.u_mm, zero.degrees_of_freedom),)


def pooled(lengths: Sequence[MeasuredLength]) -> MeasuredLength:
    """Readings of one `MeasuredLength.method` as repeats of one reading."""
    readings = tuple(reading for length in lengths for reading in length.readings)
    return replace(lengths[0], readings=readings, repeats=len(readings))
