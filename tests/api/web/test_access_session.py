"""Tokens in requests: the truth table of the session cookie, recording a use, and no token in any problem or log."""

from __future__ import annotations

import logging
import logging.config
import sqlite3
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, closing
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import pytest
from pydantic import BaseModel
from sqlalchemy.orm import Session
from starlette.testclient import TestClient

from api.operations.operation import Nothing, Operation, Route, Task
from api.rest.writes import add_writes
from api.schemas.problems import FieldProblem
from api.service.access import SESSION_COOKIE, WhoDep, needs, session_token
from api.service.logs import TokenMask, logger, server_logs
from api.service.problems import make_problem
from api.service.settings import Settings
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Permission, Who
from catalog.accounts.token_format import MASK
from catalog.db.database import Catalogue, open_catalogue
from catalog.history.acts import operators
from catalog.model import timestamps
from catalog.model.errors import ReadOnlyError
from tests import catalogues
from tests.api.workshop import app_for

TOKEN = "oh_" + "k" * 43
HOST = "bench.example:8642"

ROWS = [
    ("A page of this server may change things", "POST", "same-origin", None, True),
    ("A page of this server may read", "GET", "same-origin", None, True),
    ("The address line or a bookmark may read", "GET", "none", None, True),
    ("The address line changes nothing", "POST", "none", None, False),
    ("Another server under the same name does not count", "POST", "same-site", None, False),
    ("Another site changes nothing", "POST", "cross-site", None, False),
    ("Another site does not read either", "GET", "cross-site", None, False),
    ("What the browser says of the site goes before the origin", "POST", "cross-site", f"https://{HOST}", False),
    ("A word that is none of the four does not count", "POST", "banana", None, False),
    ("An empty word does not count", "POST", "", None, False),
    ("An older browser's page of this server is known by its origin", "POST", None, f"https://{HOST}", True),
    ("So it is over plain HTTP, as in a network at home", "POST", None, f"http://{HOST}", True),
    ("Another origin changes nothing", "POST", None, "https://elsewhere.example", False),
    ("Another port is another origin", "POST", None, "https://bench.example:8643", False),
    ("A name that only begins alike is another origin", "POST", None, f"https://{HOST}.elsewhere.example", False),
    ("An opaque origin is nobody's", "POST", None, "null", False),
    ("An empty origin is nobody's", "POST", None, "", False),
    ("A change that says nothing of where it comes from does not count", "POST", None, None, False),
    ("A reading that says nothing does: pages over plain HTTP do not say it", "GET", None, None, True),
    ("So does its HEAD", "HEAD", None, None, True),
    ("OPTIONS is safe too", "OPTIONS", None, None, True),
    ("Another origin does not read either", "GET", None, "https://elsewhere.example", False),
    ("Every method but the safe ones may change things", "DELETE", None, None, False),
]


@pytest.mark.parametrize(
    ("method", "site", "origin", "counts"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS]
)
def test_a_session_is_accepted_only_from_pages_of_this_server(
    method: str, site: str | None, origin: str | None, counts: bool
) -> None:
    given = {"host": HOST, "sec-fetch-site": site, "origin": origin}
    headers = {name: value for name, value in given.items() if value is not None}
    assert session_token(method, headers, {SESSION_COOKIE: TOKEN}) == (TOKEN if counts else None)


@pytest.mark.parametrize("cookies", [{}, {SESSION_COOKIE: ""}, {"other": TOKEN}])
def test_without_its_cookie_there_is_no_session(cookies: dict[str, str]) -> None:
    assert session_token("POST", {"host": HOST, "sec-fetch-site": "same-origin"}, cookies) is None


@pytest.mark.parametrize("host", [{}, {"host": ""}], ids=["without", "empty"])
def test_an_opaque_origin_matches_no_host(host: dict[str, str]) -> None:
    assert session_token("POST", {"origin": "https://"} | host, {SESSION_COOKIE: TOKEN}) is None


@pytest.fixture
def catalogue_file(tmp_path: Path) -> Path:
    return tmp_path / "catalogue.sqlite3"


@pytest.fixture
def catalogue(catalogue_file: Path) -> Iterator[Catalogue]:
    with open_catalogue(catalogues.placed(catalogue_file, catalogues.empty())) as opened:
        yield opened


@pytest.fixture
def token(catalogue: Catalogue) -> tokens.Created:
    with catalogue.writing() as session:
        act = operators()
        contributors.add(session, act, "Wren Ashby")
        return tokens.create(
            session, act, "Wren Ashby", expires=timestamps.read(act.at, field="at") + timedelta(days=1)
        )


@pytest.fixture
def server(catalogue: Catalogue, catalogue_file: Path) -> Iterator[TestClient]:
    app = app_for(Settings(database_url=f"sqlite:///{catalogue_file}"))

    def name(who: WhoDep) -> str:
        return who.name

    def change(who: Annotated[Who, needs(Permission.CONTRIBUTE)]) -> str:
        return who.name

    app.add_api_route("/who", name)
    app.add_api_route("/change", change, methods=["POST"])
    with TestClient(app) as client:
        yield client


