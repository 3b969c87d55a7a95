"""An inquiry about a half that is not in the catalogue: what was measured, what the mate must be, what it is not.

It is made to be printed or sent to a maker, a distributor or a forum, where nobody can ask the catalogue.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from api.drawing.geometry import DrawingError
from api.drawing.size_sources import sizes_of_observed
from api.drawing.views import Look, top_view
from api.identification import answer_words as words
from api.identification.advising import readings_of
from api.identification.answering import ranking_of
from api.identification.mates import half_ref
from api.identification.required_mate import requirements
from api.observations.short_form_writing import in_words
from api.schemas.answers import Ranking, Requirement
from api.schemas.fitting.inquiry import Excluded, Inquiry, InquiryFigure
from api.schemas.measuring import ClickedPicture
from api.schemas.requests import FitObservation, IdentifyRequest
from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from catalog.snapshot.snapshot import Snapshot
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS
from matcher.observations import Of, Reduced
from matcher.plus_minus import INTERVAL

SHOWN_EXCLUDED = 5
"""Halves named that it is not: the likeliest ones, which others would think of first."""

COVERAGE = 2.0
"""Standard uncertainties on each side of a length: 95 % (GUM 6.3.3)."""

WIDEST_PX, TALLEST_PX = 640.0, 360.0

ASKED = (
    "Maker, series and part number of this half, or of one that mates with it.",
    "A drawing of it, with its revision and page.",
    "The stack heights in which the pair is made, and which contact meets which.",
)
"""What the person who answers is asked for."""


def inquiry(snapshot: Snapshot, request: IdentifyRequest, pictures: Sequence[ClickedPicture] = ()) -> Inquiry:
    """The inquiry for a specimen, with what was marked in pictures of it.

    Raises what `api.identification.answering.ranking_of` does.
    """
    ranking, readings = ranking_of(snapshot, request), readings_of(request)
    figures = tuple(_figures(request, readings))
    marks = tuple(mark for picture in pictures for mark in _marks(picture))
    required = tuple(_required(readings))
    excluded = tuple(_excluded(snapshot, request, ranking))
    return Inquiry(
        figures=figures,
        marks=marks,
        required=required,
        excluded=excluded,
        probability_absent=ranking.probability_absent,
        text="\n".join(_text(snapshot, ranking, figures, marks, required, excluded)),
        drawing=_drawing(readings),
    )


def _figures(request: IdentifyRequest, readings: Sequence[Reduced]) -> Iterator[InquiryFigure]:
    by_index = {reading.index: reading for reading in readings}
    for index, given in enumerate(request.observations):
        observation = given.model_dump(mode="json", exclude_defaults=True)
        reading = by_index.get(index)
        yield InquiryFigure(
            feature=given.feature, given=in_words(observation), found=_found(reading) if reading is not None else ""
        )


def _found(reading: Reduced) -> str:
    """What a length comes to; empty for pixels without a scale, bounds, and all that is not a length."""
    if reading.value is None or reading.unscaled:
        return ""
    value = words.length(reading.value, reading.feature)
    return f"{value} mm ± {COVERAGE * reading.total_u:.3f} mm ({INTERVAL})"


def _marks(picture: ClickedPicture) -> Iterator[str]:
    """What was marked in a picture, point by point, so that others find it again."""
    for row in picture.rows:
        yield f"{picture.name}: contacts of a row at {_points(row.points)}"
    for outline in picture.outlines:
        named = [words.feature_label(name, outline.of) for name in (outline.along, outline.across) if name]
        yield f"{picture.name}: corners of {' and '.join(named) or 'a rectangle'} at {_points(outline.corners)}"
    for segment in picture.segments:
        label = words.feature_label(segment.feature, segment.of)
        yield f"{picture.name}: {label} from {_points((segment.start,))} to {_points((segment.end,))}"
    scale = picture.scale
    if scale is not None and scale.start is not None and scale.end is not None:
        ends = f"from {_points((scale.start,))} to {_points((scale.end,))}"
        yield f"{picture.name}: scale, {scale.length_mm:g} mm {ends}"
    elif scale is not None:
        yield f"{picture.name}: scale, {scale.px_per_mm:g} pixels per millimetre"


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"({x:g}, {y:g})" for x, y in points)


def _required(readings: Sequence[Reduced]) -> Iterator[Requirement]:
    """What the mate must be by what was measured on this half."""
    own = {reading.feature: reading for reading in readings if reading.of is Of.THIS}
    counts = {name: own[name].count for name in COUNTS if name in own and own[name].count is not None}
    if "contact_count" not in counts or "rows" not in counts:
        return
    values = {name: tuple(own[name].values or ()) for name in CATEGORIES if name in own and own[name].values}
    sizes = {name: own[name] for name in DIMENSIONS if name in own}
    kind = values.pop("half_kind", ())
    measured = Half.model_validate(
        {
            "maker": "unknown",
            "series": "unknown",
            "part_number": "unknown",
            "half_kind": kind[0] if len(kind) == 1 else None,
            "contact_count": counts.pop("contact_count"),
            "rows": counts.pop("rows"),
            "counts": counts,
            "categories": values,
            "dimensions": {
                name: Dimension(value=reading.value)
                for name, reading in sizes.items()
                if reading.value is not None and not reading.unscaled
            },
        }
    )
    yield from requirements(measured)


def _excluded(snapshot: Snapshot, request: IdentifyRequest, ranking: Ranking) -> Iterator[Excluded]:
    """The likeliest halves with what speaks against them, then those that were tried and did not mate."""
    for candidate in ranking.candidates[:SHOWN_EXCLUDED]:
        against = [line for line in candidate.evidence if line.reading in words.UNLIKE]
        if against:
            stated = ", ".join(
                f"{words.feature_label(line.feature, line.of)} {words.expected(line)}" for line in against
            )
            yield Excluded(half=candidate.half, why=f"its entry states {stated}")
    for given in request.observations:
        if isinstance(given, FitObservation) and not given.value.mates:
            yield Excluded(half=half_ref(snapshot.halves[given.value.half]), why="tried, and it did not mate")


def _drawing(readings: Sequence[Reduced]) -> str:
    """What was measured from above; a size that contradicts the others is left out."""
    try:
        return top_view(sizes_of_observed(readings), Look(width_px=WIDEST_PX, tallest_px=TALLEST_PX)).svg
    except DrawingError as error:
        fewer = [reading for reading in readings if reading.feature != error.field]
        if len(fewer) == len(readings):
            raise
        return _drawing(fewer)


def _text(
    snapshot: Snapshot,
    ranking: Ranking,
    figures: Sequence[InquiryFigure],
    marks: Sequence[str],
    required: Sequence[Requirement],
    excluded: Sequence[Excluded],
) -> Iterator[str]:
    yield "Inquiry: the other half of a board-to-board connector"
    yield ""
    listed = sum(record.origin == "listed" for record in snapshot.halves.values())
    absent = words.percent(ranking.probability_absent)
    yield "I have one half of a connector and look for the exact part that mates with it."
    yield f"I compared it with {listed} halves of a catalogue; with a probability of {absent} it is none of them."
    yield from _listed(
        "What I found on it", [f"{each.given}{f' = {each.found}' if each.found else ''}" for each in figures]
    )
    yield from _listed("Marked in the photo, in pixels from its upper left corner", marks)
    yield from _listed("What its mate must be", list(map(words.requirement, required)))
    yield from _listed("What it is not", [f"{words.half_name(each.half)}: {each.why}" for each in excluded])
    yield from _listed("Please tell me", ASKED)


def _listed(heading: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield ""
        yield heading
        yield from (f"- {line}" for line in lines)
