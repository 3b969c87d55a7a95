"""Cases as routes and commands alike read them."""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.identification.tools_at_hand import tools_of
from api.schemas.cases import CaseOut, asked_of, case_out
from api.schemas.requests import to_observations
from catalog.cases.confirmation import Evidence, evidence_of
from catalog.cases.retrieval import Case, Seer, comments_of, get_case
from catalog.cases.specimens import SPECIMEN, Specimen
from catalog.history.preconditions import tag_of


def case_of(session: Session, key: str, seen_by: Seer) -> CaseOut:
    """A case as it is answered. Raises NotFoundError where there is none to be seen."""
    case = get_case(session, key, seen_by)
    said = tuple(comments_of(session, case.document, seen_by))
    return case_out(case, said, tag_of(session, SPECIMEN, key))


def evidence_in(case: Case) -> Evidence:
    """What of a case's observations is evidence about the half."""
    request = asked_of(Specimen.model_validate(case.document.content))
    return evidence_of(to_observations(request), tools_of(request))
