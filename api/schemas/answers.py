"""Answers of identification and explanation. Lengths are millimetres."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.words import BASIS_WORDS, CONTACT_WORDS, STANDING_WORDS, explained
from catalog.evidence.standing import Standing
from catalog.model.entries import Basis, Correspondence, HalfKind
from catalog.records.read_models import Origin
from matcher.observations import Of
from matcher.results import Reason, Verdict


class Out(BaseModel):
    """Base of all answers: frozen. A client ignores fields that it does not know."""

    model_config = ConfigDict(frozen=True)


class _Orderable(Out):
    id: str = Field(description="Its key: /v1/halves/{id}.")
    part_number: str
    order_codes: tuple[str, ...] = Field(description="Codes it is sold under; they differ in nothing measured.")
    maker: str
    series: str
    half_kind: HalfKind | None


class HalfRef(_Orderable):
    """A half, named so that it can be ordered and asked for again."""

    contact_count: int
    standing: Standing = Field(description=explained(STANDING_WORDS))


class EvidenceLine(Out):
    """One observation's share of the log-odds against the runner-up; all shares add up to the candidate's log_odds."""

    feature: str = Field(description="The feature, or 'prior' for what was so before measuring.")
    of: Of
    index: int | None = Field(description="Place of the observation in the request; null for the prior.")
    measured: float | int | str | None
    unit: Literal["mm", "px"] | None = Field(description="Unit of measured and u; px: a picture without a scale.")
    u: float | None = Field(description="Standard uncertainty of the reading.")
    expected: float | int | str | None = Field(description="What the catalogue says of this half.")
    expected_from: str | None = Field(
        None, description="Where expected comes from, where measurements know it better than the entry states it."
    )
    tolerance: float | None = Field(description="Half-width within which parts of this half lie, mm.")
    log_odds: float = Field(description="Natural log; above 0 speaks for this half.")
    reading: str = Field(description="fits, strains, off, likely slip, no information; or before measuring.")
    slip: str | None = Field(description="The likeliest slip, in bench words.")


class Mate(_Orderable):
    """A half that mates with the candidate: what to order."""

    stack_height: float | None = Field(description="Board surface to board surface when mated, mm.")
    mated_width: float | None
    correspondence: Correspondence = Field(
        description=f"Which contact meets which; fits is not wired alike. {explained(CONTACT_WORDS)}"
    )
    basis: Basis = Field(description=f"Who says that they mate. {explained(BASIS_WORDS)}")
    probability: float = Field(description="Given the candidate: that this is the mate that was observed.")
    fits_observed: bool = Field(description="Whether it fits what was observed of the other half and of the pair.")
    mating: str = Field(description="Key of the mating.")


class Candidate(Out):
    """A geometry with its probability; tied halves, which nothing measured can tell apart, are in same_geometry."""

    rank: int
    probability: float
    origin: Origin = Field(description="inferred: nobody listed this variant, it follows from its siblings.")
    half: HalfRef
    fit_p_value: float | None = Field(description="How often a true half would look at least this unlike it.")
    against: str = Field(description="Key of the likeliest other answer, or 'absent'.")
    log_odds: float
    evidence: tuple[EvidenceLine, ...]
    same_geometry: tuple[HalfRef, ...]
    end_allowance: float | None = Field(
        description="body_length − pitch × (positions − 1) of the half, mm: the first thing to compare."
    )
    mates: tuple[Mate, ...]


class CredibleSet(Out):
    """The smallest set of answers, 'not in this catalogue' included, that holds `level` of the probability."""

    level: float
    members: int
    includes_absent: bool


class Predicted(Out):
    """What a leading half's entry states of a feature: mm, a number, or names."""

    id: str = Field(description="Key of the half.")
    part_number: str
    value: float | int | str


class NextMeasurement(Out):
    """A measurement of this half worth taking next: what it is expected to tell, with what, and how finely."""

    feature: str
    bits: float = Field(description="Expected information about what to order, bits.")
    gain: float | None = Field(
        description="How much likelier the best order is then expected to be right; null while too many are in play."
    )
    instrument: str | None = Field(description="The best one at hand; null for what the eye sees.")
    again: bool = Field(description="Whether it was measured already and is worth taking again.")
    spans: int | None = Field(description="For a pitch: gaps of a whole row of the likeliest half.")
    measure_to_within_mm: float | None = Field(
        description="Coarsest limit ± that keeps nine tenths of the bits; null where it hardly matters."
    )
    together_with: str | None = Field(
        description="Where two measurements tell more than twice as much as the best one alone: the other one."
    )
    together_bits: float | None
    predicted: tuple[Predicted, ...] = Field(description="What the leading halves' entries state, likeliest first.")


class FurtherMeasuring(Out):
    """Whether further measuring can change what to order, and why."""

    settled: bool
    reason: Reason = Field(
        description="order_settled, absent_settled, nothing_tells (with what is at hand), keep_measuring."
    )
    probability: float = Field(description="Of the leading order; of the leading half while too many are in play.")
    open_bits: float = Field(description="What is not known yet: the entropy of the answer, bits.")


class Recheck(Out):
    """An observation worth taking again."""

    index: int
    feature: str
    of: Of
    slip_probability: float = Field(description="That the reading is a gross slip, if the first candidate is right.")
    likely_slip: str | None
    shift: float = Field(description="How far, 0 to 1, the answer would move without it.")


class Hint(Out):
    """Something that may have gone wrong, and what it would change; or what the observations say of each other.

    It never acts by itself: mend the observation and ask again. A hint of kind `consistency` has a message only.
    """

    kind: str = Field(description="Name of the mistake, or 'consistency'.")
    message: str = Field(description="What may have happened, in bench words.")
    change: str | None = Field(default=None, description="What it would change, in words.")
    probability: float | None = Field(default=None, description="Of the mistake, given everything that was observed.")
    indices: tuple[int, ...] = Field(default=(), description="Places of the observations that it would change.")
    feature: str | None = None
    of: Of | None = None
    corrected: dict[str, float | int | str] = Field(
        default_factory=dict, description="What would be given instead, by field of the observation."
    )
    first: str | None = Field(default=None, description="Key of the half that would come first.")
    first_probability: float | None = None
    probability_absent: float | None = None
    verdict: Verdict | None = None


class Ranking(Out):
    """What was found. The candidates' probabilities and probability_absent add up to 1 over all."""

    verdict: Verdict = Field(description="identified, shortlist or no_match.")
    probability_absent: float = Field(description="That the half is not in this catalogue.")
    prior_absent: float
    catalogue_version: int
    candidates: tuple[Candidate, ...]
    credible_set: CredibleSet


class Answer(Ranking):
    """The ranked and honest answer. The candidates' probabilities and probability_absent add up to 1 over all."""

    next_measurements: tuple[NextMeasurement, ...] = Field(
        description="Most telling first; empty where none tells anything worth the work."
    )
    further_measuring: FurtherMeasuring
    recheck: tuple[Recheck, ...]
    hints: tuple[Hint, ...] = Field(description="What may have gone wrong, likeliest first; they never act themselves.")
    cautions: tuple[str, ...] = Field(description="Read them before anything is connected.")


class ExplainAnswer(Out):
    """Why one named half stands where it stands."""

    candidate: Candidate
    sentences: tuple[str, ...]
    catalogue_version: int
    cautions: tuple[str, ...]


class Health(Out):
    """Whether the server can answer."""

    status: Literal["ok"]
    version: str
    catalogue_version: int
