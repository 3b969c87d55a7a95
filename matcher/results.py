"""What an identification answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from matcher.observations import Of


class Verdict(StrEnum):
    """What the answer amounts to."""

    IDENTIFIED = "identified"
    SHORTLIST = "shortlist"
    NO_MATCH = "no_match"


@dataclass(frozen=True, kw_only=True)
class EvidenceLine:
    """One observation's share of the log-odds (natural log) of a candidate against ``Candidate.against``.

    ``measured``/``u``/``expected``/``tolerance`` are mm for dimensions, the words for categories. ``reading``
    is one of fits, strains, off, likely slip, no information. The line of the prior has ``feature`` "prior".
    """

    feature: str
    of: Of
    index: int | None
    measured: float | int | str | None
    u: float | None
    expected: float | int | str | None
    tolerance: float | None
    log_odds: float
    reading: str
    slip: str | None = None


@dataclass(frozen=True, kw_only=True)
class FittingMate:
    """A listed mate of a candidate, with the probability that it is the one observed and whether it fits that."""

    key: str
    mating: int
    probability: float
    fits_observed: bool


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A geometry with its probability; ``key`` is its likeliest half, ``same_geometry`` the tied others.

    ``evidence`` adds up to ``log_odds``, the log of this geometry's probability over that of ``against`` (a key, or
    "absent").
    """

    rank: int
    key: str
    probability: float
    inferred: bool
    fit_p_value: float | None
    same_geometry: tuple[str, ...]
    against: str
    log_odds: float
    evidence: tuple[EvidenceLine, ...]
    mates: tuple[FittingMate, ...]


@dataclass(frozen=True, kw_only=True)
class CredibleSet:
    """The smallest set of geometries, absent included, that holds ``level`` of the probability."""

    level: float
    members: int
    includes_absent: bool


@dataclass(frozen=True, kw_only=True)
class Recheck:
    """An observation worth taking again.

    ``slip_probability`` that the reading is a gross slip given the leading candidate; ``likely_slip`` in bench words;
    ``shift`` how far (total variation, 0..1) the answer would move without it.
    """

    index: int
    feature: str
    of: Of
    slip_probability: float
    likely_slip: str | None
    shift: float


@dataclass(frozen=True, kw_only=True)
class Hint:
    """What may have gone wrong and what it would change; it never acts by itself.

    Attributes
    ----------
    kind: slug of the mistake.
    index, indices: position of the observation (None where several would change), and of all of them.
    feature, of: what was observed.
    message: what may have happened, in bench words.
    change: what it would change, in words: which half would come first, how probably, and the verdict.
    probability: of the mistake, given everything that was observed.
    corrected: what would be given instead, by field of the observation, e.g. ``{"spans": 10}`` or ``{"unit": "in"}``.
    first, first_probability, probability_absent, verdict: the answer if the mistake was made; ``first`` is a key.
    """

    kind: str
    index: int | None
    indices: tuple[int, ...]
    feature: str
    of: Of
    message: str
    change: str
    probability: float
    corrected: Mapping[str, float | int | str]
    first: str
    first_probability: float
    probability_absent: float
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class Ranking:
    """The answer without advice, hints and what to measure again: the part that is wanted at every keystroke."""

    verdict: Verdict
    probability_absent: float
    candidates: tuple[Candidate, ...]
    credible_set: CredibleSet


@dataclass(frozen=True, kw_only=True)
class Predicted:
    """What one leading half (its key) would show: mm for a dimension, a number for a count, names for a category."""

    key: str
    value: float | int | str


@dataclass(frozen=True, kw_only=True)
class NextMeasurement:
    """One measurement, and what it is expected to tell.

    ``bits`` are its own; ``together_with`` names the measurement that it would best be taken with where the two tell
    more than twice as much as the best one alone, and ``together_bits`` what both tell. ``again`` marks a feature that
    was measured already. ``measure_to_within_mm`` is the coarsest limit ± a that keeps nine tenths of the bits (None
    for what is seen by eye, where even half a millimetre will do, and, while too many are in play, for all but the
    best). ``spans`` is the number of gaps of the likeliest half. ``gain`` says how much likelier the best order is
    then expected to be the right one (None while too many are in play).
    """

    feature: str
    bits: float
    instrument: str | None
    again: bool
    spans: int | None
    measure_to_within_mm: float | None
    together_with: str | None
    together_bits: float | None
    gain: float | None
    predicted: tuple[Predicted, ...]


class Reason(StrEnum):
    """Whether to go on measuring, and why."""

    ORDER_SETTLED = "order_settled"
    """One order is nearly certain."""
    ABSENT_SETTLED = "absent_settled"
    """It is nearly certain that the half is not in the catalogue."""
    NOTHING_TELLS = "nothing_tells"
    """Nothing that can be taken with what is at hand is likely to change the order."""
    KEEP_MEASURING = "keep_measuring"


@dataclass(frozen=True, kw_only=True)
class Advice:
    """Measurements, most telling first; ``settled``: further measuring cannot change what to order, and ``reason`` why.

    ``probability`` is that of the leading order (of the leading geometry while too many are in play). ``open_bits`` is
    what is not known yet: the entropy of the orders (of the geometries), absent included.
    """

    measurements: tuple[NextMeasurement, ...]
    settled: bool
    reason: Reason
    probability: float
    open_bits: float


@dataclass(frozen=True, kw_only=True)
class Identification:
    """The whole answer. ``probability_absent`` and the candidates' probabilities add up over all geometries to 1.

    ``hints`` say what may have gone wrong, ``notes`` what the observations say of each other.
    """

    verdict: Verdict
    probability_absent: float
    candidates: tuple[Candidate, ...]
    credible_set: CredibleSet
    recheck: tuple[Recheck, ...]
    hints: tuple[Hint, ...]
    notes: tuple[str, ...]
    advice: Advice


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """Why one named half stands where it stands: its candidate entry against the leader, and in words."""

    candidate: Candidate
    sentences: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """An answer in short, and what it makes of halves that were named, in their order. ``first`` is None where there
    is nothing to rank."""

    verdict: Verdict
    probability_absent: float
    first: Candidate | None
    named: tuple[Candidate, ...]
