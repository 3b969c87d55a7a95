"""Submission and withdrawal of evidence: confirmations, disputes with answers and resolutions, and sightings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sqlalchemy.orm import Session

from catalog.contribute.acknowledgements import acknowledge
from catalog.evidence.agreement import Stated, Verdict, agreement
from catalog.evidence.assessment import COUNTED, OPEN, Assessed
from catalog.evidence.retrieval import seen
from catalog.evidence.statements import Answer, Confirmation, Dispute, Resolution, Sighting
from catalog.evidence.values import MeasuredValue
from catalog.history.acts import Act
from catalog.history.documents import DocumentRecord, add_document, get_document, revise_document
from catalog.model.entries import Mating, same_person
from catalog.model.errors import EntryError, ForbiddenError, OwnEvidenceError, StaleError
from catalog.records.read import get_entry
from catalog.records.read_models import require_listed
from catalog.review.findings import Code, Finding
from catalog.review.slips import INCH_FACTORS

RESOLVED, WITHDRAWN = "resolved", "withdrawn"
"""States of a resolved dispute, and of evidence that its author withdrew."""


def confirm(
    session: Session, act: Act, confirmation: Confirmation, acknowledged: Mapping[str, str]
) -> tuple[DocumentRecord, tuple[Finding, ...]]:
    """Add a confirmation; also returns the findings of the machine review about its values.

    Raises what `check_confirmation` raises, NotFoundError, and ReviewRefusedError for a value that would only fit in
    another unit, unless that is acknowledged.
    """
    entry = _entry(session, confirmation)
    check_confirmation(confirmation, entry, act.actor)
    _check_mate(session, confirmation, entry)
    findings = tuple(_units_slips(confirmation, entry.figures)) if entry.figures is not None else ()
    act = acknowledge(act, findings, acknowledged)
    document = add_document(
        session, act, "confirmation", confirmation, of=confirmation.of, about=confirmation.key, state=COUNTED
    )
    return document, findings


def _entry(session: Session, statement: Confirmation | Dispute) -> Assessed:
    return seen(session, get_entry(session, statement.of, statement.key), [statement.revision])


def _check_mate(session: Session, confirmation: Confirmation, entry: Assessed) -> None:
    """Raise NotFoundError if the half or mating that was fitted does not exist."""
    if confirmation.basis == "trial_fit" and entry.of == "half" and confirmation.mate is not None:
        get_entry(session, "mating" if "~" in confirmation.mate else "half", confirmation.mate)


def _units_slips(confirmation: Confirmation, figures: Stated) -> Iterator[Finding]:
    for place, value in enumerate(confirmation.values):
        if not isinstance(value, MeasuredValue) or not agreement(value, figures).verdict.against:
            continue
        # An uncertainty that was given with the value is wrong by the same factor; that of the instrument is not.
        slipped_u = any(each is not None for each in (value.given_u, value.plus_minus, value.expanded_u))
        corrected = value.corrected or 0.0  # in mm whatever the unit
        for factor, unit in INCH_FACTORS.items():
            u = value.u * factor if slipped_u else value.u
            size = (value.value + corrected) * factor - corrected
            other = value.model_copy(update={"value": size, "u": u})
            if agreement(other, figures).verdict is Verdict.FITS:
                yield Finding(
                    code=Code.UNITS_SLIP,
                    severity="severe",
                    field=f"values[{place}].value",
                    message=f"{value.value:g} mm does not fit, but {other.value:.4g} mm would",
                    remedy=f"Check the unit on the tool's display: mm or {unit}",
                    value=value.value,
                    expected=round(other.value, 4),
                )


def dispute(session: Session, act: Act, given: Dispute) -> DocumentRecord:
    """Open a dispute. Raises what `check_dispute` raises, and EntryError for one that is already resolved."""
    if given.resolution is not None:
        raise EntryError(
            "a new dispute has no resolution", field="resolution", value=given.resolution.outcome, remedy="Leave it out"
        )
    check_dispute(given, _entry(session, given))
    return add_document(session, act, "dispute", given, of=given.of, about=given.key, state=OPEN)


def answer(session: Session, act: Act, given: Answer) -> DocumentRecord:
    """Add an answer to an open or resolved dispute. Raises NotFoundError."""
    get_document(session, "dispute", given.dispute)
    return add_document(session, act, "answer", given, of="dispute", about=given.dispute)


def resolve(session: Session, act: Act, key: str, resolution: Resolution) -> DocumentRecord:
    """Resolve a dispute. Its author may withdraw it; a maintainer may resolve any dispute and set confirmations aside.

    Raises ForbiddenError, NotFoundError, and EntryError if it is already resolved.
    """
    document = _open(get_document(session, "dispute", key))
    own = act.actor == document.author and resolution.outcome == "dispute_withdrawn" and not resolution.set_aside
    if not (act.maintainer or own):
        raise ForbiddenError(
            "only a maintainer can resolve a dispute",
            field="outcome",
            value=resolution.outcome,
            remedy="Answer the dispute instead; only the person who opened it can withdraw it",
        )
    for place, aside in enumerate(resolution.set_aside):
        confirmation = get_document(session, "confirmation", aside)
        if (confirmation.of, confirmation.about) != (document.of, document.about):
            raise EntryError(
                "this confirmation is about another entry",
                field=f"set_aside[{place}]",
                value=aside,
                remedy="Give confirmations of the disputed entry only",
            )
    settled = Dispute.model_validate(document.content).resolved(resolution, act.actor)
    return revise_document(session, act, document, "resolve", content=settled, state=RESOLVED)


def _open(document: DocumentRecord) -> DocumentRecord:
    if document.state != OPEN:
        raise EntryError(
            f"this dispute is already {document.state}",
            field="key",
            value=document.key,
            remedy="Open a new dispute if something else is wrong",
        )
    return document


def sight(session: Session, act: Act, sighting: Sighting) -> DocumentRecord:
    """Record where a half was found. Raises NotFoundError."""
    get_entry(session, "half", sighting.half)
    return add_document(session, act, "sighting", sighting, of="half", about=sighting.half, state=COUNTED)


def withdraw_document(session: Session, act: Act, record: str, key: str) -> DocumentRecord:
    """Withdraw one's own confirmation, sighting, answer or comment, or as a maintainer anybody's. It can still be read.

    Raises ForbiddenError, NotFoundError, and EntryError if it is already withdrawn.
    """
    document = get_document(session, record, key)
    if not (act.maintainer or act.actor == document.author):
        raise ForbiddenError(
            f"this {record} is {document.author}'s",
            field="key",
            value=key,
            remedy="Only its author or a maintainer can withdraw it; you can dispute the entry",
        )
    if document.state == WITHDRAWN:
        raise EntryError(
            f"this {record} is already withdrawn", field="key", value=key, remedy="There is nothing left to do"
        )
    return revise_document(session, act, document, "withdraw", state=WITHDRAWN)


def check_confirmation(confirmation: Confirmation, entry: Assessed, actor: str) -> None:
    """Raise an error if ``actor`` cannot confirm the entry in this way.

    Raises
    ------
    StaleError
        The figures of the entry have changed since the revision that was looked at.
    OwnEvidenceError
        The actor made the present figures and would confirm them by measuring, or by fitting the mating. They may cite
        a document, or say that their half mated with another.
    EntryError
        The confirmation is about another entry, the entry is not listed, or the trial fit is of another mating.
    """
    _check_about(confirmation, entry)
    tried = entry.content if confirmation.basis == "trial_fit" and isinstance(entry.content, Mating) else None
    if (tried or confirmation.basis == "measured") and same_person(actor, entry.author):
        raise OwnEvidenceError(
            f"the present figures are {entry.author}'s own, and nobody can confirm their own by measuring or fitting",
            field="basis",
            value=confirmation.basis,
            remedy="Ask another person to measure a part, or correct the figures instead",
        )
    if tried is not None:
        _check_fit(confirmation, entry.key, tried)


def check_dispute(dispute: Dispute, entry: Assessed) -> None:
    """Raise StaleError or EntryError as `check_confirmation` does. People may dispute their own entries."""
    _check_about(dispute, entry)


def _check_about(statement: Confirmation | Dispute, entry: Assessed) -> None:
    if (statement.of, statement.key) != (entry.of, entry.key):
        raise EntryError(
            f"this is about the {statement.of} {statement.key}, not the {entry.of} {entry.key}",
            field="key",
            value=statement.key,
            remedy="Give the entry that was looked at",
        )
    require_listed(entry, field="key")
    if statement.revision > entry.revision or entry.is_stale(statement.revision):
        raise StaleError(
            f"the entry changed since revision {statement.revision}; it is at revision {entry.revision} now",
            field="revision",
            value=statement.revision,
            remedy="Look at the entry as it is now, then confirm or dispute it",
        )


def _check_fit(confirmation: Confirmation, key: str, mating: Mating) -> None:
    if confirmation.mate not in (key, mating.half, mating.other):
        raise EntryError(
            f"{confirmation.mate} is not a half of this mating",
            field="mate",
            value=confirmation.mate,
            remedy=f"Give the mating's own key, or one of its halves: {mating.half}, {mating.other}",
        )
