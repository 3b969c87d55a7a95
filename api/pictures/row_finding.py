"""From a profile, or a picture with lines drawn in it, to rows of contacts and to observations."""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from api.observations.error_places import at
from api.observations.from_measuring import ready, rounded, short_form
from api.pictures.decoding import GreyPicture, read_picture
from api.pictures.measuring import budgets, finite, relations, scale, scaling_of
from api.schemas import measured as answers
from api.schemas import measuring as asked
from api.service.problems import ApiError
from matcher.errors import ObservationError, ObservationErrors
from matcher.features import FEATURES, Plane
from matcher.imaging.clicks.inputs import ClickedRow, Picture
from matcher.imaging.clicks.picture_results import PictureResult
from matcher.imaging.clicks.reduction import measure_picture
from matcher.imaging.row_detection.detection import FoundContact, FoundRow, find_contacts
from matcher.imaging.row_detection.profile import Profile, profile_along, rows_read
from matcher.observations import Observation, Of
from matcher.uncertainty.reduce import ReadingsResult, measure_readings

COUNT_LEVEL = 0.95
"""Total probability of the counts in the answer if no single count is sure."""

FEWEST_POINTS = 3
"""Fewest contacts of a row; if fewer are clear, the doubtful ones are used too."""

ONE_ROW = (
    "One row was measured, so its contacts are used as 'at least'. To have all contacts counted, say how many rows the "
    "part has."
)
CENTRES = "where the contacts' centres lie"
"""Name in the budget for the uncertainty from finding the contacts."""

UNSURE = "Not every row is certain: check it by eye before you go on, since the count and the pitch depend on it."
UNCOUNTED = "The contacts could not be counted with any confidence: count them by eye."
TAILS = "Tails are not contacts: their number is not used."


_ROW = re.compile(r"rows\[(?P<place>\d+)\]")


@dataclass(frozen=True, kw_only=True)
class Found:
    """A row, and the profile along its line in the picture; None for a profile without a picture."""

    row: FoundRow
    along: Profile | None

    def point(self, position: float) -> tuple[float, float]:
        """Where a position along the row lies; a profile lies along the x axis."""
        return (position, 0.0) if self.along is None else self.along.point(position)


def find_rows(request: asked.RowRequest, picture: GreyPicture | None = None) -> answers.RowAnswer:
    """The rows of contacts of a profile or along the lines in a picture.

    ``picture`` is the picture if it was sent by itself. Raises ApiError for missing fields, fields that do not go
    together, and a picture that cannot be used; ObservationError for a line or profile without a row.
    """
    _check_form(request, picture is not None)
    seen = picture if picture is not None else _sent(request)
    rows = [_in_profile(request)] if seen is None else _along_lines(request, seen)
    result = _as_clicked(request, rows)
    counts, count_notes = _counts(request, [found.row for found in rows])
    lengths = [rounded(each) for each in _lengths(request, rows, result)]
    found = _budgets(request, lengths)
    observations = [*counts, *lengths, *result.layouts]
    return answers.RowAnswer(
        observations=ready(observations),
        short_form=short_form(observations),
        budgets=tuple(_moved(each, len(counts)) for each in budgets(found, frozenset(range(len(lengths))), CENTRES)),
        notes=(*(seen.notes if seen else ()), *_to_look_at(rows), *count_notes, *found.notes),
        rows=tuple(_answer(each) for each in rows),
        relations=relations(result),
        scale=scale(result.scale),
    )


def _budgets(request: asked.RowRequest, lengths: Sequence[Observation]) -> ReadingsResult:
    """Budgets of the lengths. If no connector has such a length, the error is at the scale, or else at the line."""
    try:
        return measure_readings(lengths)
    except ObservationErrors as errors:
        field = _line_field(request, 0) if request.scale is None else "scale"
        raise ObservationErrors([at(error, field) for error in errors.errors]) from errors


