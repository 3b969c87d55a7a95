"""Models of contributions and changes, with the findings of the machine review."""

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
"""Names of the kinds of entry in pydantic's errors; no field can have such a name."""


def _tag_of(given: Any) -> str | None:
    record = given.get("record") if isinstance(given, Mapping) else getattr(given, "record", None)
    return ENTRY_TAGS.get(record) if isinstance(record, str) else None


GivenEntry = Annotated[
    Annotated[Series, Tag("series entry")]
    | Annotated[Half, Tag("half entry")]
    | Annotated[Mating, Tag("mating entry")],
    Discriminator(_tag_of, custom_error_type="record", custom_error_message="record must be series, half or mating"),
]
"""An entry of any kind; its field ``record`` says which."""


class ReviewIn(Request):
    """An entry to review without saving it."""

    entry: GivenEntry = Field(description='The entry; its `record` is "series", "half" or "mating".')


class ContributionIn(Request):
    """An entry to add, or the new content of an entry, and why."""

    reason: Passage = Field(default="", description="Why, or from where; saved in the journal.")
    acknowledge: Acknowledged = Field(
        default_factory=dict, description="Why a severe finding is correct as it is, by the finding's code."
    )
    entry: AnyEntry


class HalfIn(ContributionIn):
    """A half to add, or the new content of a half."""

    entry: Half


class SeriesIn(ContributionIn):
    """A series with its laws to add, or the new content of a series."""

    entry: Series


class MatingIn(ContributionIn):
    """A mating to add, or the new content of a mating."""

    entry: Mating


class MergeIn(Request):
    """The half into which this one is merged, and why."""

    into: Line = Field(description="Key of the half that replaces it.")
    reason: Remark


class RevertIn(Request):
    """The revision to go back to, and why."""

    revision: Annotated[int, Field(ge=1, strict=True)]
    reason: Remark


class ReviewedOut(Out):
    """The result of the machine review of an entry."""

    record: str
    key: str
    clean: bool = Field(description="Whether nothing worse than a notice was found.")
    findings: tuple[FindingOut, ...]


class ReviewOut(ReviewedOut):
    """The findings, and for a series a page of the halves and matings that its laws make."""

    half_count: int
    mating_count: int
    halves: tuple[Half, ...]
    matings: tuple[Mating, ...] = Field(description="They come after the last half.")
    next: str | None = Field(description="Cursor of the next page; null: nothing follows.")


class ContributedOut(Out):
    """The added entries. `added` and `unchanged` are counts by record; a change of the entry needs `etag`."""

    record: str
    key: str
    revision: int
    etag: str
    added: dict[str, int]
    unchanged: dict[str, int]
    findings: tuple[FindingOut, ...]


class ChangeOut(Out):
    """The result of a change: done, or pending, in which case `pending` says until when.

    For a series, `changed` and `added` are members that follow its laws, `left_over` members that the laws no longer
    make (they stay listed), and `by_hand` members that were corrected one by one and do not follow the laws.
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
    """The answer after an addition."""
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
    """The answer after a change, with the entry's present state."""
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
