"""Likelihood of categories and labels: the probability of what was seen, given what is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns, Floats
from matcher.features import Feature, Kind
from matcher.likelihood.evidence import Comparison, Evidence

FALSE_LABEL = 0.03
"""Probability that a label (a key) is reported where there is none. Common practice, no source."""


STATED = 0.999
"""Probability from which a category counts as stated rather than predicted."""

SHARED_STATED = 0.2
"""Probability from which a value counts as one of a stated set, whose members have equal probability."""

_KINDS = ("plug", "receptacle", "hermaphroditic")


def naming_probability(feature: Feature, seen: frozenset[str], has: Floats) -> Floats:
    """Probability that a value of ``seen`` is named; for labels, that exactly those of ``seen`` are.

    ``has`` is (halves × values): the probability of each true value, or that each label is there.
    """
    names, right = list(feature.values), feature.right_share
    if feature.kind is Kind.CATEGORY:
        named = has * right + (1 - has) * (1 - right) / (len(names) - 1)
        return np.asarray(named[:, [names.index(value) for value in seen]].sum(axis=1))
    probability = np.ones(len(has))
    for label, there in zip(names, has.T, strict=True):
        if label != "none":
            is_seen = there * right + (1 - there) * FALSE_LABEL
            probability *= is_seen if label in seen else 1 - is_seen
    return probability


@dataclass(frozen=True, kw_only=True)
class CategoryEvidence(Evidence):
    """A category as evidence: one value or a choice of several, or all labels that were seen."""

    @staticmethod
    def stated(feature: Feature, columns: Columns, half: int) -> str | None:
        has = columns.categories[feature.name][half]
        return ", ".join(name for name, there in zip(feature.values, has, strict=True) if there > STATED) or None

    @property
    def seen(self) -> frozenset[str]:
        """The names that were given."""
        return self.reading.values or frozenset()

    @property
    def words(self) -> str:
        return ", ".join(sorted(self.seen)) or "none"

    def of_halves(self) -> Floats:
        return naming_probability(self.feature, self.seen, self.columns.categories[self.reading.feature])

    def of_unlisted_mates(self) -> Floats:
        """An unlisted mate is of the other kind, and otherwise like any half of the catalogue."""
        has = self.columns.categories[self.reading.feature]
        if self.reading.feature == "half_kind":
            plug, receptacle, hermaphroditic = (list(self.feature.values).index(name) for name in _KINDS)
            has = has[:, np.argsort([receptacle, plug, hermaphroditic])]
        else:
            has = np.broadcast_to(has.mean(axis=0), has.shape)
        return naming_probability(self.feature, self.seen, has)

    def _against(self, halves: Sequence[int]) -> list[Comparison]:
        return [self._compared(half) for half in halves]

    def _compared(self, half: int) -> Comparison:
        values, has = self.feature.values, self.columns.categories[self.reading.feature][half]
        names = [name for name, there in zip(values, has, strict=True) if there >= 1 / len(values)]
        shared = np.isclose(has.sum(), 1.0) and bool(np.all((has == 0) | (has >= SHARED_STATED)))
        if not (np.any(has > STATED) or shared):
            return Comparison()
        right = not self.seen.isdisjoint(names)
        return Comparison(expected=", ".join(names), p_value=1.0 if right else 1.0 - self.feature.right_share)
