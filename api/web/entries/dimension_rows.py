"""The table of a half's dimensions: stated values, tolerances, measured values, and which of them counts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from api.schemas.words import BOUND_WORDS
from api.web.page.figures import label, limits, mm, people, plain, with_u
from catalog.evidence.agreement import AGREES, Stated, deviation
from catalog.evidence.assessment import Assessment, JudgedConfirmation
from catalog.evidence.estimates import Estimate
from catalog.evidence.values import MeasuredValue
from catalog.model.entry_parts import Dimension
from matcher.columns.process_tolerance import process_interval
from matcher.features import FEATURES, LENGTHS
from matcher.plus_minus import INTERVAL
from matcher.uncertainty.instruments import BUILT_IN
from matcher.uncertainty.interlaboratory import COVERAGE

EVEN = 1e-9
"""Limits that are this symmetrical about the stated figure, mm, are written as ±."""


BARELY_OFF = 0.05
"""E_n below this would be written as 0.0."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One person's measurement and what it means for the entry; ``counts`` False: it was set aside or is outdated."""

    who: str
    found: str
    how: str
    words: str
    counts: bool


@dataclass(frozen=True, kw_only=True)
class DimensionRow:
    """One dimension, in words.

    Attributes
    ----------
    stated: the entry's figure in mm; empty where it states none. ``source_figure`` as the source gives it in another
        unit, tolerance included.
    allowed, assumed: the drawing's tolerance, or what is assumed where it gives none.
    bound: at most, at least, for reference; empty for a nominal figure.
    measured, people: what people found together; empty where nobody measured.
    agreement, agrees: how that compares with the stated figure.
    used: "stated" or "measured": which one identification goes by; ``explanation`` why.
    """

    feature: str
    label: str
    meaning: str
    stated: str = ""
    source_figure: str = ""
    allowed: str = ""
    assumed: str = ""
    bound: str = ""
    doubt: str = ""
    measured: str = ""
    people: str = ""
    agreement: str = ""
    agrees: bool = True
    used: str = "stated"
    explanation: str = ""
    readings: tuple[Reading, ...] = ()


def dimension_rows(
    dimensions: dict[str, Dimension], figures: Stated, assessment: Assessment
) -> tuple[DimensionRow, ...]:
    """Every dimension that is stated or was measured, in the order of measuring."""
    names = [name for name in LENGTHS if name in dimensions or name in assessment.estimates]
    return tuple(_row(name, dimensions.get(name), figures, assessment) for name in names)


def _row(name: str, stated: Dimension | None, figures: Stated, assessment: Assessment) -> DimensionRow:
    estimate = assessment.estimates.get(name)
    known = {} if stated is None else _stated(name, stated, figures)
    found = {} if estimate is None else _measured(estimate, figures)
    readings = tuple(_readings(name, assessment.confirmations))
    return DimensionRow(
        feature=name, label=label(name), meaning=FEATURES[name].meaning, readings=readings, **known, **found
    )


def _stated(name: str, stated: Dimension, figures: Stated) -> dict[str, Any]:
    own = limits(stated.tolerance).strip()
    return {
        "stated": mm(stated.value),
        "source_figure": source_figure(stated),
        "allowed": own,
        "assumed": "" if own else _assumed(name, stated, figures.pitch),
        "bound": BOUND_WORDS[stated.bound],
        "doubt": _doubt(stated),
    }


def source_figure(stated: Dimension) -> str:
    """The figure as its source gives it, where the unit is not mm."""
    if stated.given is None:
        return ""
    tolerance = f" ± {plain(stated.given_tolerance)}" if stated.given_tolerance is not None else ""
    return f"{plain(stated.given)}{tolerance} {stated.unit.replace('um', 'µm')}"


def _assumed(name: str, stated: Dimension, pitch: float | None) -> str:
    """Where parts are taken to lie: the drawing gives no tolerance."""
    centre, half_width = process_interval(name, stated.dim, pitch)
    if abs(centre - stated.value) < EVEN:
        return f"± {mm(half_width)}"
    return f"{mm(centre - half_width)} to {mm(centre + half_width)}"


def _doubt(stated: Dimension) -> str:
    known = f"known to ± {mm(COVERAGE * stated.extra_u)} mm ({INTERVAL})" if stated.extra_u else ""
    return ": ".join(text for text in (known, stated.doubt) if text)


def _measured(estimate: Estimate, figures: Stated) -> dict[str, Any]:
    combined = estimate.measured
    return {
        "measured": with_u(combined.value, combined.u),
        "people": people(combined.people),
        "agreement": _agreement(estimate, figures),
        "agrees": estimate.e_n is None or estimate.e_n <= AGREES,
        "used": estimate.ranked,
        "explanation": estimate.explanation,
    }


def _agreement(estimate: Estimate, figures: Stated) -> str:
    """E_n in words."""
    if estimate.e_n is None:
        return "the entry states nothing to compare it with"
    difference, _ = deviation(estimate.feature, estimate.measured.value, figures)
    off = f"{difference:.2g} mm off"
    if estimate.e_n > AGREES:
        return f"does not fit: {off}, {estimate.e_n:.1f} times what the tolerance and the measurement allow"
    if estimate.e_n < BARELY_OFF:
        return "fits"
    return f"fits: {off}, {estimate.e_n:.1f} of what tolerance and measurement allow"


def _readings(name: str, confirmations: Sequence[JudgedConfirmation]) -> Iterator[Reading]:
    for each in confirmations:
        words = {agreed.feature: agreed.words for agreed in each.features}
        for value in each.confirmation.values:
            if isinstance(value, MeasuredValue) and value.feature == name:
                said = words.get(name, "")
                yield Reading(
                    who=each.author,
                    found=with_u(value.value, value.u),
                    how=how_measured(value),
                    words=said if each.counts else f"{said}; does not count".removeprefix("; "),
                    counts=each.counts,
                )


def how_measured(value: MeasuredValue) -> str:
    """The instrument, the gaps, and the readings as they were taken."""
    parts = []
    if value.instrument:
        known = BUILT_IN.get(value.instrument)
        parts.append(known.label if known is not None else value.instrument)
    if value.spans > 1:
        parts.append(f"over {value.spans} gaps")
    if value.readings:
        parts.append(f"{len(value.readings)} readings")
    if value.given is not None and value.unit != "mm":
        parts.append(f"read as {plain(value.given)} {value.unit}")
    if value.corrected:
        parts.append(f"{plain(value.corrected)} mm subtracted")
    return ", ".join(parts)
