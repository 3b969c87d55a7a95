"""Models of cases: specimens with their ranking, comments, and how cases end."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import ConfigDict, Field, StrictInt, ValidationError, model_validator

from api.schemas.answers import Out
from api.schemas.evidence import Acknowledged, ReasonIn
from api.schemas.examples import IDENTIFY_EXAMPLES
from api.schemas.measuring import ClickedPicture, MeasureRequest
from api.schemas.requests import (
    AnyObservation,
    AtHand,
    ClosedJaws,
    IdentifyRequest,
    Number,
    OwnFigures,
    Request,
    WhatRemains,
)
from catalog.cases.retrieval import Case
from catalog.cases.specimens import MAX_PICTURES, Comment, Judged, Solution, Specimen, Summary
from catalog.evidence.statements import Key
from catalog.history.documents import DocumentRecord
from catalog.model.text_fields import Line, Passage, Remark
from matcher.decision.posterior import PRIOR_ABSENT
from matcher.features import Remains
from matcher.observations import MAX_OBSERVATIONS

Visibility = Literal["private", "public"]

EXAMPLES = [
    {"title": "Recorder from the reed bed, board side", "visibility": "public", **example}
    for example in IDENTIFY_EXAMPLES[:1]
]


class SpecimenIn(Request):
    """A specimen to save: its observations, as in an identification, and where they came from."""

    model_config = ConfigDict(json_schema_extra={"examples": [*EXAMPLES]})

    title: Line = Field(description="Where the part comes from, in one line.")
    note: Passage = Field(default="", description="Anything else that may help: its place, what is on the board.")
    observations: Annotated[tuple[AnyObservation, ...], Field(min_length=1, max_length=MAX_OBSERVATIONS)] = Field(
        description="As in /v1/identify; the ranking uses only them."
    )
    prior_absent: Annotated[Number, Field(gt=0, lt=1)] = Field(default=PRIOR_ABSENT, description="As in /v1/identify.")
    instruments: OwnFigures = Field(default_factory=dict)
    closed_jaws: ClosedJaws = Field(default_factory=dict)
    at_hand: AtHand | None = None
    remains: WhatRemains = Remains.WHOLE
    pictures: Annotated[tuple[ClickedPicture, ...], Field(max_length=MAX_PICTURES)] = Field(
        default=(),
        description="Points clicked in pictures, as in /v1/measure: the source of observations, so that others can "
        "check them. The points are saved, the photo is not. The ranking does not use them.",
    )
    visibility: Visibility = Field(
        default="private", description="private: only people with its key see it. public: listed among the open cases."
    )
    reason: Passage = Field(default="", description="For a revision: why. It is saved in the journal.")

    @model_validator(mode="after")
    def _can_be_kept(self) -> Self:
        self.specimen()
        return self

    def specimen(self) -> Specimen:
        """The specimen as it is saved. Raises ValueError for hidden characters, and if it is too long."""
        given = self.model_dump(mode="json", exclude_defaults=True, exclude={"visibility", "reason"})
        try:
            return Specimen.model_validate({"prior_absent": self.prior_absent, **given})
        except ValidationError as error:
            messages = [f"{_place(each['loc'])}{each['msg'].removeprefix('Value error, ')}" for each in error.errors()]
            raise ValueError("; ".join(messages)) from error

    @property
    def private(self) -> bool:
        """Whether the case is not listed."""
        return self.visibility == "private"


ASKED = ("observations", "prior_absent", "instruments", "closed_jaws", "at_hand", "remains")
"""Fields of a specimen that an identification has too."""


def asked_of(specimen: Specimen) -> IdentifyRequest:
    """The identification request of a saved specimen."""
    kept = specimen.model_dump(mode="json", include=set(ASKED))
    return IdentifyRequest.model_validate(kept)


def clicked_in(given: SpecimenIn) -> MeasureRequest:
    """The pictures of a specimen as a request to measure them."""
    return MeasureRequest(pictures=given.pictures)


def _place(location: tuple[str | int, ...]) -> str:
    """The path of a field as the beginning of an error's message."""
    path = "".join(
        f"[{part}]" if isinstance(part, int) else f".{part}" if place else str(part)
        for place, part in enumerate(location)
    )
    return f"{path}: " if path else ""


