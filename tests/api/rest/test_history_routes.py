"""The journal over HTTP: complete, of one record or one person, as JSON and as a feed; every revision is readable."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from catalog.accounts import contributors
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.documents import add_document
from catalog.model.text_fields import plain_text
from tests.api.rest.test_contributing import NEW, PLACE, problem
from tests.api.workshop import KEEPER, Workshop, workshop, written
from tests.catalog.evidence.evidence_examples import measured
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, SERIES, WREN, by, confirm, longer, wider_laws
from tests.catalog.model.entry_examples import half

ATOM = "{http://www.w3.org/2005/Atom}"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A workshop with some history; tests only read it."""
    with workshop(f"sqlite:///{tmp_path_factory.mktemp('history') / 'shop.sqlite3'}") as made:
        assert made.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW)}).status_code == 201
        for step in range(1, 4):
            assert (
                made.change("PUT", PLACE, PER, entry=written(longer(by_mm=step / 10)), reason=f"{step}.").status_code
                == 200
            )
        assert made.change("PUT", f"/v1/series/{SERIES}", IDA, entry=written(wider_laws())).status_code == 200
        with made.catalogue.writing() as session:
            confirm(session, longer(by_mm=0.3), IDA, revision=4)
            secret = measured({"feature": "body_length", "value": 7.0, "u": 0.01}, content=half(), revision=4)
            add_document(session, by(PER), "specimen", secret, private=True, key="unguessable")
        yield made


def pages(shop: Workshop, path: str, **params: Any) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = []
    cursor = None
    while True:
        response = shop.server.get(path, params={**params, **({"cursor": cursor} if cursor else {})})
        assert response.status_code == 200, response.text
        items += response.json()["items"]
        cursor = response.json()["next"]
        if cursor is None:
            return items


def test_the_journal_is_complete_in_order_and_the_same_for_any_page_size(shop: Workshop) -> None:
    whole = pages(shop, "/v1/journal", limit=500)
    assert whole == pages(shop, "/v1/journal", limit=3)
    numbers = [row["id"] for row in whole]
    assert numbers == sorted(numbers, reverse=True)
    assert len(numbers) == len(set(numbers))
    moments = [row["at"] for row in whole]
    assert moments == sorted(moments, reverse=True)


