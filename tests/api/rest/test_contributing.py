"""Contributing over HTTP: the review, adding once, and refusals of stale, incomplete, replayed or severe requests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from catalog.history.addition import add
from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from tests.api.workshop import KEEPER, Workshop, workshop, written
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, SERIES, WREN, confirm, longer, wider_laws
from tests.catalog.model.entry_examples import half, mating, series

NEW = Half(
    maker="Siskin Works",
    series="SK",
    part_number="SK-90",
    half_kind="receptacle",
    rows=2,
    contact_count=26,
    dimensions={"pitch": Dimension(value=0.635)},
)
IMPOSSIBLE = written(NEW, dimensions={"pitch": {"value": 0.635}, "body_length": {"value": 2.0}})
PLACE = f"/v1/halves/{HALF}"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def problem(response: Any) -> str:
    assert response.headers["content-type"] == "application/problem+json", response.text
    return str(response.json()["type"]).removeprefix("/problems/")


def rows(shop: Workshop, **query: Any) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = shop.server.get("/v1/journal", params={"limit": 500, **query}).json()["items"]
    return items


def test_a_half_is_added_with_its_author_and_reason(shop: Workshop) -> None:
    made = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW), "reason": "from the leaflet"})
    assert made.status_code == 201, made.text
    answer = made.json()
    assert (answer["key"], answer["revision"], answer["added"]) == (NEW.key, 1, {"series": 0, "half": 1, "mating": 0})
    assert made.headers["etag"] == f'"{answer["etag"]}"' == shop.tag(f"/v1/halves/{NEW.key}")
    stands = shop.server.get(f"/v1/halves/{NEW.key}").json()
    assert (stands["author"], stands["standing"], stands["half"]["part_number"]) == (IDA, "reported", "SK-90")
    (row,) = rows(shop, record="half", key=NEW.key)
    assert (row["actor"], row["reason"], row["action"]) == (IDA, "from the leaflet", "add")


def test_a_series_is_added_with_all_its_members_and_found_at_once(shop: Workshop) -> None:
    other = series(
        name="DN41",
        kinds=[{**k.model_dump(mode="json"), "part_number": "DN41" + k.part_number[4:]} for k in series().kinds],
    )
    made = shop.ask("POST", "/v1/series", IDA, json={"entry": written(other)})
    assert made.status_code == 201, made.text
    assert made.json()["added"] == {"series": 1, "half": 9, "mating": 6}
    found = shop.server.get("/v1/search", params={"q": "dn41"}).json()["hits"]
    assert other.key in [hit["key"] for hit in found]


def test_a_mating_is_added_and_read_by_its_key(shop: Workshop) -> None:
    body = {"entry": written(mating(basis="maker")), "acknowledge": {"unlike-pitch": "they meet in one contact only"}}
    made = shop.ask("POST", "/v1/matings", IDA, json=body)
    assert made.status_code == 201, made.text
    key = made.json()["key"]
    stands = shop.server.get(f"/v1/matings/{key}")
    assert (stands.json()["id"], stands.headers["etag"]) == (key, made.headers["etag"])


def test_the_review_lists_all_findings_saves_nothing_and_needs_no_token(shop: Workshop) -> None:
    version = shop.catalogue.version()
    answer = shop.ask("POST", "/v1/review", json={"entry": {"record": "half", **IMPOSSIBLE}}).json()
    assert answer["clean"] is False
    assert "severe" in [finding["severity"] for finding in answer["findings"]]
    assert all(finding["message"] and finding["remedy"] for finding in answer["findings"])
    assert shop.server.get(f"/v1/halves/{NEW.key}").status_code == 404
    assert shop.catalogue.version() == version


def test_the_review_shows_every_half_and_mating_of_a_series_page_by_page(shop: Workshop) -> None:
    body = {"entry": {"record": "series", **written(series())}}
    halves: list[str] = []
    matings: list[str] = []
    cursor = None
    while True:
        params = {"limit": 4, **({"cursor": cursor} if cursor else {})}
        page = shop.ask("POST", "/v1/review", json=body, params=params).json()
        assert (page["half_count"], page["mating_count"]) == (9, 6)
        assert len(page["halves"]) + len(page["matings"]) <= 4
        halves += [each["part_number"] for each in page["halves"]]
        matings += [each["half"] for each in page["matings"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert (len(set(halves)), len(matings)) == (9, 6)


def test_a_cursor_of_a_review_is_valid_only_for_its_entry(shop: Workshop) -> None:
    page = shop.ask(
        "POST", "/v1/review", json={"entry": {"record": "series", **written(series())}}, params={"limit": 1}
    )
    other = {"entry": {"record": "series", **written(series(name="DN42"))}}
    refused = shop.ask("POST", "/v1/review", json=other, params={"cursor": page.json()["next"]})
    assert (refused.status_code, problem(refused)) == (422, "invalid-cursor")


def test_a_severe_finding_needs_a_reason_which_is_recorded(shop: Workshop) -> None:
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": IMPOSSIBLE})
    assert (refused.status_code, problem(refused)) == (409, "review-refused")
    errors = refused.json()["errors"]
    assert all(each["acknowledge"] and each["remedy"] and each["field"].startswith("entry.") for each in errors)
    assert shop.server.get(f"/v1/halves/{NEW.key}").status_code == 404
    reasons = {each["acknowledge"]: "measured twice on the bench" for each in errors}
    made = shop.ask("POST", "/v1/halves", IDA, json={"entry": IMPOSSIBLE, "acknowledge": reasons})
    assert made.status_code == 201, made.text
    (row,) = rows(shop, record="half", key=NEW.key)
    assert "measured twice on the bench" in row["reason"]


@pytest.mark.parametrize(
    ("acknowledge", "field"),
    [
        ({"contacts-outside": "ok"}, "acknowledge.contacts-outside"),
        ({"banana": "measured twice"}, "acknowledge.banana"),
    ],
)
def test_an_acknowledgement_without_reason_or_code_is_refused(
    shop: Workshop, acknowledge: dict[str, str], field: str
) -> None:
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": IMPOSSIBLE, "acknowledge": acknowledge})
    assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
    assert refused.json()["errors"][0]["field"] == field


def test_a_request_repeated_with_the_same_idempotency_key_acts_once(shop: Workshop) -> None:
    body = {"entry": written(NEW), "reason": "from the leaflet"}
    first = shop.ask("POST", "/v1/halves", IDA, key="k1", json=body)
    again = shop.ask("POST", "/v1/halves", IDA, key="k1", json=body)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert (first.headers.get("idempotency-replayed"), again.headers["idempotency-replayed"]) == (None, "true")
    assert again.headers["etag"] == first.headers["etag"]
    assert len(rows(shop, record="half", key=NEW.key)) == 1


def test_an_idempotency_key_of_another_request_is_refused_but_free_for_other_people(shop: Workshop) -> None:
    body = {"entry": written(NEW)}
    assert shop.ask("POST", "/v1/halves", IDA, key="k1", json=body).status_code == 201
    changed = shop.ask("POST", "/v1/halves", IDA, key="k1", json={"entry": written(NEW, note="other")})
    elsewhere = shop.ask("POST", f"{PLACE}/withdraw", IDA, key="k1", tag=shop.tag(PLACE), json={"reason": "gone"})
    for refused in (changed, elsewhere):
        assert (refused.status_code, problem(refused)) == (422, "key-reused")
    assert shop.ask("POST", "/v1/halves", PER, key="k1", json=body).json()["unchanged"]["half"] == 1


def test_a_refused_request_does_not_use_up_its_idempotency_key(shop: Workshop) -> None:
    assert shop.ask("POST", "/v1/halves", IDA, key="k1", json={"entry": IMPOSSIBLE}).status_code == 409
    assert shop.ask("POST", "/v1/halves", IDA, key="k1", json={"entry": written(NEW)}).status_code == 201


@pytest.mark.parametrize("key", ["", "ü", "a" * 201])
def test_an_invalid_idempotency_key_is_refused(shop: Workshop, key: str) -> None:
    headers = {"Authorization": f"Bearer {shop.tokens[IDA]}", b"Idempotency-Key": key.encode()}
    refused = shop.server.post("/v1/halves", headers=headers, json={"entry": written(NEW)})  # type: ignore[arg-type]
    assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
    assert refused.json()["errors"][0]["field"] == "Idempotency-Key"


def test_a_change_needs_the_state_it_was_made_from(shop: Workshop) -> None:
    body = {"entry": written(longer())}
    missing = shop.ask("PUT", PLACE, IDA, json=body)
    assert (missing.status_code, problem(missing)) == (428, "precondition-missing")
    tag = shop.tag(PLACE)
    done = shop.ask("PUT", PLACE, IDA, tag=tag, json=body)
    assert (done.status_code, done.json()["revision"], done.headers["etag"]) == (200, 2, shop.tag(PLACE)), done.text
    stale = shop.ask("PUT", PLACE, PER, tag=tag, json={"entry": written(longer(by_mm=0.2))})
    assert (stale.status_code, problem(stale)) == (412, "stale-revision")
    assert stale.json()["errors"][0]["value"] == tag.strip('"')
    assert shop.server.get(PLACE).json()["half"]["dimensions"]["body_length"]["value"] == 7.9


def test_a_new_statement_makes_a_change_stale_too(shop: Workshop) -> None:
    tag = shop.tag(PLACE)
    with shop.catalogue.writing() as session:
        confirm(session, half(), PER)
    stale = shop.ask("PUT", PLACE, IDA, tag=tag, json={"entry": written(longer())})
    assert (stale.status_code, problem(stale)) == (412, "stale-revision")
    assert "said something about it" in stale.json()["detail"]


def test_a_weak_or_quoted_etag_is_accepted(shop: Workshop) -> None:
    tag = shop.tag(PLACE)
    assert shop.ask("PUT", PLACE, IDA, tag=f"W/{tag}", json={"entry": written(longer())}).status_code == 200


@pytest.mark.parametrize("action", ["withdraw", "restore", "merge", "revert"])
def test_every_change_of_an_entry_needs_its_etag_and_a_reason(shop: Workshop, action: str) -> None:
    needed: dict[str, dict[str, Any]] = {"merge": {"into": MEMBER}, "revert": {"revision": 1}}
    more = needed.get(action, {})
    missing = shop.ask("POST", f"{PLACE}/{action}", IDA, json={"reason": "why not", **more})
    assert (missing.status_code, problem(missing)) == (428, "precondition-missing")
    stale = shop.ask("POST", f"{PLACE}/{action}", IDA, tag='"9-9"', json={"reason": "why not", **more})
    assert (stale.status_code, problem(stale)) == (412, "stale-revision")
    silent = shop.ask("POST", f"{PLACE}/{action}", IDA, tag=shop.tag(PLACE), json=more)
    assert (silent.status_code, silent.json()["errors"][0]["field"]) == (422, "reason")
    assert shop.server.get(PLACE).json()["revision"] == 1


def test_an_unknown_entry_cannot_be_changed(shop: Workshop) -> None:
    refused = shop.ask("POST", "/v1/halves/no:such/withdraw", IDA, json={"reason": "gone"})
    assert (refused.status_code, problem(refused)) == (404, "unknown-entry")


def test_a_key_in_the_body_that_differs_from_the_address_is_refused(shop: Workshop) -> None:
    refused = shop.change("PUT", PLACE, IDA, entry=written(NEW))
    assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
    assert refused.json()["errors"][0]["field"] == "entry.part_number"


def test_a_listed_key_with_other_content_is_a_conflict(shop: Workshop) -> None:
    refused = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(half(note="another"))})
    assert (refused.status_code, problem(refused)) == (409, "conflicting-entry")
    assert refused.json()["errors"][0]["field"] == "entry.note"


def test_a_mating_of_an_unknown_half_is_refused_with_its_field(shop: Workshop) -> None:
    refused = shop.ask("POST", "/v1/matings", IDA, json={"entry": written(mating(other="no:such"))})
    assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
    assert refused.json()["errors"][0]["field"] == "entry.other"


def test_revising_a_series_lists_changed_new_and_removed_halves(shop: Workshop) -> None:
    assert shop.change("PUT", f"/v1/halves/{MEMBER}", PER, entry=_longer_member(shop)).status_code == 200
    done = shop.change("PUT", f"/v1/series/{SERIES}", IDA, entry=written(wider_laws()))
    assert done.status_code == 200, done.text
    answer = done.json()
    assert answer["by_hand"] == [MEMBER]
    assert "dunnock-sons:dn40pa-020" in answer["changed"]
    assert "dunnock-sons:dn40pa-030" in answer["added"]
    assert "dunnock-sons:dn40pa-040" in answer["left_over"]


def _longer_member(shop: Workshop) -> dict[str, Any]:
    found = Half.model_validate(shop.server.get(f"/v1/halves/{MEMBER}").json()["half"])
    return written(longer(found, 0.05))


def test_a_changed_half_makes_the_etag_of_its_series_stale(shop: Workshop) -> None:
    tag = shop.tag(f"/v1/series/{SERIES}")
    assert shop.change("PUT", f"/v1/halves/{MEMBER}", PER, entry=_longer_member(shop)).status_code == 200
    stale = shop.ask("PUT", f"/v1/series/{SERIES}", IDA, tag=tag, json={"entry": written(wider_laws())})
    assert stale.status_code == 412


def test_new_values_of_a_confirmed_half_wait(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        confirm(session, half(), IDA, PER)
    waits = shop.change("PUT", PLACE, WREN, entry=written(longer()))
    assert waits.status_code == 202, waits.text
    assert waits.json()["pending"]["due"] > waits.json()["pending"]["added_at"]
    assert waits.headers["etag"] == shop.tag(PLACE)
    assert shop.server.get(PLACE).json()["revision"] == 1


def test_a_withdrawn_half_is_still_readable_and_can_be_restored(shop: Workshop) -> None:
    waits = shop.change("POST", f"{PLACE}/withdraw", IDA, reason="no such part")
    assert (waits.status_code, waits.json()["state"]) == (202, "listed")
    key = waits.json()["pending"]["key"]
    assert shop.ask("POST", f"/v1/pending/{key}/hasten", KEEPER, json={"reason": "seen"}).status_code == 200
    gone = shop.server.get(PLACE).json()
    assert (gone["state"], gone["standing"], gone["half"]["part_number"]) == ("withdrawn", "withdrawn", "SK-7/13")
    refused = shop.change("PUT", PLACE, IDA, entry=written(longer()))
    assert (refused.status_code, problem(refused)) == (422, "invalid-entry")
    anew = shop.ask("POST", "/v1/halves", IDA, json={"entry": written(half())})
    assert (anew.status_code, problem(anew)) == (409, "conflicting-entry")
    back = shop.change("POST", f"{PLACE}/restore", PER, reason="I have one here")
    assert (back.status_code, back.json()["state"]) == (200, "listed"), back.text


def test_a_merged_half_names_its_successor(shop: Workshop) -> None:
    twin = half(part_number="SK-7/13-X")
    with shop.catalogue.writing() as session:
        add(session, [twin])
    waits = shop.change("POST", f"/v1/halves/{twin.key}/merge", IDA, into=HALF, reason="one part")
    assert waits.status_code == 202, waits.text
    shop.ask("POST", f"/v1/pending/{waits.json()['pending']['key']}/hasten", KEEPER, json={"reason": "yes"})
    merged = shop.server.get(f"/v1/halves/{twin.key}").json()
    assert (merged["state"], merged["successor"]) == ("merged", HALF)


def test_reverting_makes_a_new_revision(shop: Workshop) -> None:
    shop.change("PUT", PLACE, IDA, entry=written(longer()))
    back = shop.change("POST", f"{PLACE}/revert", PER, revision=1, reason="the leaflet was right")
    assert (back.status_code, back.json()["revision"]) == (200, 3), back.text
    stands = shop.server.get(PLACE).json()
    assert (stands["author"], stands["half"]["dimensions"]["body_length"]["value"]) == (WREN, 7.4)
    never = shop.change("POST", f"{PLACE}/revert", PER, revision=9, reason="the leaflet was right")
    assert (never.status_code, problem(never)) == (404, "unknown-entry")


def test_an_entry_is_not_sent_again_until_it_changes(shop: Workshop) -> None:
    tag = shop.tag(PLACE)
    assert shop.server.get(PLACE, headers={"If-None-Match": tag}).status_code == 304
    shop.ask("POST", "/v1/halves", IDA, json={"entry": written(NEW)})
    assert shop.server.get(PLACE, headers={"If-None-Match": tag}).status_code == 304
    shop.change("PUT", PLACE, IDA, entry=written(longer()))
    assert shop.server.get(PLACE, headers={"If-None-Match": tag}).status_code == 200


def test_lengths_may_be_given_in_the_unit_of_the_source(shop: Workshop) -> None:
    inches = written(NEW, dimensions={"pitch": {"value": 0.025, "unit": "in", "tolerance": 0.001}})
    made = shop.ask("POST", "/v1/halves", IDA, json={"entry": inches})
    assert made.status_code == 201, made.text
    pitch = shop.server.get(f"/v1/halves/{NEW.key}").json()["half"]["dimensions"]["pitch"]
    assert (pitch["value"], pitch["unit"], pitch["given"], pitch["given_tolerance"]) == (0.635, "in", 0.025, 0.001)
