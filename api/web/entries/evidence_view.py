"""The evidence about an entry: standing, confirmations, disputes, documents, sightings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from api.schemas.words import STANDING_WORDS
from api.web.entries.dimension_rows import source_figure
from api.web.page.figures import cited, limits, mm, with_u
from catalog.evidence.assessment import Assessment, JudgedConfirmation
from catalog.evidence.estimates import DocumentValue
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import Sighting
from catalog.evidence.values import MeasuredValue
from catalog.history.documents import DocumentRecord, documents
from catalog.model.entry_parts import Citation
from matcher.features import FEATURES
from matcher.plus_minus import INTERVAL

SHOWN_CONFIRMATIONS, SHOWN_SIGHTINGS = 12, 12
"""Confirmations and sightings on a page: the newest, and a link to all."""

METHOD_WORDS = {"measured": "measured it", "document": "read a document", "trial_fit": "tried a fit"}


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """The evidence about one entry, as its page shows it. ``confirmations`` and ``sightings`` are the newest of all;
    ``answers`` are those to each open dispute, by its key."""

    assessment: Assessment
    citation: Citation | None
    confirmations: Sequence[JudgedConfirmation]
    confirmation_count: int
    answers: Mapping[str, Sequence[DocumentRecord]]
    sightings: Sequence[tuple[DocumentRecord, Sighting]]
    sighting_count: int

    @property
    def meaning(self) -> str:
        """The meaning of the standing."""
        return STANDING_WORDS[self.assessment.standing]

    @property
    def source_address(self) -> str:
        """The address of the entry's document; only web addresses become links."""
        address = "" if self.citation is None else self.citation.address
        return address if address.startswith(("https://", "http://")) else ""

    def method(self, each: JudgedConfirmation) -> str:
        """The basis of a confirmation."""
        return METHOD_WORDS[each.confirmation.basis]

    def mark(self, each: JudgedConfirmation) -> str:
        """The class of a confirmation: agrees, against, open (it settles nothing) or void (it does not count)."""
        if not each.counts:
            return "void"
        return "against" if each.contradicts else "agrees" if each.agrees else "open"

    def details(self, each: JudgedConfirmation) -> str:
        """The measured values, or the document."""
        given = each.confirmation
        if given.basis == "document":
            return cited(given.citation)
        return ", ".join(
            f"{FEATURES[value.feature].label} {with_u(value.value, value.u)} mm ({INTERVAL})"
            for value in given.values
            if isinstance(value, MeasuredValue)
        )

    def figure(self, value: DocumentValue) -> str:
        """A document's figure: as the document gives it, and in mm."""
        in_mm = f"{mm(value.dimension.value)}{limits(value.dimension.tolerance)} mm"
        source = source_figure(value.dimension)
        return f"{source}, {in_mm}" if source else in_mm


def evidence_of(
    session: Session, of: EntryRecord, key: str, assessment: Assessment, citation: Citation | None, everything: bool
) -> Evidence:
    """An entry's evidence; ``everything`` shows all confirmations and sightings, else the newest."""
    listed = [each for each in assessment.confirmations if each.state == "listed"]
    seen = documents(session, "sighting", of=of, about=key, state="listed") if of == "half" else []
    most_said, most_seen = (None, None) if everything else (SHOWN_CONFIRMATIONS, SHOWN_SIGHTINGS)
    return Evidence(
        assessment=assessment,
        citation=citation,
        confirmations=listed[::-1][:most_said],
        confirmation_count=len(listed),
        answers={
            each.key: documents(session, "answer", of="dispute", about=each.key, state="listed")
            for each in assessment.disputes
        },
        sightings=[(each, Sighting.model_validate(each.content)) for each in seen[::-1][:most_seen]],
        sighting_count=len(seen),
    )
