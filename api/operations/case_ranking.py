"""What the ranking makes of a kept case, and ranking open cases again when the catalogue has changed.

Every case costs one posterior (`matcher.identify.judge`), without the advice and hints of a whole answer.
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
"""The ranking looks at all suggestions."""


def checked_summary(
    snapshot: Snapshot, request: IdentifyRequest, halves: Sequence[str] = ()
) -> tuple[Summary, tuple[Judged, ...]]:
    """As `summary_of`, for a specimen that is being saved: raises as an identification does."""
    check_tried_halves(snapshot, request)
    at_hand(request, tools_of(request))
    return summary_of(snapshot, request, halves)


def judged_half(snapshot: Snapshot, request: IdentifyRequest, half: str) -> Judged:
    """What the ranking makes of a half that is suggested; raises ApiError for one that the catalogue has not."""
    require_half(snapshot, half)
    return summary_of(snapshot, request, [half])[1][0]


def summary_of(
    snapshot: Snapshot, request: IdentifyRequest, halves: Sequence[str] = ()
) -> tuple[Summary, tuple[Judged, ...]]:
    """What the ranking makes of a specimen, and of those of the named halves that the catalogue has.

    A fit that was tried with a half that is gone since is passed over, and told.
    """
    usable, passed_over = _usable(snapshot, request)
    if not snapshot.halves or not usable.observations:
        told = passed_over if snapshot.halves else (EMPTY_CATALOGUE,)
        return _nothing(snapshot, told), ()
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
    told = tuple(f"the fit with {given.value.half}, which the catalogue no longer has" for given in gone)
    return request.model_copy(update={"observations": kept}), told


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
    """The revision of a half's entry; None where nobody listed it."""
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
    """Keys of the halves that were suggested."""
    said = [Comment.model_validate(each.content) for each in comments_of(session, case.document, EVERYBODY)]
    return tuple(dict.fromkeys(each.half for each in said if each.half is not None))


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A case that was ranked again, what changed in words, and why it could not be ranked where that is so."""

    key: str
    title: str
    changes: tuple[str, ...] = ()
    fault: str = ""


def rank_again(catalogue: Catalogue, snapshot: Snapshot, *, rewritten_only: bool = False) -> Iterator[Ranked]:
    """Rank every open case whose answer is of another version of the catalogue, or of what the case was before it was
    rewritten, one a step. A case that came or was written to meanwhile is of the next call."""
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
        # Taken once, refused by this version of the program: the answer stays as it was, and that is told.
        _log.warning("the case of %s could not be ranked again: %s", case.document.added_at, error)
        return Ranked(key=case.document.key, title=specimen.title, fault=str(error))
    with catalogue.writing() as session:
        changes = renew_answer(session, case, summary, judged)
    return Ranked(key=case.document.key, title=specimen.title, changes=changes)
