"""Hostile contributions: every text field, sizes and structures; nothing is ever saved in part."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from tests.api.rest.test_contributing import NEW, PLACE, problem
from tests.api.workshop import KEEPER, Workshop, workshop, written
from tests.catalog.history.changed_entries import IDA
from tests.catalog.model.entry_examples import mating, series

CITATION = {"title": "T", "revision": "A", "page": "1", "address": "shelf 3"}

FIELDS: dict[str, tuple[str, dict[str, Any], list[str | int]]] = {
    "half.part_number": ("halves", written(NEW), ["part_number"]),
    "half.maker": ("halves", written(NEW), ["maker"]),
    "half.series": ("halves", written(NEW), ["series"]),
    "half.note": ("halves", written(NEW, note="n"), ["note"]),
    "half.markings": ("halves", written(NEW, markings=["m"]), ["markings", 0]),
    "half.aliases": ("halves", written(NEW, aliases=["a"]), ["aliases", 0]),
    "half.order_codes": ("halves", written(NEW, order_codes=["o"]), ["order_codes", 0]),
    "half.doubt": (
        "halves",
        written(NEW, dimensions={"pitch": {"value": 0.635, "extra_u": 0.01, "doubt": "d"}}),
        ["dimensions", "pitch", "doubt"],
    ),
    **{
        f"half.datasheet.{name}": ("halves", written(NEW, datasheet=dict(CITATION)), ["datasheet", name])
        for name in CITATION
    },
    "series.name": ("series", written(series(name="DN99", kinds=(), stack=())), ["name"]),
    "series.aliases": ("series", written(series(name="DN99", kinds=(), stack=()), aliases=["a"]), ["aliases", 0]),
    "series.note": ("series", written(series(name="DN99", kinds=(), stack=()), note="n"), ["note"]),
    "mating.note": ("matings", written(mating(basis="maker"), note="n"), ["note"]),
    "mating.contact_map": ("matings", written(mating(basis="maker")), ["contact_map", 0, 1]),
    "mating.citation": ("matings", written(mating(basis="maker"), citation=dict(CITATION)), ["citation", "title"]),
}

INVISIBLE = {
    "zero byte": "a\0b",
    "bell": "a\x07b",
    "escape": "\x1b[31mred",
    "right-to-left override": "AB\u202e21-P",
    "isolate": "a\u2066b",
    "zero width space": "a\u200bb",
    "byte order mark": "\ufeffa",
    "noncharacter": "a\uffffb",
    "line separator": "a\u2028b",
}

SHOWN = {"markup": "<script>alert(1)</script>&amp;", "formula": "=HYPERLINK(A1)", "quotes": "'; DROP TABLE halves; --"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path_factory.mktemp('hostile') / 'shop.sqlite3'}") as made:
        yield made


def put(entry: dict[str, Any], path: list[str | int], text: str) -> dict[str, Any]:
    """The entry with the text put into one field."""
    first, *rest = path
    if isinstance(first, int):
        raise TypeError("lists are handled by their owner")
    inside: Any = entry[first]
    if not rest:
        return {**entry, first: text}
    if isinstance(rest[0], int):
        number, *deeper = rest
        listed = list(inside)
        assert isinstance(number, int)
        listed[number] = text if not deeper else [*listed[number][:-1], text]
        return {**entry, first: listed}
    return {**entry, first: put(inside, rest, text)}


@pytest.mark.parametrize("kind", INVISIBLE)
@pytest.mark.parametrize("field", FIELDS)
def test_invisible_characters_are_refused_in_every_text_and_nothing_is_saved(
    shop: Workshop, field: str, kind: str
) -> None:
    listing, entry, path = FIELDS[field]
    version = shop.catalogue.version()
    refused = shop.ask("POST", f"/v1/{listing}", IDA, json={"entry": put(entry, path, INVISIBLE[kind])})
    assert (refused.status_code, problem(refused)) == (422, "invalid-request"), refused.text
    (error,) = refused.json()["errors"]
    place = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path)
    assert error["field"] == f"entry{place}"
    assert "U+" in error["message"]
    assert shop.catalogue.version() == version


@pytest.mark.parametrize("field", ["half.note", "half.part_number", "mating.contact_map", "series.name"])
def test_half_of_a_surrogate_pair_is_refused(shop: Workshop, field: str) -> None:
    listing, entry, path = FIELDS[field]
    body = json.dumps({"entry": put(entry, path, "LONE")}).replace("LONE", "\\ud800")
    headers = {"Authorization": f"Bearer {shop.tokens[IDA]}", "Content-Type": "application/json"}
    refused = shop.server.post(f"/v1/{listing}", content=body, headers=headers)
    assert refused.status_code in (400, 422)
    assert problem(refused) in ("invalid-request", "malformed-json")


@pytest.mark.parametrize("place", ["reason", "acknowledge"])
@pytest.mark.parametrize("kind", INVISIBLE)
def test_invisible_characters_are_refused_in_reasons_too(shop: Workshop, place: str, kind: str) -> None:
    text = INVISIBLE[kind]
    more = {"reason": text} if place == "reason" else {"acknowledge": {"off-law": text}}
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW), **more})
    assert (refused.status_code, problem(refused)) == (422, "invalid-request")
    withdrawn = shop.change("POST", f"{PLACE}/withdraw", IDA, reason=text)
    assert withdrawn.status_code == 422


@pytest.mark.parametrize("kind", SHOWN)
def test_markup_and_formulas_are_plain_text_in_every_output(tmp_path: Path, kind: str) -> None:
    text = SHOWN[kind]
    with workshop(f"sqlite:///{tmp_path / 'shown.sqlite3'}") as shop:
        entry = written(NEW, note=text, aliases=[text], order_codes=[text], datasheet={"title": text})
        made = shop.ask("POST", "/v1/halves", IDA, json={"entry": entry, "reason": text})
        assert made.status_code == 201, made.text
        stands = shop.server.get(f"/v1/halves/{NEW.key}")
        assert stands.headers["content-type"] == "application/json"
        assert stands.json()["half"]["note"] == text
        feed = ElementTree.fromstring(shop.server.get("/v1/journal.atom").content)
        summaries = [each.text or "" for each in feed.iter("{http://www.w3.org/2005/Atom}summary")]
        assert any(text in summary for summary in summaries)
        assert feed.find(".//script") is None


def test_a_contribution_of_10_mb_is_refused_before_it_is_read(shop: Workshop) -> None:
    version = shop.catalogue.version()
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW, note="x" * 10_000_000)})
    assert (refused.status_code, problem(refused)) == (413, "body-too-large")
    assert shop.catalogue.version() == version


def test_a_note_that_is_too_long_is_refused_with_the_limit(shop: Workshop) -> None:
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW, note="x" * 900_000)})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["remedy"] == "give at most 2000 characters"
    assert len(refused.content) < 2000


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "entry"),
        ({"entry": None}, "entry"),
        ({"entry": []}, "entry"),
        ({"entry": {"record": "plug"}}, "entry"),
        ({"entry": {"record": ["half"]}}, "entry"),
        ({"entry": {"record": "half"}}, "entry.maker"),
        ({"entry": {"record": "half", **written(NEW), "pich": 1}}, "entry.pich"),
        ({"entry": {"record": "mating", "half": 5}}, "entry.half"),
        ({"entry": {"record": "half", **written(NEW)}, "save": True}, "save"),
    ],
)
def test_an_invalid_entry_for_review_is_refused_with_its_field(
    shop: Workshop, body: dict[str, Any], field: str
) -> None:
    refused = shop.ask("POST", "/v1/review", json=body)
    assert (refused.status_code, problem(refused)) == (422, "invalid-request"), refused.text
    assert field in [each["field"] for each in refused.json()["errors"]]


def test_a_misspelt_field_of_an_entry_is_refused_with_a_suggestion(shop: Workshop) -> None:
    body = {"entry": {"record": "half", **written(NEW), "part_numbr": "x"}}
    (error,) = shop.ask("POST", "/v1/review", json=body).json()["errors"]
    assert "part_number" in error["remedy"]


def test_a_law_for_too_many_halves_is_refused_without_expanding_it(shop: Workshop) -> None:
    laws = series().model_dump(mode="json")
    kind = laws["kinds"][0] | {
        "contact_counts": list(range(2, 1000, 2)),
        "classes": [{"code": str(n)} for n in range(100)],
    }
    entry = {**written(series(name="DN98")), "kinds": [kind], "stack": []}
    for path, who in (("/v1/review", None), ("/v1/series", IDA)):
        given = {"record": "series", **entry}
        refused = shop.ask("POST", path, who, json={"entry": given})
        assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
        assert refused.json()["errors"][0]["field"] == "entry.kinds"


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("merge", {"into": "x\u202ey", "reason": "r"}),
        ("merge", {"into": "", "reason": "r"}),
        ("revert", {"revision": 0, "reason": "r"}),
        ("revert", {"revision": "1", "reason": "r"}),
        ("revert", {"revision": 1, "reason": " "}),
        ("withdraw", {"reason": "x" * 2001}),
        ("withdraw", {"reason": "r", "now": True}),
    ],
)
def test_a_change_in_an_invalid_form_is_refused(shop: Workshop, path: str, body: dict[str, Any]) -> None:
    refused = shop.change("POST", f"{PLACE}/{path}", KEEPER, **body)
    assert (refused.status_code, problem(refused)) == (422, "invalid-request")
