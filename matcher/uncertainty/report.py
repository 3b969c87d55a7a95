"""Readings to results that people can check: value, expanded uncertainty and budget of each size, contradictions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matcher.features import FEATURES
from matcher.observations import TYPE_A, BudgetLine, Observation, Of, Reduced
from matcher.uncertainty.coverage import LEVEL, coverage
from matcher.uncertainty.instruments import BUILT_IN, Instrument
from matcher.uncertainty.reduce import reduction
from matcher.uncertainty.repeated_readings import Combination, Contradiction
from matcher.uncertainty.weighted_mean import WeightedMean

FEW_READINGS = 3
"""Scatter of so few readings is known so badly that a further reading pays (GUM E.4.3: 52 % for two, 36 % for four)."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One size as measured.

    ``indices`` are the observations it comes from. ``value``, ``u`` (standard uncertainty, the shared part included)
    and ``expanded`` (k·u, holds the true value with probability ``level``) are mm, or px where ``unit`` says so.
    ``chi2``, ``chi2_degrees_of_freedom`` and ``p`` tell how well several observations agree; None for one alone.
    """

    feature: str
    of: Of
    indices: tuple[int, ...]
    value: float
    unit: str
    spans: int
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
    """All sizes in the order of their first observation, what contradicts, and what else there is to say."""

    measured: tuple[Measured, ...]
    contradictions: tuple[Contradiction, ...]
    notes: tuple[str, ...]


def measure_readings(
    observations: Sequence[Observation], instruments: Mapping[str, Instrument] = BUILT_IN
) -> ReadingsResult:
    """Value, expanded uncertainty and budget of every size among the observations.

    Readings that agree come as one result; those that contradict stay apart, and a note names them (what else stays
    apart: `matcher.uncertainty.repeated_readings`). What is no length, and bounds, have no budget: a note says that
    they are left out.

    Raises
    ------
    ObservationErrors
        With every fault of the list, each at its place, e.g. ``observations[2].less``.
    """
    found = reduction(observations, instruments)
    measured = [_measured(one.reduced, one.mean) for each in found.combinations for one in each.joined]
    against = found.contradictions
    return ReadingsResult(
        measured=tuple(sorted(measured, key=lambda each: each.indices[0])),
        contradictions=against,
        notes=(*(each.message for each in against), *_left_out(observations, found.combinations)),
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
        notes.append("The readings scatter less than the display shows: more of them say no more.")
    few = [line for line in reduced.budget if line.distribution == TYPE_A and line.degrees_of_freedom < FEW_READINGS]
    if any(2.0 * line.contribution > reduced.total_u for line in few):
        notes.append("Few readings that scatter: one or two more would narrow it.")
    return notes


def _left_out(observations: Sequence[Observation], found: Sequence[Combination]) -> list[str]:
    used = {index for each in found for group in each.groups for index in group.positions}
    return [
        f"observations[{index}] ({FEATURES[given.feature].label}) is no reading of a length: it has no budget."
        for index, given in enumerate(observations)
        if index not in used
    ]
