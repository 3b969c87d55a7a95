"""Documentation made from the code: OpenAPI, pages and help. All of it must agree with the feature table."""

from __future__ import annotations

import re
import shlex
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app as command
from api.identification.triage import TRIAGE
from api.observations.short_form import parse_pieces
from api.service.problem_types import PROBLEMS
from api.web.page.reference import DOCS_POLICY
from api.web.page.rendering import PAGE_POLICY
from matcher.features import FEATURES, Kind
from matcher.uncertainty.instruments import BUILT_IN


@pytest.fixture(scope="module")
def description(server: TestClient) -> dict[str, Any]:
    response = server.get("/openapi.json")
    assert response.status_code == 200
    described: dict[str, Any] = response.json()
    return described


def observation_schemas(description: dict[str, Any]) -> dict[str, Any]:
    schemas = description["components"]["schemas"]
    return {name: schema for name, schema in schemas.items() if name.endswith("Observation")}


def test_openapi_names_every_feature_once_and_no_other(description: dict[str, Any]) -> None:
    named = [
        name for schema in observation_schemas(description).values() for name in schema["properties"]["feature"]["enum"]
    ]
    assert sorted(named) == sorted(FEATURES)


def test_openapi_states_each_features_exact_meaning(description: dict[str, Any]) -> None:
    told = "\n".join(
        schema["properties"]["feature"]["description"] for schema in observation_schemas(description).values()
    )
    for feature in FEATURES.values():
        assert feature.meaning in told
        assert all(f"`{value}`" in told for value in feature.values)


def test_openapi_names_every_instrument(description: dict[str, Any]) -> None:
    enum = observation_schemas(description)["DimensionObservation"]["properties"]["instrument"]["enum"]
    assert [name for name in enum if name is not None] == list(BUILT_IN)


def test_every_reference_in_openapi_resolves(description: dict[str, Any]) -> None:
    schemas = description["components"]["schemas"]
    references = set(re.findall(r"#/components/schemas/([^'\"]+)", str(description)))
    assert references <= set(schemas)
    assert "HTTPValidationError" not in schemas


def test_every_refusal_that_openapi_names_is_a_problem_document(description: dict[str, Any]) -> None:
    for path, operations in description["paths"].items():
        for operation in operations.values():
            for status, response in operation["responses"].items():
                if int(status) >= 400:
                    assert list(response["content"]) == ["application/problem+json"], (path, status)
                    for uri in re.findall(r"`(/problems/[^`]+)`", response["description"]):
                        assert uri.removeprefix("/problems/") in PROBLEMS


def test_every_address_of_the_interface_is_described_and_every_kind_of_problem_is_used(
    description: dict[str, Any],
) -> None:
    assert set(description["paths"]) == {
        "/health",
        "/v1/confirmations",
        "/v1/confirmations/{key}",
        "/v1/confirmations/{key}/withdraw",
        "/v1/contact-map",
        "/v1/contributors",
        "/v1/contributors/{name}/lift",
        "/v1/contributors/{name}/role",
        "/v1/contributors/{name}/suspend",
        "/v1/contributors/{name}/undo",
        "/v1/current",
        "/v1/disputes",
        "/v1/disputes/{key}",
        "/v1/disputes/{key}/answers",
        "/v1/disputes/{key}/resolve",
        "/v1/features",
        "/v1/halves",
        "/v1/halves/{key}",
        "/v1/halves/{key}/evidence",
        "/v1/halves/{key}/history",
        "/v1/halves/{key}/lands",
        "/v1/halves/{key}/merge",
        "/v1/halves/{key}/restore",
        "/v1/halves/{key}/revert",
        "/v1/halves/{key}/revisions/{number}",
        "/v1/halves/{key}/withdraw",
        "/v1/identify",
        "/v1/inquiry",
        "/v1/identify/explain",
        "/v1/instruments",
        "/v1/journal",
        "/v1/journal.atom",
        "/v1/mates",
        "/v1/order-note",
        "/v1/matings",
        "/v1/matings/{key}",
        "/v1/matings/{key}/evidence",
        "/v1/matings/{key}/history",
        "/v1/matings/{key}/restore",
        "/v1/matings/{key}/revert",
        "/v1/matings/{key}/revisions/{number}",
        "/v1/matings/{key}/withdraw",
        "/v1/me",
        "/v1/measure",
        "/v1/measure/row",
        "/v1/pending",
        "/v1/pending/{key}",
        "/v1/pending/{key}/hasten",
        "/v1/pending/{key}/stop",
        "/v1/review",
        "/v1/search",
        "/v1/series",
        "/v1/series/{key}",
        "/v1/series/{key}/evidence",
        "/v1/series/{key}/history",
        "/v1/series/{key}/restore",
        "/v1/series/{key}/revert",
        "/v1/series/{key}/revisions/{number}",
        "/v1/series/{key}/withdraw",
        "/v1/sightings",
        "/v1/sightings/{key}",
        "/v1/sightings/{key}/withdraw",
        "/v1/specimens",
        "/v1/specimens.atom",
        "/v1/specimens/{key}",
        "/v1/specimens/{key}/accept",
        "/v1/specimens/{key}/comments",
        "/v1/specimens/{key}/comments/{comment}/withdraw",
        "/v1/specimens/{key}/reopen",
        "/v1/specimens/{key}/revisions/{n}",
        "/v1/specimens/{key}/withdraw",
        "/v1/tokens",
        "/v1/tokens/{token}/revoke",
    }
    for operations in description["paths"].values():
        for operation in operations.values():
            assert operation["summary"]
            assert operation["description"]


