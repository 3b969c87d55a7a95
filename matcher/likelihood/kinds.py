"""The class of evidence for each kind of feature, and many readings as evidence at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES, Kind
from matcher.likelihood.categories import CategoryEvidence
from matcher.likelihood.dimensions import DimensionEvidence, log_right_of_each
from matcher.likelihood.error_model.miscounts import CountEvidence
from matcher.likelihood.evidence import Evidence
from matcher.likelihood.markings_and_trial_fits import FitEvidence, TextEvidence
from matcher.observations import Of, Reduced

CLASSES: Mapping[Kind, type[Evidence]] = {
    Kind.DIMENSION: DimensionEvidence,
    Kind.COUNT: CountEvidence,
    Kind.CATEGORY: CategoryEvidence,
    Kind.LABELS: CategoryEvidence,
    Kind.TEXT: TextEvidence,
    Kind.FIT: FitEvidence,
}
"""The class of each kind."""


def evidence_of(reading: Reduced, columns: Columns) -> Evidence:
    """An observation as evidence about the halves of a catalogue."""
    return CLASSES[FEATURES[reading.feature].kind](reading=reading, columns=columns)


def all_evidence(readings: Sequence[Reduced], columns: Columns) -> list[Evidence]:
    """Observations as evidence. Readings of one size that were taken alike share their explanations."""
    everything = [evidence_of(reading, columns) for reading in readings]
    first: dict[object, DimensionEvidence] = {}
    for i, each in enumerate(everything):
        if isinstance(each, DimensionEvidence):
            reading = each.reading
            same = reading.feature, reading.spans, reading.unscaled, reading.corrected, reading.counted
            like = first.setdefault(same, each)
            everything[i] = each if like is each else replace(each, like=like)
    return everything


AT_ONCE = 10_000
"""Densities that are computed at once: their arrays stay in the processor's cache."""


def log_right(pairs: Sequence[tuple[Reduced, Ints]], columns: Columns) -> list[Floats]:
    """`Evidence.log_right` of readings, each under halves of its own; those of one size over as many gaps at once."""
    found, alike = dict[int, Floats](), dict[tuple[bool, str, int, int], list[int]]()
    batch = np.cumsum([len(halves) for _, halves in pairs]) // AT_ONCE
    for i, (reading, _) in enumerate(pairs):
        measured = reading.value is not None and reading.of is Of.THIS
        alike.setdefault((measured, reading.feature, reading.spans, int(batch[i])), []).append(i)
    for (measured, *_), places in alike.items():
        some = [pairs[i] for i in places]
        logs = (
            log_right_of_each(some, columns)
            if measured
            else [evidence_of(reading, columns).log_right(halves) for reading, halves in some]
        )
        found.update(zip(places, logs, strict=True))
    return [found[i] for i in range(len(pairs))]
