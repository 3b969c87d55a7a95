"""Readable letters and trial fits: bounded evidence. Magnitudes are common practice, no source."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from rapidfuzz import fuzz, process

from matcher.columns.columns import Columns, Floats
from matcher.features import FEATURES
from matcher.observations import TrialFit

SHORT_MARKING = 4
"""Letters up to which a marking is mostly a cavity or date code."""

SHORT_CAP, LONG_CAP = 3.0, 100.0
"""Largest likelihood ratio of a short and of a long marking against an unrelated one."""

UNRELATED_SHARE = 0.5
"""Probability that letters on a half say nothing of its part number."""

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
    """Likelihood ratio of the marking for each half against letters that say nothing."""
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


def fit_probability(fit: TrialFit, columns: Columns, known: Mapping[str, int]) -> Floats:
    """Probability of the trial fit's outcome for each half; ``known`` maps keys to positions. Raises KeyError."""
    other = known[fit.half]
    kinds = certain_kinds(columns)
    hermaphroditic = list(FEATURES["half_kind"].values).index("hermaphroditic")
    same_kind = (kinds == kinds[other]) & (kinds >= 0) & (kinds != hermaphroditic)
    counts, pitch = columns.counts, columns.dimensions["pitch"].centre
    same_grid = (
        (counts["rows"] == counts["rows"][other])
        & (counts["rows"] >= 0)
        & (counts["contact_count"] >= 0)
        & (counts["contact_count"] == counts["contact_count"][other])
        & (np.abs(pitch - pitch[other]) <= SAME_PITCH)
    )
    mates = np.select([same_kind, same_grid], [MATES_SAME_KIND, MATES_SAME_GRID], MATES_OTHERWISE)
    listed = columns.matings.half[columns.matings.other == other]
    mates[listed] = MATES_LISTED
    return mates if fit.mates else 1 - mates
