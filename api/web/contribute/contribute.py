"""Forms that add and change halves and series and add matings, with the machine review while they are filled in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.operations.entries import ADD, REVISE
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.contributing import HalfIn, MatingIn, SeriesIn
from api.schemas.numbering_words import FIELDS as NUMBERING_FIELDS
from api.schemas.words import SEVERITY_WORDS
from api.service.dependencies import CatalogueDep
from api.service.problems import ApiError
from api.web.contribute import entry_fields as fields
from api.web.contribute.half_form import half_of, half_pairs
from api.web.contribute.mating_form import BASES, CORRESPONDENCES, mating_of
from api.web.contribute.reviewed import SHOWN_DIMENSIONS, Looked, look_over
from api.web.contribute.series_form import (
    FIRST_LAWS,
    TABLE,
    empty_series,
    row_count,
    series_of,
    series_pairs,
    series_place,
    with_row,
    with_table,
)
from api.web.page.entry_lookup import PAGES, About, about
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import EMPTY, Filled, Form, FormDep
from api.web.page.rendering import SAID, Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.db.database import Catalogue
from catalog.evidence.standing import EntryRecord
from catalog.history.documents import new_key
from catalog.model.entries import Half, Mating, Series
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES, PAIR_DIMENSIONS

router = APIRouter(include_in_schema=False)

ROW = "row"
"""Name of the buttons that add a row; the value is the group of rows."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """The form of one kind of entry: its template, and how its fields become an entry and back."""

    record: EntryRecord
    kind: type[Half] | type[Series] | type[Mating]
    body: type[HalfIn] | type[SeriesIn] | type[MatingIn]
    template: str
    part: str
    entry_of: Callable[[Form], dict[str, Any]]
    place: Callable[[Form, str], str]
    needed: tuple[str, ...]
    beginning: Form = EMPTY


HALF = Sheet(
    record="half",
    kind=Half,
    body=HalfIn,
    template="contribute_half.html",
    part="parts/half_form.html",
    entry_of=half_of,
    place=lambda form, name: name,
    needed=("maker", "series", "part_number", "rows", "contact_count"),
)
SERIES = Sheet(
    record="series",
    kind=Series,
    body=SeriesIn,
    template="contribute_series.html",
    part="parts/series_form.html",
    entry_of=series_of,
    place=series_place,
    needed=("maker", "name"),
    beginning=empty_series(),
)

MATING = Sheet(
    record="mating",
    kind=Mating,
    body=MatingIn,
    template="contribute_mating.html",
    part="parts/mating_form.html",
    entry_of=mating_of,
    place=lambda form, name: name,
    needed=("half", "other", "basis"),
    beginning=Form(pairs=(("basis", "trial_fit"), ("correspondence", "unknown"), ("unit", "mm"))),
)

CHOICES: Mapping[str, Any] = {
    "views": fields.VIEWS,
    "features": FEATURES,
    "dimension_names": tuple(DIMENSIONS),
    "own_counts": ENTRY_COUNTS,
    "own_categories": ENTRY_CATEGORIES,
    "units": fields.UNITS,
    "bounds": fields.BOUNDS,
    "kinds_of_half": fields.KINDS,
    "numbering_fields": NUMBERING_FIELDS,
    "lifecycles": fields.LIFECYCLES,
    "ratings": fields.RATINGS,
    "severities": SEVERITY_WORDS,
    "columns": SHOWN_DIMENSIONS,
    "first_laws": FIRST_LAWS,
    "row_count": row_count,
    "bases": BASES,
    "correspondences": CORRESPONDENCES,
    "pair_dimensions": PAIR_DIMENSIONS,
}
"""The choices in the forms."""


@router.get("/contribute")
def contribute_page(visit: VisitDep) -> Response:
    """Ways to contribute."""
    return visit.page("contribute.html")


def _add_form(sheet: Sheet) -> None:
    """The form that adds an entry of one kind."""

    @router.get(f"/contribute/{sheet.record}")
    def empty_form(visit: VisitDep) -> Response:
        """An empty form, but for what its address gives."""
        given = tuple(pair for pair in visit.request.query_params.multi_items() if pair[0] != SAID)
        return _page(visit, sheet, Filled(form=Form(pairs=(*sheet.beginning.pairs, *given))))

    @router.post(f"/contribute/{sheet.record}")
    def add_entry(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
        """Review what the form holds, read a table into it, give it more rows, or add the entry."""
        return _sent(visit, sheet, form, catalogue, writing)


def _revise_form(sheet: Sheet, path: str, pairs_of: Callable[[Any], fields.Pairs]) -> None:
    """The form that changes an entry of one kind."""

    @router.get(f"/{path}/{{key}}/revise")
    def filled_form(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
        """The form of an entry as it is now."""
        entry = about(catalogue, sheet.record, key, Filled())
        filled = Filled(form=Form(pairs=tuple(pairs_of(entry.record.content))))
        return _page(visit, sheet, filled, entry=entry)

    @router.post(f"/{path}/{{key}}/revise")
    def revise_entry(
        key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep
    ) -> Response:
        """The same for an entry that is there: change it. Members of a series follow."""
        return _sent(visit, sheet, form, catalogue, writing, key)


for each in (HALF, SERIES, MATING):
    _add_form(each)
_revise_form(HALF, "halves", half_pairs)
_revise_form(SERIES, "series", series_pairs)


def _page(
    visit: Visit,
    sheet: Sheet,
    filled: Filled,
    *,
    status: int = 200,
    looked: Looked | None = None,
    entry: About | None = None,
    fitted: Any = None,
) -> Response:
    """The page with a form; ``entry`` is what it changes."""
    return visit.page(
        sheet.template,
        status=status,
        filled=filled,
        looked=looked,
        entry=entry,
        fitted=fitted,
        may=visit.may(Permission.CONTRIBUTE),
        **CHOICES,
    )


def _sent(
    visit: Visit, sheet: Sheet, form: Form, catalogue: Catalogue, writing: Writing, key: str | None = None
) -> Response:
    """Carry out the request of a form: a part of the page for its script, another row, a review, or saving.

    ``key`` is that of the entry to change; None: add one.
    """

    def entry(filled: Filled) -> About | None:
        return None if key is None else about(catalogue, sheet.record, key, filled)

    kept = Filled(form=form, once=form.once or new_key())
    if visit.part == "review":
        return visit.fragment("parts/review.html", filled=kept, looked=_look(catalogue, sheet, form), **CHOICES)
    if form.one(ROW):
        more = Filled(form=with_row(form, form.one(ROW)), once=kept.once)
        if visit.part == "fields":
            return visit.fragment(sheet.part, filled=more, fitted=None, **CHOICES)
        return _page(visit, sheet, more, entry=entry(more))
    table = form.one("do") == "table"
    try:
        if table:
            read, fitted = with_table(form)
            return _page(visit, sheet, Filled(form=read), fitted=fitted, entry=entry(kept))
        if form.one("do") == "review":
            return _page(visit, sheet, kept, looked=_look(catalogue, sheet, form), entry=entry(kept))
        return see_other(_saved(sheet, form, writing, key))
    except REFUSED as error:
        place = _in_table if table else (lambda name: sheet.place(form, name))
        filled, status = refused(form, error, sheet.needed, place)
        return _page(visit, sheet, filled, status=status, looked=_look(catalogue, sheet, form), entry=entry(filled))


def _saved(sheet: Sheet, form: Form, writing: Writing, key: str | None) -> str:
    """Add or change the entry; the address of its page, with the result."""

    def given() -> dict[str, Any]:
        return {"entry": sheet.entry_of(form), "reason": form.one("reason"), "acknowledge": fields.acknowledged(form)}

    if key is None:
        added = act_once(writing, form, ADD, given, kind=sheet.body)
        return PAGES[sheet.record](added.key, "?said=added")
    changed = act_once(writing, form, REVISE, given, record=sheet.record, key=key, kind=sheet.body)
    return PAGES[sheet.record](key, f"?said={'waits' if changed.pending else 'changed'}")


def _in_table(name: str) -> str:
    """The field of an error in a table: its text, unless the error names another field of the table."""
    return name if name.startswith(TABLE) or name in ("maker", "name") else f"{TABLE}text"


def _look(catalogue: Catalogue, sheet: Sheet, form: Form) -> Looked:
    try:
        given = sheet.entry_of(form)
    except ApiError as error:
        return Looked(missing=tuple(each.message for each in error.errors))
    with catalogue.reading() as session:
        return look_over(session, sheet.kind, given)