@pytest.mark.parametrize(
    ("path", "least"), [("/v1/identify", 3), ("/v1/measure", 2), ("/v1/measure/row", 1), ("/v1/contact-map", 1)]
)
def test_the_documentation_contains_the_examples(description: dict[str, Any], path: str, least: int) -> None:
    body = description["paths"][path]["post"]["requestBody"]["content"]["application/json"]
    assert len(body["examples"]) >= least
    assert all(example["summary"] for example in body["examples"].values())


def test_the_documentation_says_that_a_bare_picture_is_accepted(description: dict[str, Any]) -> None:
    body = description["paths"]["/v1/measure/row"]["post"]["requestBody"]["content"]
    assert set(body) == {"application/json", "image/png", "image/jpeg"}


def test_features_are_listed_as_in_the_feature_table(server: TestClient) -> None:
    listed = server.get("/v1/features").json()
    assert [item["name"] for item in listed["items"]] == list(FEATURES)
    for item in listed["items"]:
        feature = FEATURES[item["name"]]
        assert (item["meaning"], item["how"], item["label"]) == (feature.meaning, feature.how, feature.label)
        assert [value["name"] for value in item["values"]] == list(feature.values)
        assert (item["unit"] == "mm") == (feature.kind is Kind.DIMENSION)
    assert [item["name"] for item in listed["out_of_scope"]] == [each.name for each in TRIAGE]


def test_instruments_are_listed_with_their_figures(server: TestClient) -> None:
    listed = {item["name"]: item for item in server.get("/v1/instruments").json()["items"]}
    assert list(listed) == list(BUILT_IN)
    for name, item in listed.items():
        assert (item["limit_mm"], item["feel_mm"]) == (BUILT_IN[name].limit_mm, BUILT_IN[name].feel_mm)
        assert set(item["can"]) == set(BUILT_IN[name].can)