class CommentIn(Request):
    """A comment; with ``half``, a suggestion which half it is, and why."""

    text: Remark = Field(description="The comment; for a suggestion the reason, which is required.")
    half: Key | None = Field(default=None, description="Key of the half that you suggest, listed or inferred.")


class CommentWithdrawal(ReasonIn):
    """The key of a comment to withdraw, and why."""

    comment: str


class AcceptIn(Request):
    """The half that the specimen of a case is."""

    half: Key = Field(description="Key of the half.")
    comment: Key | None = Field(default=None, description="Key of the comment that suggested this half, if one did.")
    reason: Passage = Field(default="", description="Why it is this half.")
    confirm: bool | None = Field(
        default=None,
        strict=True,
        description="Whether the observations become a measured confirmation of the half. Left out: as far as "
        "possible; `left_out` says what was not used. true: refused if it is not possible. false: no.",
    )
    revision: Annotated[StrictInt, Field(ge=1)] | None = Field(
        default=None, description="Revision of the half that you have seen; by default the one used for the answer."
    )
    acknowledge: Acknowledged = Field(default_factory=dict)


class CommentOut(Out):
    """A comment. A suggestion has the rank of its half, at the catalogue version of `answer`."""

    key: str
    author: str
    added_at: str
    text: str
    half: str | None
    revision: int | None = Field(description="Of the half when it was suggested; null: it is not listed.")
    judged: Judged | None
    etag: str | None = None


class CaseItem(Out):
    """A case in a list."""

    key: str
    title: str
    author: str
    added_at: str
    changed_at: str
    state: str
    visibility: Visibility
    revision: int
    answer: Summary
    changed_since: str | None = Field(
        description="When the answer changed after the author's last revision; null: it has not changed."
    )
    changes: tuple[str, ...] = Field(description="How it changed, in words.")


class CaseOut(CaseItem):
    """A case in full. `specimen` is what its author saved."""

    specimen: dict[str, Any]
    solution: Solution | None
    comments: tuple[CommentOut, ...]
    etag: str


class CasePage(Out):
    """Open public cases, oldest first. Follow `next` until it is null."""

    items: tuple[CaseItem, ...]
    next: str | None


class CaseRevision(Out):
    """An earlier revision of a case. `specimen` may contain the solution of that time."""

    key: str
    revision: int
    at: str
    actor: str
    action: str
    reason: str
    state: str
    visibility: Visibility
    specimen: dict[str, Any]


def case_item(case: Case) -> CaseItem:
    """A case as an item of a list."""
    return CaseItem(**_common(case))


def case_out(case: Case, comments: tuple[DocumentRecord, ...], etag: str) -> CaseOut:
    """A case in full."""
    kept = Specimen.model_validate(case.document.content)
    specimen = kept.model_dump(mode="json", exclude_defaults=True, exclude={"record", "solution"})
    judged = {each.half: each for each in case.answer.judged}
    shown = tuple(comment_out(each, judged) for each in comments)
    return CaseOut(**_common(case), specimen=specimen, solution=kept.solution, comments=shown, etag=etag)


def _common(case: Case) -> dict[str, Any]:
    document, answer = case.document, case.answer
    names = ("key", "author", "added_at", "changed_at", "state", "revision")
    return {
        **{name: getattr(document, name) for name in names},
        "title": document.content["title"],
        "visibility": visibility_of(document.private),
        "answer": answer.now,
        "changed_since": case.changed_since,
        "changes": answer.changes if case.changed_since else (),
    }


def visibility_of(private: bool) -> Visibility:
    """The word for who can see a case."""
    return "private" if private else "public"


def comment_out(document: DocumentRecord, judged: dict[str, Judged], etag: str | None = None) -> CommentOut:
    """A comment; a suggestion with the rank of its half."""
    comment = Comment.model_validate(document.content)
    return CommentOut(
        key=document.key,
        author=document.author,
        added_at=document.added_at,
        text=comment.text,
        half=comment.half,
        revision=comment.revision,
        judged=None if comment.half is None else judged.get(comment.half),
        etag=etag,
    )
