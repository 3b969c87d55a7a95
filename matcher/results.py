"""What an identification answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from matcher.advice.next_measurement import Advice
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