class Links(HTMLParser):
    """Addresses that a page loads or links to, and whether it has inline script or style."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.inline: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.addresses += [value for name in ("href", "src") if (value := given.get(name))]
        own = tag == "style" or (tag == "script" and "src" not in given)
        if own or "style" in given or any(name.startswith("on") for name in given):
            self.inline.append(tag)


@pytest.mark.parametrize("path", ["/", "/docs", "/problems", "/problems/invalid-request"])
def test_a_page_loads_only_from_this_server_and_has_no_script_of_its_own(server: TestClient, path: str) -> None:
    response = server.get(path)
    links = Links(response.text)
    assert links.inline == []
    assert response.headers["content-security-policy"] == (DOCS_POLICY if path == "/docs" else PAGE_POLICY)
    for address in links.addresses:
        assert address.startswith(("/", "#")), address
        assert server.get(address).status_code == 200, address


@pytest.mark.parametrize("policy", [PAGE_POLICY, DOCS_POLICY])
def test_the_content_security_policy_starts_from_none_and_allows_no_inline_code(policy: str) -> None:
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert "http" not in policy


@pytest.mark.parametrize("path", ["/", "/health", "/v1/features", "/static/page.css", "/nowhere"])
def test_every_answer_carries_the_security_headers(server: TestClient, path: str) -> None:
    headers = server.get(path).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["content-security-policy"].startswith("default-src 'none'")


def test_the_example_on_the_front_page_is_the_answer_of_the_demo_catalogue(server: TestClient, demo_url: str) -> None:
    text = (files("api.web.page") / "templates" / "example.txt").read_text(encoding="utf-8")
    asked, _, answered = text.replace("\\\n", " ").partition("\n\n")
    result = CliRunner().invoke(command, [*asked.split()[1:], "--database", demo_url])
    assert result.exit_code == 0, result.output
    printed, shown = result.output.splitlines(), answered.strip().splitlines()
    assert [line for line in shown if not re.search(r"\d %", line) and line and not _starts(printed, line)] == []
    for line in (line for line in shown if re.search(r"\d %", line)):
        alike = next(other for other in printed if other.split(" ")[:3] == line.split(" ")[:3])
        numbers = [[float(n) for n in re.findall(r"([\d.]+) %", each)] for each in (line, alike)]
        assert numbers[0] == pytest.approx(numbers[1], abs=3), (
            "the figures have changed: copy the new ones into the page"
        )
    assert "Identified" in server.get("/about").text


def _starts(printed: list[str], line: str) -> bool:
    return any(other.strip().startswith(line.strip()) for other in printed)


def test_the_help_names_every_command(app: FastAPI) -> None:
    listed = CliRunner().invoke(command, ["--help"]).output
    for name in ("demo", "serve", "identify", "explain", "measure", "features", "search", "import", "export"):
        assert re.search(rf"^\W*{name}\s", listed, re.MULTILINE), name
        assert CliRunner().invoke(command, [name, "--help"]).exit_code == 0


def test_the_help_lists_the_exit_codes() -> None:
    told = " ".join(CliRunner().invoke(command, ["identify", "--help"]).output.split())
    for words in ("0 success", "2 bad input", "3 no match", "4 the catalogue cannot be used"):
        assert words in told


def test_every_command_and_feature_in_the_readme_exists() -> None:
    text = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    typed = re.findall(r"^\s*(?:\$ )?otherhalf ([a-z]+)(.*)$", text, re.MULTILINE)
    assert {name for name, _ in typed} >= {"demo", "identify"}
    for name, arguments in typed:
        assert CliRunner().invoke(command, [name, "--help"]).exit_code == 0, name
        if name in ("identify", "explain"):
            parse_pieces([piece for piece in shlex.split(arguments, comments=True) if "=" in piece and piece[0] != "-"])


def readme_blocks() -> list[list[str]]:
    """The blocks of printed output in the README."""
    text = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    return [block.splitlines() for block in re.findall(r"^```text\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


def assert_printed(shown: list[str], printed: str) -> None:
    """The lines stand in the output one after another; where the README has "...", lines are left out."""
    lines = [line.rstrip() for line in printed.splitlines()]
    at, skipped = 0, False
    for line in (each.rstrip() for each in shown):
        if line == "...":
            skipped = True
            continue
        assert line in lines[at:], f"not printed any more: {line!r}"
        found = lines.index(line, at)
        assert skipped or found == at, f"the README leaves out {lines[at]!r}"
        at, skipped = found + 1, False


def test_the_readme_shows_what_is_printed(demo_url: str) -> None:
    answered, asked, _ = readme_blocks()
    typed = shlex.split(answered[0].removeprefix("$ otherhalf "))
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "80"})
    assert_printed(answered[1:], run.invoke(command, typed).output)
    assert_printed(["...", *asked], run.invoke(command, ["identify", "--ask"], input="stop\n").output)