def bearer(token: tokens.Created) -> dict[str, str]:
    return {"Authorization": f"Bearer {token.secret}"}


def last_use(catalogue: Catalogue, token: tokens.Created) -> str | None:
    with catalogue.reading() as session:
        return tokens.get(session, token.token.id, timestamps.now()).last_used_at


def test_a_public_route_knows_the_person_who_asks(server: TestClient, token: tokens.Created) -> None:
    assert server.get("/who").json() == ""
    assert server.get("/who", headers=bearer(token)).json() == "Wren Ashby"


def test_with_an_invalid_token_reading_is_still_possible(server: TestClient) -> None:
    answer = server.get("/who", headers={"Authorization": f"Bearer {TOKEN}"})
    assert (answer.status_code, answer.json()) == (200, "")


def test_a_session_is_recognised_only_from_pages_of_this_server(server: TestClient, token: tokens.Created) -> None:
    server.cookies.set(SESSION_COOKIE, token.secret)
    assert server.post("/change", headers={"Sec-Fetch-Site": "same-origin"}).json() == "Wren Ashby"
    assert server.post("/change", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 401
    assert server.post("/change").status_code == 401


def test_a_token_in_the_header_takes_precedence_over_the_session(server: TestClient, token: tokens.Created) -> None:
    server.cookies.set(SESSION_COOKIE, token.secret)
    headers = {"Sec-Fetch-Site": "same-origin", "Authorization": f"Bearer {TOKEN}"}
    assert server.post("/change", headers=headers).status_code == 401


def test_a_use_is_recorded_once_within_an_hour(server: TestClient, catalogue: Catalogue, token: tokens.Created) -> None:
    assert last_use(catalogue, token) is None
    server.get("/who", headers=bearer(token))
    first = last_use(catalogue, token)
    assert first is not None
    server.get("/who", headers=bearer(token))
    assert last_use(catalogue, token) == first


def test_a_use_within_an_hour_of_a_recorded_use_writes_nothing(
    server: TestClient, token: tokens.Created, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.get("/who", headers=bearer(token))

    def write(catalogue: Catalogue) -> AbstractContextManager[Session]:
        raise AssertionError("a request that reads waits for no writer")

    monkeypatch.setattr(Catalogue, "writing", write)
    assert server.get("/who", headers=bearer(token)).json() == "Wren Ashby"


def test_a_read_only_catalogue_accepts_a_token_and_logs_that_its_use_is_not_recorded(
    server: TestClient, token: tokens.Created, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def write(catalogue: Catalogue) -> AbstractContextManager[Session]:
        raise ReadOnlyError("the catalogue is read-only")

    monkeypatch.setattr(Catalogue, "writing", write)
    assert server.get("/who", headers=bearer(token)).json() == "Wren Ashby"
    assert f"the use of token {token.token.id} could not be noted: the catalogue is read-only" in caplog.text


def test_a_use_that_cannot_be_recorded_is_logged_and_the_request_is_answered(
    server: TestClient,
    catalogue: Catalogue,
    catalogue_file: Path,
    token: tokens.Created,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr("catalog.db.engines.BUSY_SECONDS", 0.2)
    app = app_for(Settings(database_url=f"sqlite:///{catalogue_file}"))
    app.add_api_route("/who", _name)
    with TestClient(app) as patient, closing(sqlite3.connect(catalogue_file, isolation_level=None)) as holder:
        holder.execute("BEGIN IMMEDIATE")
        assert patient.get("/who", headers=bearer(token)).json() == "Wren Ashby"
    assert last_use(catalogue, token) is None
    assert f"the use of token {token.token.id} could not be noted" in caplog.text
    assert token.secret not in caplog.text


def _name(who: WhoDep) -> str:
    return who.name


class Written(BaseModel):
    """The answer of the route below."""

    actor: str


def _name_actor(task: Task, body: Nothing) -> Written:
    return Written(actor=task.act.actor)


WRITE = Operation(
    name="write",
    permission=Permission.CONTRIBUTE,
    body=Nothing,
    result=Written,
    run=_name_actor,
    routes=(Route(at="POST /write", name="write"),),
)


def test_a_change_is_refused_if_its_contributor_was_suspended_while_it_waited(
    catalogue: Catalogue, catalogue_file: Path, token: tokens.Created, monkeypatch: pytest.MonkeyPatch
) -> None:
    waiting = threading.Event()
    ask_for_turn = Catalogue.writing

    def announced(self: Catalogue) -> AbstractContextManager[Session]:
        waiting.set()
        return ask_for_turn(self)

    app = app_for(Settings(database_url=f"sqlite:///{catalogue_file}"))
    add_writes(app.router, [WRITE])
    with TestClient(app) as server, ThreadPoolExecutor(1) as beside:
        assert server.post("/write", headers=bearer(token)).json() == {"actor": "Wren Ashby"}
        with catalogue.writing() as session:
            monkeypatch.setattr(Catalogue, "writing", announced)
            asked = beside.submit(server.post, "/write", headers=bearer(token))
            assert waiting.wait(5)  # the token was accepted, and the change waits for its turn
            contributors.suspend(session, operators("a slip"), "Wren Ashby")
        refused = asked.result(timeout=20)
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/suspended")


def test_a_token_sent_in_the_wrong_place_is_not_returned(server: TestClient) -> None:
    body = {"observations": [{"feature": "pitch", "value": 1, "unit": TOKEN}]}
    for answer in (
        server.get(f"/v1/halves?token={TOKEN}"),
        server.get(f"/v1/halves?{TOKEN}=1"),
        server.get(f"/v1/halves/{TOKEN}"),
        server.get(f"/{TOKEN}"),
        server.post("/v1/identify", json=body),
        server.post("/v1/identify", content=TOKEN, headers={"Content-Type": "application/json"}),
        server.post("/v1/identify", json={"observations": [], TOKEN: 1}),
    ):
        assert answer.status_code in (404, 422, 400)
        assert TOKEN not in answer.text


def test_every_text_of_a_problem_is_masked() -> None:
    field = FieldProblem(field=TOKEN, value=TOKEN, message=f"bad {TOKEN}", remedy=f"not {TOKEN}")
    problem = make_problem("invalid-request", f"saw {TOKEN}", [field], f"/v1/{TOKEN}")
    assert "kkk" not in problem.model_dump_json()
    assert problem.errors[0] == FieldProblem(field=MASK, value=MASK, message=f"bad {MASK}", remedy=f"not {MASK}")


def test_a_token_in_a_log_is_masked_in_message_arguments_and_traceback(caplog: pytest.LogCaptureFixture) -> None:
    log = logger()
    try:
        raise ValueError(f"inside {TOKEN}")
    except ValueError:
        log.exception("while asking %s for %d of %s", f"/v1?x={TOKEN}", 3, ValueError(TOKEN))
    log.warning("%(named)s", {"named": TOKEN})
    assert "kkk" not in caplog.text
    assert f"/v1?x={MASK} for 3 of {MASK}" in caplog.text
    assert f"ValueError: inside {MASK}" in caplog.text


def test_masking_is_added_to_the_log_once() -> None:
    assert len([each for each in logger().filters if isinstance(each, TokenMask)]) == 1
    assert logger() is logger()


def test_the_request_log_of_the_server_contains_no_token(capfd: pytest.CaptureFixture[str]) -> None:
    names = ("uvicorn", "uvicorn.error", "uvicorn.access")
    kept = {name: (logging.getLogger(name).handlers[:], logging.getLogger(name).propagate) for name in names}
    try:
        logging.config.dictConfig(server_logs())
        log = logging.getLogger("uvicorn.access")
        # The arguments that the server's own formatter unpacks.
        log.info('%s - "%s %s HTTP/%s" %d', "127.0.0.1:5", "GET", f"/v1/halves?token={TOKEN}", "1.1", 200)
        logging.getLogger("uvicorn.error").error("saw %s", TOKEN)
        sys.stdout.flush()
    finally:
        for name, (handlers, propagate) in kept.items():
            logging.getLogger(name).handlers, logging.getLogger(name).propagate = handlers, propagate
    printed = "".join(capfd.readouterr())
    assert f"/v1/halves?token={MASK}" in printed
    assert f"saw {MASK}" in printed
    assert "kkk" not in printed


@pytest.mark.parametrize(("scheme", "secure"), [("http", False), ("https", True)])
def test_signing_in_sets_a_cookie_that_scripts_cannot_read_and_other_sites_cannot_send(
    catalogue_file: Path, token: tokens.Created, scheme: str, secure: bool
) -> None:
    """RFC 6265, 5.3, and its SameSite attribute; Secure where the page itself came by TLS."""
    app = app_for(Settings(database_url=f"sqlite:///{catalogue_file}"))
    with TestClient(app, base_url=f"{scheme}://testserver") as browser:
        form = {"token": token.secret, "to": "/"}
        answer = browser.post("/sign-in", data=form, headers={"Sec-Fetch-Site": "same-origin"}, follow_redirects=False)
    assert answer.status_code == 303
    name, *attributes = answer.headers["set-cookie"].split("; ")
    assert name.startswith(f"{SESSION_COOKIE}=oh_")
    assert token.secret not in name
    given = {attribute.lower() for attribute in attributes}
    assert {"httponly", "samesite=strict", "path=/"} <= given
    assert ("secure" in given) is secure
