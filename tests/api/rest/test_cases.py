"""Cases over HTTP: what stays private, who may change what, suggestions, acceptance, and answers that change."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from api.background.case_watching import Watch
from api.operations import case_ranking
from api.schemas.cases import asked_of
from api.service.paging import Listing
from catalog.cases.specimens import Specimen
from catalog.history.addition import add
from catalog.history.changes import withdraw
from catalog.snapshot.snapshot import SnapshotSource
from matcher.errors import ObservationError, ObservationErrors
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.cases.case_examples import OBSERVED
from tests.catalog.evidence.evidence_examples import half as new_half
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, WREN, by

CASES = "/v1/specimens"
ATOM = "{http://www.w3.org/2005/Atom}"
SK20 = new_half()
HIDING = "turned\u202eround"

OF_MEMBER = [
    {"feature": "half_kind", "value": "plug"},
    {"feature": "contact_count", "value": 10},
    {"feature": "pitch", "value": 1.6, "spans": 4, "instrument": "caliper"},
    {"feature": "body_length", "value": 3.8, "plus_minus": 0.03},
    {"feature": "height", "max": 0.8},
]
"""Observations of the plug with ten contacts, with a bound, which is not a measurement."""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def body(**changes: Any) -> dict[str, Any]:
    return {"title": "reed bed recorder", "observations": OBSERVED} | changes


def saved(shop: Workshop, who: str = IDA, **changes: Any) -> dict[str, Any]:
    made = shop.ask("POST", CASES, who, json=body(**changes))
    assert made.status_code == 201, made.text
    answer: dict[str, Any] = made.json()
    assert made.headers["etag"] == f'"{answer["etag"]}"'
    return answer


def problem(response: Any) -> str:
    assert response.headers["content-type"] == "application/problem+json", response.text
    return str(response.json()["type"]).removeprefix("/problems/")


def refused(response: Any) -> tuple[int, str]:
    return response.status_code, problem(response)


def rank_again(shop: Workshop) -> None:
    watch = Watch(catalogue=shop.catalogue, source=SnapshotSource(shop.catalogue))
    while watch.step():
        pass


def shown(shop: Workshop, key: str, who: str | None = None) -> dict[str, Any]:
    found: dict[str, Any] = shop.ask("GET", f"{CASES}/{key}", who).json()
    return found


def everything_public(shop: Workshop) -> str:
    """Everything on public lists."""
    lists = [CASES, f"{CASES}?limit=1", f"{CASES}?changed_since=2020-01-01", f"{CASES}.atom", "/v1/search?q=reed"]
    journals = [
        "/v1/journal?limit=500",
        "/v1/journal?record=specimen",
        "/v1/journal?record=comment",
        "/v1/journal.atom",
    ]
    people = [f"/v1/journal?actor={IDA}", f"/v1/journal?actor={PER}", "/v1/journal?record=case_answer"]
    return "\n".join(shop.server.get(each).text for each in (*lists, *journals, *people))


@pytest.mark.parametrize("who", [None, "a bad token"])
def test_saving_a_case_needs_a_token(shop: Workshop, who: str | None) -> None:
    headers = {"Authorization": f"Bearer oh_{'k' * 43}"} if who else {}
    version = shop.catalogue.version()
    response = shop.server.post(CASES, json=body(), headers=headers)
    assert refused(response) == (401, "unauthorised")
    assert shop.catalogue.version() == version


def test_a_private_case_is_on_no_list_in_no_journal_and_in_no_feed(shop: Workshop) -> None:
    case = saved(shop, title="my hut in the reeds")
    shop.ask("POST", f"{CASES}/{case['key']}/comments", PER, json={"text": "hut seen", "half": HALF})
    add_new(shop)
    rank_again(shop)
    assert shown(shop, case["key"])["changes"]
    public = everything_public(shop)
    assert case["key"] not in public
    assert "hut" not in public


def test_a_cursor_leads_to_public_cases_only(shop: Workshop) -> None:
    keys = [saved(shop, visibility=each)["key"] for each in ("public", "private", "public", "private", "public")]
    found, cursor = [], None
    while True:
        page = shop.server.get(CASES, params={"limit": 1, **({"cursor": cursor} if cursor else {})}).json()
        found += [each["key"] for each in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert found == keys[::2]
    begun = shop.server.get(CASES, params={"limit": 1}).json()["next"]
    other = shop.server.get(CASES, params={"cursor": begun, "changed_since": "2026-01-01"})
    assert refused(other) == (422, "invalid-cursor")


def test_the_key_of_a_private_case_gives_access_to_it_and_its_journal(shop: Workshop) -> None:
    key = saved(shop)["key"]
    assert len(key) >= 22
    found = shop.server.get(f"{CASES}/{key}")
    assert found.headers["cache-control"] == "no-store"
    assert found.json()["visibility"] == "private"
    told = shop.server.get("/v1/journal", params={"record": "specimen", "key": key}).json()["items"]
    assert {row["record"] for row in told} == {"specimen", "case_answer"}


def test_a_wrong_key_and_a_hidden_case_get_the_same_refusal(shop: Workshop) -> None:
    key = saved(shop, visibility="public")["key"]
    hidden = shop.ask("PUT", f"{CASES}/{key}", IDA, tag=shop.tag(f"{CASES}/{key}"), json=body(visibility="private"))
    assert hidden.status_code == 200, hidden.text
    for path in ("", "/revisions/1"):
        one, other = shop.server.get(f"{CASES}/{key}{path}"), shop.server.get(f"{CASES}/{'A' * 22}{path}")
        assert refused(one) == refused(other) == (404, "unknown-entry")
        assert one.text.replace(key, "") == other.text.replace("A" * 22, "")
    for who in (IDA, KEEPER):
        assert shop.ask("GET", f"{CASES}/{key}", who).status_code == 200
    assert shop.ask("POST", f"{CASES}/{key}/comments", PER, json={"text": "hello"}).status_code == 404


def test_the_journal_of_a_private_case_needs_its_own_key_not_that_of_a_comment(shop: Workshop) -> None:
    key = saved(shop)["key"]
    said = shop.ask("POST", f"{CASES}/{key}/comments", IDA, json={"text": "hut seen"}).json()["key"]
    found = shop.server.get("/v1/journal", params={"record": "comment", "key": said})
    assert (found.status_code, found.json()["items"]) == (200, [])
    told = shop.server.get("/v1/journal", params={"record": "specimen", "key": key}).json()["items"]
    assert said in [row["key"] for row in told]


def test_the_journal_of_a_public_case_does_not_show_its_private_past(shop: Workshop) -> None:
    key = saved(shop, title="my hut in the reeds")["key"]
    place = f"{CASES}/{key}"
    assert shop.ask("PUT", place, IDA, tag=shop.tag(place), json=body(visibility="public")).status_code == 200
    assert "hut" not in shop.server.get("/v1/journal", params={"record": "specimen", "key": key}).text
    assert shop.server.get(f"{place}/revisions/1").status_code == 404
    assert shop.ask("GET", f"{place}/revisions/1", IDA).json()["specimen"]["title"] == "my hut in the reeds"
    assert [each["key"] for each in shop.server.get(CASES).json()["items"]] == [key]


@pytest.mark.parametrize("tag", ["", "0-0", '"1-1"', "banana"])
def test_revising_a_case_needs_the_state_it_was_made_from(shop: Workshop, tag: str) -> None:
    key = saved(shop)["key"]
    response = shop.ask("PUT", f"{CASES}/{key}", IDA, tag=tag, json=body(title="another"))
    assert refused(response) == ((412, "stale-revision") if tag else (428, "precondition-missing"))
    assert shown(shop, key)["title"] == "reed bed recorder"


@pytest.mark.parametrize("action", ["accept", "withdraw"])
def test_closing_a_case_needs_the_state_it_was_made_from(shop: Workshop, action: str) -> None:
    key = saved(shop)["key"]
    sent = {"half": HALF} if action == "accept" else {"reason": "a slip"}
    assert refused(shop.ask("POST", f"{CASES}/{key}/{action}", IDA, json=sent)) == (428, "precondition-missing")
    stale = shop.ask("POST", f"{CASES}/{key}/{action}", IDA, tag="1-0", json=sent)
    assert refused(stale) == (412, "stale-revision")
    assert shown(shop, key)["state"] == "open"


@pytest.mark.parametrize("who", [PER, KEEPER])
def test_only_the_author_revises_a_case(shop: Workshop, who: str) -> None:
    key = saved(shop, visibility="public")["key"]
    response = shop.ask("PUT", f"{CASES}/{key}", who, tag=shop.tag(f"{CASES}/{key}"), json=body(title="mine now"))
    assert refused(response) == (403, "forbidden")


@pytest.mark.parametrize("action", ["accept", "withdraw", "reopen"])
def test_others_cannot_close_a_case(shop: Workshop, action: str) -> None:
    key = saved(shop, visibility="public")["key"]
    sent = {"half": HALF} if action == "accept" else {"reason": "because"}
    response = shop.ask("POST", f"{CASES}/{key}/{action}", PER, tag=shop.tag(f"{CASES}/{key}"), json=sent)
    assert refused(response) == (403, "forbidden")


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"half": HALF}, "text"),
        ({"half": HALF, "text": "  "}, "text"),
        ({"text": HIDING}, "text"),
        ({"text": "x", "half": HIDING}, "half"),
        ({"text": "x" * 2001}, "text"),
    ],
)
def test_a_suggestion_needs_a_visible_reason(shop: Workshop, sent: dict[str, str], field: str) -> None:
    key = saved(shop)["key"]
    response = shop.ask("POST", f"{CASES}/{key}/comments", PER, json=sent)
    assert refused(response) == (422, "invalid-request")
    assert response.json()["errors"][0]["field"] == field
    assert shown(shop, key)["comments"] == []


def test_a_half_missing_from_the_catalogue_cannot_be_suggested_or_accepted(shop: Workshop) -> None:
    key = saved(shop)["key"]
    response = shop.ask("POST", f"{CASES}/{key}/comments", PER, json={"text": "it is", "half": "no:such"})
    assert refused(response) == (422, "unknown-half")
    accepted = shop.ask("POST", f"{CASES}/{key}/accept", IDA, tag=shop.tag(f"{CASES}/{key}"), json={"half": "no:such"})
    assert refused(accepted) == (422, "unknown-half")


def test_a_comment_of_10_mb_is_refused_before_it_is_read(shop: Workshop) -> None:
    key = saved(shop)["key"]
    response = shop.ask("POST", f"{CASES}/{key}/comments", PER, json={"text": "x" * 10_000_000})
    assert refused(response) == (413, "body-too-large")


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({"title": ""}, "invalid-request"),
        ({"title": HIDING}, "invalid-request"),
        ({"note": "\x00"}, "invalid-request"),
        ({"observations": []}, "invalid-request"),
        ({"observations": [{"feature": "wings", "value": 2}]}, "invalid-request"),
        ({"observations": [{"feature": "marking", "value": HIDING}]}, "invalid-request"),
        ({"observations": [{"feature": "pitch", "value": -1.0}]}, "invalid-observations"),
        ({"observations": [{"feature": "pitch", "value": 0.5, "unit": "furlong"}]}, "invalid-observations"),
        ({"at_hand": ["crowbar"]}, "invalid-observations"),
        ({"prior_absent": 1.0}, "invalid-request"),
        ({"visibility": "secret"}, "invalid-request"),
        ({"photo": "iVBOR"}, "invalid-request"),
        ({"solution": {"half": HALF}}, "invalid-request"),
        ({"pictures": [{"name": HIDING, "rows": [{"points": [[0, 0], [9, 0], [18, 0]]}]}]}, "invalid-request"),
        ({"pictures": [{"name": "one", "rows": [{"points": [[0, 0], [0, 0]]}]}]}, "invalid-observations"),
        ({"observations": [{"feature": "trial_fit", "value": {"half": "no:such", "mates": True}}]}, "unknown-half"),
    ],
    ids=lambda each: next(iter(each)) if isinstance(each, dict) else "",
)
def test_an_invalid_case_is_not_saved(shop: Workshop, changes: dict[str, Any], kind: str) -> None:
    version = shop.catalogue.version()
    response = shop.ask("POST", CASES, IDA, json=body(**changes))
    assert refused(response) == (422, kind)
    assert "http" not in response.json()["detail"]
    assert shop.catalogue.version() == version


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "=1+1", "{{7*7}}", "Kohlmeise – größer"])
def test_markup_and_formulas_in_a_case_are_plain_text(shop: Workshop, text: str) -> None:
    case = saved(shop, title=text, note=text, visibility="public")
    shop.ask("POST", f"{CASES}/{case['key']}/comments", PER, json={"text": text})
    found = shown(shop, case["key"])
    assert (found["title"], found["specimen"]["note"], found["comments"][0]["text"]) == (text, text, text)
    feed = ElementTree.fromstring(shop.server.get(f"{CASES}.atom").content)
    assert [each.text for each in feed.iter(f"{ATOM}title")][1].endswith(text)
    assert feed.find(".//script") is None


def test_a_saved_case_is_read_back_unchanged_with_its_identification(shop: Workshop) -> None:
    points = [[10.0 * site, 5.0] for site in range(8)]
    given = body(
        observations=OF_MEMBER,
        prior_absent=0.2,
        at_hand=["caliper"],
        closed_jaws={"caliper": [0.01, 0.02]},
        instruments={"caliper": {"feel_mm": 0.03}},
        pictures=[{"name": "top", "rows": [{"points": points}], "scale": {"px_per_mm": 25.0}}],
    )
    case = saved(shop, **given)
    asked = {name: given[name] for name in ("observations", "prior_absent", "at_hand", "closed_jaws", "instruments")}
    found = shop.server.post("/v1/identify", json=asked).json()
    first = found["candidates"][0]
    assert case["answer"]["verdict"] == found["verdict"]
    assert case["answer"]["halves"][0]["key"] == first["half"]["id"] == MEMBER
    assert case["answer"]["probability"] == pytest.approx(first["probability"])
    assert case["answer"]["probability_absent"] == pytest.approx(found["probability_absent"])
    assert case["specimen"]["pictures"][0]["rows"][0]["points"] == points
    again = shop.ask("PUT", f"{CASES}/{case['key']}", IDA, tag=case["etag"], json={**case["specimen"]})
    assert again.status_code == 200, again.text
    assert again.json()["specimen"] == case["specimen"]
    assert asked_of(Specimen.model_validate(case["specimen"])).closed_jaws == {"caliper": (0.01, 0.02)}


def test_saving_twice_with_one_idempotency_key_saves_once(shop: Workshop) -> None:
    one, two = (shop.ask("POST", CASES, IDA, key="k1", json=body(visibility="public")) for _ in range(2))
    assert one.json()["key"] == two.json()["key"]
    assert len(shop.server.get(CASES).json()["items"]) == 1
    assert refused(shop.ask("POST", CASES, IDA, key="k1", json=body(title="another"))) == (422, "key-reused")


def test_a_suggestion_shows_its_current_rank(shop: Workshop) -> None:
    case = saved(shop, observations=OF_MEMBER, visibility="public")
    place = f"{CASES}/{case['key']}"
    said = shop.ask("POST", f"{place}/comments", PER, json={"text": "same keys", "half": MEMBER}).json()
    why = shop.server.post("/v1/identify/explain", json={"observations": OF_MEMBER, "half": MEMBER}).json()
    assert said["judged"]["probability"] == pytest.approx(why["candidate"]["probability"])
    assert said["judged"]["sentences"] == why["sentences"]
    revised = shop.ask("PUT", place, IDA, tag=shop.tag(place), json=body(visibility="public")).json()
    judged = revised["comments"][0]["judged"]
    assert judged["half"] == MEMBER
    assert judged["probability"] < said["judged"]["probability"] / 10


def test_a_comment_can_be_withdrawn_by_its_author_or_a_maintainer(shop: Workshop) -> None:
    place = f"{CASES}/{saved(shop, visibility='public')['key']}"
    said = shop.ask("POST", f"{place}/comments", PER, json={"text": "nonsense"}).json()
    back = f"{place}/comments/{said['key']}/withdraw"
    assert refused(shop.ask("POST", back, IDA, json={"reason": "no"})) == (403, "forbidden")
    other = f"{CASES}/{saved(shop)['key']}/comments/{said['key']}/withdraw"
    assert refused(shop.ask("POST", other, PER, json={"reason": "no"})) == (404, "unknown-entry")
    assert shop.ask("POST", back, KEEPER, json={"reason": "spam"}).status_code == 200
    assert shown(shop, place.rsplit("/", 1)[1])["comments"] == []


def accepted(shop: Workshop, key: str, who: str = IDA, **sent: Any) -> Any:
    return shop.ask("POST", f"{CASES}/{key}/accept", who, tag=shop.tag(f"{CASES}/{key}"), json=sent)


def test_accepting_a_half_confirms_it_with_the_measurements_in_one_step(shop: Workshop) -> None:
    key = saved(shop, observations=OF_MEMBER, visibility="public")["key"]
    done = accepted(shop, key, half=MEMBER, reason="the same keys", confirm=True)
    assert done.status_code == 200, done.text
    solution = done.json()["solution"]
    assert (done.json()["state"], solution["half"], solution["accepted_by"]) == ("solved", MEMBER, IDA)
    assert [told.partition(": ")[2] for told in solution["left_out"]] == ["a limit is not a measurement"]
    (told,) = shop.server.get(f"/v1/halves/{MEMBER}/evidence").json()["confirmations"]
    assert (told["key"], told["author"], told["agrees"], told["counts"]) == (solution["confirmation"], IDA, True, True)
    assert {each["feature"] for each in told["confirmation"]["values"]} == {
        "pitch",
        "body_length",
        "contact_count",
        "half_kind",
    }
    assert shop.server.get(CASES).json()["items"] == []


def test_evidence_from_a_private_case_does_not_link_to_it(shop: Workshop) -> None:
    key = saved(shop, observations=OF_MEMBER, title="my hut")["key"]
    assert accepted(shop, key, half=MEMBER, reason="as in my hut").json()["solution"]["confirmation"]
    public = everything_public(shop) + shop.server.get(f"/v1/halves/{MEMBER}/evidence").text
    assert key not in public
    assert "hut" not in public


def test_authors_cannot_confirm_their_own_figures_with_their_own_case(shop: Workshop) -> None:
    key = saved(shop, WREN, observations=OF_MEMBER)["key"]
    insisting = accepted(shop, key, WREN, half=MEMBER, confirm=True)
    assert refused(insisting) == (403, "own-evidence")
    assert shown(shop, key)["state"] == "open"
    done = accepted(shop, key, WREN, half=MEMBER).json()
    assert done["solution"]["confirmation"] is None
    assert "Wren Olsen's own" in done["solution"]["left_out"][0]
    assert shop.server.get(f"/v1/halves/{MEMBER}/evidence").json()["confirmations"] == []


def test_an_outdated_revision_of_the_half_is_not_confirmed(shop: Workshop) -> None:
    key = saved(shop, observations=OF_MEMBER)["key"]
    assert refused(accepted(shop, key, half=MEMBER, confirm=True, revision=9)) == (412, "stale-revision")
    done = accepted(shop, key, half=MEMBER, revision=9).json()
    assert done["solution"]["confirmation"] is None
    assert "changed since revision 9" in done["solution"]["left_out"][0]


def test_requested_evidence_needs_a_revision_and_a_length(shop: Workshop) -> None:
    key = saved(shop, observations=OF_MEMBER)["key"]
    assert refused(accepted(shop, key, half=HALF, confirm=True)) == (422, "invalid-entry")
    counted = saved(shop, observations=OF_MEMBER[:2])["key"]
    response = accepted(shop, counted, half=MEMBER, confirm=True, revision=1)
    assert refused(response) == (422, "invalid-entry")
    assert "no length" in response.json()["detail"]


def test_accepting_by_a_maintainer_records_no_measurement_under_another_name(shop: Workshop) -> None:
    key = saved(shop, observations=OF_MEMBER)["key"]
    done = accepted(shop, key, KEEPER, half=MEMBER).json()
    assert (done["state"], done["solution"]["confirmation"]) == ("solved", None)
    assert "Ida Finch's, and only they" in done["solution"]["left_out"][0]


def test_a_probable_unit_slip_is_refused_until_it_is_acknowledged(shop: Workshop) -> None:
    inches = {"feature": "body_length", "value": 3.8, "unit": "in", "u": 0.001}
    key = saved(shop, observations=[*OF_MEMBER[:3], inches])["key"]
    response = accepted(shop, key, half=MEMBER, revision=1)
    assert refused(response) == (409, "review-refused")
    assert shown(shop, key)["state"] == "open"
    done = accepted(shop, key, half=MEMBER, revision=1, acknowledge={"units-slip": "the display says so"})
    assert done.status_code == 200, done.text
    assert done.json()["solution"]["confirmation"]


def test_only_a_suggestion_for_this_half_and_case_can_be_accepted(shop: Workshop) -> None:
    key, other = saved(shop)["key"], saved(shop)["key"]
    said = shop.ask("POST", f"{CASES}/{other}/comments", PER, json={"text": "it is", "half": HALF}).json()["key"]
    assert refused(accepted(shop, key, half=HALF, comment=said)) == (422, "invalid-entry")
    assert refused(accepted(shop, other, half=MEMBER, comment=said)) == (422, "invalid-entry")
    assert accepted(shop, other, half=HALF, comment=said).json()["solution"]["comment"] == said


def test_a_solved_case_can_be_reopened_and_is_ranked_again(shop: Workshop) -> None:
    key = saved(shop, visibility="public")["key"]
    accepted(shop, key, half=HALF, confirm=False)
    response = shop.ask("PUT", f"{CASES}/{key}", IDA, tag=shop.tag(f"{CASES}/{key}"), json=body())
    assert refused(response) == (422, "invalid-entry")
    opened = shop.change("POST", f"{CASES}/{key}/reopen", IDA, reason="the keys differ").json()
    assert (opened["state"], opened["solution"]) == ("open", None)
    rank_again(shop)
    assert [each["key"] for each in shop.server.get(CASES).json()["items"]] == [key]


def add_new(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        add(session, [SK20], by(WREN))


def test_a_new_half_changes_the_answer_and_the_case_says_so(shop: Workshop) -> None:
    key = saved(shop, visibility="public")["key"]
    before = shown(shop, key)
    assert (before["answer"]["verdict"], before["changed_since"], before["changes"]) == ("no_match", None, [])
    assert shop.server.get(CASES, params={"changed_since": "2020-01-01"}).json()["items"] == []
    tag = shop.tag(f"{CASES}/{key}")
    add_new(shop)
    rank_again(shop)
    after = shown(shop, key)
    assert (after["answer"]["halves"][0]["key"], after["revision"]) == (SK20.key, 1)
    assert after["changes"][0].startswith("was no match, is ")
    (listed,) = shop.server.get(CASES, params={"changed_since": after["changed_since"]}).json()["items"]
    assert (listed["key"], listed["changes"]) == (key, after["changes"])
    assert shop.server.get(CASES, params={"changed_since": "2999-01-01"}).json()["items"] == []
    feed = ElementTree.fromstring(shop.server.get(f"{CASES}.atom").content)
    titles = [each.text for each in feed.iter(f"{ATOM}title")]
    assert titles == ["otherhalf: open cases", "answer changed: reed bed recorder"]
    stale = shop.ask("PUT", f"{CASES}/{key}", IDA, tag=tag, json=body())
    assert refused(stale) == (412, "stale-revision"), "the author has not yet seen the changed answer"


def test_changes_that_leave_the_halves_unchanged_rank_no_case_again(shop: Workshop) -> None:
    saved(shop, visibility="public")
    watch = Watch(catalogue=shop.catalogue, source=SnapshotSource(shop.catalogue))
    assert watch.step()
    assert not watch.step()
    ranked = shop.server.get(CASES).json()["items"][0]["answer"]["catalogue_version"]
    place = f"{CASES}/{shop.server.get(CASES).json()['items'][0]['key']}"
    shop.ask("POST", f"{place}/comments", PER, json={"text": "a nice one"})
    assert not watch.step()
    assert shop.server.get(CASES).json()["items"][0]["answer"]["catalogue_version"] == ranked
    add_new(shop)
    assert watch.step()
    assert shop.server.get(CASES).json()["items"][0]["answer"]["catalogue_version"] > ranked


def test_a_trial_fit_with_a_missing_half_is_skipped_with_a_note(shop: Workshop) -> None:
    fit = {"feature": "trial_fit", "value": {"half": HALF, "mates": False}}
    key = saved(shop, observations=[*OBSERVED, fit], visibility="public")["key"]
    with shop.catalogue.writing() as session:
        withdraw(session, by(KEEPER, maintainer=True), "half", HALF)
    rank_again(shop)
    assert HALF in shown(shop, key)["answer"]["passed_over"][0]


def test_a_case_that_can_no_longer_be_ranked_keeps_its_answer(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    key = saved(shop, visibility="public")["key"]
    before = shown(shop, key)["answer"]
    add_new(shop)

    def refuse(*_: object) -> None:
        raise ObservationErrors([ObservationError("no such unit", field="unit", value="ell", remedy="mm")])

    with monkeypatch.context() as patch:
        patch.setattr(case_ranking, "readings_of", refuse)
        rank_again(shop)
    assert shown(shop, key)["answer"] == before
    assert "could not be ranked again" in caplog.text
    rank_again(shop)
    assert shown(shop, key)["answer"] != before


@pytest.mark.parametrize("after", ["abc", "-1", "9" * 40, "²"])
def test_a_forged_cursor_is_refused(shop: Workshop, after: str) -> None:
    response = shop.server.get(
        CASES, params={"cursor": Listing(name="specimens", cursor=None, limit=1).cursor_after(after)}
    )
    assert refused(response) == (422, "invalid-cursor")


@pytest.mark.parametrize("moment", ["lately", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "x" * 41])
def test_an_invalid_time_is_refused(shop: Workshop, moment: str) -> None:
    response = shop.server.get(CASES, params={"changed_since": moment})
    assert response.status_code == 422
    assert problem(response) in ("invalid-entry", "invalid-request")


@pytest.mark.parametrize("number", ["0", "-1", "9" * 30, "first"])
def test_an_invalid_revision_number_is_refused(shop: Workshop, number: str) -> None:
    key = saved(shop)["key"]
    assert refused(shop.server.get(f"{CASES}/{key}/revisions/{number}")) == (422, "invalid-request")
    assert refused(shop.server.get(f"{CASES}/{key}/revisions/99")) == (404, "unknown-entry")


@pytest.mark.parametrize("path", ["", "/KEY/comments", "/KEY/accept", "/KEY/withdraw"])
def test_a_body_that_is_not_valid_json_is_refused(shop: Workshop, path: str) -> None:
    place = CASES + path.replace("KEY", saved(shop)["key"])
    headers = {"Authorization": f"Bearer {shop.tokens[IDA]}", "Content-Type": "text/plain"}
    assert refused(shop.server.post(place, content=b"{}", headers=headers)) == (415, "unsupported-content")


def test_two_workers_that_rank_at_once_record_a_change_once(shop: Workshop) -> None:
    keys = [saved(shop, visibility="public")["key"] for _ in range(6)]
    add_new(shop)
    with ThreadPoolExecutor(4) as workers:
        for each in [workers.submit(rank_again, shop) for _ in range(4)]:
            each.result()
    told = shop.server.get("/v1/journal", params={"record": "case_answer", "limit": 500}).json()["items"]
    assert sorted(row["about"] for row in told if row["action"] == "rank") == sorted(keys)


def test_a_revision_made_while_cases_are_ranked_is_not_lost(shop: Workshop) -> None:
    key = saved(shop, visibility="public")["key"]
    place = f"{CASES}/{key}"
    add_new(shop)
    with ThreadPoolExecutor(2) as workers:
        ranking = workers.submit(rank_again, shop)
        tag = shop.tag(place)
        revised = shop.ask("PUT", place, IDA, tag=tag, json=body(title="revised", visibility="public"))
        ranking.result()
    found = shown(shop, key)
    assert found["title"] == ("revised" if revised.status_code == 200 else "reed bed recorder")
    assert revised.status_code in (200, 412)
    rank_again(shop)
    assert shown(shop, key)["answer"]["halves"][0]["key"] == SK20.key
