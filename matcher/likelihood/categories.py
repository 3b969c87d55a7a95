"""Likelihood of categories and labels: the probability of what was seen, given what is there."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
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

ROUNDING = 1e-9
"""Relative difference within which two probabilities are equal."""

_KINDS = ("plug", "receptacle", "hermaphroditic")


def naming_table(feature: Feature) -> Floats:
    """Probability (true value × named value) of a category: what a value looks like, and how well the eye names that.

    Where the feature says how strongly it may speak, the eye counts as less sure than it is.
    """
    names = list(feature.values)
    looks = np.eye(len(names))
    for true, others in feature.looks_like.items():
        for other, share in others.items():
            looks[names.index(true), [names.index(true), names.index(other)]] += (-share, share)
    right, others_named = feature.right_share, len(names) - 1
    if feature.strongest is not None:
        right = min(right, feature.strongest / (feature.strongest + others_named))
    eye = np.full(looks.shape, (1 - right) / others_named)
    np.fill_diagonal(eye, right)
    return np.asarray(looks @ eye)


def naming_probability(feature: Feature, seen: frozenset[str], has: Floats) -> Floats:
    """Probability that a value of ``seen`` is named; for labels, that exactly those of ``seen`` are.

    ``has`` is (halves × values): the probability of each true value, or that each label is there.
    """
    names = list(feature.values)
    if feature.kind is Kind.CATEGORY:
        return np.asarray(has @ naming_table(feature)[:, [names.index(value) for value in seen]].sum(axis=1))
    probability = np.ones(len(has))
    for label, there in zip(names, has.T, strict=True):
        if label != "none":
            visible = 1 - feature.looks_like.get(label, {}).get("none", 0.0)
            is_seen = there * visible * feature.right_share + (1 - there) * FALSE_LABEL
            probability *= is_seen if label in seen else 1 - is_seen
    return probability


def seen_as(feature: Feature) -> list[frozenset[str]]:
    """All possible answers for a category: each value; for labels, every set of them."""
    if feature.kind is Kind.CATEGORY:
        return [frozenset([value]) for value in feature.values]
    labels = [value for value in feature.values if value != "none"]
    sets = [c for size in range(1, len(labels) + 1) for c in itertools.combinations(labels, size)]
    return [frozenset(["none"]), *map(frozenset, sets)]


def _certain(feature: Feature, values: Iterable[str]) -> Floats:
    """A half (one row) of which it is certain that it has each of some values."""
    return np.array([[float(name in values) for name in feature.values]])


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
        has = self.columns.categories[self.reading.feature][np.asarray(halves, dtype=np.int64)]
        return [self._compared(*each) for each in zip(has, self._p_values(has).tolist(), strict=True)]

    def _compared(self, has: Floats, p_value: float) -> Comparison:
        feature = self.feature
        names = [name for name, there in zip(feature.values, has, strict=True) if there >= 1 / len(feature.values)]
        shared = np.isclose(has.sum(), 1.0) and bool(np.all((has == 0) | (has >= SHARED_STATED)))
        if not (np.any(has > STATED) or shared):
            return Comparison()
        return Comparison(expected=", ".join(names), p_value=p_value, times_less_likely=self._less_likely(names))

    def _p_values(self, has: Floats) -> Floats:
        """Probability that something is named which is not likelier than what was, for each half."""
        answers = seen_as(self.feature)
        probability = np.stack([naming_probability(self.feature, each, has) for each in answers])
        named = [frozenset([value]) for value in self.seen] if self.feature.kind is Kind.CATEGORY else [self.seen]
        likeliest = probability[[answers.index(each) for each in named]].max(axis=0)
        not_likelier = probability <= likeliest * (1 + ROUNDING)
        return np.asarray(np.minimum(np.sum(probability * not_likelier, axis=0), 1.0))

    def _less_likely(self, names: Sequence[str]) -> float:
        """How many times likelier the observation is under the value that fits it best than under the stated ones."""
        feature = self.feature
        alone = [{name} for name in feature.values] if feature.kind is Kind.CATEGORY else [self.seen]
        stated = [{name} for name in names] if feature.kind is Kind.CATEGORY else [names]
        best, own = (
            max(naming_probability(feature, self.seen, _certain(feature, each))[0] for each in options)
            for options in (alone, stated)
        )
        return float(best / own)
