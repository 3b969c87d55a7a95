"""Answers of identification and explanation. Lengths are millimetres."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.words import BASIS_WORDS, CONTACT_WORDS, LIFECYCLE_WORDS, REASON_WORDS, STANDING_WORDS, explained
from catalog.evidence.standing import Standing
from catalog.model.entry_parts import Basis, Citation, Correspondence, HalfKind, Lifecycle, Ratings
from catalog.records.read_models import Origin
from matcher.features import Remains
from matcher.observations import Of
from matcher.plus_minus import LIMIT, PROCESS
from matcher.results import Reason, Verdict


class Out(BaseModel):
    """Base of all answers: frozen. A client ignores unknown fields."""

    model_config = ConfigDict(frozen=True)


class _Orderable(Out):
    id: str = Field(description="Its key: /v1/halves/{id}.")
    part_number: str
    order_codes: tuple[str, ...] = Field(description="Codes under which it is sold; all have the same geometry.")
    maker: str
    series: str
    half_kind: HalfKind | None


class HalfRef(_Orderable):
    """A half with what is needed to order it."""

    contact_count: int
    standing: Standing = Field(description=explained(STANDING_WORDS))


class EvidenceLine(Out):
    """One observation's share of the log-odds against the runner-up; all shares add up to the candidate's log_odds."""

    feature: str = Field(description="The feature, or 'prior' for the odds before any measurement.")
    of: Of
    index: int | None = Field(description="Index of the observation in the request; null for the prior.")
    measured: float | int | str | None
    unit: Literal["mm", "px"] | None = Field(description="Unit of measured and u; px: a picture without a scale.")
    u: float | None = Field(description="Standard uncertainty of the reading.")
    expected: float | int | str | None = Field(description="The catalogue's value for this half.")
    expected_from: str | None = Field(
        None, description="Source of expected, if measurements give it more exactly than the entry."
    )
    tolerance: float | None = Field(description=f"Parts of this half lie within ± this of expected, mm: its {PROCESS}.")
    log_odds: float = Field(description="Natural logarithm; above 0 is evidence for this half.")
    reading: str = Field(description="fits, strains, off, likely slip, no information; or before measuring.")
    slip: str | None = Field(description="The most probable slip, in words.")


class Mate(_Orderable):
    """A half that mates with the candidate: what to order. The mates of a candidate stand in the order of what is
    safest to order; where several halves share its geometry, they are those of all of them."""

    stack_height: float | None = Field(description="Board surface to board surface when mated, mm.")
    mated_width: float | None
    correspondence: Correspondence = Field(
        description=f"Which contact meets which; a mate that fits can be wired differently. {explained(CONTACT_WORDS)}"
    )
    basis: Basis = Field(description=f"Who says that they mate. {explained(BASIS_WORDS)}")
    standing: Standing = Field(description="The worse one of the mate's own and its mating's.")
    lifecycle: Lifecycle = Field(description=explained(LIFECYCLE_WORDS))
    beware: tuple[str, ...] = Field(
        description="What must be said wherever it is named: swapped rows, no longer made …"
    )
    citation: Citation | None = Field(description="The document that says that they mate.")
    ratings: Ratings | None = Field(
        description="As the mate's maker states them; without currents taken with more contacts loaded than it has."
    )
    note: str = Field(description="Notes of the mating and of the mate.")
    suits: tuple[str, ...] = Field(description="Keys of the candidate's halves for which it is listed.")
    suits_all: bool = Field(
        description="Whether it suits whichever of the candidate's halves it is: all of them list it, or a mate of the "
        "same geometry, stack height and wiring."
    )
    probability: float = Field(description="Probability that this mate was observed, if the candidate is right.")
    fits_observed: bool = Field(description="Whether it fits the observations of the other half and of the pair.")
    mating: str = Field(description="Key of the mating.")


class Candidate(Out):
    """A geometry with its probability. Halves that no measurement can distinguish are in same_geometry."""

    rank: int
    probability: float
    origin: Origin = Field(description="inferred: this variant is not listed; it follows from its series.")
    half: HalfRef
    fit_p_value: float | None = Field(
        description="Goodness of fit: how often parts of this half would fit as badly as this or worse."
    )
    against: str = Field(description="Key of the most probable other answer, or 'absent'.")
    log_odds: float
    evidence: tuple[EvidenceLine, ...]
    same_geometry: tuple[HalfRef, ...]
    end_allowance: float | None = Field(description="body_length − pitch × (positions − 1) of the half, mm.")
    mates: tuple[Mate, ...]


class CredibleSet(Out):
    """The smallest set of answers, 'not in this catalogue' included, that holds `level` of the probability."""

    level: float
    members: int
    includes_absent: bool


class SeriesShare(Out):
    """A series with the probability that the half is one of it, whichever one."""

    maker: str
    series: str
    probability: float
    half: str = Field(description="Key of its most probable half.")


class OrderedMate(Out):
    """A part of an order set."""

    mate: Mate = Field(description="As it mates with the likeliest half that lists it; suits names all that do.")
    halves: tuple[HalfRef, ...] = Field(
        description="The halves in play that it fits, most probable first: those that list it, or a mate of the same "
        "geometry, stack height and wiring."
    )
    stack_heights: tuple[float, ...] = Field(description="With these halves, mm; which one is open where several are.")
    beware: tuple[str, ...] = Field(description="What must be said of it with any of these halves.")
    probability: float = Field(description="That it fits, if the half is in this catalogue.")


class Difference(Out):
    """A feature that tells all the parts of an order set apart on arrival."""

    feature: str
    values: tuple[float | int | None, ...] = Field(description="One for each part, in their order: mm, or a number.")


class OrderSet(Out):
    """The smallest set of mates of which one fits with `level` of the probability, absent apart."""

    level: float
    probability: float = Field(description="That one of the parts fits, if the half is in this catalogue.")
    parts: tuple[OrderedMate, ...] = Field(description="The one that fits most probably comes first.")
    tell_apart: tuple[Difference, ...] = Field(description="A few; empty where nothing tells all of them apart.")


class Requirement(Out):
    """One figure that a mate must have."""

    feature: str
    value: float | int | str | None = Field(None, description="mm, a number, or a name; null where only limits are.")
    least: float | None = Field(None, description="mm.")
    most: float | None = Field(None, description="mm.")
    why: str


class CouldFit(Out):
    """A listed half that could be the mate by its figures. No source says so."""

    half: HalfRef
    checked: tuple[str, ...] = Field(description="Features that both entries state and that agree.")
    clearance: float | None = Field(
        description="Least room of the plug in the receptacle's opening by the stated sizes, mm; null if not stated."
    )


class RequiredMate(Out):
    """What a mate must be, by the figures of the half, and the listed halves that could be it."""

    half: HalfRef
    requirements: tuple[Requirement, ...]
    could_fit: tuple[CouldFit, ...] = Field(description="Those with the most figures that agree come first.")
    could_fit_in_all: int = Field(description="Number of them, named or not.")


class Predicted(Out):
    """The value of a feature in a leading half's entry: mm, a number, or names."""

    id: str = Field(description="Key of the half.")
    part_number: str
    value: float | int | str


