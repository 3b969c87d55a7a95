"""Whether evidence can be taken for an entry as it stands, beyond its form. Pure; called before anything is saved."""

from __future__ import annotations

from catalog.evidence.errors import OwnEvidenceError, StaleEvidenceError
from catalog.evidence.judging import Assessed
from catalog.evidence.statements import Confirmation, Dispute
from catalog.model.entries import Mating, slug
from catalog.model.errors import EntryError

LISTED = "listed"


def check_confirmation(confirmation: Confirmation, entry: Assessed, actor: str) -> None:
    """Raise where ``actor`` cannot confirm the entry so.

    Raises
    ------
    StaleEvidenceError
        The revision seen is not the present one, or one since which nothing that can be measured changed.
    OwnEvidenceError
        The actor gave the figures in force and would measure them or fit the mating. Citing a document is open to
        them, and so is saying that their half mated with another.
    EntryError
        The confirmation is about another entry, the entry is withdrawn, or the fit is not that of the mating.
    """
    _check_about(confirmation, entry)
    tried = entry.content if confirmation.basis == "trial_fit" and isinstance(entry.content, Mating) else None
    if (tried or confirmation.basis == "measured") and slug(actor) == slug(entry.author):
        raise OwnEvidenceError(entry.author, confirmation.basis)
    if tried is not None:
        _check_fit(confirmation, entry.key, tried)


def check_dispute(dispute: Dispute, entry: Assessed) -> None:
    """Raise StaleEvidenceError or EntryError as `check_confirmation` does; one's own entries may be disputed."""
    _check_about(dispute, entry)


def _check_about(statement: Confirmation | Dispute, entry: Assessed) -> None:
    if (statement.of, statement.key) != (entry.of, entry.key):
        raise EntryError(
            f"it is about the {statement.of} {statement.key}, not the {entry.of} {entry.key}",
            field="key",
            value=statement.key,
            remedy="Name the entry that was looked at",
        )
    if entry.state != LISTED:
        raise EntryError(
            f"the {entry.of} {entry.key} is {entry.state}",
            field="key",
            value=entry.key,
            remedy=f"Go on at {entry.successor}" if entry.successor else "Have it restored first",
        )
    if statement.revision > entry.revision or entry.is_stale(statement.revision):
        raise StaleEvidenceError(statement.revision, entry.revision)


def _check_fit(confirmation: Confirmation, key: str, mating: Mating) -> None:
    if confirmation.mate not in (key, mating.half, mating.other):
        raise EntryError(
            f"{confirmation.mate} is no half of this mating",
            field="mate",
            value=confirmation.mate,
            remedy=f"Give the mating's own key, or one of its halves: {mating.half}, {mating.other}",
        )
