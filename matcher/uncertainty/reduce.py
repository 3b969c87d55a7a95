"""Reduction of observations to numbers with a standard uncertainty and its budget, by the GUM (JCGM 100:2008).

A reading's budget has

* type A: scatter of repeats, s/√n;
* type B: the position of the edge (feel), the step of the display, inside jaws and depth rods, another plane of the
  picture. Repeats do not make these smaller, since a person who misjudges the edge does so each time;
* shared errors: a tool's zero error, a picture's scale. They are not in ``u``; the likelihood receives them as
  `SharedError`, and ``total_u`` includes them.

``u`` is a standard uncertainty without a factor of Student's t; few repeats mean few degrees of freedom in the budget.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from matcher.errors import ObservationError, ObservationErrors
from matcher.features import FEATURES, Kind, Remains, Subject
from matcher.observations import MAX_UNSCALED, TYPE_A, BudgetLine, Observation, Of, Reduced, TrialFit
from matcher.uncertainty.coverage import LEVEL, coverage
from matcher.uncertainty.dimension_validation import path
from matcher.uncertainty.instruments import BUILT_IN, UNSCALED, Instrument, Taken
from matcher.uncertainty.measuring_setup import group_of, instrument_of, reference_planes
from matcher.uncertainty.reading_budget import MeasuredLength, dimension
from matcher.uncertainty.repeated_readings import Combination, Contradiction, ReducedReading, combinations
from matcher.uncertainty.validation import faults
from matcher.uncertainty.weighted_mean import WeightedMean
from matcher.vocabulary import is_number, named_values


@dataclass(frozen=True, kw_only=True)
class Reduction:
    """A list of observations after reduction.

    ``readings`` are the observations as the likelihood uses them, in the given order. ``combinations`` are the
    readings of each size that was read as a number, in groups that agree. ``taken_by_hand`` has a
    sentence for each picture without a scale that counts as taken by hand.
    """

    readings: tuple[Reduced, ...]
    combinations: tuple[Combination, ...]
    taken_by_hand: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on how the readings go together and how their pictures were taken."""
        return (*(each.message for each in self.contradictions), *self.taken_by_hand)

    @property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """Readings of one size that cannot all be right, and so stay separate."""
        found = [each.contradiction for each in self.combinations]
        return tuple(each for each in found if each is not None)


def reduce(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN
) -> tuple[Reduced, ...]:
    """The readings of `reduction`; raises as it does."""
    return reduction(observations, instruments).readings


def reduction(
    observations: Sequence[Observation],
    instruments: Mapping[str, Instrument] = BUILT_IN,
    remains: Remains = Remains.WHOLE,
) -> Reduction:
    """Observations as the likelihood uses them, in the given order; ``index`` is the position in that order.

    Readings of one size by one or several instruments are combined into one where they agree, at the position of the
    first (see `matcher.uncertainty.repeated_readings`); ``also`` holds the positions of the others.

    A reading without an instrument counts as measured by caliper on a loose part; in pixels as from an unscaled photo;
    with ``image`` or ``px_per_mm`` as from a scaled photo. A person's own ``u`` or ``plus_minus`` (± a, rectangular:
    a/√3) replaces everything that the instrument would add, including its zero error. It does not replace the error of
    a picture's scale: where an optical instrument is named the scale stays shared, another plane still adds its own
    part, and an unscaled picture stays unscaled.

    The scale of a picture belongs to the plane with most readings. Readings in other planes share it too and add the
    instrument's ``other_plane_rel`` (`matcher.uncertainty.instruments.OTHER_PLANE_REL`). For an unscaled picture
    ``total_u`` does not include the unknown scale. Bounds share no error: the shared part is in their ``total_u``
    only. A feature that only a pair has is ``of`` the pair even where the observation does not say so.

    Where one end is missing, whatever adds up along the rows counts as "at least" what is left of it.

    Raises
    ------
    ObservationErrors
        With every fault of the list, each at its place, e.g. ``observations[2].unit``.
    """
    if found := faults(observations, instruments):
        raise ObservationErrors(found)
    taken = _lengths(observations, instruments)
    each = [
        ReducedReading(length=length, reduced=dimension(index, body_of(length.given), length))
        for index, length in taken.items()
    ]
    if found := _crowded_pictures(each):
        raise ObservationErrors(found)
    combined = combinations([one for one in each if one.reduced.value is not None])
    readings = [
        *(joined.reduced for one in combined for joined in one.joined),
        *(one.reduced for one in each if one.reduced.value is None),
        *(_other(index, given) for index, given in enumerate(observations) if index not in taken),
    ]
    readings = sorted(readings, key=lambda reduced: reduced.index)
    if remains is Remains.ONE_END_MISSING:
        readings = _of_a_piece(readings)
    readings = _over_counted_rows(readings)
    return Reduction(
        readings=tuple(readings),
        combinations=combined,
        taken_by_hand=_taken_by_hand(taken.values()),
    )


