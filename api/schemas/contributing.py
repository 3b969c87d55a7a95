"""Contributions and changes as they go over the wire, with what the machine review finds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag
from sqlalchemy.orm import Session

from api.schemas.answers import Out
from api.schemas.evidence import Acknowledged, FindingOut, findings_out
from api.schemas.history import PendingOut, pending_out
from api.schemas.requests import Request
from catalog.contribute.contribution import Contributed
from catalog.history.pending import Submitted
from catalog.history.preconditions import tag_of
from catalog.model.entries import AnyEntry, Half, Mating, Series
from catalog.model.text_fields import Line, Passage, Remark
from catalog.records.read import get_record
from catalog.records.read_models import State
from catalog.review import Finding

ENTRY_TAGS = {record: f"{record} entry" for record in ("series", "half", "mating")}
"""What pydantic calls each kind of entry where an error names it; no field can have such a name."""


def _tag_of(given: Any) -> str | None:
    record = given.get("record") if isinstance(given, Mapping) else getattr(given, "record", None)
    return ENTRY_TAGS.get(record) if isinstance(record, str) else None


GivenEntry = Annotated[
    Annotated[Series, Tag("series entry")]
    | Annotated[Half, Tag("half entry")]
    | Annotated[Mating, Tag("mating entry")],
    Discriminator(_tag_of, custom_error_type="record", custom_error_message="record must be series, half or mating"),
]
"""An entry of any kind, told by its field ``record``."""


class ReviewIn(Request):
    """An entry to look at, before anything is saved."""

    entry: GivenEntry = Field(description='The entry; its `record` is "series", "half" or "mating".')


class ContributionIn(Request):
    """An entry to add, or to take the place of what stands, and why."""

    reason: Passage = Field(default="", description="Why, or from where; the journal keeps it.")
    acknowledge: Acknowledged = Field(
        default_factory=dict, description="For each severe finding that is right as it is: its code, and why."
    )
    entry: AnyEntry


class HalfIn(ContributionIn):
    """A half to add, or to take the place of what stands."""

    entry: Half


class SeriesIn(ContributionIn):
    """A series with its laws."""

    entry: Series


class MatingIn(ContributionIn):
    """A mating."""

    entry: Mating


class MergeIn(Request):
    """The half that takes this one's place, and why."""

    into: Line = Field(description="Key of the half that takes its place.")
    reason: Remark


class RevertIn(Request):
    """The revision to go back to, and why."""

    revision: Annotated[int, Field(ge=1, strict=True)]
    reason: Remark


class ReviewedOut(Out):
    """What the machine review says of an entry."""

    record: str
    key: str
    clean: bool = Field(description="Nothing above a notice was found.")
    findings: tuple[FindingOut, ...]


class ReviewOut(ReviewedOut):
    """What would happen: findings, and for a series a page of the halves and matings that its laws make."""

    half_count: int
    mating_count: int
    halves: tuple[Half, ...]
    matings: tuple[Mating, ...] = Field(description="They follow after the last half.")
    next: str | None = Field(description="Cursor of the next page; null: nothing follows.")


class ContributedOut(Out):
    """What was added. `added` and `unchanged` count by record; `etag` is what a change of it is made from."""

    record: str
    key: str
    revision: int
    etag: str
    added: dict[str, int]
    unchanged: dict[str, int]
    findings: tuple[FindingOut, ...]


class ChangeOut(Out):
    """What became of a change: done, or waiting where `pending` says until when.

    Of a series, `changed` and `added` are members that follow its laws, `left_over` those that the laws no longer make
    (they stay listed by themselves), `by_hand` those that were corrected one by one and do not follow.
    """

    record: str
    key: str
    state: State
    successor: str | None
    revision: int
    etag: str
    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    left_over: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()
    findings: tuple[FindingOut, ...] = ()
    pending: PendingOut | None = None


def contributed_out(session: Session, entry: AnyEntry, made: Contributed) -> ContributedOut:
    """What was added, as it stands now."""
    return ContributedOut(
        record=entry.record,
        key=entry.key,
        revision=get_record(session, entry.record, entry.key).revision,
        etag=tag_of(session, entry.record, entry.key),
        added=dict(made.report.added),
        unchanged=dict(made.report.unchanged),
        findings=findings_out(made.findings),
    )


def change_out(
    session: Session, record: str, key: str, submitted: Submitted, findings: tuple[Finding, ...] = ()
) -> ChangeOut:
    """What became of a change, and the entry's state now."""
    stands, done = get_record(session, record, key), submitted.changed
    members: dict[str, tuple[str, ...]] = {}
    if done is not None:
        members = {name: getattr(done, name) for name in ("changed", "added", "left_over", "by_hand")}
    return ChangeOut(
        record=record,
        key=key,
        state=stands.state,
        successor=stands.successor,
        revision=stands.revision,
        etag=tag_of(session, record, key),
        findings=findings_out(findings),
        pending=None if submitted.pending is None else pending_out(submitted.pending),
        **members,
    )
