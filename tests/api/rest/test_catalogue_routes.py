"""Reading the catalogue over HTTP: pages, filters, ETags, HEAD, search."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from catalog.snapshot.snapshot import Snapshot

LISTS = ["/v1/halves", "/v1/series", "/v1/matings"]


def pages(server: TestClient, path: str, **params: Any) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = []
    cursor = None
    while True:
        query = {**params, **({"cursor": cursor} if cursor else {})}
        response = server.get(path, params=query)
        assert response.status_code == 200, response.text
        page = response.json()
        items += page["items"]
        cursor = page["next"]
        if cursor is None:
            return items


def test_following_next_gives_every_half_once(server: TestClient, snapshot: Snapshot) -> None:
    keys = [item["key"] for item in pages(server, "/v1/halves", limit=500)]
    assert keys == sorted(key for key, record in snapshot.halves.items() if record.origin == "listed")


def test_following_next_gives_every_mating_once(server: TestClient, snapshot: Snapshot) -> None:
    ids = [item["id"] for item in pages(server, "/v1/matings", limit=500)]
    assert sorted(ids) == sorted(record.id for record in snapshot.matings)
    assert len(set(ids)) == len(ids)


def test_small_pages_give_the_same_rows_as_a_large_page(server: TestClient) -> None:
    small = pages(server, "/v1/series", limit=7)
    large = pages(server, "/v1/series", limit=500)
    assert small == large


def test_filters_apply_to_every_page(server: TestClient) -> None:
    found = pages(server, "/v1/halves", maker="Ouzelby", half_kind="plug", limit=5)
    assert found
    assert {(item["half"]["maker"], item["half"]["half_kind"]) for item in found} == {("Ouzelby", "plug")}


@pytest.mark.parametrize("path", [*LISTS, "/v1/search?q=mossipet", "/v1/halves/ouzelby:mossipet-p24"])
def test_an_unknown_query_parameter_is_refused(server: TestClient, path: str) -> None:
    response = server.get(f"{path}{'&' if '?' in path else '?'}makr=Ouzelby")
    assert (response.status_code, response.json()["type"]) == (422, "/problems/invalid-request")
    (error,) = response.json()["errors"]
    assert (error["field"], error["value"]) == ("makr", "Ouzelby")
    assert error["remedy"]


def test_a_misspelt_filter_is_refused_with_a_suggestion(server: TestClient) -> None:
    (error,) = server.get("/v1/halves?makr=Ouzelby").json()["errors"]
    assert "'maker'" in error["remedy"]


def test_halves_are_found_by_series_count_and_fragment(server: TestClient) -> None:
    query = {"series": "ouzelby:mossipet", "contact_count": 24, "text": "mossipet-p"}
    assert [item["key"] for item in pages(server, "/v1/halves", **query)] == ["ouzelby:mossipet-p24"]


def test_a_half_its_series_and_its_matings_link_to_each_other(server: TestClient) -> None:
    half = server.get("/v1/halves/ouzelby:mossipet-p24").json()
    series = server.get(f"/v1/series/{half['series_key']}").json()
    assert series["series"]["name"] == half["half"]["series"]
    (mating,) = pages(server, "/v1/matings", half=half["key"])
    assert half["key"] in (mating["mating"]["half"], mating["mating"]["other"])


@pytest.mark.parametrize("path", ["/v1/halves/no:such", "/v1/series/no:such"])
def test_an_unknown_key_is_not_found(server: TestClient, path: str) -> None:
    response = server.get(path)
    assert response.status_code == 404
    assert response.json()["type"] == "/problems/unknown-entry"
    assert response.json()["errors"][0]["value"] == "no:such"


@pytest.mark.parametrize("cursor", ["x", "%%%", "AAAA", "W10", "W251bGwsbnVsbF0", "ünlesbar", "a" * 500])
def test_an_altered_cursor_is_refused(server: TestClient, cursor: str) -> None:
    response = server.get("/v1/halves", params={"cursor": cursor})
    assert response.status_code == 422
    assert response.json()["type"] == "/problems/invalid-cursor"


def test_a_cursor_of_another_list_or_filter_is_refused(server: TestClient) -> None:
    cursor = server.get("/v1/halves", params={"limit": 1}).json()["next"]
    for path, query in [("/v1/series", {}), ("/v1/halves", {"maker": "Ouzelby"})]:
        response = server.get(path, params={"cursor": cursor, **query})
        assert response.json()["type"] == "/problems/invalid-cursor"


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("/v1/halves?limit=0", "limit"),
        ("/v1/halves?limit=501", "limit"),
        ("/v1/halves?limit=many", "limit"),
        ("/v1/halves?half_kind=male", "half_kind"),
        ("/v1/halves?contact_count=0", "contact_count"),
        ("/v1/matings?basis=hearsay", "basis"),
        ("/v1/search", "q"),
        ("/v1/search?q=", "q"),
        ("/v1/search?q=a&limit=101", "limit"),
    ],
)
def test_an_invalid_query_is_refused_with_its_parameter(server: TestClient, path: str, field: str) -> None:
    response = server.get(path)
    assert response.status_code == 422
    assert [error["field"] for error in response.json()["errors"]] == [field]


@pytest.mark.parametrize("path", [*LISTS, "/v1/halves/ouzelby:mossipet-p24", "/v1/search?q=mossipet"])
def test_an_unchanged_page_is_not_sent_again(server: TestClient, path: str) -> None:
    first = server.get(path)
    again = server.get(path, headers={"If-None-Match": f'"other", W/{first.headers["etag"]}'})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["etag"] == first.headers["etag"]
    assert server.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("path", [*LISTS, "/v1/features", "/health", "/", "/docs"])
def test_head_answers_like_get_without_a_body(server: TestClient, path: str) -> None:
    head, get = server.head(path), server.get(path)
    assert (head.status_code, head.content) == (get.status_code, b"")
    assert head.headers["content-length"] == get.headers["content-length"]


def test_search_tolerates_a_typing_error(server: TestClient) -> None:
    hits = server.get("/v1/search", params={"q": "mosipet", "limit": 3}).json()["hits"]
    assert hits[0]["key"].startswith("ouzelby:mossipet")


def test_a_search_that_finds_nothing_is_an_empty_list(server: TestClient) -> None:
    assert server.get("/v1/search", params={"q": "qqqzzzqqq"}).json()["hits"] == []
