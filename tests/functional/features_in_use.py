"""Features defined only in the feature table, used everywhere: see ``wider_table.py``, which adds them.

The workshop adds two receptacles that differ only in the width of their keys, their vents and their floors,
and uses them through the interface, files, commands and pages.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from api.command_line.cli import app
from catalog.db.database import open_catalogue
from catalog.exchange import stored_entries
from catalog.exchange.drawing_table import Drawing, fit_table
from catalog.model.entries import Half
from tests.api.web.browsed import browser, form_with
from tests.api.web.page_reading import check_form
from tests.api.workshop import Workshop, workshop, written
from tests.catalog.exchange.exchange_files import read_entries
from tests.catalog.history.changed_entries import IDA, WREN

NARROW, WIDE = "siskin-works:sk-81", "siskin-works:sk-82"
KEYS = {NARROW: 1.2, WIDE: 1.7}
VENTS = {NARROW: 4, WIDE: 9}
FLOORS = {NARROW: "open", WIDE: "closed"}
SIZES = {"pitch": 0.635, "body_length": 11.2, "body_width": 4.1, "height": 1.6}


def _entry(key: str) -> dict[str, Any]:
    """A receptacle with the new features; everything else is the same in both."""
    return {
        "record": "half",
        "maker": "Siskin Works",
        "series": "SK",
        "part_number": key.partition(":")[2].upper(),
        "half_kind": "receptacle",
        "rows": 2,
        "contact_count": 26,
        "dimensions": {**{name: {"value": size} for name, size in SIZES.items()}, "key_width": {"value": KEYS[key]}},
        "counts": {"vent_count": VENTS[key]},
        "categories": {"floor_form": [FLOORS[key]]},
    }


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    return f"sqlite:///{tmp_path_factory.mktemp('new') / 'shop.sqlite3'}"


@pytest.fixture(scope="module")
def shop(url: str) -> Iterator[Workshop]:
    with workshop(url) as made:
        for key in KEYS:
            body = {"entry": _entry(key), "acknowledge": {"similar-name": "They differ in their keys."}}
            answer = made.ask("POST", "/v1/halves", WREN, key=key, json=body)
            assert answer.status_code == 201, answer.text
        yield made


def _seen(*more: dict[str, Any]) -> dict[str, Any]:
    """The observations that both halves share, and more."""
    shared: list[dict[str, Any]] = [{"feature": "contact_count", "value": 26}]
    shared += [{"feature": name, "value": size, "instrument": "caliper"} for name, size in SIZES.items()]
    return {"observations": [*shared, *more], "prior_absent": 0.05}


def _command(*arguments: str) -> str:
    """The output of a command, which must succeed."""
    done = CliRunner().invoke(app, list(arguments))
    assert done.exit_code == 0, (done.output, done.exception)
    return done.output


def _identified(shop: Workshop, *more: dict[str, Any]) -> dict[str, Any]:
    answer = shop.server.post("/v1/identify", json=_seen(*more))
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_interface_and_command_explain_the_new_feature(shop: Workshop) -> None:
    listed = {each["name"]: each for each in shop.server.get("/v1/features").json()["items"]}
    assert listed["key_width"]["unit"] == "mm"
    assert "caliper" in listed["key_width"]["instruments"]
    assert [each["name"] for each in listed["floor_form"]["values"]] == ["open", "closed"]
    caliper = next(each for each in shop.server.get("/v1/instruments").json()["items"] if each["name"] == "caliper")
    assert "key_width" in caliper["can"]
    for name, words in (("key_width", "moulded key"), ("vent_count", "flux"), ("floor_form", "closed by plastic")):
        told = _command("features", name)
        assert words in told


def test_readings_become_a_length_with_its_uncertainty(shop: Workshop) -> None:
    reading = {"feature": "key_width", "readings": [1.19, 1.21, 1.20], "instrument": "caliper"}
    answer = shop.server.post("/v1/measure", json={"readings": [reading]})
    assert answer.status_code == 200, answer.text
    assert any(
        each["feature"] == "key_width" and each["value"] == pytest.approx(1.2) for each in answer.json()["budgets"]
    )


def test_two_points_in_a_picture_become_a_length_too(shop: Workshop) -> None:
    segment = {"start": [100, 100], "end": [100, 160], "feature": "key_width"}
    picture = {"name": "end", "instrument": "photo", "scale": {"px_per_mm": 50}, "segments": [segment]}
    answer = shop.server.post("/v1/measure", json={"pictures": [picture]})
    assert answer.status_code == 200, answer.text
    assert any(
        each["feature"] == "key_width" and each["value"] == pytest.approx(1.2) for each in answer.json()["budgets"]
    )


@pytest.mark.parametrize("key", KEYS)
def test_each_new_feature_alone_decides_between_halves_that_differ_in_it(shop: Workshop, key: str) -> None:
    for observed in (
        {"feature": "key_width", "readings": [KEYS[key], KEYS[key] + 0.01], "instrument": "caliper"},
        {"feature": "key_width", "max" if key == NARROW else "min": 1.45},
        {"feature": "vent_count", "value": VENTS[key]},
        {"feature": "floor_form", "value": FLOORS[key]},
    ):
        first = _identified(shop, observed)["candidates"][0]
        assert first["half"]["id"] == key, observed
        assert first["probability"] > 0.75, observed
        (line,) = [each for each in first["evidence"] if each["feature"] == observed["feature"]]
        assert line["log_odds"] > 0, observed


def test_a_slip_defined_in_the_table_is_named(shop: Workshop) -> None:
    found = _identified(shop, {"feature": "key_width", "value": SIZES["body_width"], "instrument": "caliper"})
    assert any("body width" in each["message"] for each in found["hints"]) or any(
        "body width" in (each["likely_slip"] or "") for each in found["recheck"]
    )


def test_the_new_features_are_advised_as_the_next_measurement(shop: Workshop) -> None:
    advised = {each["feature"]: each for each in _identified(shop)["next_measurements"]}
    assert {"key_width", "vent_count", "floor_form"} <= advised.keys()
    assert advised["key_width"]["instrument"] == "caliper"
    assert {each["value"] for each in advised["key_width"]["predicted"]} == set(KEYS.values())


def test_the_bench_advises_one_of_the_new_features(shop: Workshop) -> None:
    query = {"contact_count": "26", **{name: f"{size:g}" for name, size in SIZES.items()}}
    page = shop.server.get("/", params=query).text
    (next_up,) = re.findall(r'data-next="([^"]*)"', page)
    assert set(next_up.split()) & {"key_width", "vent_count", "floor_form"}


def test_a_case_stores_the_new_features(shop: Workshop) -> None:
    seen = [*_seen()["observations"], {"feature": "key_width", "value": 1.2, "instrument": "caliper"}]
    seen += [{"feature": "vent_count", "value": 4}, {"feature": "floor_form", "value": "open"}]
    made = shop.ask("POST", "/v1/specimens", IDA, json={"title": "reed bed recorder", "observations": seen})
    assert made.status_code == 201, made.text
    key = made.json()["key"]
    stored = shop.ask("GET", f"/v1/specimens/{key}", IDA).json()
    assert {"key_width", "vent_count", "floor_form"} <= {each["feature"] for each in stored["specimen"]["observations"]}
    assert "key width" in browser(shop, IDA).open(f"/cases/{key}").text.lower()


def test_a_misspelt_name_of_a_new_feature_is_refused_with_a_suggestion(shop: Workshop) -> None:
    answer = shop.server.post("/v1/identify", json=_seen({"feature": "key_widht", "value": 1.2}))
    assert answer.status_code == 422
    assert "did you mean 'key_width'?" in answer.json()["errors"][0]["remedy"]


def test_the_new_features_can_be_measured_on_the_other_half(shop: Workshop) -> None:
    found = _identified(shop, {"feature": "key_width", "value": 1.2, "of": "other"})
    assert found["candidates"]


def test_stored_values_are_read_back(shop: Workshop) -> None:
    for key in KEYS:
        stored = shop.server.get(f"/v1/halves/{key}").json()
        assert stored["half"]["dimensions"]["key_width"]["value"] == KEYS[key]
        assert stored["half"]["counts"]["vent_count"] == VENTS[key]
        assert stored["half"]["categories"]["floor_form"] == [FLOORS[key]]


def test_the_command_identifies_with_the_new_features(shop: Workshop, url: str) -> None:
    given = ("contact_count=26", "pitch=0.635", "body_length=11.2", "key width=1.69", "vents=9", "floor_form=closed")
    answer = json.loads(_command("identify", *given, "--json", "--database", url))
    assert answer["candidates"][0]["half"]["id"] == WIDE
    assert "key width" in _command("identify", *given, "--database", url)


@pytest.mark.parametrize("form", ["tables", "halves.jsonl"])
def test_the_new_features_are_exported_and_imported(shop: Workshop, url: str, tmp_path: Path, form: str) -> None:
    _command("export", str(tmp_path / form), "--database", url)
    other = f"sqlite:///{tmp_path / 'other.sqlite3'}"
    _command("import", str(tmp_path / form), "--database", other)
    with open_catalogue(other) as catalogue, catalogue.reading() as session:
        halves = {entry.key: entry for entry in stored_entries(session) if isinstance(entry, Half)}
    assert {key: halves[key].dimensions["key_width"].value for key in KEYS} == KEYS
    assert {key: halves[key].counts["vent_count"] for key in KEYS} == VENTS
    assert {key: halves[key].categories["floor_form"] for key in KEYS} == {NARROW: ("open",), WIDE: ("closed",)}


def test_a_table_has_a_column_for_each_new_feature(tmp_path: Path) -> None:
    table = tmp_path / "halves.csv"
    head = "maker,series,part_number,rows,contact_count,key_width,key_width.tolerance,vent_count,floor_form"
    table.write_text(f"{head}\nSiskin Works,SK,SK-83,2,26,1.4,0.05,6,open;closed\n", encoding="utf-8")
    (entry,) = read_entries(table)
    assert isinstance(entry, Half)
    assert (entry.dimensions["key_width"].value, entry.dimensions["key_width"].tolerance) == (1.4, 0.05)
    assert (entry.counts["vent_count"], entry.categories["floor_form"]) == (6, ("open", "closed"))


def test_a_letter_of_a_drawings_table_may_mean_a_new_feature(shop: Workshop) -> None:
    drawing = Drawing.model_validate(
        {
            "maker": "Nuthatch",
            "name": "NU",
            "half_kind": "plug",
            "part_number": "NU-{contacts}",
            "rows": 2,
            "pitch": 0.4,
        }
    )
    table = "contacts | A | K\n10 | 3.8 | 1.1\n20 | 5.8 | 1.1\n30 | 7.8 | 1.1"
    made = fit_table(table, letters={"A": "body_length", "K": "key_width"}, drawing=drawing).series
    law = made.kinds[0].dimensions["key_width"]
    assert (law.intercept, law.slope) == (1.1, 0.0)
    added = shop.ask("POST", "/v1/series", WREN, key="nu", json={"entry": written(made)})
    assert added.status_code == 201, added.text
    assert shop.server.get("/v1/halves/nuthatch:nu-20").json()["half"]["dimensions"]["key_width"]["value"] == 1.1
    assert "key width" in shop.server.get("/series/nuthatch:nu").text.lower()


def test_the_machine_review_judges_the_new_features(shop: Workshop) -> None:
    absurd = {**_entry(NARROW), "part_number": "SK-99", "dimensions": {"key_width": {"value": 60.0}}}
    found = shop.server.post("/v1/review", json={"entry": absurd}).json()["findings"]
    assert any(each["field"] == "dimensions.key_width" and each["code"] == "implausible-size" for each in found)
    refused = shop.ask(
        "POST", "/v1/halves", WREN, key="vents", json={"entry": {**absurd, "counts": {"vent_count": 99}}}
    )
    assert refused.status_code == 422
    assert "vent_count" in refused.text


def test_the_new_features_can_be_confirmed_by_measuring(shop: Workshop) -> None:
    values = [
        {"feature": "key_width", "value": 1.21, "u": 0.02},
        {"feature": "vent_count", "value": 4},
        {"feature": "floor_form", "value": "open"},
    ]
    body = {"of": "half", "key": NARROW, "revision": 1, "basis": "measured", "values": values}
    said = shop.ask("POST", "/v1/confirmations", IDA, key="seen", json={"confirmation": body})
    assert said.status_code == 201, said.text
    assert "key width" in shop.server.get(f"/halves/{NARROW}").text.lower()


@pytest.mark.parametrize("path", ["/", "/?key_width=1.7&vent_count=9&floor_form=closed&contact_count=26"])
def test_the_bench_has_a_field_for_each_new_feature(shop: Workshop, path: str) -> None:
    page = check_form(shop.server.get(path).text)
    assert {"key_width", "vent_count", "floor_form"} <= {given.get("name") for _, given in page.names}
    assert "wall to wall of the moulded key" in shop.server.get(path).text


def test_the_page_of_a_half_shows_each_new_feature(shop: Workshop) -> None:
    for key in KEYS:
        page = shop.server.get(f"/halves/{key}")
        assert page.status_code == 200
        text = page.text.lower()
        assert f"{KEYS[key]:g}" in text
        assert all(words in text for words in ("key width", "vents", "floor of the housing"))
    compared = shop.server.get("/compare", params={"half": [NARROW, WIDE]})
    assert compared.status_code == 200
    assert "key width" in compared.text.lower()
    assert shop.server.get("/print", params={"half": NARROW}).status_code == 200


def test_the_contribution_form_has_a_field_for_each_new_feature_and_stores_it(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open("/contribute/half").text, "part_number")
    asked = {name for name, _ in fields}
    assert {"dimensions.key_width.value", "counts.vent_count"} <= asked
    assert "categories.floor_form" in person.open("/contribute/half").text
    typed = {"maker": "Siskin Works", "series": "SK", "part_number": "SK-84", "rows": "2", "contact_count": "30"}
    typed |= {"dimensions.key_width.value": "1.55", "counts.vent_count": "3", "do": "save"}
    kept = [(name, text) for name, text in fields if name not in typed]
    sent = person.send("/contribute/half", [*kept, *typed.items(), ("categories.floor_form", "open")])
    assert sent.status_code == 303, sent.text
    stored = shop.server.get("/v1/halves/siskin-works:sk-84").json()["half"]
    assert stored["dimensions"]["key_width"]["value"] == 1.55
    assert (stored["counts"]["vent_count"], stored["categories"]["floor_form"]) == (3, ["open"])
    again = person.open("/halves/siskin-works:sk-84/revise").text
    assert '"1.55"' in again


def test_the_photo_bench_and_the_series_form_offer_the_new_length(shop: Workshop) -> None:
    assert "key_width" in shop.server.get("/photo").text
    assert "key_width" in browser(shop, IDA).open("/contribute/series").text
