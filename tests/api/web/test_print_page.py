"""Sheets at 1:1: millimetres on paper, a ruler to check them, and only the sheets are printed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files

import pytest
from starlette.testclient import TestClient

from api.web.entries.printing import MOST
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.snapshot.snapshot import Snapshot
from tests.api.web.page_reading import HTML, Page, check_form
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import WREN
from tests.catalog.model.entry_examples import half


@pytest.fixture
def shop(empty_url: str) -> Iterator[Workshop]:
    """A workshop for this file."""
    with workshop(empty_url) as made:
        yield made


def seen(server: TestClient, *keys: str, status: int = 200, **parameters: str) -> Page:
    """The print page of these halves."""
    answer = server.get("/print", params={"half": list(keys), **parameters}, headers=HTML)
    assert answer.status_code == status, answer.text
    return check_form(answer.text, with_pictures=False)


def some(snapshot: Snapshot, number: int) -> list[str]:
    """Keys of listed halves."""
    return [record.key for record in snapshot.halves.values() if record.origin == "listed"][:number]


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 210, 297), ("Letter", 215.9, 279.4)])
def test_a_sheet_has_the_size_of_its_paper_and_units_of_one_millimetre(
    server: TestClient, snapshot: Snapshot, paper: str, width: float, height: float
) -> None:
    """A4: ISO 216. Letter: ANSI/ASME Y14.1 size A, 8.5 × 11 in."""
    page = seen(server, *some(snapshot, 2), paper=paper)
    (svg,) = [given for tag, given in page.names if tag == "svg"]
    assert svg["width"] == f"{width:g}mm"
    assert svg["height"] == f"{height:g}mm"
    assert svg["viewbox"] == f"0 0 {width:g} {height:g}"


def test_the_ruler_is_fifty_units_long(server: TestClient, snapshot: Snapshot) -> None:
    html = seen(server, *some(snapshot, 1)).html
    found = re.search(r'class="ruler-line" d="M([\d.]+),([\d.]+) ([\d.]+),([\d.]+)"', html)
    assert found is not None
    left, top, right, bottom = (float(each) for each in found.groups())
    assert right - left == pytest.approx(50.0, abs=1e-6)
    assert top == bottom
    assert "50 mm" in html


def test_a_body_is_drawn_at_its_length_and_width(server: TestClient, snapshot: Snapshot) -> None:
    record = next(
        each
        for each in snapshot.halves.values()
        if each.origin == "listed"
        and {"body_length", "body_width"} <= each.half.dimensions.keys()
        and each.half.dimensions["body_length"].value < 100
    )
    html = seen(server, record.key).html
    found = re.search(r'<path class="plastic[^"]*"[^>]* d="M([^"z]+)z"', html)
    assert found is not None
    points = [tuple(float(part) for part in point.split(",")) for point in found[1].split(" ")]
    for axis, name in ((0, "body_length"), (1, "body_width")):
        extent = max(point[axis] for point in points) - min(point[axis] for point in points)
        assert extent == pytest.approx(record.half.dimensions[name].value, abs=0.001)


def test_several_halves_are_printed_each_with_its_name(server: TestClient, snapshot: Snapshot) -> None:
    keys = some(snapshot, 5)
    page = seen(server, *keys)
    assert page.html.count('class="printed-half"') == 5
    for key in keys:
        assert snapshot.halves[key].half.part_number in page.text


def test_lands_are_drawn_on_request(server: TestClient, snapshot: Snapshot) -> None:
    key = next(each.key for each in snapshot.halves.values() if "land_span" in each.half.dimensions)
    assert 'class="land' not in seen(server, key).html
    assert 'class="land' in seen(server, key, lands="yes").html


def test_an_unknown_paper_becomes_a4(server: TestClient, snapshot: Snapshot) -> None:
    assert 'href="/static/print-a4.css"' in seen(server, *some(snapshot, 1), paper="<napkin>").html


def test_the_style_sheets_set_the_paper_size_and_no_scale() -> None:
    folder = files("api.web.entries") / "static"
    for name, size in (("a4", "A4"), ("letter", "letter")):
        text = (folder / f"print-{name}.css").read_text(encoding="utf-8")
        assert re.search(rf"@page \{{ size: {size} portrait; margin: 0; \}}", text)
    assert "zoom" not in (folder / "print.css").read_text(encoding="utf-8")
    assert "transform" not in (folder / "print.css").read_text(encoding="utf-8")


def test_an_empty_selection_is_reported(server: TestClient) -> None:
    page = seen(server, status=422)
    assert "/catalogue" in page.links()
    assert "<svg" not in page.html


def test_an_unknown_key_is_reported_and_the_others_are_printed(server: TestClient, snapshot: Snapshot) -> None:
    page = seen(server, *some(snapshot, 1), "no:<u>such</u>")
    assert "No half has the key no:<u>such</u>." in page.text
    assert "<u>such" not in page.html
    assert 'class="printed-half"' in page.html


def test_a_selection_that_is_too_long_is_cut_with_a_note(server: TestClient, snapshot: Snapshot) -> None:
    page = seen(server, *some(snapshot, MOST + 3))
    assert page.html.count('class="printed-half"') == MOST
    assert f"{MOST + 3} halves are too many for one print; these are the first {MOST}." in page.text


def test_a_half_longer_than_the_paper_is_reported(shop: Workshop) -> None:
    long = half(part_number="SK-LONG", dimensions={"body_length": {"value": 400.0}, "body_width": {"value": 9.0}})
    with shop.catalogue.writing() as session:
        add(session, [long], Act(actor=WREN))
    page = seen(shop.server, long.key, status=422)
    assert "SK-LONG" in page.text
    assert "larger than the paper" in page.text


def test_hostile_names_appear_as_text(shop: Workshop) -> None:
    entry = half(part_number="</text></svg><script>alert(1)</script>")
    with shop.catalogue.writing() as session:
        add(session, [entry], Act(actor=WREN))
    assert "<script>alert" not in seen(shop.server, entry.key).html
