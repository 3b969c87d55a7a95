"""Every kind of problem: which error becomes it, and that no internal details leak."""

from __future__ import annotations

import inspect
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

import catalog.model.errors
import matcher.errors
from api.schemas.problems import FieldProblem, shown
from api.service.problem_types import PROBLEMS
from api.service.problems import KIND_OF_ERROR, MOST_ERRORS, ApiError, make_problem, problem_of
from api.service.settings import RETRY_AFTER_S, Settings
from catalog.model.errors import CatalogueError, FileError, LockedError, NotFoundError
from matcher.errors import ObservationError
from tests import catalogues
from tests.api.workshop import app_for

DOMAIN_ERRORS = [
    kind
    for module in (catalog.model.errors, matcher.errors)
    for _, kind in inspect.getmembers(module, inspect.isclass)
    if issubclass(kind, Exception) and kind.__module__ == module.__name__
]


@pytest.mark.parametrize("kind", DOMAIN_ERRORS)
def test_every_domain_error_is_mapped_by_name(kind: type[Exception]) -> None:
    assert kind in [listed for listed, _ in KIND_OF_ERROR]


def test_no_mapping_hides_a_later_one() -> None:
    kinds = [kind for kind, _ in KIND_OF_ERROR]
    for place, kind in enumerate(kinds):
        assert not any(issubclass(kind, earlier) for earlier in kinds[:place]), kind


@pytest.mark.parametrize("name", PROBLEMS)
def test_every_kind_of_problem_has_a_page(server: TestClient, name: str) -> None:
    response = server.get(PROBLEMS[name].uri)
    assert response.status_code == 200
    assert PROBLEMS[name].title in response.text
    assert name in server.get("/problems").text


def test_an_unknown_kind_of_problem_is_not_found(server: TestClient) -> None:
    assert server.get("/problems/none").json()["type"] == "/problems/not-found"


def test_an_unknown_address_is_a_problem(server: TestClient) -> None:
    response = server.get("/v2/halves")
    assert (response.status_code, response.json()["type"]) == (404, "/problems/not-found")
    assert response.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("method", "path", "allowed"), [("GET", "/v1/identify", "POST"), ("DELETE", "/v1/halves", "GET")]
)
def test_a_wrong_method_is_a_problem_that_names_the_allowed_methods(
    server: TestClient, method: str, path: str, allowed: str
) -> None:
    response = server.request(method, path)
    assert (response.status_code, response.json()["type"]) == (405, "/problems/method-not-allowed")
    assert allowed in response.headers["allow"]


def test_every_address_refuses_an_unknown_query_parameter(app: FastAPI, server: TestClient) -> None:
    """Otherwise a misspelt filter would be ignored silently."""
    asked = 0
    for path, methods in app.openapi()["paths"].items():
        for method, described in methods.items() if path.startswith("/v1/") else ():
            address = f"{re.sub('{[^}]*}', 'x', path)}?autor=Wren"
            response = server.request(method, address, json={} if "requestBody" in described else None)
            assert (response.status_code, response.json()["type"]) == (422, "/problems/invalid-request"), address
            (error,) = response.json()["errors"]
            known = [each["name"] for each in described.get("parameters", ()) if each["in"] == "query"]
            remedy = "did you mean 'author'?" if "author" in known else known[0] if known else "leave it out"
            assert (error["field"], error["value"]) == ("autor", "Wren"), address
            assert remedy in error["remedy"], address
            asked += 1
    assert asked > 40


def test_an_unexpected_error_shows_no_internal_details() -> None:
    problem = problem_of(RuntimeError("secret"), "/v1/identify")
    assert (problem.status, problem.type) == (500, "/problems/internal-error")
    assert "secret" not in problem.model_dump_json()


