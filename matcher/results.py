"""Results of an identification."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from matcher.observations import Of


class Verdict(StrEnum):
    """The overall result of an identification."""

    IDENTIFIED = "identified"
    SHORTLIST = "shortlist"
    NO_MATCH = "no_match"


VERDICT_WORDS: Mapping[str, str] = {"identified": "identified", "shortlist": "not settled", "no_match": "no match"}
"""Short names of the verdicts."""


@dataclass(frozen=True, kw_only=True)
class EvidenceLine:
    """One observation's share of the log-odds (natural log) of a candidate against ``Candidate.against``.

    ``measured``, ``u``, ``expected`` and ``tolerance`` are mm for dimensions; categories have words. ``reading`` is one
    of fits, strains, off, likely slip, no information. The line of the prior has ``feature`` "prior".
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
    """A listed mate of ``half``, one of a candidate's halves: the probability that it is the other half if that one is
    this half, and whether it fits the observations."""

    half: str
    key: str
    mating: int
    probability: float
    fits_observed: bool


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A geometry with its probability; ``key`` is its likeliest half, ``same_geometry`` the others that share it.
    ``mates`` are those of all of them.

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
class HalfInPlay:
    """A half that it may be, by key, with its own probability and its listed mates."""

    key: str
    probability: float
    mates: tuple[FittingMate, ...]


@dataclass(frozen=True, kw_only=True)
class CredibleSet:
    """The smallest set of geometries, including absent, that holds ``level`` of the probability."""

    level: float
    members: int
    includes_absent: bool


@dataclass(frozen=True, kw_only=True)
class SeriesShare:
    """A series with its probability, the sum of its halves'; ``key`` is its likeliest half."""

    key: str
    probability: float


@dataclass(frozen=True, kw_only=True)
class Recheck:
    """An observation worth measuring again.

    ``slip_probability`` is the probability that the reading is a gross error given the leading candidate;
    ``likely_slip`` says which one in bench words; ``shift`` is how far (total variation, 0..1) the answer would move
    without it.
    """

    index: int
    feature: str
    of: Of
    slip_probability: float
    likely_slip: str | None
    shift: float


@dataclass(frozen=True, kw_only=True)
class Hint:
    """A mistake that may have happened and what it would change. It never changes an observation by itself.

    Attributes
    ----------
    kind: slug of the mistake.
    index, indices: position of the observation (None where several would change), and of all of them.
    feature, of: what was observed.
    message: what may have happened, in bench words.
    change: what it would change, in words: which half would come first, how probably, and the verdict.
    probability: of the mistake, given everything that was observed.
    corrected: corrected values by field of the observation, e.g. ``{"spans": 10}`` or ``{"unit": "in"}``.
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
    """The answer without advice, hints and rechecks: the part that is shown at every keystroke.

    ``in_play`` holds the likeliest halves, whether or not they share a geometry.
    """

    verdict: Verdict
    probability_absent: float
    candidates: tuple[Candidate, ...]
    credible_set: CredibleSet
    series: tuple[SeriesShare, ...]
    in_play: tuple[HalfInPlay, ...]


@dataclass(frozen=True, kw_only=True)
class Predicted:
    """Predicted value for a leading half (its key): mm for a dimension, a number for a count, names for a category."""

    key: str
    value: float | int | str


@dataclass(frozen=True, kw_only=True)
class NextMeasurement:
    """One measurement, and the information expected from it.

    ``bits`` is the information of this measurement alone. ``together_with`` names the best measurement to add where
    the two together give more than twice the information of the best one alone, and ``together_bits`` is that of both.
    ``again`` marks a feature that was measured already. ``measure_to_within_mm`` is the coarsest limit ± a that keeps
    nine tenths of the bits. It is None for features judged by eye, where even half a millimetre is enough, and, while
    too many candidates are in play, for all but the best measurement. ``spans`` is the number of gaps of the likeliest
    half. ``gain`` is the expected rise in the probability that the best order is right (None while too many candidates
    are in play).
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
    MATES_DIFFER = "mates_differ"
    """The half is nearly certain but for others of the same geometry, which take other mates: no measurement tells."""
    NOTHING_TELLS = "nothing_tells"
    """No measurement with the tools at hand is likely to change the order."""
    KEEP_MEASURING = "keep_measuring"


@dataclass(frozen=True, kw_only=True)
class Advice:
    """Measurements, most informative first. ``settled`` means that what to order is as certain as measuring makes it.

    ``reason`` says why. ``probability`` is that of the leading order (of the leading geometry while too many are in
    play). ``open_bits`` is the remaining entropy of the orders (of the geometries), including absent.
    """

    measurements: tuple[NextMeasurement, ...]
    settled: bool
    reason: Reason
    probability: float
    open_bits: float


@dataclass(frozen=True, kw_only=True)
class Identification(Ranking):
    """The whole answer. ``probability_absent`` and the probabilities of all geometries add up to 1.

    ``hints`` name possible mistakes; ``notes`` tell how the observations fit each other.
    """

    recheck: tuple[Recheck, ...]
    hints: tuple[Hint, ...]
    notes: tuple[str, ...]
    advice: Advice


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """Explanation of one named half: its candidate entry compared with the leader, and sentences."""

    candidate: Candidate
    sentences: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A short answer: the verdict, the first candidate, and the candidates for the named halves in their order.

    ``first`` is None where there is nothing to rank.
    """

    verdict: Verdict
    probability_absent: float
    first: Candidate | None
    named: tuple[Candidate, ...]
