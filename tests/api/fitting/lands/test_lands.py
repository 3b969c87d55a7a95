"""The lands of a half by route, command and page: known ones, and calculated ones only where they are asked for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner, Result

from api.client import Client
from api.command_line.cli import app
from api.command_line.commands.common import ExitCode
from api.fitting.lands.land_files import CALCULATED
from api.identification.cautions import BY_STAGE
from api.service.settings import Settings
from catalog.footprints.footprint_file import parse_footprint
from tests.api.web.page_reading import HTML, check_form
from tests.api.workshop import app_for
from tests.catalog.footprints.footprint_drawings import two_rows, write

DEMO = "ouzelby:mossipet-p24"


def run(url: str, *arguments: str) -> Result:
    result = CliRunner(env={"OTHERHALF_DATABASE": url, "COLUMNS": "200"}).invoke(app, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def footprints_url(empty_url: str, tmp_path: Path) -> str:
    """A catalogue of one imported footprint."""
    folder = write(tmp_path / "Birds.pretty", [("Wren_TWO", two_rows("Wren_TWO", 5))])
    imported = run(empty_url, "import", str(folder), "--licence", "CC-BY 4.0")
    assert imported.exit_code == ExitCode.ANSWERED
    assert "1 halves with their lands one by one" in imported.stdout
    return empty_url


@pytest.fixture
def shop(footprints_url: str) -> Iterator[TestClient]:
    with TestClient(app_for(Settings(database_url=footprints_url))) as client:
        yield client


def key_of(shop: TestClient) -> str:
    key: str = shop.get("/v1/halves").json()["items"][0]["key"]
    return key


def test_imported_lands_are_answered_with_source_licence_and_cautions(shop: TestClient) -> None:
    answer = shop.get(f"/v1/halves/{key_of(shop)}/lands").json()
    assert answer["pattern"]["basis"] == "file"
    assert sum(len(alike["at"]) for alike in answer["pattern"]["lands"]) == 10
    assert "Licence: CC-BY 4.0" in answer["told"][1]
    assert set(BY_STAGE["before soldering"]) <= set(answer["cautions"])


@pytest.mark.parametrize(("form", "media_type"), [("kicad_mod", "text/plain"), ("svg", "image/svg+xml")])
def test_files_come_with_their_name_and_tag(shop: TestClient, form: str, media_type: str) -> None:
    address = f"/v1/halves/{key_of(shop)}/lands?form={form}"
    file = shop.get(address)
    assert file.headers["content-type"].startswith(media_type)
    assert unquote(file.headers["content-disposition"]).endswith(f"Wren_TWO.{form}")
    assert "CC-BY" in file.text
    again = shop.get(address, headers={"If-None-Match": file.headers["etag"]})
    assert again.status_code == 304
    other = shop.get(f"{address}&dummy=true", headers={"If-None-Match": file.headers["etag"]})
    assert other.status_code == 200


def test_lands_are_calculated_only_where_a_dummy_is_asked_for(server: TestClient) -> None:
    refused = server.get(f"/v1/halves/{DEMO}/lands")
    assert refused.status_code == 404
    (error,) = refused.json()["errors"]
    assert error["field"] == "half"
    assert "calculated for a dummy" in error["remedy"]
    answer = server.get(f"/v1/halves/{DEMO}/lands?dummy=true").json()
    assert Client(http=server).lands(DEMO, dummy=True).model_dump(mode="json") == answer
    assert answer["pattern"]["basis"] == "calculated"
    assert CALCULATED in answer["told"]


def test_where_nothing_can_be_calculated_the_reason_is_named(server: TestClient) -> None:
    through_hole = next(
        item["key"]
        for item in server.get("/v1/halves?limit=500").json()["items"]
        if item["half"]["categories"].get("mounting") == ["through_hole"]
    )
    refused = server.get(f"/v1/halves/{through_hole}/lands?dummy=true")
    assert refused.status_code == 404
    assert "surface mount" in refused.json()["errors"][0]["remedy"]
    assert server.get("/v1/halves/ouzelby:none/lands").status_code == 404
    assert server.get(f"/v1/halves/{DEMO}/lands?form=dxf").status_code == 422


def test_the_page_of_a_half_links_to_its_lands_and_says_which_they_are(server: TestClient, shop: TestClient) -> None:
    for client, key, words, more in (
        (shop, key_of(shop), "Lands, .kicad_mod", ""),
        (server, DEMO, "Lands for a dummy", "&dummy=true"),
    ):
        page = check_form(client.get(f"/halves/{key}", headers=HTML).text)
        assert words in page.text
        links = [link for link in page.links() if "/lands?" in link]
        assert links == [f"/v1/halves/{key}/lands?form={form}{more}" for form in ("kicad_mod", "svg")]
        assert [client.get(link).status_code for link in links] == [200, 200]


def test_the_command_writes_a_new_file_and_says_what_it_is(footprints_url: str, demo_url: str, tmp_path: Path) -> None:
    path = tmp_path / "two.kicad_mod"
    key = run(footprints_url, "search", "Wren_TWO", "--json").stdout.split('"key": "')[1].split('"')[0]
    written = run(footprints_url, "lands", key, "--output", str(path))
    assert written.exit_code == ExitCode.ANSWERED
    assert "Licence: CC-BY 4.0" in written.stdout
    assert BY_STAGE["before soldering"][0] in written.stdout
    assert len(parse_footprint(path.read_text(encoding="utf-8")).pads) == 10
    again = run(footprints_url, "lands", key, "--output", str(path))
    assert again.exit_code == ExitCode.BAD_INPUT
    assert "exists already" in again.stderr
    printed = run(demo_url, "lands", DEMO, "--dummy", "--output", "-").stdout
    assert CALCULATED in printed
    picture = tmp_path / "plug.svg"
    assert CALCULATED in run(demo_url, "lands", DEMO, "--dummy", "-o", str(picture)).stdout
    assert picture.read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((DEMO, "-o", "lands.dxf"), "End the name in .kicad_mod or .svg"),
        ((DEMO, "-o", "-"), "calculated for a dummy"),
        (("ouzelby:none", "-o", "-"), "no half has the key"),
        ((DEMO, "--dummy", "-o", "/no/such/folder/x.svg"), "Choose a place that you can write to"),
    ],
)
def test_the_command_names_what_is_wrong(demo_url: str, arguments: tuple[str, ...], words: str) -> None:
    refused = run(demo_url, "lands", *arguments)
    assert refused.exit_code == ExitCode.BAD_INPUT
    assert words in refused.stderr