def test_an_unexpected_error_is_answered_and_the_server_keeps_running(demo_url: str) -> None:
    app = app_for(Settings(database_url=demo_url))

    @app.get("/breaks")
    def breaks() -> None:
        raise RuntimeError("secret")

    with TestClient(app, raise_server_exceptions=False) as server:
        response = server.get("/breaks")
        assert (response.status_code, response.json()["type"]) == (500, "/problems/internal-error")
        assert response.headers["content-type"] == "application/problem+json"
        assert response.headers["x-content-type-options"] == "nosniff"
        assert "secret" not in response.text
        assert server.get("/health").status_code == 200


@pytest.mark.parametrize(
    ("error", "status", "name"),
    [
        (LockedError("busy"), 503, "catalogue-locked"),
        (CatalogueError("damaged"), 503, "catalogue-unusable"),
        (NotFoundError("no half", field="key", value="a:b", remedy="search"), 404, "unknown-entry"),
        (FileError("bad", path="f.csv", line=3, column=2), 422, "invalid-entry"),
        (
            ObservationError("bad unit", field="observations[0].unit", value="cm", remedy="mm"),
            422,
            "invalid-observations",
        ),
    ],
)
def test_a_domain_error_becomes_its_problem_over_http(demo_url: str, error: Exception, status: int, name: str) -> None:
    def fails() -> None:
        raise error

    app = app_for(Settings(database_url=demo_url))  # a separate app: other tests count the addresses of the shared one
    app.add_api_route(f"/fails/{name}", fails)
    with TestClient(app) as server:
        response = server.get(f"/fails/{name}")
    assert (response.status_code, response.json()["type"]) == (status, f"/problems/{name}")
    assert response.headers.get("retry-after") == (str(RETRY_AFTER_S) if name == "catalogue-locked" else None)


def test_the_answer_about_a_locked_database_says_when_to_retry(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalog.db.engines.BUSY_SECONDS", 0.2)
    file = tmp_path / "catalogue.sqlite3"
    app = app_for(Settings(database_url=f"sqlite:///{file}"))
    with TestClient(app) as server:
        assert server.get("/health").status_code == 200
        app.state.services.catalogue.close()  # an idle connection of the pool would prevent the other from locking
        with closing(sqlite3.connect(file, isolation_level=None)) as holder:
            holder.execute("PRAGMA locking_mode = EXCLUSIVE")
            holder.execute("BEGIN EXCLUSIVE")
            response = server.get("/health")
        assert (response.status_code, response.json()["type"]) == (503, "/problems/catalogue-locked")
        assert response.headers["retry-after"] == str(RETRY_AFTER_S)
        assert server.get("/health").status_code == 200


def test_a_database_of_a_newer_schema_is_refused_at_start_up(tmp_path: Path) -> None:
    file = tmp_path / "catalogue.sqlite3"
    catalogues.placed(file, catalogues.empty())
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("UPDATE alembic_version SET version_num = 'from-the-future'")
    with (
        pytest.raises(catalog.model.errors.SchemaError),
        TestClient(app_for(Settings(database_url=f"sqlite:///{file}"))),
    ):
        pass


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (float("nan"), "NaN"),
        (float("inf"), "Infinity"),
        (float("-inf"), "-Infinity"),
        (10**400, "1" + "0" * 198 + "…"),
        ("x" * 500, "x" * 199 + "…"),
        ([1] * 10_000, "a list of 10000"),
        (["banana"], "banana"),
        (0.5, 0.5),
        (None, None),
        (True, True),
    ],
)
def test_an_offending_value_is_returned_shortened_and_as_json(value: object, told: object) -> None:
    assert shown(value) == told


def test_a_problem_lists_a_limited_number_of_errors_and_gives_the_total() -> None:
    fields = [FieldProblem(field=str(number), message="bad") for number in range(MOST_ERRORS + 7)]
    problem = problem_of(ApiError("invalid-request", "bad", fields))
    assert len(problem.errors) == MOST_ERRORS
    assert str(MOST_ERRORS + 7) in problem.detail
    assert make_problem("invalid-request", "bad", fields[:MOST_ERRORS]).detail == "bad"
