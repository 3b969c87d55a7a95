"""From a request to an answer: reduce the readings, rank the halves, and describe what was found.

The JSON interface, the pages and the command line all use these functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from api.identification.advising import further_measuring, next_measurements, readings_of, reduction_of
from api.identification.cautions import CAUTIONS
from api.identification.mates import half_ref, mates_of
from api.identification.nearest import require_half, unknown_half
from api.identification.order_set import order_set
from api.identification.required_mate import required_mate
from api.identification.tools_at_hand import at_hand, tools_of
from api.schemas import answers
from api.schemas.requests import ExplainRequest, FitObservation, IdentifyRequest
from api.service.problems import ApiError
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from matcher import identify as ranking
from matcher.features import FEATURES, Kind
from matcher.identify import CREDIBLE_LEVEL
from matcher.observations import Reduced
from matcher.results import (
    Candidate,
    EvidenceLine,
    Hint,
    Identification,
    Ranking,
    Reason,
    SeriesShare,
    Verdict,
)

EMPTY_CATALOGUE = "The catalogue is empty: load entries with 'otherhalf import PATH', or try 'otherhalf demo'."


def answer(snapshot: Snapshot, request: IdentifyRequest) -> answers.Answer:
    """Rank the catalogue for a specimen.

    Raises ObservationErrors for readings that make no sense and ApiError for a trial fit with an unknown half.
    """
    tools = tools_of(request)
    check_tried_halves(snapshot, request)
    reduced = reduction_of(request, tools)
    readings = reduced.readings
    if not snapshot.halves:
        return _nothing_to_rank(snapshot, request)
    found = ranking.identify(
        snapshot.columns,
        snapshot.absent,
        readings,
        prior_absent=request.prior_absent,
        limit=request.limit,
        at_hand=at_hand(request, tools),
        instruments=tools,
        remains=request.remains,
    )
    return answers.Answer(
        **_ranking(snapshot, request, found, readings),
        next_measurements=next_measurements(snapshot, found.advice),
        further_measuring=further_measuring(found.advice),
        recheck=tuple(answers.Recheck.model_validate(each, from_attributes=True) for each in found.recheck),
        hints=(*map(_hint, found.hints), *(consistency(note) for note in (*found.notes, *reduced.notes))),
        required_mate=_required_mate(snapshot, found),
        cautions=CAUTIONS,
    )


def _required_mate(snapshot: Snapshot, found: Identification) -> answers.RequiredMate | None:
    if found.verdict is Verdict.NO_MATCH or not found.candidates or found.candidates[0].mates:
        return None
    return required_mate(snapshot, snapshot.halves[found.candidates[0].key])


def ranking_of(snapshot: Snapshot, request: IdentifyRequest) -> answers.Ranking:
    """The ranking alone, at a part of the cost of `answer`; raises the same errors."""
    readings = _reduced(snapshot, request)
    if not snapshot.halves:
        return _nothing_to_rank(snapshot, request)
    found = ranking.rank(
        snapshot.columns, snapshot.absent, readings, prior_absent=request.prior_absent, limit=request.limit
    )
    return answers.Ranking(**_ranking(snapshot, request, found, readings))


def _ranking(
    snapshot: Snapshot, request: IdentifyRequest, found: Identification | Ranking, readings: Sequence[Reduced]
) -> dict[str, Any]:
    """The fields of a `Ranking` as it is answered."""
    return {
        "verdict": found.verdict,
        "probability_absent": found.probability_absent,
        "prior_absent": request.prior_absent,
        "catalogue_version": snapshot.version,
        "candidates": tuple(_candidate(snapshot, candidate, readings) for candidate in found.candidates),
        "credible_set": answers.CredibleSet.model_validate(found.credible_set, from_attributes=True),
        "remains": request.remains,
        "series": tuple(_series(snapshot, each) for each in found.series),
        "order": order_set(snapshot, found),
    }


def _series(snapshot: Snapshot, found: SeriesShare) -> answers.SeriesShare:
    half = snapshot.halves[found.key].half
    return answers.SeriesShare(maker=half.maker, series=half.series, probability=found.probability, half=found.key)


def _nothing_to_rank(snapshot: Snapshot, request: IdentifyRequest) -> answers.Answer:
    """The answer of an empty catalogue: the half is certainly not in it."""
    return answers.Answer(
        verdict=Verdict.NO_MATCH,
        probability_absent=1.0,
        prior_absent=request.prior_absent,
        catalogue_version=snapshot.version,
        candidates=(),
        credible_set=answers.CredibleSet(level=CREDIBLE_LEVEL, members=1, includes_absent=True),
        remains=request.remains,
        series=(),
        next_measurements=(),
        further_measuring=answers.FurtherMeasuring(
            settled=True, reason=Reason.NOTHING_TELLS, probability=1.0, open_bits=0.0
        ),
        recheck=(),
        hints=(consistency(EMPTY_CATALOGUE),),
        cautions=CAUTIONS,
    )


def consistency(message: str) -> answers.Hint:
    """A hint that does not name a mistake."""
    return answers.Hint(kind="consistency", message=message)


def _hint(found: Hint) -> answers.Hint:
    return answers.Hint.model_validate({**vars(found), "corrected": dict(found.corrected)})


def explanation(snapshot: Snapshot, request: ExplainRequest) -> answers.ExplainAnswer:
    """Why a half has its rank; raises the errors of `answer`, and ApiError for an unknown half."""
    readings = _reduced(snapshot, request)
    require_half(snapshot, request.half)
    found = ranking.explain(
        snapshot.columns, snapshot.absent, readings, request.half, prior_absent=request.prior_absent
    )
    return answers.ExplainAnswer(
        candidate=_candidate(snapshot, found.candidate, readings),
        sentences=found.sentences,
        catalogue_version=snapshot.version,
        cautions=CAUTIONS,
    )


def _reduced(snapshot: Snapshot, request: IdentifyRequest) -> Sequence[Reduced]:
    check_tried_halves(snapshot, request)
    return readings_of(request)


def check_tried_halves(snapshot: Snapshot, request: IdentifyRequest) -> None:
    """Raise ApiError if a fit was tried with a half that the catalogue does not have."""
    unknown = [
        unknown_half(snapshot, given.value.half, f"observations[{index}].value.half")
        for index, given in enumerate(request.observations)
        if isinstance(given, FitObservation) and given.value.half not in snapshot.halves
    ]
    if unknown:
        raise ApiError("unknown-half", unknown[0].message, unknown)


def _candidate(snapshot: Snapshot, found: Candidate, readings: Sequence[Reduced]) -> answers.Candidate:
    record, units = snapshot.halves[found.key], {reading.index: _unit(reading) for reading in readings}
    return answers.Candidate(
        rank=found.rank,
        probability=found.probability,
        origin=record.origin,
        half=half_ref(record),
        fit_p_value=found.fit_p_value,
        against=found.against,
        log_odds=found.log_odds,
        evidence=tuple(
            answers.EvidenceLine(
                **vars(line),
                unit=None if line.index is None else units[line.index],
                expected_from=_measured_by(record, line),
            )
            for line in found.evidence
        ),
        same_geometry=tuple(half_ref(snapshot.halves[key]) for key in found.same_geometry),
        end_allowance=end_allowance(record),
        mates=mates_of(snapshot, found),
    )


def _measured_by(record: HalfRecord, line: EvidenceLine) -> str | None:
    known = record.better_known.get(line.feature)
    return known.explanation if known is not None and line.of == "this" else None


def _unit(reading: Reduced) -> Literal["mm", "px"] | None:
    if FEATURES[reading.feature].kind is not Kind.DIMENSION:
        return None
    return "px" if reading.unscaled else "mm"


def end_allowance(record: HalfRecord) -> float | None:
    """body_length − pitch × (positions − 1), mm; None if the entry does not state all of them, or has several banks."""
    half = record.half
    length, pitch = half.dimensions.get("body_length"), half.dimensions.get("pitch")
    if length is None or pitch is None or half.counts.get("bank_count", 1) > 1:
        return None
    return round(length.value - pitch.value * (half.contacts_per_row - 1), 4)
