"""Adding halves and series, and changing them: one form each, looked over by machine while it is filled in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from api.operations.entries import ADD, REVISE
from api.operations.requests import WritingDep
from api.operations.transaction import Writing
from api.schemas.contributing import HalfIn, SeriesIn
from api.schemas.words import SEVERITY_WORDS
from api.service.dependencies import CatalogueDep
from api.service.problems import ApiError
from api.web.contribute import entry_fields as fields
from api.web.contribute.half_form import half_of, half_pairs, half_place
from api.web.contribute.reviewed import COLUMNS, Looked, look_over
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
from api.web.page.addresses import half_page, series_page
from api.web.page.form_actions import REFUSED, act_once, refused, see_other
from api.web.page.forms import EMPTY, Filled, Form, FormDep
from api.web.page.history import happened_since, row_of, waiting_changes
from api.web.page.rendering import Visit, VisitDep
from catalog.accounts.access import Permission
from catalog.db.database import Catalogue
from catalog.history.documents import new_key
from catalog.history.preconditions import tag_of
from catalog.model.entries import Half, Series
from catalog.model.errors import StaleError
from catalog.records.read import get_record
from catalog.records.read_models import AnyRecord
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES

router = APIRouter(include_in_schema=False)

ROW = "row"
"""Name of the buttons that add a row; their value is the group of rows."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One kind of entry's form: its template and fields, and how they become an entry and the other way round."""

    record: str
    kind: type[Half] | type[Series]
    body: type[HalfIn] | type[SeriesIn]
    template: str
    part: str
    entry_of: Callable[[Form], dict[str, Any]]
    pairs_of: Callable[[Any], fields.Pairs]
    place: Callable[[Form, str], str]
    page: Callable[..., str]
    needed: tuple[str, ...]
    beginning: Form = EMPTY


HALF = Sheet(
    record="half",
    kind=Half,
    body=HalfIn,
    template="contribute_half.html",
    part="parts/half_form.html",
    entry_of=half_of,
    pairs_of=half_pairs,
    place=half_place,
    page=half_page,
    needed=("maker", "series", "part_number", "rows", "contact_count"),
)
SERIES = Sheet(
    record="series",
    kind=Series,
    body=SeriesIn,
    template="contribute_series.html",
    part="parts/series_form.html",
    entry_of=series_of,
    pairs_of=series_pairs,
    place=series_place,
    page=series_page,
    needed=("maker", "name"),
    beginning=empty_series(),
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
    "lifecycles": fields.LIFECYCLES,
    "ratings": fields.RATINGS,
    "severities": SEVERITY_WORDS,
    "columns": COLUMNS,
    "first_laws": FIRST_LAWS,
    "row_count": row_count,
}
"""What the forms offer to choose from."""


@router.get("/contribute")
def contribute_page(visit: VisitDep) -> Response:
    """What is needed, and where to begin."""
    return visit.page("contribute.html")


@router.get("/contribute/half")
def half_form(visit: VisitDep) -> Response:
    """The form of a half."""
    return _sheet(visit, HALF, Filled(form=HALF.beginning))