def _check_form(request: asked.RowRequest, sent_alone: bool) -> None:
    """Check that the fields go together."""
    pictured = sent_alone or request.image is not None
    if pictured == (request.profile is not None):
        raise _form("profile", "give a profile, or a picture with a line: one of them")
    if request.line is not None and request.lines is not None:
        raise _form("lines", "give line, or lines: not both")
    if pictured == (request.line is None and request.lines is None):
        remedy = "draw a line along the row: x0, y0, x1, y1" if pictured else "leave it out: a profile has no picture"
        raise _form("line", remedy)
    drawn = len(_lines(request)) if pictured else 1
    if request.row_count is not None and request.row_count < drawn:
        raise _form("row_count", f"{drawn} lines are drawn, one for each row: give {drawn} or more, or leave it out")


def _form(field: str, remedy: str) -> ApiError:
    return ApiError.at(field, "these fields do not go together", remedy)


def _lines(request: asked.RowRequest) -> tuple[asked.Line, ...]:
    if request.lines is not None:
        return request.lines
    return () if request.line is None else (request.line,)


def _sent(request: asked.RowRequest) -> GreyPicture | None:
    image = request.image
    if image is None:
        return None
    try:
        data = base64.b64decode(image.data, validate=True)
    except ValueError as error:
        message, remedy = f"this is not base64 ({error})", "encode the picture's bytes as base64, without line breaks"
        raise ApiError.at("image.data", message, remedy, name="invalid-picture") from error
    return read_picture(data, field="image.data", media_type=image.media_type, rows=rows_looked_at(request))


def rows_looked_at(request: asked.RowRequest) -> tuple[int, int] | None:
    """The picture's first row that a line needs, and the one after the last; None where the lines are not known."""
    ends = [end for line in _lines(request) for end in rows_read(line, request.width)]
    if not ends or not all(map(math.isfinite, ends)):
        return None
    return math.floor(min(ends)), math.ceil(max(ends)) + 1


def _in_profile(request: asked.RowRequest) -> Found:
    return Found(row=find_contacts(np.array(request.profile, dtype=np.float64), step=request.step), along=None)


def _along_lines(request: asked.RowRequest, picture: GreyPicture) -> list[Found]:
    return [
        _along(picture, line, request.width, _line_field(request, place)) for place, line in enumerate(_lines(request))
    ]


def _line_field(request: asked.RowRequest, place: int) -> str:
    if request.profile is not None:
        return "profile"
    return "line" if request.lines is None else f"lines[{place}]"


def _along(picture: GreyPicture, line: asked.Line, width: float | None, field: str) -> Found:
    """The row along one line; errors are reported at the line."""
    length = math.hypot(line[2] - line[0], line[3] - line[1])
    if length > asked.MAX_PROFILE:  # finding takes time with the square of it
        message = f"the line is {length:.0f} px long; at most {asked.MAX_PROFILE} px are searched"
        remedy = "draw it along the row only; if the row itself is longer, make the picture smaller"
        raise ObservationError(message, field=field, value=list(line), remedy=remedy)
    try:
        profile = profile_along(picture.levels, line, width)
        row = find_contacts(profile.values, step=profile.step, ahead=profile.ahead, behind=profile.behind)
    except ObservationError as error:
        raise at(error, error.field if error.field == "width" else field) from error
    return Found(row=row, along=profile)


def _as_clicked(request: asked.RowRequest, rows: Sequence[Found]) -> PictureResult:
    """The clear contacts measured as if a person had clicked them, which gives scale and relations of the rows."""
    clicked = tuple(
        ClickedRow(points=_clear(found), feature=request.feature, plane=request.plane, of=request.of) for found in rows
    )
    try:
        return measure_picture(Picture(name=request.name, rows=clicked, **scaling_of(request)))
    except ObservationError as error:
        row = _ROW.match(error.field)
        raise at(error, error.field if row is None else _line_field(request, int(row["place"]))) from error


def _clear(found: Found) -> tuple[asked.Point, ...]:
    clear = [contact for contact in found.row.centres if contact.doubtful is None]
    used = clear if len(clear) >= FEWEST_POINTS else found.row.centres
    return tuple(found.point(contact.position) for contact in used)


