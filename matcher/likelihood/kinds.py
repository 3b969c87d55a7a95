"""The class of evidence for each kind of feature."""

from __future__ import annotations

from collections.abc import Mapping

from matcher.columns.columns import Columns
from matcher.features import FEATURES, Kind
from matcher.likelihood.categories import CategoryEvidence
from matcher.likelihood.dimensions import DimensionEvidence
from matcher.likelihood.evidence import Evidence
from matcher.likelihood.markings_and_trial_fits import FitEvidence, TextEvidence
from matcher.likelihood.miscounts import CountEvidence
from matcher.observations import Reduced

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
