"""From clicked points and readings to an answer, for the JSON interface and for the command line."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from pydantic import BaseModel

from api.identification.tools_at_hand import tools_of
from api.observations.error_places import at
from api.observations.from_measuring import ready, rounded, short_form
from api.schemas import measured as answers
from api.schemas import measuring as asked
from api.schemas.requests import to_observation
from matcher.errors import ObservationError, ObservationErrors
from matcher.features import LENGTHS, Plane
from matcher.imaging.clicks.inputs import (
    ClickedRow,
    ContactLattice,
    KnownRectangle,
    Outline,
    Picture,
    PlaneDepth,
    ScaleSegment,
    Segment,
    StatedScale,
)
from matcher.imaging.clicks.picture_results import PictureReading, PictureResult, PictureScale, RowFit, RowRelation
from matcher.imaging.clicks.reduction import measure_picture
from matcher.observations import BudgetLine, Observation
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reading_budget import STATED
from matcher.uncertainty.reduce import Measured, ReadingsResult, measure_readings
from matcher.vocabulary import feature_remedy

CLICKS = "where the clicked points lie"
"""Name in the budget for the uncertainty from clicking."""

_OBSERVATION = re.compile(r"observations\[(?P<index>\d+)\](?P<rest>.*)", re.DOTALL)


def measure(request: asked.MeasureRequest) -> answers.MeasureAnswer:
    """The observations that result from clicked pictures and readings.

    Raises ObservationErrors with every fault at its place in the request, e.g. ``pictures[0].rows[1].points[3]``.
    """
    _check_something(request)
    results = _pictures(request.pictures)
    clicked = [rounded(reading.observation) for result in results for reading in result.readings]
    lengths = [*clicked, *(to_observation(given) for given in request.readings)]
    layouts = [layout for result in results for layout in result.layouts]
    found = _readings(lengths, tools_of(request), _places(results, request))
    return answers.MeasureAnswer(
        observations=ready([*lengths, *layouts]),
        short_form=short_form([*lengths, *layouts]),
        budgets=budgets(found, frozenset(range(len(clicked))), CLICKS),
        notes=found.notes,
        closed_jaws=request.closed_jaws,
        instruments=request.instruments,
        pictures=tuple(_picture_answers(results)),
        contradictions=tuple(
            answers.Contradiction.model_validate(each, from_attributes=True) for each in found.contradictions
        ),
    )


def _check_something(request: asked.MeasureRequest) -> None:
    if not request.pictures and not request.readings:
        raise ObservationError(
            "there is nothing to measure", field="pictures", value=None, remedy="give pictures, readings or both"
        )
    faults = [
        _no_length(place, given.feature) for place, given in enumerate(request.readings) if given.feature not in LENGTHS
    ]
    if faults:
        raise ObservationErrors(faults)


def _no_length(place: int, feature: str) -> ObservationError:
    return ObservationError(
        f"{feature!r} is not the name of a length",
        field=f"readings[{place}].feature",
        value=feature,
        remedy=feature_remedy(feature, LENGTHS),
    )


def _pictures(given: Sequence[asked.ClickedPicture]) -> list[PictureResult]:
    """Each picture measured; raises ObservationErrors with the fault of every picture that has one."""
    faults: list[ObservationError] = _named_twice(given)
    results = []
    for place, picture in enumerate(given):
        try:
            results.append(measure_picture(picture_of(picture)))
        except ObservationError as error:
            faults.append(at(error, f"pictures[{place}].{error.field}"))
    if faults:
        raise ObservationErrors(faults)
    return results


def _named_twice(given: Sequence[asked.ClickedPicture]) -> list[ObservationError]:
    names = [picture.name for picture in given]
    return [
        ObservationError(
            f"pictures[{names.index(name)}] has the same name",
            field=f"pictures[{place}].name",
            value=name,
            remedy="give each picture a name of its own: readings of one picture share its scale",
        )
        for place, name in enumerate(names)
        if names.index(name) != place
    ]


def picture_of(given: asked.ClickedPicture) -> Picture:
    """A picture of a request as the matcher's."""
    return Picture(
        name=given.name,
        rows=tuple(ClickedRow(**_fields(row)) for row in given.rows),
        outlines=tuple(Outline(**_fields(outline)) for outline in given.outlines),
        segments=tuple(Segment(**_fields(segment)) for segment in given.segments),
        perspective=_perspective(given.perspective),
        **scaling_of(given),
    )


def scaling_of(given: asked.ClickedPicture | asked.RowRequest) -> dict[str, Any]:
    """Instrument, scale and planes of a request as fields of `Picture`."""
    return {
        "instrument": given.instrument,
        "taken": given.taken,
        "scale": _scale(given.scale),
        "planes": tuple(PlaneDepth(**_fields(plane)) for plane in given.planes),
        "reference_plane": given.reference_plane,
    }


def _fields(given: BaseModel) -> dict[str, Any]:
    return {name: getattr(given, name) for name in type(given).model_fields}


def _scale(given: asked.PictureScale | None) -> ScaleSegment | StatedScale | None:
    if given is None:
        return None
    if given.px_per_mm is not None:
        return StatedScale(px_per_mm=given.px_per_mm, rel=given.rel, plane=given.plane)
    if given.start is None or given.end is None or given.length_mm is None:
        raise TypeError("the form of a scale was checked before")
    return ScaleSegment(
        start=given.start,
        end=given.end,
        length_mm=given.length_mm,
        u_mm=given.u_mm,
        plane=given.plane,
        thickness_mm=given.thickness_mm,
        camera_distance_mm=given.camera_distance_mm,
    )


