"""What people said about an entry, and what it comes to, in words: standing, confirmations, disputes, documents."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.web.entries.dimension_rows import source_figure
from api.web.page.figures import STANDING_WORDS, day, label, mm
from catalog.evidence.assessment import Assessment, JudgedConfirmation, OpenDispute
from catalog.evidence.estimates import Competing, DocumentValue
from catalog.evidence.standing import EntryRecord
from catalog.evidence.values import MeasuredValue
from catalog.history.documents import documents
from catalog.model.entries import Citation
from matcher.features import FEATURES

SHOWN_CONFIRMATIONS, SHOWN_SIGHTINGS = 12, 12
"""Confirmations and sightings on a page; of more the newest, and a link to all."""

METHOD_WORDS = {"measured": "measured it", "document": "read a document", "trial_fit": "tried a fit"}


@dataclass(frozen=True, kw_only=True)
class ConfirmationLine:
    """Somebody looked: who, when, how, what it says. ``mark`` is agrees, against, open, or void."""

    who: str
    day: str
    how: str
    words: str
    mark: str
    details: str
    note: str


@dataclass(frozen=True, kw_only=True)
class DisputeLine:
    """An open dispute, and what was answered: (who, text). ``page`` is where one answers or settles it."""

    page: str
    who: str
    day: str
    about: str
    reason: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class DocumentLine:
    """One document's figure of a dimension."""

    figure: str
    source: str
    who: str
    used: bool


@dataclass(frozen=True, kw_only=True)
class CompetingLine:
    """Documents that differ about one dimension."""

    label: str
    values: tuple[DocumentLine, ...]
    explanation: str


@dataclass(frozen=True, kw_only=True)
class SightingLine:
    """A device in which the half was found."""

    device: str
    board: str
    note: str
    source: str
    who: str
    day: str


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Everything said about one entry, in words. The last of ``why`` says what is missing."""

    standing: str
    meaning: str
    why: tuple[str, ...]
    confirmations: tuple[ConfirmationLine, ...]
    confirmation_count: int
    disputes: tuple[DisputeLine, ...]
    competing: tuple[CompetingLine, ...]
    sightings: tuple[SightingLine, ...]
    sighting_count: int
    source: str
    source_address: str


def evidence_of(
    session: Session, of: EntryRecord, key: str, assessment: Assessment, citation: Citation | None, everything: bool
) -> Evidence:
    """An entry's evidence; ``everything`` shows all confirmations and sightings, else the newest."""
    listed = [each for each in assessment.confirmations if each.state == "listed"]
    seen = documents(session, "sighting", of=of, about=key, state="listed") if of == "half" else []
    most_said, most_seen = (None, None) if everything else (SHOWN_CONFIRMATIONS, SHOWN_SIGHTINGS)
    return Evidence(
        standing=assessment.standing,
        meaning=STANDING_WORDS[assessment.standing],
        why=assessment.why,
        confirmations=tuple(_confirmation(each) for each in listed[::-1][:most_said]),
        confirmation_count=len(listed),
        disputes=tuple(_dispute(session, each) for each in assessment.disputes),
        competing=tuple(_competing(each) for each in assessment.competing),
        sightings=tuple(_sighting(each.content, each.author, each.added_at) for each in seen[::-1][:most_seen]),
        sighting_count=len(seen),
        source=cited(citation),
        source_address=web_address(citation),
    )


def cited(citation: Citation | None) -> str:
    """A document, with its revision and page."""
    if citation is None:
        return ""
    revision = f"revision {citation.revision}" if citation.revision else ""
    page = f"page {citation.page}" if citation.page else ""
    return ", ".join(part for part in (citation.title, revision, page) if part)


def web_address(citation: Citation | None) -> str:
    """Where the document can be read; only web addresses become links."""
    address = "" if citation is None else citation.address
    return address if address.startswith(("https://", "http://")) else ""


def _confirmation(each: JudgedConfirmation) -> ConfirmationLine:
    return ConfirmationLine(
        who=each.author,
        day=day(each.added_at),
        how=METHOD_WORDS[each.confirmation.basis],
        words=each.words if each.counts else f"{each.words}; does not count any more",
        mark=_mark(each),
        details=_details(each),
        note=each.confirmation.note,
    )


def _mark(each: JudgedConfirmation) -> str:
    if not each.counts:
        return "void"
    return "against" if each.contradicts else "agrees" if each.agrees else "open"


def _details(each: JudgedConfirmation) -> str:
    given = each.confirmation
    if given.basis == "document":
        return cited(given.citation)
    measured = [
        f"{FEATURES[value.feature].label} {mm(value.value)} ± {mm(2 * value.u)} mm"
        for value in given.values
        if isinstance(value, MeasuredValue)
    ]
    return ", ".join(measured)


def _dispute(session: Session, each: OpenDispute) -> DisputeLine:
    answers = documents(session, "answer", of="dispute", about=each.key, state="listed")
    return DisputeLine(
        page=f"/disputes/{each.key}",
        who=each.author,
        day=day(each.added_at),
        about=label(each.dispute.feature) if each.dispute.feature else "The whole entry",
        reason=each.dispute.reason,
        answers=tuple((answer.author, answer.content["text"]) for answer in answers),
    )


def _competing(each: Competing) -> CompetingLine:
    values = tuple(_document(value, place == each.ranked) for place, value in enumerate(each.values))
    return CompetingLine(label=label(each.feature), values=values, explanation=each.explanation)


def _document(value: DocumentValue, used: bool) -> DocumentLine:
    source = source_figure(value.dimension)
    tolerance = f" ± {mm(value.dimension.tolerance)}" if value.dimension.tolerance is not None else ""
    figure = f"{mm(value.dimension.value)}{tolerance} mm"
    return DocumentLine(
        figure=f"{source}, {figure}" if source else figure,
        source=cited(value.source) or "the entry, which cites nothing",
        who=value.said_by,
        used=used,
    )


def _sighting(content: dict[str, object], author: str, added_at: str) -> SightingLine:
    citation = content.get("citation")
    return SightingLine(
        device=str(content["device"]),
        board=str(content.get("board", "")),
        note=str(content.get("note", "")),
        source=cited(Citation.model_validate(citation)) if citation else "",
        who=author,
        day=day(added_at),
    )
