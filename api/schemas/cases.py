"""Cases as they go over the wire: specimens with what the ranking makes of them, comments, how they end."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import ConfigDict, Field, StrictInt, ValidationError, model_validator

from api.schemas.answers import Out
from api.schemas.evidence import Acknowledged, ReasonIn
from api.schemas.examples import IDENTIFY_EXAMPLES
from api.schemas.measuring import ClickedPicture, MeasureRequest
from api.schemas.requests import AnyObservation, AtHand, ClosedJaws, IdentifyRequest, Number, OwnFigures, Request
from catalog.cases.retrieval import Case
from catalog.cases.specimens import MAX_PICTURES, Comment, Judged, Solution, Specimen, Summary
from catalog.evidence.statements import Key
from catalog.history.documents import DocumentRecord
from catalog.model.text_fields import Line, Passage, Remark
from matcher.decision.posterior import PRIOR_ABSENT
from matcher.observations import MAX_OBSERVATIONS

Visibility = Literal["private", "public"]

EXAMPLES = [
    {"title": "Recorder from the reed bed, board side", "visibility": "public", **example}
    for example in IDENTIFY_EXAMPLES[:1]
]


class SpecimenIn(Request):
    """A specimen to keep: what was observed, as an identification takes it, and where it came from."""

    model_config = ConfigDict(json_schema_extra={"examples": [*EXAMPLES]})

    title: Line = Field(description="What the part is from, in one line.")
    note: Passage = Field(default="", description="Whatever else may help: where it was, what is on the board.")
    observations: Annotated[tuple[AnyObservation, ...], Field(min_length=1, max_length=MAX_OBSERVATIONS)] = Field(
        description="As in /v1/identify; they are what is ranked."
    )
    prior_absent: Annotated[Number, Field(gt=0, lt=1)] = Field(default=PRIOR_ABSENT, description="As in /v1/identify.")
    instruments: OwnFigures = Field(default_factory=dict)
    closed_jaws: ClosedJaws = Field(default_factory=dict)
    at_hand: AtHand | None = None
    pictures: Annotated[tuple[ClickedPicture, ...], Field(max_length=MAX_PICTURES)] = Field(
        default=(),
        description="Points clicked in pictures, as /v1/measure takes them: where observations came from, so that "
        "others can check. They are kept, never the photo, and not ranked by themselves.",
    )
    visibility: Visibility = Field(
        default="private", description="private: seen by whoever has its key. public: listed among the open cases."
    )
    reason: Passage = Field(default="", description="For a revision: why. The journal keeps it.")

    @model_validator(mode="after")
    def _can_be_kept(self) -> Self:
        self.specimen()
        return self

    def specimen(self) -> Specimen:
        """As it is kept. Raises ValueError for text that hides something, and for more than a case takes."""
        given = self.model_dump(mode="json", exclude_defaults=True, exclude={"visibility", "reason"})
        try:
            return Specimen.model_validate({"prior_absent": self.prior_absent, **given})
        except ValidationError as error:
            told = [f"{_place(each['loc'])}{each['msg'].removeprefix('Value error, ')}" for each in error.errors()]
            raise ValueError("; ".join(told)) from error

    @property
    def private(self) -> bool:
        """Whether it is listed nowhere."""
        return self.visibility == "private"


ASKED = ("observations", "prior_absent", "instruments", "closed_jaws", "at_hand")
"""Fields of a specimen that an identification takes."""


def asked_of(specimen: Specimen) -> IdentifyRequest:
    """A kept specimen as the identification that it asks for."""
    kept = specimen.model_dump(mode="json", include=set(ASKED))
    return IdentifyRequest.model_validate(kept)


def clicked_in(given: SpecimenIn) -> MeasureRequest:
    """The pictures of a specimen, as they are measured."""
    return MeasureRequest(pictures=given.pictures)


def _place(location: tuple[str | int, ...]) -> str:
    """The place of a text that hides something; what it says of itself goes on from there."""
    path = "".join(
        f"[{part}]" if isinstance(part, int) else f".{part}" if place else str(part)
        for place, part in enumerate(location)
    )
    return f"{path}: " if path else ""


class CommentIn(Request):
    """A comment, or with ``half`` a suggestion: which half it is, and why."""

    text: Remark = Field(description="What you have to say; for a suggestion the reason, without which it is refused.")
    half: Key | None = Field(default=None, description="Key of the half that you suggest, listed or inferred.")


class CommentWithdrawal(ReasonIn):
    """A comment of a case to take back, by its key, and why."""

    comment: str


class AcceptIn(Request):
    """The half that the case turned out to be."""

    half: Key = Field(description="Key of the half.")
    comment: Key | None = Field(default=None, description="Key of the suggestion that is accepted, if it is one.")
    reason: Passage = Field(default="", description="Why it is this one.")
    confirm: bool | None = Field(
        default=None,
        strict=True,
        description="Whether the observations become a measured confirmation of the half. Left out: where they can, "
        "and `left_out` tells what cannot. true: refused where they cannot. false: not.",
    )
    revision: Annotated[StrictInt, Field(ge=1)] | None = Field(
        default=None, description="Revision of the half that you looked at; else the one that the answer was made from."
    )
    acknowledge: Acknowledged = Field(default_factory=dict)


class CommentOut(Out):
    """What somebody said. A suggestion carries how the ranking judges its half at the version of `answer`."""

    key: str
    author: str
    added_at: str
    text: str
    half: str | None
    revision: int | None = Field(description="Of the half, as it was when it was suggested; null: nobody listed it.")
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
        description="When the answer became another one, after its author last wrote; null: it is the same."
    )
    changes: tuple[str, ...] = Field(description="How it changed, in words.")


class CaseOut(CaseItem):
    """A case in full. `specimen` is what its author said, in the form in which it is saved."""

    specimen: dict[str, Any]
    solution: Solution | None
    comments: tuple[CommentOut, ...]
    etag: str


class CasePage(Out):
    """Open public cases, oldest first; follow `next` until it is null."""

    items: tuple[CaseItem, ...]
    next: str | None


class CaseRevision(Out):
    """A case as it was. `specimen` may carry the solution of then."""

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
    """A case in short."""
    return CaseItem(**_common(case))


def case_out(case: Case, comments: tuple[DocumentRecord, ...], etag: str) -> CaseOut:
    """A case in full."""
    kept = Specimen.model_validate(case.document.content)
    said = kept.model_dump(mode="json", exclude_defaults=True, exclude={"record", "solution"})
    judged = {each.half: each for each in case.answer.judged}
    shown = tuple(comment_out(each, judged) for each in comments)
    return CaseOut(**_common(case), specimen=said, solution=kept.solution, comments=shown, etag=etag)


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
    """Who sees it, in a word."""
    return "private" if private else "public"


def comment_out(document: DocumentRecord, judged: dict[str, Judged], etag: str | None = None) -> CommentOut:
    """A comment, with what the ranking makes of a suggestion."""
    said = Comment.model_validate(document.content)
    return CommentOut(
        key=document.key,
        author=document.author,
        added_at=document.added_at,
        text=said.text,
        half=said.half,
        revision=said.revision,
        judged=None if said.half is None else judged.get(said.half),
        etag=etag,
    )
