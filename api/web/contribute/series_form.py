"""The form of a series: kinds with a law in each row, height classes, stack pairs; reading the table of a drawing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from pydantic import ValidationError

from api.observations.short_form import ShortFormError, canonical_name
from api.schemas.problems import FieldProblem
from api.service.problems import ApiError
from api.web.contribute import entry_fields as fields
from api.web.page.forms import Form
from catalog.exchange.drawing_columns import Drawing
from catalog.exchange.drawing_table import FittedTable, fit_table
from catalog.model.entries import KindLaw, Series, StackPair
from catalog.model.entry_parts import DimensionLaw
from matcher.features import PAIR_DIMENSIONS

WORDS = ("maker", "name", "correspondence", "stack_tolerance")
OF_KIND = ("half_kind", "part_number", "rows")
OF_LAW = ("intercept", "slope", "bound", "tolerance")
FIRST_LAWS = ("pitch", "body_length", "body_width", "height", "row_spacing", "tail_span")
"""Dimensions with a row in an empty form: those that the drawing of a series always gives."""

MOST_ROWS = 200
"""Rows of one group that a form shows: 16 dimensions for each of a dozen classes."""

TABLE = "table."
"""Prefix of the fields that say how to read a pasted table."""

NO_CLASS = "-"
"""Code of the one height class of a kind that has no classes."""

_LAW = re.compile(r"kinds\.(?P<kind>\d+)(?:\.classes\.(?P<place>\d+))?\.dimensions\.(?P<feature>\w+)(?P<rest>.*)")


def row_count(form: Form, group: str) -> int:
    """Rows of a group of fields, ``kinds``, ``kinds.0.laws``: one more than the largest number in their names."""
    beginning = f"{group}."
    found = [name.removeprefix(beginning).split(".")[0] for name, _ in form.pairs if name.startswith(beginning)]
    return min(
        MOST_ROWS, 1 + max((int(number) for number in found if number.isdecimal() and len(number) < 4), default=-1)
    )


def with_row(form: Form, group: str) -> Form:
    """The form with one more, empty row in a group."""
    first = {"kinds": "part_number", "stack": "plug"}.get(group, "feature" if group.endswith("laws") else "code")
    return Form(pairs=(*form.pairs, (f"{group}.{row_count(form, group)}.{first}", "")))


def empty_series() -> Form:
    """One kind, with the rows of the usual dimensions, and one pair that mates."""
    laws = [(f"kinds.0.laws.{place}.feature", name) for place, name in enumerate(FIRST_LAWS)]
    return Form(pairs=(("kinds.0.part_number", ""), *laws, ("stack.0.plug", "")))


def series_of(form: Form) -> dict[str, Any]:
    """The typed values as an entry that is not checked yet. Raises ApiError for rows that contradict each other."""
    found: dict[str, Any] = fields.given(form, WORDS) | fields.common(form)
    if aliases := fields.lines(form, "aliases"):
        found["aliases"] = aliases
    kinds = [_kind(form, f"kinds.{place}.") for place in range(row_count(form, "kinds"))]
    found["kinds"] = [kind for kind in kinds if kind]
    pairs = [_pair(form, f"stack.{place}.") for place in range(row_count(form, "stack"))]
    found["stack"] = [pair for pair in pairs if pair]
    return found


def _kind(form: Form, prefix: str) -> dict[str, Any]:
    found: dict[str, Any] = fields.given(form, OF_KIND, prefix) | fields.seen(form, prefix)
    if counts := fields.numbers(form, f"{prefix}contact_counts"):
        found["contact_counts"] = counts
    laws = _laws(form, prefix)
    classes = _classes(form, prefix, laws)
    if not found and not classes and not any(laws.values()):
        return {}
    return found | {"dimensions": laws.get(NO_CLASS, {})} | ({"classes": classes} if classes else {})


def _laws(form: Form, prefix: str) -> dict[str, dict[str, Any]]:
    """Laws by the height class that they hold for."""
    found: dict[str, dict[str, Any]] = {}
    for place in range(row_count(form, f"{prefix}laws")):
        row = f"{prefix}laws.{place}."
        feature, code = form.one(f"{row}feature"), form.one(f"{row}class") or NO_CLASS
        law = fields.given(form, OF_LAW, row)
        if not feature or not set(law) - {"bound"}:
            continue
        if feature in found.setdefault(code, {}):
            _refuse(f"{row}feature", feature, "this dimension already has a law", "Remove one of the two")
        found[code][feature] = law
    return found


def _classes(form: Form, prefix: str, laws: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for place in range(row_count(form, f"{prefix}classes")):
        said = fields.given(form, ("code", "stack_share"), f"{prefix}classes.{place}.")
        if said:
            code = said.get("code", NO_CLASS)
            found.append({**said, "dimensions": {} if code == NO_CLASS else laws.get(code, {})})
    known = {each.get("code", NO_CLASS) for each in found}
    for code in laws:
        if code != NO_CLASS and code not in known:
            field = next(name for name, value in form.pairs if name.endswith(".class") and value.strip() == code)
            _refuse(
                field, code, "no class of this kind has this code", "Add it to the height classes, or remove it here"
            )
    return found


def _pair(form: Form, prefix: str) -> dict[str, Any]:
    found: dict[str, Any] = fields.given(form, ("plug", "receptacle"), prefix)
    return found | fields.dimensions(form, prefix, PAIR_DIMENSIONS, form.one("unit"))


def _refuse(field: str, value: str, message: str, remedy: str) -> None:
    raise ApiError.at(field, message, remedy, value=value)


def series_place(form: Form, name: str) -> str:
    """The field of a part of a series: laws are rows that name their dimension and class."""
    found = _LAW.fullmatch(name)
    if found is None:
        return name
    kind = f"kinds.{found['kind']}."
    code = NO_CLASS if found["place"] is None else form.one(f"{kind}classes.{found['place']}.code") or NO_CLASS
    for place in range(row_count(form, f"{kind}laws")):
        row = f"{kind}laws.{place}"
        if form.one(f"{row}.feature") == found["feature"] and (form.one(f"{row}.class") or NO_CLASS) == code:
            return f"{row}{found['rest'] or '.intercept'}"
    return name


def series_pairs(series: Series) -> fields.Pairs:
    """The fields of a series."""
    found: fields.Pairs = [("maker", series.maker), ("name", series.name), ("correspondence", series.correspondence)]
    found.append(("aliases", "\n".join(series.aliases)))
    if series.stack_tolerance is not None:
        found.append(("stack_tolerance", fields.figure(series.stack_tolerance)))
    for place, kind in enumerate(series.kinds):
        found += kind_pairs(f"kinds.{place}.", kind)
    for place, pair in enumerate(series.stack):
        found += _pair_pairs(f"stack.{place}.", pair)
    found += fields.common_pairs(series.lifecycle, series.mating_cycles, series.ratings, series.datasheet, series.note)
    return found


def kind_pairs(prefix: str, kind: KindLaw) -> fields.Pairs:
    """The fields of one kind."""
    found: fields.Pairs = [(f"{prefix}{name}", str(getattr(kind, name))) for name in OF_KIND]
    found.append((f"{prefix}contact_counts", " ".join(map(str, kind.contact_counts))))
    texts = {name: getattr(kind, name) for name in ("markings", "aliases", "order_codes")}
    found += fields.seen_pairs(prefix, kind.counts, kind.categories, kind.blocked, kind.numbering, texts)
    laws = [(NO_CLASS, feature, law) for feature, law in kind.dimensions.items()]
    laws += [(each.code, feature, law) for each in kind.classes for feature, law in each.dimensions.items()]
    for place, (code, feature, law) in enumerate(laws):
        found += _law_pairs(f"{prefix}laws.{place}.", code, feature, law)
    for place, each in enumerate(kind.classes):
        if each.code != NO_CLASS or each.stack_share is not None:
            found.append((f"{prefix}classes.{place}.code", each.code))
            share = "" if each.stack_share is None else fields.figure(each.stack_share)
            found.append((f"{prefix}classes.{place}.stack_share", share))
    return found


def _law_pairs(prefix: str, code: str, feature: str, law: DimensionLaw) -> Iterator[tuple[str, str]]:
    yield f"{prefix}feature", feature
    yield f"{prefix}class", "" if code == NO_CLASS else code
    yield f"{prefix}intercept", fields.figure(law.intercept)
    yield f"{prefix}slope", fields.figure(law.slope) if law.slope else ""
    yield f"{prefix}bound", law.bound
    if law.tolerance is not None:
        yield f"{prefix}tolerance", fields.figure(law.tolerance)


def _pair_pairs(prefix: str, pair: StackPair) -> Iterator[tuple[str, str]]:
    yield f"{prefix}plug", pair.plug
    yield f"{prefix}receptacle", pair.receptacle
    for name in PAIR_DIMENSIONS:
        stated = getattr(pair, name)
        if stated is not None:
            yield from fields.dimension_pairs(f"{prefix}{name}.", stated)


def with_table(form: Form) -> tuple[Form, FittedTable]:
    """The form with the laws of a pasted table in it, as one more kind unless there is an empty one.

    Raises FileRefusedError with line and cell, ApiError for what the table itself does not say.
    """
    fitted = fit_table(form.one(f"{TABLE}text"), letters=_letters(form), drawing=_drawing(form))
    kinds = [_kind(form, f"kinds.{place}.") for place in range(row_count(form, "kinds"))]
    place = next((number for number, kind in enumerate(kinds) if not kind), len(kinds))
    prefix = f"kinds.{place}."
    kept = [(name, value) for name, value in form.pairs if not name.startswith(prefix)]
    return Form(pairs=(*kept, *kind_pairs(prefix, fitted.series.kinds[0]))), fitted


def _letters(form: Form) -> dict[str, str]:
    """Meanings of the columns, a line each: ``A = body length``."""
    found = {}
    for line in fields.lines(form, f"{TABLE}letters"):
        letter, equals, meaning = line.partition("=")
        if not equals:
            _refuse(f"{TABLE}letters", line, f"{line!r} does not say what a column means", "Write A = body_length")
        found[letter.strip()] = _feature(meaning.strip())
    return found


def _feature(meaning: str) -> str:
    """A dimension by its name, label or synonym; the reader of the table refuses anything else."""
    try:
        return canonical_name(meaning)
    except ShortFormError:
        return meaning


def _drawing(form: Form) -> Drawing:
    said = fields.given(form, ("half_kind", "part_number", "rows", "size", "unit", "pitch"), TABLE)
    try:
        return Drawing.model_validate({**fields.given(form, ("maker", "name")), **said})
    except ValidationError as error:
        problems = [
            FieldProblem(field=_of_drawing(str(each["loc"][0])), value=None, message=each["msg"], remedy="")
            for each in error.errors(include_url=False)
        ]
        raise ApiError("invalid-request", "the table needs more to be read", problems) from error


def _of_drawing(name: str) -> str:
    return name if name in ("maker", "name") else f"{TABLE}{name}"
