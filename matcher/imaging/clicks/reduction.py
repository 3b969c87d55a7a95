"""From the clicks in one picture to observations.

What is neglected: readings of one picture share clicks (the rows give the direction of segments and, with their own
lattice, the perspective of outlines), so their errors are weakly correlated. The uncertainty of each reading is right,
but `matcher.uncertainty.reduce.reduce` treats readings as independent except for the scale. Outlines and segments treat
the direction of the rows as exact, an error of second order. Lens distortion is neglected except for its part in the
scale.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from matcher.errors import ObservationError
from matcher.features import Plane
from matcher.imaging.clicks.clicked_rows import UNSEEN_CLICK, Rows, measured_rows
from matcher.imaging.clicks.context import FREE_STANDING, Context, line
from matcher.imaging.clicks.extents import outline_readings, segment_reading
from matcher.imaging.clicks.inputs import (
    ContactLattice,
    KnownRectangle,
    Picture,
    ScaleSegment,
    StatedScale,
    checked_plane,
)
from matcher.imaging.clicks.picture_results import PictureReading, PictureResult, PictureScale, RowRelation
from matcher.imaging.clicks.rectification import AS_SEEN, FromRectangle, Rectification, from_rectangle, lengths
from matcher.imaging.clicks.row_relations import Neighbours, distance, end_change, related
from matcher.imaging.clicks.scale import (
    PlaneScale,
    plane_scales,
    scale_from_rectangle,
    scale_from_segment,
    stated_scale,
)
from matcher.observations import Observation, Of
from matcher.uncertainty.instruments import BUILT_IN, UNSCALED, Instrument, Taken
from matcher.vocabulary import closest, is_text, remedy_for

EQUAL = 3.0
"""Distances of neighbouring rows within this many standard uncertainties of their mean are one row spacing."""


def measure_picture(picture: Picture, instruments: Mapping[str, Instrument] = BUILT_IN) -> PictureResult:
    """Readings of one picture with their uncertainty, ready for `matcher.uncertainty.reduce.reduce`.

    Raises
    ------
    ObservationError
        With ``field`` naming the point or number, e.g. ``rows[0].points[3]``.
    """
    instrument = _instrument(picture, instruments)
    rectification: Rectification = AS_SEEN
    if isinstance(picture.perspective, KnownRectangle):
        checked_plane(picture.perspective.plane, field="perspective.plane")
        rectification = from_rectangle(picture.perspective, UNSEEN_CLICK)
    rows = measured_rows(picture, rectification)
    scale = _scale(picture, rows, instrument)
    if scale is None and not instrument.unscaled:
        instrument = instruments[UNSCALED[_taken(picture)]]
    context = Context(picture=picture, instrument=instrument, rows=rows, scale=scale, planes=_planes(picture, scale))
    pairs = related(rows)
    readings = (
        *_pitches(context),
        *_spacings(context, pairs),
        *(one for i, given in enumerate(picture.outlines) for one in outline_readings(given, i, context)),
        *(segment_reading(given, i, context) for i, given in enumerate(picture.segments)),
    )
    return PictureResult(
        name=picture.name,
        readings=readings,
        layouts=_layouts(rows, [relation for _, relation in pairs]),
        rows=rows.fits,
        relations=tuple(relation for _, relation in pairs),
        click_u=rows.click_u,
        click_dof=rows.click_dof,
        scale=scale,
        notes=_notes(context, [relation for _, relation in pairs]),
    )


def _instrument(picture: Picture, instruments: Mapping[str, Instrument]) -> Instrument:
    if not is_text(picture.name):
        raise ObservationError("the picture has no name", field="name", value=picture.name, remedy="give it a name")
    fitting = [one.name for one in instruments.values() if one.optical and one.takes_pixels]
    if picture.instrument not in fitting:
        raise ObservationError(
            f"{picture.instrument!r} is not an instrument for pictures",
            field="instrument",
            value=picture.instrument,
            remedy=remedy_for(fitting, closest(str(picture.instrument), fitting)),
        )
    if not (picture.rows or picture.outlines or picture.segments):
        raise ObservationError(
            "nothing was clicked", field="rows", value=None, remedy="click a row, an outline or a segment"
        )
    return instruments[picture.instrument]


def _taken(picture: Picture) -> Taken:
    """How a picture counts as taken: rectified here, or as stated, or else as is usual with its instrument."""
    if isinstance(picture.perspective, KnownRectangle):
        return Taken.RECTIFIED
    usual = Taken.BY_HAND if picture.instrument in FREE_STANDING else Taken.FROM_ABOVE
    return usual if picture.taken is None else picture.taken


def _scale(picture: Picture, rows: Rows, instrument: Instrument) -> PictureScale | None:
    given = picture.scale
    if given is not None and instrument.unscaled:
        raise ObservationError(
            f"{instrument.label} has no scale",
            field="instrument",
            value=instrument.name,
            remedy="name the instrument photo, or leave the scale out",
        )
    if isinstance(given, ScaleSegment):
        return scale_from_segment(given, rows.rectification, rows.click_u, rows.click_dof)
    if isinstance(given, StatedScale):
        return stated_scale(given, instrument.scale_rel)
    rectangle, known = picture.perspective, rows.rectification
    if isinstance(rectangle, KnownRectangle) and rectangle.in_mm and isinstance(known, FromRectangle):
        return scale_from_rectangle(known, rectangle.plane, rows.click_dof)
    return None


def _planes(picture: Picture, scale: PictureScale | None) -> Mapping[str, PlaneScale]:
    """Scales of planes relative to the scale's plane; empty if nothing is known: `reduce` then goes by the majority."""
    if scale is not None:
        return plane_scales(picture.planes, scale.plane)
    reference = checked_plane(picture.reference_plane, field="reference_plane")
    return plane_scales(picture.planes, reference) if picture.planes else {}