def test_a_page_may_have_more_than_the_default_of_fifty_rows(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        for number in range(60):
            contributors.add(session, operators(), f"Warbler {number}")
    page = shop.server.get("/v1/journal", params={"limit": 60}).json()
    assert len(page["items"]) == 60
    assert page["next"] is not None


def test_every_record_counts_its_revisions_from_one(shop: Workshop) -> None:
    seen: dict[tuple[str, str], list[int]] = {}
    for row in reversed(pages(shop, "/v1/journal", limit=500)):
        seen.setdefault((row["record"], row["key"]), []).append(row["revision"])
    assert len(seen) > 1
    assert all(revisions == list(range(1, len(revisions) + 1)) for revisions in seen.values())


def test_each_row_begins_where_the_one_before_ended(shop: Workshop) -> None:
    rows = [row for row in pages(shop, f"{PLACE}/history") if row["record"] == "half"][::-1]
    assert rows[0]["old"] is None
    assert all(later["old"] == earlier["new"] for earlier, later in pairwise(rows))


def test_the_history_of_a_half_shows_authors_changes_reasons_and_statements(shop: Workshop) -> None:
    rows = pages(shop, f"{PLACE}/history")
    assert [(row["record"], row["action"], row["actor"]) for row in rows] == [
        ("confirmation", "add", IDA),
        ("half", "revise", PER),
        ("half", "revise", PER),
        ("half", "revise", PER),
        ("half", "add", WREN),
    ]
    assert rows[1]["reason"] == "3."
    assert rows == pages(shop, "/v1/journal", record="half", key=HALF)


def test_the_history_of_a_series_includes_its_halves_and_matings(shop: Workshop) -> None:
    rows = pages(shop, "/v1/journal", series=SERIES, limit=500)
    assert {"series", "half", "mating"} <= {row["record"] for row in rows}
    assert MEMBER in {row["key"] for row in rows}
    assert HALF not in {row["key"] for row in rows}
    assert {row["record"] for row in pages(shop, f"/v1/series/{SERIES}/history")} == {"series"}


def test_rows_are_found_by_person_kind_and_time(shop: Workshop) -> None:
    of_per = pages(shop, "/v1/journal", actor=PER)
    assert {row["actor"] for row in of_per} == {PER}
    assert {row["record"] for row in pages(shop, "/v1/journal", record="mating")} == {"mating"}
    since = of_per[1]["at"]
    assert [row["id"] for row in pages(shop, "/v1/journal", actor=PER, since=since)] == [
        row["id"] for row in of_per[:2]
    ]
    assert pages(shop, "/v1/journal", since="2100-01-01") == []


def test_private_records_are_shown_only_with_their_key(shop: Workshop) -> None:
    assert "unguessable" not in {row["key"] for row in pages(shop, "/v1/journal", limit=500)}
    assert "unguessable" not in shop.server.get("/v1/journal.atom").text
    assert pages(shop, "/v1/journal", record="specimen") == []
    assert [row["key"] for row in pages(shop, "/v1/journal", record="specimen", key="unguessable")] == ["unguessable"]


def test_every_revision_can_be_read(shop: Workshop) -> None:
    lengths = [
        shop.server.get(f"{PLACE}/revisions/{number}").json()["new"]["content"]["dimensions"]["body_length"]["value"]
        for number in range(1, 5)
    ]
    assert lengths == [7.4, 7.5, 7.6, 7.7]
    for path in (f"{PLACE}/revisions/5", f"{PLACE}/revisions/0", "/v1/halves/no:such/revisions/1"):
        assert problem(shop.server.get(path)) == "unknown-entry"
    assert problem(shop.server.get("/v1/halves/no:such/history")) == "unknown-entry"


@pytest.mark.parametrize(
    ("query", "field"),
    [("key=a:b", "record"), ("since=yesterday", "since"), ("limit=0", "limit"), ("acter=x", "acter")],
)
@pytest.mark.parametrize("path", ["/v1/journal", "/v1/journal.atom"])
def test_an_invalid_query_is_refused_with_its_parameter(shop: Workshop, path: str, query: str, field: str) -> None:
    refused = shop.server.get(f"{path}?{query}")
    assert refused.status_code == 422
    assert [error["field"] for error in refused.json()["errors"]] == [field]


def test_a_key_without_its_kind_of_record_is_refused(shop: Workshop) -> None:
    (error,) = shop.server.get("/v1/journal?key=a:b").json()["errors"]
    assert (error["field"], error["value"]) == ("record", "a:b")


def test_a_cursor_of_other_filters_is_refused(shop: Workshop) -> None:
    cursor = shop.server.get("/v1/journal", params={"limit": 1}).json()["next"]
    assert problem(shop.server.get("/v1/journal", params={"cursor": cursor, "actor": PER})) == "invalid-cursor"


def test_a_cursor_of_more_than_6000_characters_is_not_even_read(shop: Workshop) -> None:
    assert problem(shop.server.get("/v1/journal", params={"cursor": "a" * 6000})) == "invalid-cursor"
    assert problem(shop.server.get("/v1/journal", params={"cursor": "a" * 6001})) == "invalid-request"


def test_a_page_has_at_most_500_rows(shop: Workshop) -> None:
    assert shop.server.get("/v1/journal", params={"limit": 500}).status_code == 200
    assert shop.server.get("/v1/journal", params={"limit": 501}).status_code == 422


def test_an_unchanged_journal_is_not_sent_again(shop: Workshop) -> None:
    for path in ("/v1/journal", "/v1/journal.atom"):
        tag = shop.tag(path)
        assert shop.server.get(path, headers={"If-None-Match": tag}).status_code == 304


def feed(shop: Workshop, **query: str) -> ElementTree.Element:
    response = shop.server.get("/v1/journal.atom", params=query)
    assert response.headers["content-type"].startswith("application/atom+xml")
    return ElementTree.fromstring(response.content)


def texts(parent: ElementTree.Element, name: str) -> list[str]:
    return [each.text or "" for each in parent.findall(f"{ATOM}{name}")]


def test_the_feed_has_what_atom_requires(shop: Workshop) -> None:
    # RFC 4287, 4.1.1 and 4.1.2: id, title, updated once each; an author; self link; entries with the same and a link.
    root = feed(shop)
    assert root.tag == f"{ATOM}feed"
    entries = root.findall(f"{ATOM}entry")
    assert len(entries) == len(shop.server.get("/v1/journal", params={"limit": 50}).json()["items"]) > 40
    for element in (root, *entries):
        for name in ("id", "title", "updated", "author"):
            assert len(element.findall(f"{ATOM}{name}")) == 1, name
        assert element.find(f"{ATOM}author/{ATOM}name") is not None
    assert [link.get("rel") for link in root.findall(f"{ATOM}link")] == ["self", "alternate"]
    ids = [text for entry in entries for text in texts(entry, "id")]
    assert len(set(ids)) == len(ids)
    assert all(text.startswith("urn:uuid:") for text in ids)


def test_the_links_of_the_feed_lead_to_the_changed_records(shop: Workshop) -> None:
    entries = feed(shop).findall(f"{ATOM}entry")
    assert entries
    for entry in entries:
        link = entry.find(f"{ATOM}link")
        assert link is not None
        assert shop.server.get(str(link.get("href"))).status_code == 200


def test_the_ids_of_the_feed_do_not_depend_on_address_or_filters(shop: Workshop) -> None:
    here, elsewhere = (
        feed(shop, record="half", key=HALF),
        shop.server.get("/v1/journal.atom", params={"record": "half", "key": HALF}, headers={"Host": "other.example"}),
    )
    there = ElementTree.fromstring(elsewhere.content)
    assert texts(here, "id") == texts(there, "id")
    of_person = {text for entry in feed(shop, actor=PER).findall(f"{ATOM}entry") for text in texts(entry, "id")}
    of_half = {text for entry in here.findall(f"{ATOM}entry") for text in texts(entry, "id")}
    assert len(of_half) == 5
    assert len(of_person & of_half) == 3
    assert texts(feed(shop), "id") != texts(here, "id")


@pytest.mark.parametrize(
    ("filters", "title"),
    [
        ({}, "otherhalf: all changes"),
        ({"record": "half"}, "otherhalf: record half"),
        ({"record": "half", "key": HALF}, f"otherhalf: record half, key {HALF}"),
        ({"actor": PER}, f"otherhalf: actor {PER}"),
    ],
    ids=["no filter", "a kind", "a record", "a person"],
)
def test_the_title_of_a_feed_names_exactly_its_filters(shop: Workshop, filters: dict[str, str], title: str) -> None:
    assert texts(feed(shop, **filters), "title") == [title]


def test_the_feed_shows_old_and_new_values(shop: Workshop) -> None:
    summaries = [
        text
        for entry in feed(shop, record="half", key=HALF).findall(f"{ATOM}entry")
        for text in texts(entry, "summary")
    ]
    assert any("dimensions.body_length.value: 7.6 → 7.7" in text for text in summaries)


def test_an_empty_feed_is_valid(shop: Workshop) -> None:
    assert feed(shop, actor="Nobody").findall(f"{ATOM}entry") == []


def test_characters_that_xml_cannot_contain_are_shown_as_escapes(tmp_path: Path) -> None:
    with workshop(f"sqlite:///{tmp_path / 'old.sqlite3'}") as made:
        with pytest.raises(ValueError, match=r"U\+0001"):
            plain_text("a\x01b")
        with made.catalogue.writing() as session:
            add(session, [NEW], by(KEEPER, "]]>&<\x01 from a damaged file"))
        (entry,) = feed(made, actor=KEEPER).findall(f"{ATOM}entry")
        assert texts(entry, "summary")[0].startswith("]]>&<\ufffd from a damaged file")
