"""The machine review of a form, with its drawing and the halves that its laws make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from sqlalchemy.orm import Session

from api.drawing.geometry import DrawingError
from api.drawing.size_sources import sizes_of
from api.drawing.views import Look
from api.schemas.problems import path_of
from api.web.entries.drawings import Drawn, views_alone
from api.web.page.form_actions import sentence
from catalog.contribute.contribution import Preview, preview
from catalog.model.entries import Half, Mating, Series
from catalog.model.errors import CatalogueError, EntryError
from catalog.review import Finding, is_clean
from matcher.features import ESSENTIAL, FEATURES

TOP_PX, SIDE = 380.0, Look(width_px=240.0, tallest_px=200.0)
"""Sizes of the drawings beside a form, px."""

SHOWN_VARIANTS = 12
"""Halves of a series that are listed beside its form; the others are counted."""

SHOWN_DIMENSIONS = (*ESSENTIAL, "height")
"""Dimensions in that list, which show whether a law is right."""

SHOWN_MISSING = 6
"""Most faults that are named; the others are counted."""


@dataclass(frozen=True, kw_only=True)
class Looked:
    """The review of a form. ``missing``: why it is not an entry yet; ``clean``: nothing above a notice was found."""

    missing: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    clean: bool = False
    drawings: tuple[Drawn, ...] = ()
    variants: tuple[Half, ...] = ()
    variant_count: int = 0
    mating_count: int = 0
    of_half: str = ""

    @property
    def severe(self) -> tuple[str, ...]:
        """Codes of findings that need a reason, each once."""
        return tuple(dict.fromkeys(each.code.value for each in self.findings if each.severity == "severe"))


def look_over(session: Session, kind: type[Half] | type[Series] | type[Mating], given: Mapping[str, Any]) -> Looked:
    """Review an entry that is still being written. Nothing is saved."""
    try:
        entry = kind.model_validate(given)
    except ValidationError as error:
        return Looked(missing=_missing(error))
    try:
        found = preview(session, entry)
    except EntryError as error:
        return Looked(missing=(sentence(error.message),))
    except CatalogueError as error:
        return Looked(missing=(sentence(str(error)),))
    return _looked(entry, found)


def _missing(error: ValidationError) -> tuple[str, ...]:
    told = [f"{_in_words(each['loc'])}: {_why(each)}" for each in error.errors(include_url=False)]
    shown = tuple(dict.fromkeys(told))
    return (*shown[:SHOWN_MISSING], *([f"and {len(shown) - SHOWN_MISSING} more"] if len(shown) > SHOWN_MISSING else []))


def _why(error: Mapping[str, Any]) -> str:
    message = str(error["msg"]).removeprefix("Value error, ")
    return "not given yet" if error["type"] == "missing" else message[:1].lower() + message[1:]


def _in_words(location: tuple[str | int, ...]) -> str:
    """The place of a fault in words: the label of the dimension, or the path with spaces."""
    named = [FEATURES[part].label for part in map(str, location) if part in FEATURES]
    return sentence(named[-1] if named else path_of(location).replace("_", " ").replace(".", " "))


def _looked(entry: Half | Series | Mating, found: Preview) -> Looked:
    halves = () if found.made is None else found.made.halves
    drawn = entry if isinstance(entry, Half) else halves[0] if halves else None
    return Looked(
        findings=found.findings,
        clean=is_clean(found.findings),
        drawings=() if drawn is None else _drawings(drawn),
        variants=halves[:SHOWN_VARIANTS],
        variant_count=len(halves),
        mating_count=0 if found.made is None else len(found.made.matings),
        of_half="" if drawn is None else drawn.part_number,
    )


def _drawings(half: Half) -> tuple[Drawn, ...]:
    try:
        return views_alone(sizes_of(half), TOP_PX, SIDE)
    except DrawingError:  # the review finds why it cannot be drawn
        return ()