def _pitches(context: Context) -> list[PictureReading]:
    """One pitch for each step: rows that agree give one together."""
    rows = context.rows
    return [_pitch(context, group) for group in range(max(rows.fit.groups) + 1)] if rows.rows else []


def _pitch(context: Context, group: int) -> PictureReading:
    rows = context.rows
    members = [i for i, one in enumerate(rows.fit.groups) if one == group]
    spans = max(rows.fits[i].lattice.spans for i in members)
    row = rows.rows[members[0]]
    value, u = rows.propagated(lambda theta: lengths(rows.fit.step(theta, members[0])))
    lines = [line("clicks at the contacts", "normal, type A", rows.click_u, spans * u / rows.click_u, rows.click_dof)]
    lines.extend(context.skew_line(np.array(rows.fits[members[0]].direction), spans * value))
    field = f"rows[{members[0]}].points"
    return context.reading(row.feature, spans * value, lines, plane=row.plane, of=row.of, field=field, spans=spans)


def _spacings(context: Context, pairs: Sequence[tuple[Neighbours, RowRelation]]) -> list[PictureReading]:
    """Distances of neighbouring rows; equal ones of three or four rows as one reading over several gaps."""
    readings = []
    for key in dict.fromkeys(context.rows.rows[pair.first].key for pair, _ in pairs):
        own = [(pair, relation) for pair, relation in pairs if context.rows.rows[pair.first].key == key]
        mean = sum(relation.spacing for _, relation in own) / len(own)
        if all(relation.agree and abs(relation.spacing - mean) <= EQUAL * relation.spacing_u for _, relation in own):
            readings.append(_spacing(context, [pair for pair, _ in own]))
        else:
            readings.extend(_spacing(context, [pair]) for pair, _ in own)
    return readings


def _spacing(context: Context, pairs: Sequence[Neighbours]) -> PictureReading:
    rows, row = context.rows, context.rows.rows[pairs[0].first]
    distances = [distance(rows, pair) for pair in pairs]
    value, u = rows.propagated(lambda theta: np.sum([one(theta) for one in distances], axis=0))
    lines = [line("clicks at the contacts", "normal, type A", rows.click_u, u / rows.click_u, rows.click_dof)]
    change = max(end_change(rows, pair) for pair in pairs)
    lines.append(line("rows not parallel in the picture", "rectangular", change / math.sqrt(12.0), 1.0))
    along = np.array(rows.fits[pairs[0].first].direction)
    lines.extend(context.skew_line(np.array([-along[1], along[0]]), value))
    feature = "land_row_spacing" if row.plane == Plane.LANDS else "row_spacing"
    field = f"rows[{pairs[0].second}].points"
    return context.reading(feature, value, lines, plane=row.plane, of=row.of, field=field, spans=len(pairs))


def _layouts(rows: Rows, relations: Sequence[RowRelation]) -> tuple[Observation, ...]:
    """Aligned or staggered, once for the contacts and once for the tails of each body, where rows are clear and
    agree. Rows in the plane of the lands are those of the tails."""
    said: dict[tuple[str, Of], set[str]] = {}
    for relation in relations:
        row = rows.rows[relation.rows[0]]
        feature = "tail_layout" if row.plane == Plane.LANDS else "contact_layout"
        said.setdefault((feature, row.of), set()).add(relation.layout)
    return tuple(
        Observation(feature=feature, value=next(iter(layouts)), of=of)
        for (feature, of), layouts in said.items()
        if len(layouts) == 1 and layouts != {"unclear"}
    )


def _notes(context: Context, relations: Sequence[RowRelation]) -> tuple[str, ...]:
    rows, notes = context.rows, []
    for i, fit in enumerate(rows.fits):
        notes += [
            f"rows[{i}].points[{stray.point}] was left out: {stray.off:.1f} px from contact site {stray.site}"
            for stray in fit.lattice.outliers
        ]
        if fit.lattice.missing:
            missing = ", ".join(str(site) for site in fit.lattice.missing)
            notes.append(f"rows[{i}] has no point at contact site {missing}, counted from 0")
    for relation in relations:
        first, second = relation.rows
        if not relation.agree:
            notes.append(
                f"rows[{first}] and rows[{second}] differ in pitch or direction by more than clicking explains: "
                "the picture is oblique, or the rows are different; a known rectangle removes the perspective"
            )
        if relation.layout == "unclear":
            notes.append(
                f"rows[{first}] and rows[{second}] are offset by {relation.offset:+.2f} pitches along the row: "
                "neither aligned nor half a pitch apart"
            )
    if context.picture.outlines and not rows.rows:
        notes.append("there is no row, so the longer edges of outlines are assumed to lie along the rows")
    if isinstance(context.picture.perspective, ContactLattice):
        notes.append(
            "contacts cannot show how much lengths across are foreshortened compared with lengths along; "
            "a rectangle can"
        )
    return tuple(notes)
