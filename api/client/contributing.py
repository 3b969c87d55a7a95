"""The calls of the typed client that change the catalogue, and those that read its history."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from api.client.connection import Connection, address, at
from api.schemas.contributing import ChangeOut, ContributedOut, ReviewOut
from api.schemas.history import JournalPage, PendingOut, PendingPage, UndoneOut
from api.schemas.people import ContributorList, ContributorOut, MeOut, TokenList, TokenMadeOut, TokenOut
from catalog.history.journal import JournalEntry
from catalog.model.entries import Half, Mating, Series
from catalog.records.read_models import HalfRecord, MatingRecord, SeriesRecord

R = TypeVar("R", bound=BaseModel)

GivenEntry = Half | Series | Mating | Mapping[str, Any]

_RECORDS: Mapping[str, type[HalfRecord] | type[SeriesRecord] | type[MatingRecord]] = {
    "half": HalfRecord,
    "series": SeriesRecord,
    "mating": MatingRecord,
}


@dataclass(frozen=True, kw_only=True)
class Read(Generic[R]):
    """An entry, and the tag that a change of it needs."""

    record: R
    tag: str


class ContributingCalls(Connection):
    """Changes that `api.client.client.Client` can make. Each has its own idempotency key: if the connection breaks or
    the server is busy it is sent once more, which is safe."""

    def review(self, entry: GivenEntry, *, page_size: int | None = None, cursor: str | None = None) -> ReviewOut:
        """The machine review of an entry, and the halves and matings that a series' laws make; nothing is saved."""
        query = {"limit": page_size, "cursor": cursor}
        return self._ask(ReviewOut, "POST", "/v1/review", query=query, body={"entry": _plain(entry)})

    def contribute(
        self, entry: GivenEntry, *, reason: str = "", acknowledge: Mapping[str, str] | None = None
    ) -> ContributedOut:
        """Add an entry. ``acknowledge`` gives the reason, by code, why a severe finding is correct as it is."""
        plain = _plain(entry)
        body = {"entry": plain, "reason": reason, "acknowledge": dict(acknowledge or {})}
        return self._write(ContributedOut, "POST", at(plain["record"]), body)

    def read(self, record: str, key: str) -> Read[HalfRecord | SeriesRecord | MatingRecord]:
        """Read an entry ("half", "series" or "mating") with the tag that a change needs."""
        response = self._send("GET", at(record, key))
        return Read(record=self._read(_RECORDS[record], response), tag=response.headers["ETag"])

    def revise(
        self,
        key: str,
        entry: GivenEntry,
        *,
        tag: str,
        reason: str = "",
        acknowledge: Mapping[str, str] | None = None,
    ) -> ChangeOut:
        """Give an entry new content; ``tag`` is the tag with which it was read."""
        plain = _plain(entry)
        body = {"entry": plain, "reason": reason, "acknowledge": dict(acknowledge or {})}
        return self._write(ChangeOut, "PUT", at(plain["record"], key), body, tag=tag)

    def withdraw(self, record: str, key: str, *, tag: str, reason: str) -> ChangeOut:
        """Propose to withdraw an entry; ``pending`` says when that happens."""
        return self._write(ChangeOut, "POST", at(record, key, "withdraw"), {"reason": reason}, tag=tag)

    def merge(self, key: str, into: str, *, tag: str, reason: str) -> ChangeOut:
        """Propose to merge this half into another."""
        body = {"into": into, "reason": reason}
        return self._write(ChangeOut, "POST", at("half", key, "merge"), body, tag=tag)

    def restore(self, record: str, key: str, *, tag: str, reason: str) -> ChangeOut:
        """Restore an entry that was withdrawn or merged."""
        return self._write(ChangeOut, "POST", at(record, key, "restore"), {"reason": reason}, tag=tag)

    def revert(self, record: str, key: str, revision: int, *, tag: str, reason: str) -> ChangeOut:
        """Go back to an earlier revision."""
        body = {"revision": revision, "reason": reason}
        return self._write(ChangeOut, "POST", at(record, key, "revert"), body, tag=tag)

    def history(self, record: str, key: str, *, page_size: int | None = None) -> Iterator[JournalEntry]:
        """The history of an entry, newest first."""
        return self._pages(JournalPage, at(record, key, "history"), {}, page_size)

    def revision(self, record: str, key: str, number: int) -> JournalEntry:
        """The change that made a revision; ``new`` is the entry in that revision."""
        return self._ask(JournalEntry, "GET", at(record, key, "revisions", str(number)))

    def journal(
        self,
        *,
        record: str | None = None,
        key: str | None = None,
        series: str | None = None,
        actor: str | None = None,
        since: str | None = None,
        page_size: int | None = None,
    ) -> Iterator[JournalEntry]:
        """All changes that match the filters, newest first."""
        filters = {"record": record, "key": key, "series": series, "actor": actor, "since": since}
        return self._pages(JournalPage, "/v1/journal", filters, page_size)

    def pending(self, *, state: str = "waiting", page_size: int | None = None) -> Iterator[PendingOut]:
        """Pending changes; ``state`` "done", "stopped", "lapsed" or "all" gives others."""
        return self._pages(PendingPage, "/v1/pending", {"state": state}, page_size)

    def hasten(self, pending: str, *, reason: str) -> PendingOut:
        """Apply a pending change now (maintainers)."""
        return self._write(PendingOut, "POST", address("pending", pending, "hasten"), {"reason": reason})

    def stop(self, pending: str, *, reason: str) -> PendingOut:
        """Stop a pending change (maintainers, and its author)."""
        return self._write(PendingOut, "POST", address("pending", pending, "stop"), {"reason": reason})

    def contributors(self) -> ContributorList:
        """All contributors."""
        return self._ask(ContributorList, "GET", "/v1/contributors")

    def undo(self, contributor: str, *, since: str, reason: str) -> UndoneOut:
        """Undo a contributor's changes since a date or time (maintainers)."""
        body = {"since": since, "reason": reason}
        return self._write(UndoneOut, "POST", address("contributors", contributor, "undo"), body)

    def suspend(self, contributor: str, *, reason: str) -> ContributorOut:
        """Suspend a contributor (maintainers)."""
        return self._write(ContributorOut, "POST", address("contributors", contributor, "suspend"), {"reason": reason})

    def lift(self, contributor: str, *, reason: str = "") -> ContributorOut:
        """End a suspension (maintainers)."""
        return self._write(ContributorOut, "POST", address("contributors", contributor, "lift"), {"reason": reason})

    def give_role(self, contributor: str, role: str) -> ContributorOut:
        """Change a contributor's role to contributor or maintainer (maintainers)."""
        return self._write(ContributorOut, "POST", address("contributors", contributor, "role"), {"role": role})

    def me(self) -> MeOut:
        """The contributor of the token in use."""
        return self._ask(MeOut, "GET", "/v1/me")

    def tokens(self) -> TokenList:
        """The tokens of this contributor."""
        return self._ask(TokenList, "GET", "/v1/tokens")

    def make_token(
        self, *, label: str = "", scopes: Sequence[str] | None = None, expires_days: int | None = None
    ) -> TokenMadeOut:
        """Make a token for oneself; its ``secret`` is shown only this once."""
        given = {"scopes": None if scopes is None else list(scopes), "expires_days": expires_days}
        body = {"label": label, **{name: value for name, value in given.items() if value is not None}}
        return self._write(TokenMadeOut, "POST", "/v1/tokens", body)

    def revoke_token(self, token: str | int) -> TokenOut:
        """Revoke a token, named by its number or first characters."""
        return self._write(TokenOut, "POST", address("tokens", str(token), "revoke"), {})


def _plain(entry: GivenEntry) -> dict[str, Any]:
    """An entry in its JSON form, with its record."""
    if isinstance(entry, Mapping):
        return dict(entry)
    return {"record": entry.record, **entry.model_dump(mode="json", exclude_defaults=True)}
