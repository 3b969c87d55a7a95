"""Turns the form of a confirmation into a statement: measurements, a document or a trial fit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.observations.short_form import ShortFormError, parse_pieces
from api.schemas.problems import FieldProblem
from api.service.problems import ApiError
from api.web.contribute import entry_fields as fields
from api.web.page.forms import Form
from catalog.evidence.standing import EntryRecord
from catalog.evidence.statements import FEATURES_OF
from matcher.features import FEATURES, Kind
from matcher.uncertainty.instruments import BUILT_IN

WAYS = ("measured", "document", "trial_fit")
"""Ways of confirming, in the order in which they are offered."""

KEPT = ("value", "readings", "unit", "plus_minus", "spans", "instrument")
"""Parts of an observation that a measured value takes."""

TOOLS = tuple((name, each.label) for name, each in BUILT_IN.items() if not each.unscaled)


def measurable(of: EntryRecord) -> tuple[str, ...]:
    """Dimensions that can be measured of an entry."""
    return tuple(name for name in FEATURES_OF[of] if FEATURES[name].kind is Kind.DIMENSION)


def countable(of: EntryRecord) -> tuple[str, ...]:
    """The features of an entry that can be counted."""
    return tuple(name for name in FEATURES_OF[of] if FEATURES[name].kind is Kind.COUNT)


def confirmation_of(form: Form, of: EntryRecord, key: str) -> dict[str, Any]:
    """A confirmation as typed, not yet checked. Raises ApiError for readings that cannot be parsed."""
    basis = form.one("basis") or "measured"
    found: dict[str, Any] = {"of": of, "key": key, "revision": form.one("revision"), "basis": basis}
    if note := form.one("note"):
        found["note"] = note
    if basis == "measured":
        found["values"] = [*_lengths(form, of), *_counts(form, of)]
    elif basis == "document":
        found["citation"] = fields.given(form, fields.SOURCE, "citation.")
        found["stated"] = fields.dimensions(form, "stated.", measurable(of), form.one("unit"))
    else:
        found |= fields.given(form, ("mate", "result"))
    return found


def _lengths(form: Form, of: EntryRecord) -> Iterator[dict[str, Any]]:
    problems: list[FieldProblem] = []
    for name in measurable(of):
        text = form.one(f"values.{name}.value")
        if not text:
            continue
        try:
            yield _length(form, name, text)
        except ShortFormError as error:
            problems += [
                FieldProblem(field=f"values.{name}.value", value=text, message=each.message, remedy=each.remedy)
                for each in error.errors
            ]
    if problems:
        raise ApiError("invalid-request", problems[0].message, problems)


def _length(form: Form, name: str, text: str) -> dict[str, Any]:
    """A reading in the short form, with the unit and tool of the form where it names none."""
    (read,) = parse_pieces([f"{name}={text}"])
    if not {"value", "readings"} & set(read):
        raise ApiError.at(f"values.{name}.value", "a bound confirms nothing", "Give the reading itself", value=text)
    found = {part: read[part] for part in KEPT if part in read}
    found.setdefault("unit", form.one("unit") or "mm")
    if own := form.one(f"values.{name}.u"):
        return {**found, "feature": name, "u": own_number(own, f"values.{name}.u")}
    tool = form.one(f"values.{name}.instrument") or form.one("instrument")
    if tool:
        found.setdefault("instrument", tool)
    return {**found, "feature": name}


def own_number(text: str, field: str) -> float:
    """A number as typed; raises ApiError at its field."""
    try:
        return float(text)
    except ValueError as error:
        raise ApiError.at(field, "this is not a number", "Write digits, as in 0.01", value=text) from error


def _counts(form: Form, of: EntryRecord) -> Iterator[dict[str, Any]]:
    for name in countable(of):
        if text := form.one(f"values.{name}.value"):
            yield {"feature": name, "value": text}


def value_place(form: Form, of: EntryRecord, name: str) -> str:
    """The field of a measured value: the statement numbers its values, the page names them."""
    parts = name.split(".")
    if parts[0] != "values" or len(parts) < 2 or not parts[1].isdecimal():
        return name
    given = [each for each in (*measurable(of), *countable(of)) if form.one(f"values.{each}.value")]
    place = int(parts[1])
    return f"values.{given[place]}.value" if place < len(given) else name