def _perspective(given: asked.KnownRectangle | str | None) -> KnownRectangle | ContactLattice | None:
    if given is None:
        return None
    return ContactLattice() if isinstance(given, str) else KnownRectangle(**_fields(given))


def _readings(lengths: Sequence[Observation], tools: Mapping[str, Instrument], places: Sequence[str]) -> ReadingsResult:
    """Budgets of all lengths; an error in the i-th is reported at ``places[i]``."""
    try:
        return measure_readings(lengths, tools)
    except ObservationErrors as errors:
        raise ObservationErrors([at(error, _placed(error.field, places)) for error in errors.errors]) from errors


def _placed(field: str, places: Sequence[str]) -> str:
    match = _OBSERVATION.fullmatch(field)
    if match is None or int(match["index"]) >= len(places):
        return field
    place = places[int(match["index"])]
    return f"{place}{match['rest']}" if place.startswith("readings") else place


def _places(results: Sequence[PictureResult], request: asked.MeasureRequest) -> list[str]:
    """Where in the request each length comes from."""
    clicked = [f"pictures[{place}]" for place, result in enumerate(results) for _ in result.readings]
    return [*clicked, *(f"readings[{place}]" for place in range(len(request.readings)))]


def budgets(found: ReadingsResult, seen: frozenset[int], source: str) -> tuple[answers.Measured, ...]:
    """Each length with its budget. ``source`` names the cause of the own uncertainty of the observations ``seen`` in a
    picture, since no person stated it."""
    return tuple(_measured(each, source if seen & set(each.indices) else STATED) for each in found.measured)


def _measured(found: Measured, stated: str) -> answers.Measured:
    return answers.Measured(
        observations=found.indices,
        feature=found.feature,
        of=found.of,
        unit="px" if found.unit == "px" else "mm",
        value=found.value,
        spans=found.spans,
        u=found.u,
        degrees_of_freedom=finite(found.degrees_of_freedom),
        coverage_factor=found.k,
        level=found.level,
        expanded=found.expanded,
        budget=budget([replace(line, source=line.source.replace(STATED, stated)) for line in found.budget]),
        chi2=found.chi2,
        chi2_degrees_of_freedom=found.chi2_degrees_of_freedom,
        p=found.p,
        notes=found.notes,
    )


def budget(lines: Sequence[BudgetLine]) -> tuple[answers.BudgetLine, ...]:
    """A budget as it goes over the wire."""
    return tuple(
        answers.BudgetLine(**{**asdict(line), "degrees_of_freedom": finite(line.degrees_of_freedom)}) for line in lines
    )


def finite(degrees_of_freedom: float) -> float | None:
    """Degrees of freedom for JSON: None where they are infinite."""
    return degrees_of_freedom if math.isfinite(degrees_of_freedom) else None


def _picture_answers(results: Sequence[PictureResult]) -> Iterator[answers.PictureAnswer]:
    first = 0
    for place, result in enumerate(results):
        yield answers.PictureAnswer(
            name=result.name,
            lengths=tuple(_length(first + i, reading) for i, reading in enumerate(result.readings)),
            rows=tuple(_row(f"pictures[{place}].rows[{i}]", row) for i, row in enumerate(result.rows)),
            relations=relations(result),
            click_u=result.click_u,
            click_degrees_of_freedom=finite(result.click_dof),
            scale=scale(result.scale),
            notes=result.notes,
        )
        first += len(result.readings)


def _length(index: int, reading: PictureReading) -> answers.ClickedLength:
    return answers.ClickedLength(
        observation=index,
        feature=reading.observation.feature,
        value_px=reading.value,
        u_px=reading.u,
        u95_px=reading.u95,
        degrees_of_freedom=finite(reading.degrees_of_freedom),
        budget=budget(reading.budget),
    )


def _row(field: str, row: RowFit) -> answers.FittedRow:
    lattice, strays = row.lattice, {stray.point for stray in row.lattice.outliers}
    return answers.FittedRow(
        pitch_px=lattice.pitch,
        pitch_u=lattice.pitch_u,
        pitch_u95=lattice.pitch_u95,
        tilt_degrees=math.degrees(row.tilt),
        tilt_u_degrees=math.degrees(row.tilt_u),
        spans=lattice.spans,
        missing=lattice.missing,
        points=tuple(
            answers.ClickedPoint(
                field=f"{field}.points[{i}]", site=site, off_px=off, across_px=across, outlier=i in strays
            )
            for i, (site, off, across) in enumerate(zip(lattice.indices, lattice.residuals, row.across, strict=True))
        ),
    )


def relations(result: PictureResult) -> tuple[answers.RowRelation, ...]:
    """How neighbouring rows of a picture lie relative to each other."""
    return tuple(_relation(each) for each in result.relations)


def _relation(found: RowRelation) -> answers.RowRelation:
    return answers.RowRelation(
        rows=found.rows,
        spacing_px=found.spacing,
        spacing_u=found.spacing_u,
        offset=found.offset,
        offset_u=found.offset_u,
        layout=found.layout,
        probability=found.probability,
        agree=found.agree,
    )


def scale(found: PictureScale | None) -> answers.FoundScale | None:
    """A picture's scale, if it has one."""
    if found is None:
        return None
    return answers.FoundScale(
        px_per_mm=found.px_per_mm,
        rel=found.rel,
        plane=Plane(found.plane),
        source=found.source,
        degrees_of_freedom=finite(found.degrees_of_freedom),
    )
