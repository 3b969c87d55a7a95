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

from matcher.errors import ObservationErrors
from matcher.features import FEATURES, Kind, Subject
from matcher.observations import Observation, Of, Reduced, TrialFit
from matcher.uncertainty.checked import is_number
from matcher.uncertainty.instruments import BUILT_IN, Instrument
from matcher.uncertainty.measuring_setup import group_of, instrument_of, reference_planes
from matcher.uncertainty.reading_budget import Taking, dimension
from matcher.uncertainty.repeated_readings import Combination, Contradiction, ReducedReading, combinations
from matcher.uncertainty.validation import faults
from matcher.vocabulary import named_values


@dataclass(frozen=True, kw_only=True)
class Reduction:
    """What a list of observations came to.

    ``readings`` are the observations as the likelihood uses them, in the given order, ``combinations`` the readings of
    each size that was read as a number, in groups that agree.
    """

    readings: tuple[Reduced, ...]
    combinations: tuple[Combination, ...]

    @property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """Readings of one size that cannot all be right, and so stay apart."""
        found = [each.contradiction for each in self.combinations]
        return tuple(each for each in found if each is not None)


def reduce(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN
) -> tuple[Reduced, ...]:
    """The readings of `reduction`; raises as it does."""
    return reduction(observations, instruments).readings


def reduction(observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN) -> Reduction:
    """Observations as the likelihood uses them, in the given order; ``index`` is the position in that order.

    Readings of one size by one or several instruments are combined into one where they agree, at the position of the
    first (see `matcher.uncertainty.repeated_readings`); ``also`` holds the positions of the others.

    Without an instrument a reading counts as taken by caliper on a loose part; in pixels as from an unscaled photo;
    with ``image`` or ``px_per_mm`` as from a scaled photo. A person's own ``u`` or ``plus_minus`` (± a, rectangular:
    a/√3) replaces everything the instrument would add, its zero error included. A picture's scale is no matter of
    reading: where an optical instrument is named it stays shared, another plane still adds its own part, and an
    unscaled picture stays unscaled.

    Within one picture the plane with most readings holds the scale; readings in other planes keep sharing it and get
    the instrument's ``other_plane_rel`` on top (`matcher.uncertainty.instruments.OTHER_PLANE_REL`). For an unscaled
    picture ``total_u`` leaves the unknown scale out. Bounds share nothing: the shared part is in their ``total_u``
    only. What belongs to the pair alone is taken to be ``of`` the pair even if nothing is said.

    Raises
    ------
    ObservationErrors
        With every fault of the list, each at its place, e.g. ``observations[2].unit``.
    """
    if found := faults(observations, instruments):
        raise ObservationErrors(found)
    taken = _takings(observations, instruments)
    each = [
        ReducedReading(taking=taking, reduced=dimension(index, body_of(taking.given), taking))
        for index, taking in taken.items()
    ]
    combined = combinations([one for one in each if one.reduced.value is not None])
    readings = [
        *(joined.reduced for one in combined for joined in one.joined),
        *(one.reduced for one in each if one.reduced.value is None),
        *(_other(index, given) for index, given in enumerate(observations) if index not in taken),
    ]
    return Reduction(
        readings=tuple(sorted(readings, key=lambda reduced: reduced.index)),
        combinations=combined,
    )


def _takings(observations: Sequence[Observation], instruments: Mapping[str, Instrument]) -> dict[int, Taking]:
    """Every dimension among the observations as it was taken, by its position."""
    lengths = {
        index: (given, instrument_of(given, instruments))
        for index, given in enumerate(observations)
        if FEATURES[given.feature].kind is Kind.DIMENSION
    }
    pictures = [(given, tool) for given, tool in lengths.values() if tool is not None and tool.optical]
    reference = reference_planes(pictures)
    scales = {group_of(given, tool): given.scale_rel for given, tool in pictures if given.scale_rel is not None}
    return {index: Taking.of(given, tool, reference, scales) for index, (given, tool) in lengths.items()}


def body_of(given: Observation) -> Of:
    """Which body an observation belongs to: the pair for what only a pair has, even if nothing is said."""
    return Of.PAIR if FEATURES[given.feature].subject is Subject.PAIR else Of(given.of)


def _other(index: int, given: Observation) -> Reduced:
    """An observation that is no length."""
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
