"""The calls of the typed client that give and read evidence about entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.client.connection import Connection, address, at
from api.schemas.evidence import EvidenceOut, StatementOut


class EvidenceCalls(Connection):
    """Evidence that `api.client.client.Client` can give. Values have the form of observations: ``{"feature": "pitch",
    "value": 0.4, "u": 0.003}``."""

    def evidence(self, record: str, key: str) -> EvidenceOut:
        """All evidence about an entry ("half", "series" or "mating"), and its standing."""
        return self._ask(EvidenceOut, "GET", at(record, key, "evidence"))

    def confirm_measured(
        self,
        key: str,
        revision: int,
        values: Sequence[Mapping[str, Any]],
        *,
        record: str = "half",
        note: str = "",
        acknowledge: Mapping[str, str] | None = None,
    ) -> StatementOut:
        """Confirm a revision of an entry by what was measured on a part."""
        more = {"basis": "measured", "values": [dict(value) for value in values]}
        return self._confirm(record, key, revision, note, acknowledge, more)

    def confirm_by_document(
        self,
        key: str,
        revision: int,
        *,
        title: str,
        document_revision: str,
        page: str,
        address: str = "",
        stated: Mapping[str, Mapping[str, Any]] | None = None,
        record: str = "half",
        note: str = "",
    ) -> StatementOut:
        """Confirm an entry by a document; ``stated`` are the dimensions that the document gives."""
        citation = {"title": title, "revision": document_revision, "page": page, "address": address}
        more = {"basis": "document", "citation": citation, "stated": dict(stated or {})}
        return self._confirm(record, key, revision, note, None, more)

    def confirm_by_fit(
        self, key: str, revision: int, *, mate: str, mates: bool, record: str = "mating", note: str = ""
    ) -> StatementOut:
        """Say whether two parts mated in a trial; ``mate`` is the key of the other half, or of the mating."""
        more = {"basis": "trial_fit", "mate": mate, "result": "mates" if mates else "does_not_mate"}
        return self._confirm(record, key, revision, note, None, more)

    def dispute(
        self, key: str, revision: int, reason: str, *, feature: str | None = None, record: str = "half"
    ) -> StatementOut:
        """Dispute an entry, in one feature or as a whole, with a reason."""
        body = {"of": record, "key": key, "revision": revision, "feature": feature, "reason": reason}
        return self._write(StatementOut, "POST", "/v1/disputes", body)

    def answer_dispute(self, dispute: str, text: str) -> StatementOut:
        """Add to the discussion of a dispute."""
        return self._write(StatementOut, "POST", address("disputes", dispute, "answers"), {"reason": text})

    def resolve_dispute(
        self, dispute: str, tag: str, outcome: str, reason: str, *, set_aside: Sequence[str] = ()
    ) -> StatementOut:
        """Resolve a dispute; ``tag`` is the ``etag`` with which it was read."""
        resolution = {"outcome": outcome, "reason": reason, "set_aside": list(set_aside)}
        path = address("disputes", dispute, "resolve")
        return self._write(StatementOut, "POST", path, {"resolution": resolution}, tag)

    def sight(self, half: str, device: str, *, board: str = "", note: str = "") -> StatementOut:
        """Say in which device, and on which of its boards, a half was found."""
        body = {"half": half, "device": device, "board": board, "note": note}
        return self._write(StatementOut, "POST", "/v1/sightings", body)

    def take_back(self, record: str, key: str, tag: str, reason: str) -> StatementOut:
        """Withdraw one's own statement: a "confirmation" or "sighting"."""
        path = address(f"{record}s", key, "withdraw")
        return self._write(StatementOut, "POST", path, {"reason": reason}, tag)

    def _confirm(
        self,
        record: str,
        key: str,
        revision: int,
        note: str,
        acknowledge: Mapping[str, str] | None,
        more: Mapping[str, Any],
    ) -> StatementOut:
        said = {"of": record, "key": key, "revision": revision, "note": note, **more}
        body = {"confirmation": said, "acknowledge": dict(acknowledge or {})}
        return self._write(StatementOut, "POST", "/v1/confirmations", body)
