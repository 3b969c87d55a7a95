"""Observations of the other half and of the mated pair: a mixture over the matings of each half.

All of them speak of one mate, so they are weighed together: for each listed mating the product of their probabilities,
and for a mate that nobody listed what can be predicted of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from matcher.columns.columns import Columns, DimensionColumn, Floats, Ints
from matcher.features import FEATURES, Kind
from matcher.likelihood.categories import category_probability, labels_probability
from matcher.likelihood.markings_and_trial_fits import MATES_ABSENT
from matcher.likelihood.miscounts import contact_law, count_probability, small_count_law
from matcher.likelihood.single_reading import dimension_probability, half_probability
from matcher.observations import Of, Reduced

UNLISTED_MATE = 0.1
"""Probability that the mate at hand is none of those listed for a half. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class MatesGroup:
    """All observations of the other half and the pair.

    ``listed`` is (readings × matings), ``unlisted`` (readings × halves): log-probabilities of each.
    """

    readings: tuple[Reduced, ...]
    columns: Columns
    listed: Floats
    unlisted: Floats

    def log_likelihood(self, chosen: list[int]) -> Floats:
        """Log-probability of the chosen readings together, for each half."""
        columns = self.columns
        matings = np.bincount(columns.matings.half, minlength=len(columns))
        listed = _log_sum_by_half(self.listed[chosen].sum(axis=0), columns.matings.half, len(columns))
        has = matings > 0
        mean = np.where(has, listed - np.log(np.maximum(matings, 1)) + np.log(1 - UNLISTED_MATE), -np.inf)
        unlisted = self.unlisted[chosen].sum(axis=0) + np.where(has, np.log(UNLISTED_MATE), 0.0)
        return np.asarray(np.logaddexp(mean, unlisted))

    def of_some(self, chosen: list[int]) -> MatesGroup:
        """The group with only the chosen readings."""
        readings = tuple(self.readings[j] for j in chosen)
        return replace(self, readings=readings, listed=self.listed[chosen], unlisted=self.unlisted[chosen])

    def mate_probabilities(self, half: int) -> tuple[Ints, Floats]:
        """Matings of a half and the probability of each given all readings; what is missing to 1 is unlisted."""
        matings = np.flatnonzero(self.columns.matings.half == half)
        logs = self.listed[:, matings].sum(axis=0) + np.log((1 - UNLISTED_MATE) / max(len(matings), 1))
        unlisted = self.unlisted[:, half].sum() + (np.log(UNLISTED_MATE) if len(matings) else 0.0)
        return matings, np.exp(logs - logsumexp([*logs, unlisted]))


def mates_group(readings: tuple[Reduced, ...], columns: Columns, known: Mapping[str, int]) -> MatesGroup:
    """Log-probabilities of the readings for every listed mating and for an unlisted mate of every half."""
    listed = np.stack([_listed(reading, columns, known) for reading in readings])
    unlisted = np.stack([_unlisted(reading, columns) for reading in readings])
    return MatesGroup(readings=readings, columns=columns, listed=np.log(listed), unlisted=np.log(unlisted))


def _log_sum_by_half(logs: Floats, halves: Ints, size: int) -> Floats:
    top = np.full(size, -np.inf)
    np.maximum.at(top, halves, logs)
    finite = np.where(np.isfinite(top), top, 0.0)
    total = np.bincount(halves, weights=np.exp(logs - finite[halves]), minlength=size)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(total) + finite)


def _listed(reading: Reduced, columns: Columns, known: Mapping[str, int]) -> Floats:
    if reading.of is Of.OTHER:
        return half_probability(reading, columns, known)[columns.matings.other]
    pair = columns.matings.dimensions[reading.feature]
    missing = np.isnan(pair.centre)
    predicted = columns.unlisted_mate[reading.feature].take(columns.matings.half)
    own = DimensionColumn(
        stated=pair.stated,
        centre=np.where(missing, predicted.centre, pair.centre),
        half_width=np.where(missing, predicted.half_width, pair.half_width),
        extra_u=np.where(missing, predicted.extra_u, pair.extra_u),
    )
    others = {name: column.take(columns.matings.half) for name, column in columns.dimensions.items()}
    return dimension_probability(reading, own, others)


def _unlisted(reading: Reduced, columns: Columns) -> Floats:
    kind = FEATURES[reading.feature].kind
    if kind is Kind.DIMENSION:
        others = columns.dimensions if reading.of is Of.PAIR else columns.unlisted_mate
        return dimension_probability(reading, columns.unlisted_mate[reading.feature], others)
    if kind is Kind.COUNT:
        return _unlisted_count(reading, columns)
    if kind is Kind.TEXT:
        return np.ones(len(columns))
    if reading.fit is not None:
        return np.full(len(columns), MATES_ABSENT if reading.fit.mates else 1 - MATES_ABSENT)
    has = _unlisted_categories(reading.feature, columns)
    seen = reading.values or frozenset()
    if kind is Kind.LABELS:
        return labels_probability(reading.feature, seen, has)
    return category_probability(reading.feature, seen, has)


def _unlisted_count(reading: Reduced, columns: Columns) -> Floats:
    """An unlisted mate has the half's own contacts and rows; its fittings are as unknown as anyone's."""
    low, high = reading.count_range
    counts, unknown = columns.counts, np.full(len(columns), -1)
    if reading.feature == "contact_count":
        return contact_law(counts["contact_count"], counts["rows"], unknown, unknown).probability(low, high)
    if reading.feature == "rows":
        return count_probability("rows", low, high, columns)
    known = counts[reading.feature] >= 0
    if not np.any(known):
        return small_count_law(unknown, 0.0).probability(low, high)
    return np.full(len(columns), count_probability(reading.feature, low, high, columns)[known].mean())


def _unlisted_categories(feature: str, columns: Columns) -> Floats:
    has = columns.categories[feature]
    if feature == "half_kind":
        plug, receptacle, hermaphroditic = (list(FEATURES[feature].values).index(name) for name in _KINDS)
        return has[:, np.argsort([receptacle, plug, hermaphroditic])]
    return np.broadcast_to(has.mean(axis=0), has.shape)


_KINDS = ("plug", "receptacle", "hermaphroditic")
