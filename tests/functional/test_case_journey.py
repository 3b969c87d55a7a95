"""A case from end to end on a running server: nothing matches, another person adds the series, the case shows that it
has a new answer, a suggestion is accepted, and the half is confirmed by the measurements."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from starlette.testclient import TestClient

from api.app import create_app
from api.service.settings import Settings
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Role, Scope
from catalog.db.database import open_catalogue
from catalog.history.acts import operators
from tests import catalogues

IDA, PER = "Ida Finch", "Per Crake"
PATIENCE_S = 60.0
"""Seconds within which the server must rank the case again; it checks every 20 ms."""

PITCH, LENGTH, SIZE = 0.73, 9.41, 22
"""Observations of a receptacle unlike any in the demo: no half has this pitch."""

OBSERVATIONS: list[dict[str, Any]] = [
    {"feature": "half_kind", "value": "receptacle"},
    {"feature": "rows", "value": 2},
    {"feature": "contact_count", "value": SIZE},
    {"feature": "pitch", "value": 7.31, "spans": 10, "instrument": "caliper"},
    {"feature": "body_length", "readings": [9.40, 9.42, 9.41], "instrument": "caliper"},
    {"feature": "height", "max": 2.0},
]

SERIES = {
    "record": "series",
    "maker": "Reedling Works",
    "name": "RB73",
    "kinds": [
        {
            "half_kind": "receptacle",
            "part_number": "RB73R-{contacts:2}",
            "rows": 2,
            "contact_counts": [12, SIZE, 32],
            "dimensions": {
                "pitch": {"intercept": PITCH, "tolerance": 0.02},
                "body_length": {"intercept": round(LENGTH - 11 * PITCH, 2), "slope": PITCH, "tolerance": 0.1},
                "height": {"intercept": 1.2, "tolerance": 0.1},
            },
        }
    ],
}


def _tokens(url: str) -> dict[str, dict[str, str]]:
    scopes = [Scope.CONTRIBUTE, Scope.EVIDENCE]
    with open_catalogue(url) as catalogue, catalogue.writing() as session:
        for name in (IDA, PER):
            contributors.add(session, operators(), name, Role.CONTRIBUTOR)
        made = {name: tokens.create(session, operators(), name, scopes=scopes, expires=None) for name in (IDA, PER)}
        return {name: {"Authorization": f"Bearer {each.secret}"} for name, each in made.items()}


def _until(asked: Callable[[], Any], settled: Callable[[Any], bool]) -> Any:
    ends = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends:
        found = asked()
        if settled(found):
            return found
        time.sleep(0.05)
    raise AssertionError(f"still so after {PATIENCE_S} s: {found}")


def test_a_case_without_a_match_is_solved_by_another_persons_entry(tmp_path: Path) -> None:
    url = catalogues.placed(tmp_path / "journey.sqlite3", catalogues.demo())
    headers = _tokens(url)
    with TestClient(create_app(Settings(database_url=url, cases_every_s=0.02))) as server:
        body = {"title": "reed bed recorder", "visibility": "public", "observations": OBSERVATIONS}
        case = server.post("/v1/specimens", json=body, headers=headers[IDA]).json()
        place = f"/v1/specimens/{case['key']}"
        assert (case["answer"]["verdict"], case["changed_since"]) == ("no_match", None)

        added = server.post("/v1/series", json={"entry": SERIES, "reason": "from its leaflet"}, headers=headers[PER])
        assert added.status_code == 201, added.text

        changed = _until(lambda: server.get(place).json(), lambda found: found["changed_since"] is not None)
        leader = changed["answer"]["halves"][0]["key"]
        assert leader == f"reedling-works:rb73r-{SIZE}"
        assert changed["answer"]["verdict"] == "identified"
        assert changed["changes"][0] == "was no match, is identified"
        listed = server.get("/v1/specimens", params={"changed_since": changed["changed_since"]}).json()["items"]
        assert [each["key"] for each in listed] == [case["key"]]
        feed = ElementTree.fromstring(server.get("/v1/specimens.atom").content)
        titles = [each.text for each in feed.iter("{http://www.w3.org/2005/Atom}title")]
        assert titles[1] == "answer changed: reed bed recorder"

        suggestion = {"text": "I have one with its bag", "half": leader}
        said = server.post(f"{place}/comments", json=suggestion, headers=headers[PER]).json()
        assert said["judged"]["rank"] == 1

        tag = server.get(place).headers["etag"]
        sent = {"half": leader, "comment": said["key"], "reason": "the bag is convincing", "confirm": True}
        solved = server.post(f"{place}/accept", json=sent, headers=headers[IDA] | {"If-Match": tag})
        assert solved.status_code == 200, solved.text
        solution = solved.json()["solution"]
        assert solution["left_out"] == ["height: a limit is not a measurement"]

        evidence = server.get(f"/v1/halves/{leader}/evidence").json()
        (confirmation,) = evidence["confirmations"]
        assert confirmation["key"] == solution["confirmation"]
        assert (confirmation["author"], confirmation["counts"], confirmation["agrees"]) == (IDA, True, True)
        assert {each["feature"] for each in evidence["estimates"]} == {"pitch", "body_length"}
        assert server.get("/v1/specimens").json()["items"] == []
