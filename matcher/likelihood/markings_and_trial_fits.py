"""Likelihood of markings and trial fits: bounded evidence. Magnitudes are common practice, no source."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz, process

from matcher.columns.columns import Columns, Floats
from matcher.features import FEATURES
from matcher.likelihood.evidence import Evidence
from matcher.observations import TrialFit

SHORT_MARKING = 4
"""Number of letters up to which a marking is usually a cavity or date code."""

SHORT_CAP, LONG_CAP = 3.0, 100.0
"""Largest likelihood ratios, for a short and a long marking, against an unrelated marking."""

UNRELATED_SHARE = 0.5
"""Probability that letters on a half are unrelated to its part number."""

SIMILARITY_FLOOR = 0.6
"""Similarity at and below which two texts count as unrelated."""

MATES_LISTED, MATES_SAME_KIND, MATES_SAME_GRID, MATES_OTHERWISE = 0.97, 0.01, 0.30, 0.02
"""Probability that a trial fit succeeds: a listed mating, two of one kind, equal grid and count, anything else."""

MATES_ABSENT = 0.1
"""Probability that a trial fit succeeds with a half that the catalogue does not have."""

SAME_PITCH = 0.02
"""Pitches this close, mm, count as one grid."""


def letters(text: str) -> str:
    """Upper-case letters and figures of a text."""
    return re.sub(r"[\W_]+", "", text.upper())


def best_similarity(marking: str, texts: Sequence[tuple[str, ...]]) -> Floats:
    """For each half, 0 to 1: how much of the marking (stripped) its closest text holds."""
    owners = [half for half, of_half in enumerate(texts) for _ in of_half]
    stripped = [letters(text) for of_half in texts for text in of_half]
    best = np.zeros(len(texts))
    if not stripped:
        return best
    long_enough = np.array([len(text) >= len(marking) for text in stripped])
    partial = process.cdist([marking], stripped, scorer=fuzz.partial_ratio, dtype=np.float64)[0]
    whole = process.cdist([marking], stripped, scorer=fuzz.ratio, dtype=np.float64)[0]
    np.maximum.at(best, owners, np.where(long_enough, partial, whole) / 100.0)
    return best


def marking_ratio(marking: str, texts: Sequence[tuple[str, ...]]) -> Floats:
    """Likelihood ratio of the marking for each half against letters without information."""
    wanted = letters(marking)
    if not wanted:
        return np.ones(len(texts))
    cap = SHORT_CAP if len(wanted) <= SHORT_MARKING else LONG_CAP
    best = best_similarity(wanted, texts)
    closeness = np.clip((best - SIMILARITY_FLOOR) / (1 - SIMILARITY_FLOOR), 0.0, 1.0) ** 2
    return np.asarray(UNRELATED_SHARE + (1 - UNRELATED_SHARE) * (1 + (cap - 1) * closeness))


def certain_kinds(columns: Columns) -> np.ndarray:
    """Index of each half's kind in the feature table's order; −1 where it is not stated."""
    has = columns.categories["half_kind"]
    return np.where(has.max(axis=1) >= 0.999, has.argmax(axis=1), -1)


@dataclass(frozen=True, kw_only=True)
class TextEvidence(Evidence):
    """Letters that can still be read."""

    @property
    def words(self) -> str:
        return self.reading.text or ""

    def of_halves(self) -> Floats:
        return marking_ratio(self.words, self.columns.texts)

    def of_unlisted_mates(self) -> Floats:
        return np.ones(len(self.columns))


@dataclass(frozen=True, kw_only=True)
class FitEvidence(Evidence):
    """A fit that was tried with a known half."""

    @property
    def fit(self) -> TrialFit:
        """The trial fit of the observation. Raises TypeError for any other kind of observation."""
        if self.reading.fit is None:
            raise TypeError(f"{self.reading.feature} is not a trial fit")
        return self.reading.fit

    @property
    def words(self) -> str:
        return f"{'mates' if self.fit.mates else 'does not mate'} with {self.fit.half}"

    def of_halves(self) -> Floats:
        """Raises UnknownHalfError where the known half is not in the columns."""
        columns, counts = self.columns, self.columns.counts
        other = columns.position(self.fit.half)
        kinds, pitch = certain_kinds(columns), columns.dimensions["pitch"].centre
        hermaphroditic = list(FEATURES["half_kind"].values).index("hermaphroditic")
        same_kind = (kinds == kinds[other]) & (kinds >= 0) & (kinds != hermaphroditic)
        same_grid = (
            (counts["rows"] == counts["rows"][other])
            & (counts["rows"] >= 0)
            & (counts["contact_count"] >= 0)
            & (counts["contact_count"] == counts["contact_count"][other])
            & (np.abs(pitch - pitch[other]) <= SAME_PITCH)
        )
        mates = np.select([same_kind, same_grid], [MATES_SAME_KIND, MATES_SAME_GRID], MATES_OTHERWISE)
        mates[columns.matings.half[columns.matings.other == other]] = MATES_LISTED
        return mates if self.fit.mates else 1 - mates

    def of_unlisted_mates(self) -> Floats:
        return np.full(len(self.columns), MATES_ABSENT if self.fit.mates else 1 - MATES_ABSENT)
