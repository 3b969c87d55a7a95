"""What people say about entries without changing them: sightings, confirmations, disputes, answers, resolutions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from catalog.evidence.standing import EntryRecord
from catalog.evidence.values import MeasuredValue, Value
from catalog.model.entry_parts import Citation, Dimension, Entry
from catalog.model.text_fields import Line, Passage, Remark, plain_line
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES, LENGTHS, PAIR_DIMENSIONS

FEATURES_OF: Mapping[EntryRecord, tuple[str, ...]] = {
    "half": (*DIMENSIONS, *COUNTS, *CATEGORIES),
    "mating": PAIR_DIMENSIONS,
    "series": DIMENSIONS,
}
"""Features of each kind of record: a series has laws of dimensions, a mating has the features of the pair."""

MOST_VALUES = 60
"""Most values in one confirmation: more than there are features."""

MOST_SET_ASIDE = 100
"""Most confirmations that one resolution may set aside."""

LONGEST_KEY = 1000
"""Longest key, in characters: a mating's key contains two halves' keys of two parts each."""

Key = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=LONGEST_KEY), AfterValidator(plain_line)
]
Revision = Annotated[int, Field(ge=1)]
Basis = Literal["measured", "document", "trial_fit"]
Result = Literal["mates", "does_not_mate"]


def _dimensions(stated: dict[str, Dimension]) -> dict[str, Dimension]:
    for name in stated:
        if name not in LENGTHS:
            raise ValueError(f"{name!r} is not a dimension")
    return stated


class Sighting(Entry):
    """A half that was found on a board of some device."""

    record: Literal["sighting"] = "sighting"
    half: Key
    device: Line
    board: Passage = ""
    note: Passage = ""
    citation: Citation | None = None


class Confirmation(Entry):
    """Somebody checked an entry's ``revision`` by measuring, by reading a document or by a trial fit.

    ``values`` belong to basis measured. ``citation`` belongs to basis document, and ``stated`` holds the dimensions
    that the document gives, as it gives them. ``mate`` (key of the other half, or of the mating) and ``result`` belong
    to basis trial_fit.
    """

    record: Literal["confirmation"] = "confirmation"
    of: EntryRecord
    key: Key
    revision: Revision
    basis: Basis
    values: Annotated[tuple[Value, ...], Field(max_length=MOST_VALUES)] = ()
    citation: Citation | None = None
    stated: Annotated[dict[str, Dimension], AfterValidator(_dimensions)] = Field(default_factory=dict)
    mate: Key | None = None
    result: Result | None = None
    note: Passage = ""

    @model_validator(mode="after")
    def _has_just_what_its_basis_needs(self) -> Self:
        parts = {
            "values": ("measured", bool(self.values)),
            "citation": ("document", self.citation is not None),
            "stated": ("document", bool(self.stated)),
            "mate": ("trial_fit", self.mate is not None),
            "result": ("trial_fit", self.result is not None),
        }
        for name, (basis, there) in parts.items():
            if there and self.basis != basis:
                raise ValueError(f"{name} belongs to basis {basis!r}; leave it out, or confirm twice")
        return self

    @model_validator(mode="after")
    def _basis_is_complete(self) -> Self:
        if self.basis == "measured":
            self._check_measured()
        elif self.basis == "document":
            self._check_document()
        else:
            self._check_trial_fit()
        return self

    @model_validator(mode="after")
    def _features_fit(self) -> Self:
        names = [*(value.feature for value in self.values), *self.stated]
        for name in names:
            check_feature(self.of, name)
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise ValueError(f"{twice} is given twice; give repeats as readings of one value")
        return self

    def _check_measured(self) -> None:
        if self.of == "series":
            raise ValueError("a series is not measured itself; confirm one of its halves")
        if not any(isinstance(value, MeasuredValue) for value in self.values):
            raise ValueError("a measurement needs at least one dimension with its uncertainty in values")

    def _check_document(self) -> None:
        if self.citation is None:
            raise ValueError("say which document: citation with title, revision and page")
        if self.of == "series" and self.stated:
            raise ValueError("a series has laws, no stated dimensions; leave stated out, or change the laws")
        missing = [name for name in ("revision", "page") if not getattr(self.citation, name)]
        if missing:
            raise ValueError(
                f"the citation needs the document's {' and '.join(missing)}, so that others can look it up"
            )

    def _check_trial_fit(self) -> None:
        if self.of == "series":
            raise ValueError("a series is not fitted itself; confirm one of its halves or matings")
        if self.mate is None or self.result is None:
            raise ValueError("a trial fit needs mate, the key of what was fitted, and result: mates or does_not_mate")


def check_feature(of: EntryRecord, feature: str) -> None:
    """Raise ValueError if the record cannot have this feature."""
    if feature in FEATURES_OF[of]:
        return
    label = FEATURES[feature].label if feature in FEATURES else repr(feature)
    known = ", ".join(FEATURES_OF[of])
    raise ValueError(f"a {of} has no {label}; possible: {known}")


class Resolution(Entry):
    """How a dispute ended. ``set_aside`` names confirmations that no longer count, e.g. a wrong measurement."""

    outcome: Literal["entry_stands", "entry_changed", "dispute_withdrawn"]
    reason: Remark
    set_aside: Annotated[tuple[Key, ...], Field(max_length=MOST_SET_ASIDE)] = ()


class Dispute(Entry):
    """Somebody says that an entry's ``revision`` is wrong, in one ``feature`` or as a whole, and why.

    ``resolution`` and ``resolved_by`` are set together when it is resolved.
    """

    record: Literal["dispute"] = "dispute"
    of: EntryRecord
    key: Key
    revision: Revision
    feature: Line | None = None
    reason: Remark
    resolution: Resolution | None = None
    resolved_by: Passage = ""

    @model_validator(mode="after")
    def _feature_fits(self) -> Self:
        if self.feature is not None:
            check_feature(self.of, self.feature)
        return self

    @model_validator(mode="after")
    def _resolved_as_a_whole(self) -> Self:
        if (self.resolution is None) == bool(self.resolved_by):
            raise ValueError("resolution and resolved_by belong together")
        return self

    def resolved(self, resolution: Resolution, by: str) -> Dispute:
        """The same dispute, resolved."""
        return Dispute.model_validate({**dict(self), "resolution": resolution, "resolved_by": by})


class Answer(Entry):
    """An answer to a dispute, which is named by its key."""

    record: Literal["answer"] = "answer"
    dispute: Key
    text: Remark