class NextMeasurement(Out):
    """A useful next measurement of this half: its expected information, the instrument and the required accuracy."""

    feature: str
    bits: float = Field(description="Expected information about what to order, bits.")
    gain: float | None = Field(
        description="Expected increase of the probability that the best order is right; null if there are too many "
        "candidates."
    )
    instrument: str | None = Field(description="The best one at hand; null if the eye is enough.")
    again: bool = Field(description="Whether it was measured before and is worth measuring again.")
    spans: int | None = Field(description="For a pitch: gaps of a whole row of the most probable half.")
    measure_to_within_mm: float | None = Field(
        description=f"Largest {LIMIT} ± that keeps nine tenths of the bits; null if it hardly matters."
    )
    together_with: str | None = Field(
        description="A second feature, if both together give more than twice the information of the best single one."
    )
    together_bits: float | None
    predicted: tuple[Predicted, ...] = Field(description="Values of the leading halves, most probable first.")


class FurtherMeasuring(Out):
    """Whether further measurements can change what to order, and why."""

    settled: bool
    reason: Reason = Field(description=explained(REASON_WORDS))
    probability: float = Field(
        description="Of the leading order; of the leading half if there are too many candidates."
    )
    open_bits: float = Field(description="Missing information: the entropy of the answer, bits.")


class Recheck(Out):
    """An observation that is worth repeating."""

    index: int
    feature: str
    of: Of
    slip_probability: float = Field(
        description="Probability that the reading is a gross error, if the first candidate is right."
    )
    likely_slip: str | None
    shift: float = Field(description="How much the answer would change without it, 0 to 1.")


class Hint(Out):
    """A possible mistake and what its correction would change; or how the observations agree with each other.

    Nothing is corrected automatically: correct the observation and ask again. A hint of kind `consistency` has only a
    message.
    """

    kind: str = Field(description="Name of the mistake, or 'consistency'.")
    message: str = Field(description="What may have happened, in words.")
    change: str | None = Field(default=None, description="What the correction would change, in words.")
    probability: float | None = Field(default=None, description="Of the mistake, given all observations.")
    indices: tuple[int, ...] = Field(default=(), description="Indices of the observations to correct.")
    feature: str | None = None
    of: Of | None = None
    corrected: dict[str, float | int | str] = Field(
        default_factory=dict, description="Corrected values, by field of the observation."
    )
    first: str | None = Field(default=None, description="Key of the half that would then come first.")
    first_probability: float | None = None
    probability_absent: float | None = None
    verdict: Verdict | None = None


class Ranking(Out):
    """The ranking. The probabilities of all candidates and probability_absent add up to 1."""

    verdict: Verdict = Field(description="identified, shortlist or no_match.")
    probability_absent: float = Field(description="Probability that the half is not in this catalogue.")
    prior_absent: float
    catalogue_version: int
    candidates: tuple[Candidate, ...]
    credible_set: CredibleSet
    remains: Remains = Field(Remains.WHOLE, description="As in the request.")
    series: tuple[SeriesShare, ...] = Field((), description="The most probable series, most probable first.")
    order: OrderSet | None = Field(
        None,
        description="The parts to order so that one of them fits; null under no_match, and where more than a few would "
        "be needed.",
    )


class Answer(Ranking):
    """The answer. The probabilities of all candidates and probability_absent add up to 1."""

    next_measurements: tuple[NextMeasurement, ...] = Field(
        description="Most informative first; empty if none is worth the work."
    )
    further_measuring: FurtherMeasuring
    recheck: tuple[Recheck, ...]
    hints: tuple[Hint, ...] = Field(description="Possible mistakes, most probable first; nothing is corrected.")
    required_mate: RequiredMate | None = Field(
        None, description="Where no mate of the first candidate is listed: what it must be, and what it could be."
    )
    cautions: tuple[str, ...] = Field(description="Read them before you connect anything.")


class ExplainAnswer(Out):
    """Why a half has its rank."""

    candidate: Candidate
    sentences: tuple[str, ...]
    catalogue_version: int
    cautions: tuple[str, ...]


class Health(Out):
    """Whether the server can answer."""

    status: Literal["ok"]
    version: str
    catalogue_version: int