@router.post("/contribute/half")
def add_half(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Look a half over, or add it."""
    return _sent(visit, HALF, form, catalogue, lambda: _add(HALF, form, writing))


@router.get("/contribute/series")
def series_form(visit: VisitDep) -> Response:
    """The form of a series."""
    return _sheet(visit, SERIES, Filled(form=SERIES.beginning))


@router.post("/contribute/series")
def add_series(visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Look a series over, read a table into it, give it more rows, or add it."""
    return _sent(visit, SERIES, form, catalogue, lambda: _add(SERIES, form, writing))


@router.get("/halves/{key}/revise")
def half_revision(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """The form of a half that stands."""
    return _revision(visit, HALF, key, catalogue)


@router.post("/halves/{key}/revise")
def revise_half(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Change it."""
    return _revised(visit, HALF, key, form, catalogue, writing)


@router.get("/series/{key}/revise")
def series_revision(key: str, visit: VisitDep, catalogue: CatalogueDep) -> Response:
    """The form of a series that stands."""
    return _revision(visit, SERIES, key, catalogue)


@router.post("/series/{key}/revise")
def revise_series(key: str, visit: VisitDep, form: FormDep, catalogue: CatalogueDep, writing: WritingDep) -> Response:
    """Change it; its members follow."""
    return _revised(visit, SERIES, key, form, catalogue, writing)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """The entry that a form changes: what it is, its tag, and what happened to it since the form was made."""

    record: AnyRecord
    tag: str
    page: str
    since: tuple[Any, ...] = ()
    waiting: tuple[Any, ...] = ()


def _sheet(
    visit: Visit,
    sheet: Sheet,
    filled: Filled,
    *,
    status: int = 200,
    looked: Looked | None = None,
    stands: Standing | None = None,
    fitted: Any = None,
) -> Response:
    """The page with a form."""
    return visit.page(
        sheet.template,
        status=status,
        filled=filled,
        looked=looked,
        stands=stands,
        fitted=fitted,
        may=visit.may(Permission.CONTRIBUTE),
        here=visit.request.url.path,
        **CHOICES,
    )


def _sent(
    visit: Visit,
    sheet: Sheet,
    form: Form,
    catalogue: Catalogue,
    save: Callable[[], Response],
    stands: Callable[[bool], Standing | None] = lambda _: None,
) -> Response:
    """What a form was sent for: a part of the page for its script, another row, a look, or to be saved."""
    kept = Filled(form=form, once=form.once or new_key())
    if visit.part == "review":
        return visit.fragment("parts/review.html", filled=kept, looked=_look(catalogue, sheet, form), **CHOICES)
    if form.one(ROW):
        more = Filled(form=with_row(form, form.one(ROW)), once=kept.once)
        if visit.part == "fields":
            return visit.fragment(sheet.part, filled=more, fitted=None, stands=stands(False), **CHOICES)
        return _sheet(visit, sheet, more, stands=stands(False))
    try:
        if form.one("do") == "table":
            return _table(visit, sheet, form, stands)
        if form.one("do") == "review":
            return _sheet(visit, sheet, kept, looked=_look(catalogue, sheet, form), stands=stands(False))
        return save()
    except REFUSED as error:
        table = form.one("do") == "table"
        place = _in_table if table else (lambda name: sheet.place(form, name))
        filled, status = refused(form, error, sheet.needed, place)
        stale = isinstance(error, StaleError)
        return _sheet(visit, sheet, filled, status=status, looked=_look(catalogue, sheet, form), stands=stands(stale))


def _table(visit: Visit, sheet: Sheet, form: Form, stands: Callable[[bool], Standing | None]) -> Response:
    """Read a pasted table into the form."""
    more, fitted = with_table(form)
    return _sheet(visit, sheet, Filled(form=more), fitted=fitted, stands=stands(False))


def _in_table(name: str) -> str:
    """What is wrong with a table is wrong with its text, unless it is said of another field of it."""
    return name if name.startswith(TABLE) or name in ("maker", "name") else f"{TABLE}text"


def _look(catalogue: Catalogue, sheet: Sheet, form: Form) -> Looked:
    try:
        given = sheet.entry_of(form)
    except ApiError as error:
        return Looked(missing=tuple(each.message for each in error.errors))
    with catalogue.reading() as session:
        return look_over(session, sheet.kind, given)


def _given(sheet: Sheet, form: Form) -> dict[str, Any]:
    return {"entry": sheet.entry_of(form), "reason": form.one("reason"), "acknowledge": fields.acknowledged(form)}


def _add(sheet: Sheet, form: Form, writing: Writing) -> Response:
    made = act_once(writing, form, ADD, lambda: _given(sheet, form), kind=sheet.body)
    return see_other(sheet.page(made.key, "?said=added"))


def _revision(visit: Visit, sheet: Sheet, key: str, catalogue: Catalogue) -> Response:
    stands = _standing(sheet, key, catalogue)
    filled = Filled(form=Form(pairs=tuple(sheet.pairs_of(stands.record.content))))
    return _sheet(visit, sheet, filled, stands=stands)


def _revised(visit: Visit, sheet: Sheet, key: str, form: Form, catalogue: Catalogue, writing: Writing) -> Response:
    def save() -> Response:
        made = act_once(
            writing, form, REVISE, lambda: _given(sheet, form), record=sheet.record, key=key, kind=sheet.body
        )
        return see_other(sheet.page(key, f"?said={'waits' if made.pending else 'changed'}"))

    def stands(stale: bool) -> Standing:
        return _standing(sheet, key, catalogue, form.tag, stale)

    return _sent(visit, sheet, form, catalogue, save, stands)


def _standing(sheet: Sheet, key: str, catalogue: Catalogue, tag: str | None = None, stale: bool = False) -> Standing:
    """The entry as it stands. A form keeps the tag that it was made from, until it is told what happened since."""
    with catalogue.reading() as session:
        record = get_record(session, sheet.record, key)
        return Standing(
            record=record,
            tag=tag_of(session, sheet.record, key) if stale or tag is None else tag,
            page=sheet.page(key),
            since=happened_since(session, sheet.record, key, row_of(tag)) if stale and tag else (),
            waiting=waiting_changes(session, sheet.record, key),
        )