def _of_a_piece(readings: Sequence[Reduced]) -> list[Reduced]:
    """The readings of a half with one end missing. Raises ObservationErrors for what tells nothing there."""
    faults = [
        ObservationError(
            f"the {FEATURES[each.feature].label} of a piece tells nothing in a picture without a scale",
            field=path(each.index, "unit"),
            value=each.value,
            remedy="give the picture's scale as px_per_mm, or leave it out",
        )
        for each in readings
        if each.unscaled and _cut_short(each)
    ]
    if faults:
        raise ObservationErrors(faults)
    return [
        replace(each, value=None, count=None, shared=None, at_least=each.count if each.value is None else each.value)
        if _cut_short(each) and not each.bound
        else each
        for each in readings
    ]


def _cut_short(reading: Reduced) -> bool:
    return reading.of is Of.THIS and FEATURES[reading.feature].along_rows


def _over_counted_rows(readings: Sequence[Reduced]) -> list[Reduced]:
    """The readings; a pitch over as many gaps as a counted row has knows of that count."""
    counts = {each.feature: each.count for each in readings if each.of is Of.THIS and each.count}
    contacts, rows = counts.get("contact_count"), counts.get("rows")
    if contacts is None or rows is None:
        return list(readings)
    in_row = -(-contacts // rows)
    return [
        replace(each, counted=(in_row, rows))
        if each.feature == "pitch" and each.of is Of.THIS and each.value is not None and 1 < each.spans == in_row - 1
        else each
        for each in readings
    ]


def _taken_by_hand(lengths: Iterable[MeasuredLength]) -> tuple[str, ...]:
    """A note for each picture without a scale that counts as taken by hand, which is also what is assumed."""
    pictures = {
        length.given.image: length.instrument
        for length in lengths
        if length.instrument is not None and length.instrument.name == UNSCALED[Taken.BY_HAND]
    }
    return tuple(
        f"Each length in {'the picture without a scale' if image is None else repr(image)} may be off by "
        f"{100 * tool.perspective_rel:.2g} % more, as in a picture taken by hand. If it was taken straight from above, "
        "or rectified, say so: its lengths then tell more."
        for image, tool in pictures.items()
    )


def _crowded_pictures(each: Sequence[ReducedReading]) -> list[ObservationError]:
    """Pictures without a scale that have more readings than can be weighed together."""
    pictures: dict[str, list[Reduced]] = {}
    for reading in (one.reduced for one in each):
        if reading.unscaled and reading.shared is not None:
            pictures.setdefault(reading.shared.group, []).append(reading)
    return [
        ObservationError(
            f"{len(readings)} readings of one picture without a scale are more than {MAX_UNSCALED}",
            field=path(readings[MAX_UNSCALED].index, "value"),
            value=readings[MAX_UNSCALED].value,
            remedy="give repeats as readings of one observation, leave out what is wrong, or give the picture's scale",
        )
        for readings in pictures.values()
        if len(readings) > MAX_UNSCALED
    ]


def _lengths(observations: Sequence[Observation], instruments: Mapping[str, Instrument]) -> dict[int, MeasuredLength]:
    """Every dimension among the observations as it was measured, by its position."""
    lengths = {
        index: (given, instrument_of(given, instruments))
        for index, given in enumerate(observations)
        if FEATURES[given.feature].kind is Kind.DIMENSION
    }
    pictures = [(given, tool) for given, tool in lengths.values() if tool is not None and tool.optical]
    reference = reference_planes(pictures)
    scales = {group_of(given, tool): given.scale_rel for given, tool in pictures if given.scale_rel is not None}
    return {index: MeasuredLength.of(given, tool, reference, scales) for index, (given, tool) in lengths.items()}


def body_of(given: Observation) -> Of:
    """Which body an observation belongs to: always the pair for a feature that only a pair has."""
    return Of.PAIR if FEATURES[given.feature].subject is Subject.PAIR else Of(given.of)


def _other(index: int, given: Observation) -> Reduced:
    """An observation that is not a length."""
    feature, of = FEATURES[given.feature], body_of(given)
    if feature.kind is Kind.COUNT:
        count = int(given.value) if is_number(given.value) else None
        return Reduced(index=index, feature=feature.name, of=of, count=count, at_least=given.min, at_most=given.max)
    if isinstance(given.value, TrialFit):
        return Reduced(index=index, feature=feature.name, of=of, fit=given.value)
    if feature.kind is Kind.TEXT:
        return Reduced(index=index, feature=feature.name, of=of, text=str(given.value).strip())
    values = frozenset(named_values(feature, given.value))
    return Reduced(index=index, feature=feature.name, of=of, values=values)


FEW_READINGS = 3
"""Degrees of freedom below which a further reading pays: the scatter of so few readings is known badly (GUM E.4.3: to
52 % for three readings, to 42 % for four)."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One size as measured.

    ``indices`` are the observations it comes from. ``value``, ``u`` (standard uncertainty including the shared part)
    and ``expanded`` (k·u, holds the true value with probability ``level``) are mm, or px where ``unit`` says so.
    ``corrected`` is what was subtracted for known effects, mm.
    ``chi2``, ``chi2_degrees_of_freedom`` and ``p`` tell how well several observations agree; None for one alone.
    """

    feature: str
    of: Of
    indices: tuple[int, ...]
    value: float
    unit: str
    spans: int
    corrected: float
    u: float
    degrees_of_freedom: float
    k: float
    expanded: float
    level: float
    budget: tuple[BudgetLine, ...]
    chi2: float | None
    chi2_degrees_of_freedom: int | None
    p: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ReadingsResult:
    """All sizes in the order of their first observation, the contradictions among readings, and notes."""

    measured: tuple[Measured, ...]
    contradictions: tuple[Contradiction, ...]
    notes: tuple[str, ...]


def measure_readings(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN
) -> ReadingsResult:
    """Value, expanded uncertainty and budget of every size among the observations.

    Readings that agree give one result. Readings that contradict stay separate, and a note names them (for other cases
    see `matcher.uncertainty.repeated_readings`). Bounds, and observations that are not lengths, have no budget: a note
    says that they are left out.

    Raises
    ------
    ObservationErrors
        With every fault of the list, each at its place, e.g. ``observations[2].less``.
    """
    found = reduction(observations, instruments)
    measured = [_measured(one.reduced, one.mean) for each in found.combinations for one in each.joined]
    return ReadingsResult(
        measured=tuple(sorted(measured, key=lambda each: each.indices[0])),
        contradictions=found.contradictions,
        notes=(*found.notes, *_left_out(observations, found.combinations)),
    )


def _measured(reduced: Reduced, mean: WeightedMean) -> Measured:
    result, several = coverage(reduced.budget), bool(reduced.also)
    return Measured(
        feature=reduced.feature,
        of=reduced.of,
        indices=(reduced.index, *reduced.also),
        value=reduced.number,
        unit="px" if reduced.unscaled else "mm",
        spans=reduced.spans,
        corrected=reduced.corrected,
        u=result.u,
        degrees_of_freedom=result.degrees_of_freedom,
        k=result.k,
        expanded=result.expanded,
        level=LEVEL,
        budget=reduced.budget,
        chi2=mean.chi2 if several else None,
        chi2_degrees_of_freedom=mean.degrees_of_freedom if several else None,
        p=mean.p if several else None,
        notes=tuple(_notes(reduced)),
    )


def _notes(reduced: Reduced) -> list[str]:
    notes = []
    if reduced.unscaled:
        notes.append("From a picture without a scale: only its ratio to other readings of the picture counts.")
    if any("scatter less" in line.source for line in reduced.budget):
        notes.append("The readings scatter less than the display can show: further readings do not help.")
    few = [line for line in reduced.budget if line.distribution == TYPE_A and line.degrees_of_freedom < FEW_READINGS]
    if any(2.0 * line.contribution > reduced.total_u for line in few):
        notes.append("Few readings, and they scatter: one or two more would narrow the uncertainty.")
    return notes


def _left_out(observations: Sequence[Observation], found: Sequence[Combination]) -> list[str]:
    used = {index for each in found for group in each.groups for index in group.positions}
    return [
        f"observations[{index}] ({FEATURES[given.feature].label}) is not a reading of a length, so it has no budget."
        for index, given in enumerate(observations)
        if index not in used
    ]
