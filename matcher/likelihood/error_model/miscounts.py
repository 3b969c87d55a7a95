"""Likelihood of counts: the probability of a counted number given the true one, with typical miscounts.

Shares are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from matcher.columns.columns import Bools, Columns, Floats, Ints
from matcher.features import FEATURES, Feature
from matcher.likelihood.evidence import IMPOSSIBLE, NEVER, STRAINS_BELOW, Comparison, Evidence, bounds_in_words
from matcher.observations import LARGEST_COUNT, Of

MISCOUNT_BASE, MISCOUNT_PER_CONTACT, MISCOUNT_CAP = 0.02, 0.0004, 0.15
"""Probability of a miscount: a base, an increase per contact, and a maximum."""

ONE_PER_ROW, OFF_BY_ONE, FITTINGS, ONE_ROW_ONLY, TAILS = 0.40, 0.15, 0.20, 0.10, 0.10
"""Shares of miscounts: one off in every row, one off, fittings or power contacts counted in, one row counted only,
tails counted instead of contacts; the rest may be anything."""

TAILS_DECAY = 0.75
"""Ratio of neighbouring probabilities where tails are counted instead of contacts: how far counts stray."""

_GEOMETRIC = 0.5 * (1 - TAILS_DECAY ** np.arange(200))
"""Probability of straying to one side by at most that many; from some 130 on, rounding makes it a half."""

HARMONIC = float(np.sum(1.0 / np.arange(1, LARGEST_COUNT + 2)))
"""Normalisation of the floor, log-uniform from 0 to the largest count."""

NEIGHBOUR_SHARE = 0.8
"""Share of wrong small counts (rows, groups, fittings) that are wrong by one."""

FITTING_EITHER_WAY = 0.25
"""Probability that end fittings that carry power are counted under either name. Then only their total is right: all
that the entry has of both or, if it names each of them twice, the larger number; both are as probable."""

MISFILED_WRONG_SHARE = FEATURES["hold_down_count"].gross_share
"""Probability that the total of fittings and power contacts is miscounted."""


@dataclass(frozen=True, kw_only=True)
class CountLaw:
    """Distribution of the counted number for each half.

    ``atoms`` are (probability, number) pairs; ``strayed`` is the probability of a geometric deviation to either side of
    ``true``; ``floor`` is the probability of any number at all.
    """

    atoms: tuple[tuple[Floats, Ints], ...]
    true: Ints
    strayed: Floats
    floor: Floats

    def probability(self, low: int, high: int) -> Floats:
        """Probability that the counted number lies from ``low`` to ``high``, both included."""
        total = self.floor * floor_probability(low, high) + self.strayed * self._strays(low, high)
        for weight, number in self.atoms:
            total = total + weight * ((low <= number) & (number <= high))
        return np.asarray(np.minimum(total, 1.0))

    def _strays(self, low: int, high: int) -> Floats:
        above = _geometric(high - self.true) - _geometric(low - 1 - self.true)
        below = _geometric(self.true - low) - _geometric(self.true - high - 1)
        return np.asarray(above + below)


def _geometric(steps: Ints) -> Floats:
    return np.asarray(_GEOMETRIC[steps.clip(0, len(_GEOMETRIC) - 1)])


def floor_probability(low: int, high: int) -> float:
    """Log-uniform probability that any number from ``low`` to ``high`` is counted."""
    return float(np.sum(1.0 / (np.arange(low, high + 1) + 1.0))) / HARMONIC


def miscount_probability(true: Ints) -> Floats:
    """Probability that ``true`` contacts are miscounted."""
    return np.asarray(np.minimum(MISCOUNT_BASE + MISCOUNT_PER_CONTACT * true, MISCOUNT_CAP))


def contact_law(true: Ints, rows: Ints, fittings: Ints, power: Ints) -> CountLaw:
    """Distribution of the count of ``true`` contacts in ``rows``, with fittings and power contacts (−1: unknown)."""
    miscount, divides = miscount_probability(true), (rows >= 2) & (true % rows == 0)
    added, options = _added(fittings, power)
    one_row, added_in = miscount * ONE_ROW_ONLY * divides, miscount * FITTINGS
    atoms = [(1 - miscount, true), (one_row, true // rows)]
    for share, step in ((ONE_PER_ROW, rows), (OFF_BY_ONE, np.ones_like(rows))):
        atoms += [(np.asarray(0.5 * share * miscount), true - step), (np.asarray(0.5 * share * miscount), true + step)]
    atoms += [(added_in * share, true + extra) for share, extra in zip(added, options, strict=True)]
    strayed = miscount * TAILS
    placed = miscount * (ONE_PER_ROW + OFF_BY_ONE) + one_row + added_in * added.sum(axis=0) + strayed
    return CountLaw(atoms=tuple(atoms), true=true, strayed=strayed, floor=miscount - placed)


def _added(fittings: Ints, power: Ints) -> tuple[Floats, Ints]:
    """Shares and numbers of parts that may be counted by mistake: hold-downs, power contacts, both."""
    h, p = np.maximum(fittings, 0), np.maximum(power, 0)
    options = np.stack([h, p, h + p])
    usable = options > 0
    usable[1] &= options[1] != options[0]
    usable[2] &= (options[2] != options[0]) & (options[2] != options[1])
    return np.asarray(usable / np.maximum(usable.sum(axis=0), 1), dtype=np.float64), options


def small_count_law(true: Ints, wrong_share: float) -> CountLaw:
    """Distribution of a small count (rows, groups, fittings), given the true number; −1 is unknown."""
    known = true >= 0
    wrong = wrong_share * known
    neighbour = np.asarray(wrong * NEIGHBOUR_SHARE / 2)
    atoms = ((np.asarray((1 - wrong) * known), true), (neighbour, true - 1), (neighbour, true + 1))
    floor = np.where(known, wrong * (1 - NEIGHBOUR_SHARE), 1.0)
    return CountLaw(atoms=atoms, true=true, strayed=np.zeros(true.shape), floor=floor)


def count_probability(feature: str, low: int, high: int, columns: Columns) -> Floats:
    """Probability of counting ``low`` to ``high`` of a feature for each half.

    Where the catalogue states no number, the numbers of the half's series are averaged, else of the whole catalogue.
    """
    counts = columns.counts
    true = counts[feature]
    if feature == "contact_count":
        return _contact_law_of(columns).probability(low, high)
    law, known = small_count_law(true, FEATURES[feature].gross_share), true >= 0
    probability = law.probability(low, high)
    if np.any(known) and not np.all(known):
        probability[~known] = _from_siblings(probability, columns.series, known)
    return probability


_LAWS: WeakKeyDictionary[Columns, CountLaw] = WeakKeyDictionary()


def _contact_law_of(columns: Columns) -> CountLaw:
    """The law of the contact counts of a catalogue, made once for as long as the catalogue is kept."""
    law = _LAWS.get(columns)
    if law is None:
        counts = columns.counts
        numbers = (counts[name] for name in ("contact_count", "rows", "hold_down_count", "power_contact_count"))
        law = _LAWS[columns] = contact_law(*numbers)
    return law


def _from_siblings(probability: Floats, series: Ints, known: Bools) -> Floats:
    groups = int(series.max()) + 1
    total = np.bincount(series[known], weights=probability[known], minlength=groups)
    members = np.bincount(series[known], minlength=groups)
    by_series = np.where(members > 0, total / np.maximum(members, 1), probability[known].mean())
    return np.asarray(by_series[series[~known]])


def fittings_probability(power: int, fittings: int, columns: Columns) -> Floats:
    """Joint probability of both counts: a fitting may be both; then any split of the total is right."""
    apart = count_probability("power_contact_count", power, power, columns)
    apart = apart * count_probability("hold_down_count", fittings, fittings, columns)
    true_power, true_fittings = columns.counts["power_contact_count"], columns.counts["hold_down_count"]
    both_known = (true_power >= 0) & (true_fittings >= 0)
    total = power + fittings
    of_all, of_each = true_power + true_fittings, np.maximum(true_power, true_fittings)
    laws = [small_count_law(np.where(both_known, true, -1), MISFILED_WRONG_SHARE) for true in (of_all, of_each)]
    together = sum(law.probability(total, total) for law in laws) / len(laws) / (total + 1)
    return np.where(both_known, (1 - FITTING_EITHER_WAY) * apart + FITTING_EITHER_WAY * together, apart)


@dataclass(frozen=True, kw_only=True)
class CountEvidence(Evidence):
    """A counted number, or bounds on one."""

    @staticmethod
    def stated(feature: Feature, columns: Columns, half: int) -> int | None:
        count = int(columns.counts[feature.name][half])
        return count if count >= 0 else None

    @property
    def words(self) -> int | str:
        return bounds_in_words(self.reading) if self.reading.count is None else self.reading.count

    def of_halves(self) -> Floats:
        return np.maximum(count_probability(self.reading.feature, *self.reading.count_range, self.columns), IMPOSSIBLE)

    def of_unlisted_mates(self) -> Floats:
        """An unlisted mate has the half's own contacts and rows; its fittings are those of any half."""
        (low, high), name = self.reading.count_range, self.reading.feature
        counts, unknown = self.columns.counts, np.full(len(self.columns), -1)
        if name == "contact_count":
            return contact_law(counts[name], counts["rows"], unknown, unknown).probability(low, high)
        if name == "rows":
            return count_probability(name, low, high, self.columns)
        known = counts[name] >= 0
        if not np.any(known):
            return small_count_law(unknown, 0.0).probability(low, high)
        return np.full(len(self.columns), count_probability(name, low, high, self.columns)[known].mean())

    def log_right(self, halves: Ints) -> Floats:
        number = self.reading.count
        if number is None or self.reading.of is not Of.THIS:
            return super().log_right(halves)
        if self.reading.feature == "contact_count":
            wrong = float(miscount_probability(np.array(number)))
        else:
            wrong = self.feature.gross_share
        right = self.columns.counts[self.reading.feature][halves] == number
        return np.where(right, np.log1p(-wrong), NEVER)

    def _against(self, halves: Sequence[int]) -> list[Comparison]:
        return [self._compared(half) for half in halves]

    def _compared(self, half: int) -> Comparison:
        true = self.stated(self.feature, self.columns, half)
        if true is None:
            return Comparison()
        low, high = self.reading.count_range
        if low <= true <= high:
            return Comparison(expected=true, p_value=1.0)
        return Comparison(expected=true, p_value=STRAINS_BELOW, slip_probability=1.0, slip="miscounted")
