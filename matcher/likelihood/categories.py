"""Probability of what the eye named, given what is there."""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Floats
from matcher.features import FEATURES

FALSE_LABEL = 0.03
"""Probability that a key is seen where there is none. Common practice, no source."""


def category_probability(feature: str, seen: frozenset[str], has: Floats) -> Floats:
    """Probability that one of ``seen`` is named; ``has`` is (halves × values), the probability of each true value."""
    row = FEATURES[feature]
    names = list(row.values)
    wrong = (1 - row.right_share) / (len(names) - 1)
    named = has * row.right_share + (1 - has) * wrong
    return np.asarray(named[:, [names.index(value) for value in seen]].sum(axis=1))


def labels_probability(feature: str, seen: frozenset[str], has: Floats) -> Floats:
    """Probability that just the labels ``seen`` are named; ``has`` gives each label's own probability."""
    row = FEATURES[feature]
    probability = np.ones(len(has))
    for column, label in enumerate(row.values):
        if label == "none":
            continue
        a = has[:, column]
        is_seen = a * row.right_share + (1 - a) * FALSE_LABEL
        probability *= is_seen if label in seen else 1 - is_seen
    return probability
