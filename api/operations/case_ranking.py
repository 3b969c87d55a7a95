"""Rank a case when it is saved, and open cases again when the catalogue has changed.

Each ranking computes one posterior (`matcher.identify.judge`), without the advice and hints of a full answer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.identification.advising import readings_of
from api.identification.answering import EMPTY_CATALOGUE, check_tried_halves
from api.identification.nearest import require_half
from api.identification.tools_at_hand import at_hand, tools_of
from api.schemas.cases import asked_of
from api.schemas.requests import FitObservation, IdentifyRequest
from api.service.logs import logger
from catalog.cases.answer_history import renew_answer
from catalog.cases.retrieval import Case, Seer, comments_of, next_behind
from catalog.cases.specimens import MOST_ALIKE, Comment, Judged, Led, Specimen, Summary
from catalog.db.database import Catalogue
from catalog.snapshot.snapshot import Snapshot
from matcher import identify as ranking
from matcher.decision.evidence import sentences
from matcher.errors import ObservationErrors
from matcher.results import Candidate, Judgement

_log = logger()

EVERYBODY = Seer(maintainer=True)
"""The ranking uses all suggestions."""


def checked_summary(
    snapshot: Snapshot, request: IdentifyRequest, halves: Sequence[str] = ()
) -> tuple[Summary, tuple[Judged, ...]]:
    """As `summary_of`, for a specimen that is being saved: raises the errors of an identification."""
    check_tried_halves(snapshot, request)
    at_hand(request, tools_of(request))
    return summary_of(snapshot, request, halves)


def judged_half(snapshot: Snapshot, request: IdentifyRequest, half: str) -> Judged:
    """The ranking of a suggested half; raises ApiError if the catalogue does not have it."""
    require_half(snapshot, half)
    return summary_of(snapshot, request, [half])[1][0]


def summary_of(
    snapshot: Snapshot, request: IdentifyRequest, halves: Sequence[str] = ()
) -> tuple[Summary, tuple[Judged, ...]]:
    """The ranking of a specimen, and that of each of ``halves`` that the catalogue has.

    A trial fit with a half that the catalogue no longer has is not used, and the summary says so.
    """
    usable, passed_over = _usable(snapshot, request)
    if not snapshot.halves or not usable.observations:
        not_used = passed_over if snapshot.halves else (EMPTY_CATALOGUE,)
        return _nothing(snapshot, not_used), ()
    known = [half for half in dict.fromkeys(halves) if half in snapshot.halves]
    found = ranking.judge(
        snapshot.columns, snapshot.absent, readings_of(usable), known, prior_absent=usable.prior_absent
    )
    return _summary(snapshot, found, passed_over), tuple(_judged(each) for each in found.named)


def _usable(snapshot: Snapshot, request: IdentifyRequest) -> tuple[IdentifyRequest, tuple[str, ...]]:
    gone = [
        given
        for given in request.observations
        if isinstance(given, FitObservation) and given.value.half not in snapshot.halves
    ]
    kept = tuple(given for given in request.observations if given not in gone)
    not_used = tuple(f"the trial fit with {given.value.half}, which the catalogue no longer has" for given in gone)
    return request.model_copy(update={"observations": kept}), not_used


def _nothing(snapshot: Snapshot, passed_over: tuple[str, ...]) -> Summary:
    return Summary(
        verdict="no_match", probability_absent=1.0, catalogue_version=snapshot.version, passed_over=passed_over
    )


def _summary(snapshot: Snapshot, found: Judgement, passed_over: tuple[str, ...]) -> Summary:
    first = found.first
    alike = () if first is None else (first.key, *first.same_geometry)
    return Summary(
        verdict=found.verdict.value,
        probability_absent=found.probability_absent,
        catalogue_version=snapshot.version,
        halves=tuple(_led(snapshot, key) for key in alike[:MOST_ALIKE]),
        alike=len(alike),
        probability=None if first is None else first.probability,
        passed_over=passed_over,
    )


def _led(snapshot: Snapshot, key: str) -> Led:
    record = snapshot.halves[key]
    return Led(key=key, part_number=record.half.part_number, revision=revision_of(snapshot, key))


def revision_of(snapshot: Snapshot, key: str) -> int | None:
    """The revision of a half's entry; None for an inferred half."""
    record = snapshot.halves[key]
    return record.revision if record.origin == "listed" else None


def _judged(found: Candidate) -> Judged:
    return Judged(
        half=found.key,
        rank=found.rank,
        probability=found.probability,
        against=found.against,
        log_odds=found.log_odds,
        fit_p_value=found.fit_p_value,
        sentences=tuple(sentences(found)),
    )


def suggested(session: Session, case: Case) -> tuple[str, ...]:
    """Keys of the halves suggested in a case's comments."""
    comments = [Comment.model_validate(each.content) for each in comments_of(session, case.document, EVERYBODY)]
    return tuple(dict.fromkeys(each.half for each in comments if each.half is not None))


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A case that was ranked again, the changes in words, and the error if it could not be ranked."""

    key: str
    title: str
    changes: tuple[str, ...] = ()
    fault: str = ""


def rank_again(catalogue: Catalogue, snapshot: Snapshot, *, rewritten_only: bool = False) -> Iterator[Ranked]:
    """Rank every open case whose answer is outdated, because of a new version of the catalogue or a new revision of the
    case; one case per step. Cases that are added or changed during the call wait for the next one."""
    after, version = 0, None if rewritten_only else snapshot.version
    while True:
        with catalogue.reading() as session:
            case = next_behind(session, version, after)
            halves = () if case is None else suggested(session, case)
        if case is None:
            return
        after = case.document.id
        yield _rank(catalogue, snapshot, case, halves)


def _rank(catalogue: Catalogue, snapshot: Snapshot, case: Case, halves: Sequence[str]) -> Ranked:
    specimen = Specimen.model_validate(case.document.content)
    try:
        summary, judged = summary_of(snapshot, asked_of(specimen), halves)
    except ObservationErrors as error:
        # An earlier version of the program accepted this specimen, this one does not: keep the answer and say so.
        _log.warning("the case of %s could not be ranked again: %s", case.document.added_at, error)
        return Ranked(key=case.document.key, title=specimen.title, fault=str(error))
    with catalogue.writing() as session:
        changes = renew_answer(session, case, summary, judged)
    return Ranked(key=case.document.key, title=specimen.title, changes=changes)
