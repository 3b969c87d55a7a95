"""Models of evidence: statements as they are sent, and the evidence about an entry."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field
from sqlalchemy.orm import Session

from api.schemas.answers import Out
from api.schemas.requests import Request
from catalog.evidence.assessment import JudgedConfirmation
from catalog.evidence.estimates import Competing, Estimate
from catalog.evidence.retrieval import assessment_of
from catalog.evidence.standing import EntryRecord, Standing
from catalog.evidence.statements import Confirmation, Resolution
from catalog.history.documents import DocumentRecord, documents
from catalog.history.preconditions import tag_of
from catalog.model.entry_parts import Citation, Dimension
from catalog.model.text_fields import Passage, Remark
from catalog.records.read import get_record
from catalog.records.read_models import assessed_of
from catalog.review import Finding

MOST_ACKNOWLEDGED = 50
"""Most findings acknowledged in one request: more than the machine review has codes."""

Acknowledged = Annotated[dict[str, Passage], Field(max_length=MOST_ACKNOWLEDGED)]


class ConfirmationIn(Request):
    """A confirmation, and reasons, by code, why severe findings of the machine review are correct as they are."""

    confirmation: Confirmation
    acknowledge: Acknowledged = Field(default_factory=dict)


class ResolutionIn(Request):
    """How a dispute ends."""

    resolution: Resolution


class ReasonIn(Request):
    """Why something is done; saved in the journal."""

    reason: Remark


class FindingOut(Out):
    """One finding of the machine review."""

    code: str
    severity: Literal["notice", "warning", "severe"]
    field: str
    message: str
    remedy: str
    value: float | str | None
    expected: float | str | None
    others: tuple[str, ...]
    concerns: int


class StatementOut(Out):
    """A statement as it is now. Changes need its `etag`."""

    record: str
    key: str
    of: str | None
    about: str | None
    state: str
    revision: int
    author: str
    added_at: str
    changed_at: str
    content: dict[str, Any]
    etag: str | None = None
    findings: tuple[FindingOut, ...] = ()


class AgreementOut(Out):
    """One measured value compared with the entry: E_n = |x − m| / √(t² + U²), at most 1 if they agree."""

    feature: str
    verdict: str
    words: str
    e_n: float | None
    difference_mm: float | None
    allowed_mm: float | None


class ConfirmationOut(Out):
    """A confirmation and how it agrees with the present entry. `counts`: it is valid and about the present values."""

    key: str
    author: str
    added_at: str
    state: str
    confirmation: Confirmation
    agreement: tuple[AgreementOut, ...]
    counts: bool
    stale: bool
    agrees: bool
    contradicts: bool
    words: str


class EstimateOut(Out):
    """A dimension from measurements, beside the stated value; `ranked` says which one identification uses."""

    feature: str
    value: float
    u: float
    people: int
    birge_ratio: float | None
    stated: float | None
    stated_u: float | None
    ranked: str
    explanation: str


class DocumentValueOut(Out):
    """The value in one document."""

    dimension: Dimension
    source: Citation | None
    said_by: str
    confirmation: str | None


class CompetingOut(Out):
    """Different values of one dimension, and which one is used and why."""

    feature: str
    values: tuple[DocumentValueOut, ...]
    ranked: int = Field(description="Index in `values` of the one that is used.")
    explanation: str


class EvidenceOut(Out):
    """All evidence about one entry, and its standing."""

    of: str
    key: str
    standing: Standing
    why: tuple[str, ...]
    confirmations: tuple[ConfirmationOut, ...]
    estimates: tuple[EstimateOut, ...]
    competing: tuple[CompetingOut, ...]
    disputes: tuple[StatementOut, ...]
    answers: tuple[StatementOut, ...]
    sightings: tuple[StatementOut, ...]
    etag: str


class StatementPage(Out):
    """Statements, oldest first. Follow `next` until it is null."""

    items: tuple[StatementOut, ...]
    next: str | None


def findings_out(findings: tuple[Finding, ...]) -> tuple[FindingOut, ...]:
    """Findings in the interface's form."""
    return tuple(FindingOut.model_validate(finding, from_attributes=True) for finding in findings)


def statement_out(
    document: DocumentRecord, etag: str | None = None, findings: tuple[Finding, ...] = ()
) -> StatementOut:
    """A statement in the interface's form."""
    fields = {name: getattr(document, name) for name in StatementOut.model_fields if hasattr(document, name)}
    return StatementOut(**fields | {"etag": etag, "findings": findings_out(findings)})


def evidence_of(session: Session, of: EntryRecord, key: str) -> EvidenceOut:
    """All evidence about one entry, and its standing. Raises NotFoundError."""
    assessment = assessment_of(session, assessed_of(get_record(session, of, key)))
    disputes = documents(session, "dispute", of=of, about=key)
    answers = [each for one in disputes for each in documents(session, "answer", of="dispute", about=one.key)]
    return EvidenceOut(
        of=of,
        key=key,
        standing=assessment.standing,
        why=assessment.why,
        confirmations=tuple(_confirmation(each) for each in assessment.confirmations),
        estimates=tuple(_estimate(name, each) for name, each in assessment.estimates.items()),
        competing=tuple(_competing(each) for each in assessment.competing),
        disputes=tuple(statement_out(document) for document in disputes),
        answers=tuple(statement_out(document) for document in answers),
        sightings=tuple(statement_out(document) for document in documents(session, "sighting", of=of, about=key)),
        etag=tag_of(session, of, key),
    )


def _confirmation(judged: JudgedConfirmation) -> ConfirmationOut:
    names = ("key", "author", "added_at", "state", "confirmation", "counts", "stale", "agrees", "contradicts", "words")
    agreement = tuple(
        AgreementOut(
            feature=each.feature,
            verdict=each.verdict,
            words=each.words,
            e_n=each.e_n,
            difference_mm=each.difference,
            allowed_mm=each.allowed,
        )
        for each in judged.features
    )
    return ConfirmationOut(**{name: getattr(judged, name) for name in names}, agreement=agreement)


def _estimate(feature: str, estimate: Estimate) -> EstimateOut:
    return EstimateOut(
        feature=feature,
        value=estimate.measured.value,
        u=estimate.measured.u,
        people=estimate.measured.people,
        birge_ratio=estimate.measured.birge_ratio,
        stated=estimate.stated,
        stated_u=estimate.stated_u,
        ranked=estimate.ranked,
        explanation=estimate.explanation,
    )


def _competing(competing: Competing) -> CompetingOut:
    values = tuple(DocumentValueOut.model_validate(value, from_attributes=True) for value in competing.values)
    return CompetingOut(
        feature=competing.feature, values=values, ranked=competing.ranked, explanation=competing.explanation
    )