def _lengths(request: asked.RowRequest, rows: Sequence[Found], result: PictureResult) -> Iterator[Observation]:
    """The lengths of the picture; the pitch comes from the profile, which is better than from clicks."""
    weights = [found.row.pitch_u**-2 for found in rows]
    pitch = sum(w * found.row.pitch_px for w, found in zip(weights, rows, strict=True)) / sum(weights)
    spans = max(found.row.count for found in rows) - 1
    for observation in result.observations[: len(result.readings)]:
        if observation.feature == request.feature:
            yield replace(observation, value=pitch * spans, u=spans / math.sqrt(sum(weights)), spans=spans)
        else:
            yield observation


def _counts(request: asked.RowRequest, rows: Sequence[FoundRow]) -> tuple[list[Observation], list[str]]:
    """The contact count and the number of rows, as far as they are known, and notes on them."""
    if FEATURES[request.feature].plane is not Plane.MATING_FACE:
        return [], [TAILS]
    spans = [
        count_range([(row.count, row.count_probability), *row.alternatives], len(row.missing), sure=row.sure)
        for row in rows
    ]
    return counted(spans, request.row_count or (len(rows) if len(rows) > 1 else None), request.of)


def counted(spans: Sequence[tuple[int, int] | None], stated: int | None, of: Of) -> tuple[list[Observation], list[str]]:
    """Contacts and rows of a part with ``stated`` rows, as far as they are known, and notes on them.
    ``spans`` are the fewest and most contacts of each measured row; None: unknown."""
    observed = [] if stated is None else [Observation(feature="rows", value=stated, of=of)]
    known = [span for span in spans if span is not None]
    if len(known) < len(spans):
        return observed, [UNCOUNTED]
    if stated is None:
        return [Observation(feature="contact_count", min=known[0][0], of=of)], [ONE_ROW]
    low, high = (sum(span[end] for span in known) for end in (0, 1))
    if stated > len(known):  # the rows are alike: each of them shows the others
        low, high = stated * min(span[0] for span in known), stated * max(span[1] for span in known)
    count = Observation(feature="contact_count", of=of)
    return [replace(count, value=low) if low == high else replace(count, min=low, max=high), *observed], []


def count_range(likely: Sequence[tuple[int, float]], missing: int, *, sure: bool) -> tuple[int, int] | None:
    """Fewest and most contacts of a row, from likely counts of places and their probabilities, likeliest first. Each
    of the ``missing`` places may hold a contact that does not show. None: unknown."""
    found: list[int] = []
    together = 0.0
    for count, probability in likely[:1] if sure else likely:
        if together < COUNT_LEVEL:
            found.append(count)
            together += probability
    if together < COUNT_LEVEL and not sure:
        return None
    return min(*found, likely[0][0] - missing), max(found)


def _to_look_at(rows: Sequence[Found]) -> Iterator[str]:
    if not all(found.row.sure for found in rows):
        yield UNSURE
    for number, found in enumerate(rows, start=1):
        if places := ", ".join(str(index + 1) for index in found.row.missing):
            row = f"Row {number}, place" if len(rows) > 1 else "Place"
            yield f"{row} {places}: no contact is there, or it does not show. Check it by eye."


def _moved(found: answers.Measured, by: int) -> answers.Measured:
    """The same with indices shifted by ``by``."""
    return found.model_copy(update={"observations": tuple(index + by for index in found.observations)})


def _answer(found: Found) -> answers.FoundRow:
    row = found.row
    return answers.FoundRow(
        line=None if found.along is None else found.along.line,
        width=None if found.along is None else found.along.width,
        count=row.count,
        count_probability=row.count_probability,
        alternatives=tuple(answers.CountProbability(count=count, probability=p) for count, p in row.alternatives),
        sure=row.sure,
        reasons=row.reasons,
        missing=row.missing,
        pitch_px=row.pitch_px,
        pitch_u=row.pitch_u,
        pitch_u95=row.pitch_u95,
        degrees_of_freedom=finite(row.degrees_of_freedom),
        dark=row.dark,
        contrast=row.contrast,
        contacts=tuple(_contact(found, contact) for contact in row.centres),
    )


def _contact(found: Found, contact: FoundContact) -> answers.FoundContact:
    x, y = found.point(contact.position) if found.along is not None else (None, None)
    return answers.FoundContact(
        index=contact.index, position=contact.position, x=x, y=y, u=contact.u, doubtful=contact.doubtful
    )
