"""What was found at the contacts of a half: read from a table or from JSON, and matched with its contacts."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from api.fitting.wiring.contacts import Contacts
from api.schemas.fitting.contact_map import FoundContact, Role
from api.schemas.problems import FieldProblem, shown
from api.service.problems import ApiError
from catalog.exchange.columns import unguarded
from catalog.model.numbering import SIDES, Side
from matcher.vocabulary import closest, remedy_for

COLUMNS = tuple(FoundContact.model_fields)
DELIMITERS = (",", ";", "\t")

MOST_NAMED = 12
"""Most contacts that one message names; it says how many more there are."""

_PLACE = re.compile(r"\s*(\d{1,4})\s*/\s*(\d{1,4})\s*")

_GROUND = re.compile(
    r"(?:[a-z]*gnd[a-z]?|ground|earth|chassis|shield|vss[a-z]?|0\s?v|rtn|return|(?:v?batt?|[pbv])-)(?:[_ -]?\d+)?"
)
_SUPPLY = re.compile(
    r"(?:\+.*|\d+v\d*|\d+\.\d+\s?v"
    r"|v(?:cc|dd|batt?|sys|in|out|bus|io|aa|ee|pp|ext|raw|core)[a-z]*(?:[_ -](?!en|ok|pg|det)\w+)?"
    r"|v?batt?(?:ery)?\+?|[pb]\+|pwr|power|supply|charge|chg)(?:[_ -]?\d+)?"
)
_OPEN = re.compile(r"(?:n\.?\s?c\.?|n/c|open|unconnected|not connected|-)")
"""Usual names of nets. Common practice, no source; the role can be given instead."""


def role_of(net: str) -> Role | None:
    """What a net probably is, by its name; None where it was not traced."""
    name = net.strip().lower()
    if not name:
        return None
    if _OPEN.fullmatch(name):
        return "open"
    if _GROUND.fullmatch(name):
        return "ground"
    return "supply" if _SUPPLY.fullmatch(name) else "signal"


def read_nets(text: str, field: str = "nets") -> list[dict[str, Any]]:
    """The contacts in a table with the columns contact, net, role, reading and note, or in JSON (a list of objects, or
    one with a list ``contacts``); not checked yet. Raises ApiError where it is neither."""
    beginning = text.lstrip("\ufeff \t\r\n")[:1]
    if beginning in ("[", "{"):
        return _from_json(text.lstrip("\ufeff"), field)
    return list(_from_table(text.lstrip("\ufeff"), field))


def _from_json(text: str, field: str) -> list[dict[str, Any]]:
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ApiError.at(field, f"this JSON cannot be read: {error}", "correct it, or give a table") from error
    listed = given.get("contacts") if isinstance(given, dict) else given
    if not isinstance(listed, list) or not all(isinstance(each, dict) for each in listed):
        raise ApiError.at(field, "the JSON holds no list of contacts", 'give [{"contact": "1", "net": "GND"}, …]')
    return listed


def _from_table(text: str, field: str) -> Iterator[dict[str, Any]]:
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise ApiError.at(field, "there is nothing in it", "give a header line and one line for each contact")
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=max(DELIMITERS, key=lines[0].count))
    header = [cell.strip().lower() for cell in next(reader)]
    unknown = next((name for name in header if name not in COLUMNS), None)
    if unknown is not None or "contact" not in header or len(set(header)) < len(header):
        told = f"{unknown!r} is no column" if unknown else "the first line must name each column once, contact included"
        raise ApiError.at(field, told, remedy_for(COLUMNS, closest(unknown or "", COLUMNS)), value=", ".join(header))
    for number, cells in enumerate(reader, 2):
        if len(cells) > len(header):
            told = f"line {number} has {len(cells)} cells, the first line {len(header)}"
            raise ApiError.at(field, told, "put cells with the delimiter in quotation marks", value=",".join(cells))
        yield {name: unguarded(cell.strip()) for name, cell in zip(header, cells, strict=False) if cell.strip()}


def matched(found: Sequence[FoundContact], contacts: Contacts, seen_from: Side) -> dict[str, FoundContact]:
    """What was found, by the name of the half's contact.

    Raises ApiError naming every contact that the half has not, that is named twice, or that is missing.
    """
    names = [_name(each.contact, contacts, seen_from) for each in found]
    problems = [*_unknown(found, names, contacts, seen_from), *_twice(found, names)]
    missing = [each.name for each in contacts.every if each.name not in names] if found else []
    if missing and not problems:
        problems.append(_missing(missing))
    if problems:
        raise ApiError.of_fields(problems)
    return {name: each for name, each in zip(names, found, strict=True) if name is not None}


def _name(given: str, contacts: Contacts, seen_from: Side) -> str | None:
    """The name of a contact given by name or by place; None where the half has none."""
    place = _PLACE.fullmatch(given)
    if place is None:
        name = given.strip()
        return (
            name if name in contacts.by_name else next((n for n in contacts.by_name if n.lower() == name.lower()), None)
        )
    row, position = int(place[1]), int(place[2])
    if contacts.sideways and seen_from == "board_side":
        return None
    if not 1 <= row <= len(contacts.row_lengths) or not 1 <= position <= contacts.row_lengths[row - 1]:
        return None
    contact = contacts.by_place.get(SIDES[seen_from].of_place((row, position), contacts.row_lengths))
    return None if contact is None else contact.name


def _unknown(
    found: Sequence[FoundContact], names: Sequence[str | None], contacts: Contacts, seen_from: Side
) -> Iterator[FieldProblem]:
    half = contacts.half
    for index, (each, name) in enumerate(zip(found, names, strict=True)):
        if name is not None:
            continue
        if _PLACE.fullmatch(each.contact) and not contacts.placed:
            message = f"{half.part_number} does not state its numbering, so a place names no contact"
            remedy = "name contacts by the numbers on the board, counted from the mark at contact 1"
        elif _PLACE.fullmatch(each.contact) and contacts.sideways and seen_from == "board_side":
            message = f"{half.part_number} mates sideways, so its board side does not show its rows"
            remedy = "count places on its mating face, or name contacts by their numbers"
        else:
            message = f"{half.part_number} has no contact {each.contact}"
            remedy = f"it has {_range(contacts)}" + (
                "; places are row/position as seen, sites left out included" if contacts.placed else ""
            )
        yield _problem(index, each.contact, message, remedy)


def _twice(found: Sequence[FoundContact], names: Sequence[str | None]) -> Iterator[FieldProblem]:
    for name, times in Counter(name for name in names if name is not None).items():
        if times > 1:
            index = len(names) - 1 - list(reversed(names)).index(name)
            lines = ", ".join(str(place) for place, each in enumerate(names, 1) if each == name)
            yield _problem(
                index, found[index].contact, f"contact {name} is named {times} times (entries {lines})", "name it once"
            )


def _missing(missing: Sequence[str]) -> FieldProblem:
    more = len(missing) - MOST_NAMED
    told = ", ".join(missing[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    return FieldProblem(
        field="contacts",
        value=shown(told),
        message=f"{len(missing)} of the half's contacts are missing: {told}",
        remedy="give every contact; leave the net of one that was not traced empty",
    )


def _problem(index: int, value: str, message: str, remedy: str) -> FieldProblem:
    return FieldProblem(field=f"contacts[{index}].contact", value=shown(value), message=message, remedy=remedy)


def _range(contacts: Contacts) -> str:
    """The names of a half's contacts, briefly."""
    names: Mapping[str, list[str]] = {
        kind: [each.name for each in contacts.every if each.kind == kind] for kind in ("contact", "power", "hold_down")
    }
    told = [f"{own[0]} to {own[-1]}" if len(own) > 1 else own[0] for own in names.values() if own]
    return ", ".join(told)
