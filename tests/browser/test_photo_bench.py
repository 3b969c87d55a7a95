"""The photo bench in a browser: rendered pictures with a known truth are measured by mouse, touch and keyboard."""

from __future__ import annotations

import io
import json
import math
import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import httpx2
import numpy as np
import pytest
from PIL import Image

from tests.browser.pictures_of_rows import (
    COUNT,
    PITCH,
    PX_PER_MM,
    SPACING,
    Photo,
    as_held_upright,
    two_rows,
    with_noise,
)

pytest.importorskip("playwright.sync_api", reason="no Playwright: pip install '.[browser]'")

from playwright.sync_api import expect

from tests.browser.photo_table import ROW_ADDRESS, Table
from tests.browser.visits import HEIGHT, NARROW, WIDE, NewPage, violations

EXPANDED = 2.0
"""Half-width in standard uncertainties of an interval that holds 95 % of the cases; the pictures are fixed."""

FIRST_ANSWER_MS = 120_000
"""The bench's first answer waits for what is computed once for a catalogue; longer where other tests run beside it."""

TABS_TO_STAGE = 20
"""Upper limit of the number of links before the picture."""

FOUND_WITHIN_PX = 0.5
"""Largest distance of a found centre from the truth: contacts jitter by 0.004 of 30 px (rendered_rows.easy),
and a strip is one bilinear interpolation away from the picture."""


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Photo:
    """Two straight rows."""
    return two_rows(tmp_path_factory.mktemp("photo"))


@pytest.fixture
def table(new_page: NewPage, site: str, photo: Photo) -> Table:
    """The photo bench with the picture open, in a wide window."""
    made = Table(new_page(), site)
    made.open(photo.path, photo.size)
    return made


def off(found: list[tuple[float, float]], truth: list[tuple[float, float]]) -> float:
    """The largest distance of a found contact from its true position, px."""
    assert len(found) == len(truth)
    return max(math.dist(one, other) for one, other in zip(found, truth, strict=True))


def value_mm(observation: dict[str, Any]) -> tuple[float, float]:
    """An observation of a scaled picture, and its standard uncertainty, mm."""
    per_mm, spans = observation["px_per_mm"], observation.get("spans", 1)
    rel = [observation["scale_rel"], observation["plane_rel"], observation["u"] / observation["value"]]
    value = observation["value"] / spans / per_mm
    return value, value * math.hypot(*rel)


# By mouse


def test_rows_are_found_corrected_scaled_and_taken_to_the_bench(table: Table, photo: Photo) -> None:
    for line in photo.lines:
        table.draw_row(line)
    assert [off(table.points(row), photo.contacts[row]) < FOUND_WITHIN_PX for row in (0, 1)] == [True, True]
    table.click(photo.contacts[0][4])
    table.page.keyboard.press("Delete")
    table.says("Deleted row 1, contact 5")
    assert len(table.points()) == COUNT - 1
    table.tool("contact")
    table.click(photo.contacts[0][4])
    table.says(f"Row 1: {COUNT} contacts.")
    table.scale_by((100.0, 640.0), (600.0, 640.0), "10", "0.02")
    given = table.observations()
    assert given["contact_count"]["value"] == 2 * COUNT
    assert given["rows"]["value"] == 2
    assert given["contact_layout"]["value"] == ["aligned"]
    assert given["pitch"]["spans"] == COUNT - 1
    for feature, truth in (("pitch", PITCH / PX_PER_MM), ("row_spacing", SPACING / PX_PER_MM)):
        value, u = value_mm(given[feature])
        assert abs(value - truth) < EXPANDED * u, feature
        assert u < 0.02 * truth


def test_without_a_scale_only_ratios_are_sent_to_the_bench(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    pitch = table.observations()["pitch"]
    assert pitch["instrument"] == "unscaled_photo"
    assert pitch["value"] / pitch["spans"] == pytest.approx(PITCH, abs=EXPANDED * pitch["u"])
    assert "only proportions count" in table.page.inner_text("#results")


@pytest.mark.parametrize(
    ("choice", "instrument"),
    [("photo/from_above", "unscaled_photo_from_above"), ("photo/rectified", "unscaled_photo_rectified")],
)
def test_how_the_picture_was_taken_is_sent_to_the_bench(
    table: Table, photo: Photo, choice: str, instrument: str
) -> None:
    table.draw_row(photo.lines[0])
    table.page.get_by_label("Taken with").select_option(choice)
    assert table.observations()["pitch"]["instrument"] == instrument
    assert f"@{instrument}:" in dict(table.bench_pairs())["pitch"]


def test_one_row_gives_a_minimum_count_until_the_number_of_rows_is_entered(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    assert ("contact_count", f"{COUNT}..") in table.bench_pairs()
    table.page.select_option("#row-count", "2")
    assert ("contact_count", str(2 * COUNT)) in table.bench_pairs()


def test_more_marked_rows_than_the_part_has_are_not_counted(table: Table, photo: Photo) -> None:
    for line in photo.lines:
        table.draw_row(line)
    table.page.select_option("#row-count", "1")
    expect(table.page.locator("#results .notes")).to_contain_text("2 rows are marked, but the part is said to have 1")
    assert "contact_count" not in dict(table.bench_pairs())


def test_a_mark_can_be_dragged_and_reset(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    before = table.points()
    x, y = photo.contacts[0][7]
    table.drag((x, y), (x + 9.0, y))
    assert table.points()[7][0] == pytest.approx(before[7][0] + 9.0, abs=1.0)
    table.page.keyboard.press("Control+z")
    assert table.points() == before
    table.page.keyboard.press("Control+Shift+Z")
    assert table.points() != before


def test_a_gap_is_allowed_and_shown(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    table.click(photo.contacts[0][4])
    table.page.click("[data-action=delete]")
    table.settled()
    assert table.page.locator("#marks .ink.gap").get_attribute("d")
    assert table.observations()["pitch"]["spans"] == COUNT - 1
    assert "place 5" in table.page.inner_text("#results")


def test_corners_and_lengths_give_the_dimensions_they_enclose(table: Table) -> None:
    table.tool("corners")
    table.click((100.0, 100.0), (700.0, 400.0), (700.0, 100.0), (100.0, 400.0))  # in any order
    table.tool("length")
    table.click((150.0, 500.0), (550.0, 500.0))
    table.settled()
    table.page.select_option("#segments-0-feature", "contact_width")
    given = table.observations()
    assert given["body_length"]["value"] == pytest.approx(600.0, abs=3.0)
    assert given["body_width"]["value"] == pytest.approx(300.0, abs=3.0)
    assert given["contact_width"]["value"] == pytest.approx(400.0, abs=3.0)


def test_the_depth_of_marks_is_chosen_by_its_label(table: Table, photo: Photo) -> None:
    for line in photo.lines:
        table.draw_row(line)
    for row in (0, 1):
        table.page.click(f"#rows-{row}-points-fold")
        table.page.select_option(f"#rows-{row}-plane", label="the board: lands, holes, tails")
        table.settled()
    given = table.observations()
    assert given["pitch"]["plane"] == "lands"
    assert "land_row_spacing" in given


def test_a_doubtful_row_is_counted_after_a_person_has_checked_it(new_page: NewPage, site: str, tmp_path: Path) -> None:
    harder = two_rows(tmp_path, glare=((COUNT - 1.0, 1.2, 0.6),), noise=0.15, margins_p=(0.2, 0.2))
    table = Table(new_page(), site)
    table.open(harder.path, harder.size)
    table.draw_row(harder.lines[0])
    table.says("not sure")
    table.page.click("#rows-0-right")
    table.settled()
    assert "Counted by eye" in table.page.inner_text("#rows")
    assert ("contact_count", f"{len(table.points())}..") in table.bench_pairs()


def test_an_error_is_shown_at_its_mark(table: Table, new_page: NewPage, site: str) -> None:
    new_page.expect(f"{site}/v1/measure")
    table.tool("corners")
    table.click((100.0, 300.0), (300.0, 300.0), (500.0, 300.0), (700.0, 300.0))
    wrong = table.page.locator("#outlines .wrong .error")
    expect(wrong).to_be_visible()
    expect(table.page.locator("#marks .ink.fault")).to_have_count(4)
    assert (wrong.inner_text() or "") in table.page.inner_text("#results")


def test_a_line_with_no_contacts_under_it_says_so_at_its_row(table: Table, new_page: NewPage, site: str) -> None:
    table.tool("row")
    table.drag((60.0, 20.0), (800.0, 20.0))
    table.says("Row 1:")
    expect(table.page.locator("#rows .wrong .error")).to_be_visible()
    new_page.expect(table.posted[0].url)


def test_the_length_of_a_scale_is_requested(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    table.tool("scale")
    table.click((100.0, 640.0), (600.0, 640.0))
    expect(table.page.locator("#scale .error")).to_contain_text("give its length")
    assert "unscaled_photo" in dict(table.bench_pairs())["pitch"]


def test_a_coin_gives_the_scale_of_what_it_lies_on(table: Table, photo: Photo) -> None:
    def typed(field: str, text: str) -> str:
        table.settled()
        table.page.fill(field, text)
        table.page.keyboard.press("Tab")
        return dict(table.bench_pairs())["pitch"]

    table.draw_row(photo.lines[0])
    table.tool("scale")
    table.click((100.0, 640.0), (600.0, 640.0))
    flat = typed("#scale-length", "10")
    typed("#scale-thickness", "x")
    expect(table.page.locator("#scale .error")).to_contain_text("give its thickness")
    raised = typed("#scale-thickness", "2")
    # Somewhere from far away to 50 mm: by 2 % less on average.
    per_mm = [float(re.search(r"px_per_mm=([0-9.]+)", piece)[1]) for piece in (flat, raised)]  # type: ignore[index]
    assert per_mm[1] / per_mm[0] == pytest.approx(0.98, rel=1e-3)
    table.page.reload()
    assert table.page.input_value("#scale-thickness") == "2"


def test_the_budget_opens_on_demand(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    table.page.click("#results .budget summary")
    assert "where the clicked points lie" in table.page.inner_text("#results .budget ul")


# What leaves the browser


def test_no_request_contains_the_picture(new_page: NewPage, site: str, tmp_path: Path) -> None:
    photo = two_rows(tmp_path)
    with_noise(photo)
    held = as_held_upright(photo, tmp_path / "held.jpg")
    table = Table(new_page(), site)
    table.open(held, photo.size)
    for line in photo.lines:
        table.draw_row(line)
    table.settled()
    strips = [request for request in table.posted if urlsplit(request.url).path == ROW_ADDRESS]
    assert len(strips) == 2
    assert {urlsplit(request.url).path for request in table.posted} == {ROW_ADDRESS, "/v1/measure"}
    for request in strips:
        data = request.post_data_buffer or b""
        strip = Image.open(io.BytesIO(data))
        pixels = np.asarray(strip.convert("RGB"))
        assert (pixels == pixels[..., :1]).all(), "it is grey"
        assert strip.height < photo.size[1] / 7, "it is narrow"
        assert not strip.getexif()
        assert b"nobody should learn" not in data
    points = [request.post_data or "" for request in table.posted if request not in strips]
    assert all(set(json.loads(body)) == {"pictures"} and len(body) < 5_000 for body in points)
    assert all(urlsplit(request.url).netloc == urlsplit(site).netloc or request.url.startswith("blob:")
               for request in table.sent)  # fmt: skip


# Pictures as cameras save them


def test_the_recorded_orientation_of_the_camera_is_used(
    new_page: NewPage, site: str, photo: Photo, tmp_path: Path
) -> None:
    table = Table(new_page(), site)
    table.open(as_held_upright(photo, tmp_path / "held.jpg"), photo.size)
    table.draw_row(photo.lines[0])
    assert off(table.points(), photo.contacts[0]) < FOUND_WITHIN_PX


@pytest.mark.parametrize("turned", [9.0, -37.0])
def test_an_oblique_row_is_found_at_its_position(new_page: NewPage, site: str, tmp_path: Path, turned: float) -> None:
    photo = two_rows(tmp_path, turned=turned, size=(1000, 900))
    table = Table(new_page(), site)
    table.open(photo.path, photo.size)
    table.draw_row(photo.lines[1])
    assert off(table.points(), photo.contacts[1]) < FOUND_WITHIN_PX


def test_points_in_48_megapixels_are_in_coordinates_of_the_picture(
    new_page: NewPage, site: str, tmp_path: Path
) -> None:
    photo = two_rows(tmp_path, size=(8000, 6000))
    table = Table(new_page(), site)
    table.open(photo.path, photo.size)
    table.draw_row(photo.lines[0])
    assert off(table.points(), photo.contacts[0]) < FOUND_WITHIN_PX
    assert table.observations()["pitch"]["value"] == pytest.approx(PITCH * (COUNT - 1), abs=1.0)


def test_a_file_that_is_not_a_picture_is_refused(new_page: NewPage, site: str, tmp_path: Path) -> None:
    other = tmp_path / "list.png"
    other.write_text("pitch=4.41/11")
    table = Table(new_page(), site)
    table.page.set_input_files("#file", other)
    table.says("cannot read that as a picture")
    assert table.page.is_disabled("[data-tool=row]")


def test_a_picture_can_be_dropped_or_pasted(new_page: NewPage, site: str, photo: Photo) -> None:
    give = """([kind, bytes]) => {
      const data = new DataTransfer();
      data.items.add(new File([new Uint8Array(bytes)], `${kind}.png`, {type: "image/png"}));
      const event = kind === "drop" ? new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true})
        : new ClipboardEvent("paste", {clipboardData: data, bubbles: true, cancelable: true});
      document.body.dispatchEvent(event);
    }"""
    for kind in ("drop", "paste"):
        table = Table(new_page(), site)
        table.page.evaluate(give, [kind, list(photo.path.read_bytes())])
        table.says(f"{kind}.png: {photo.size[0]} × {photo.size[1]} pixels")


# Reloading, another picture, and going to the bench and back


def test_marks_survive_a_reload_and_the_picture_is_requested_again(table: Table, photo: Photo) -> None:
    table.draw_row(photo.lines[0])
    table.settled()
    before = table.marks
    table.page.reload()
    expect(table.page.locator("#ask")).to_have_text(f"Open {photo.path.name} again")
    assert table.marks == before
    table.open(photo.path, photo.size)
    assert table.marks == before
    table.says("Its marks are kept.")


def test_another_picture_removes_the_marks_and_this_can_be_undone(table: Table, photo: Photo, tmp_path: Path) -> None:
    table.draw_row(photo.lines[0])
    before = table.points()
    other = two_rows(tmp_path, size=(940, 700))
    table.open(other.path, other.size)
    assert table.marks["rows"] == []
    table.page.click("[data-action=undo]")
    assert table.points() == before


def test_the_bench_keeps_its_observations_and_replaces_those_of_this_picture(
    new_page: NewPage, site: str, photo: Photo
) -> None:
    table = Table(new_page(), site, "?body_length=6.52±0.03&contact_count=12&at_hand=caliper&pitch=4.41/11")
    table.open(photo.path, photo.size)
    for line in photo.lines:
        table.draw_row(line)
    pairs = table.bench_pairs()
    assert pairs[:3] == [("body_length", "6.52±0.03"), ("at_hand", "caliper"), ("pitch", "4.41/11")]
    assert [value for name, value in pairs if name == "contact_count"] == [str(2 * COUNT)]
    assert len([value for name, value in pairs if name == "pitch"]) == 2


def test_a_second_picture_gets_its_own_name(new_page: NewPage, site: str, photo: Photo) -> None:
    table = Table(new_page(), site, "?pitch=100px/5@unscaled_photo:photo%2Bu=0.6")
    table.open(photo.path, photo.size)
    table.draw_row(photo.lines[0])
    readings = [value for name, value in table.bench_pairs() if name == "pitch"]
    assert ["photo+" in readings[0], "photo-2+" in readings[1]] == [True, True]


def test_the_other_half_can_be_in_the_picture(table: Table, photo: Photo) -> None:
    table.page.select_option("#of", "other")
    for line in photo.lines:
        table.draw_row(line)
    assert {"other.contact_count", "other.rows", "other.pitch"} <= {name for name, _ in table.bench_pairs()}


def test_the_interface_accepts_the_json(table: Table, photo: Photo, site: str) -> None:
    table.draw_row(photo.lines[0])
    table.settled()
    table.page.click("text=As JSON")
    body = table.page.input_value("#json")
    answer = httpx2.post(f"{site}/v1/measure", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 200
    assert answer.json()["pictures"][0]["rows"][0]["spans"] == COUNT - 1


# By keyboard, by touch, and without scripts


def test_everything_works_with_the_keyboard_alone(table: Table, photo: Photo) -> None:
    keys, page = table.page.keyboard, table.page
    for _ in range(TABS_TO_STAGE):
        keys.press("Tab")
        if page.evaluate("document.activeElement.id") == "stage":
            break
    expect(page.locator("#stage")).to_be_focused()
    keys.press("2")
    expect(page.locator("[data-tool=row]")).to_have_attribute("aria-pressed", "true")
    keys.press("Enter")
    x, y = (photo.size[0] - 1) / 2, (photo.size[1] - 1) / 2
    x0, y0, x1, _ = photo.lines[0]
    step = 8 / table.scale
    for key, count in (("ArrowUp", (y - y0) / step), ("ArrowLeft", (x - x0) / step)):
        for _ in range(round(count)):
            keys.press(key)
    keys.press("Enter")
    for _ in range(round((x1 - x0) / step)):
        keys.press("ArrowRight")
    keys.press("Enter")
    table.says(f"{COUNT} contacts found")
    along = [(x, y0) for x, _ in table.points()]  # the line itself lies within a step of the cross hairs
    assert off(along, photo.contacts[0]) < FOUND_WITHIN_PX
    keys.press("n")
    table.says("row 1, contact 1 at")
    before = table.points()
    keys.press("ArrowRight")
    keys.press("Shift+ArrowRight")
    assert table.points()[0][0] == pytest.approx(before[0][0] + 1.1)
    keys.press("Delete")
    assert len(table.points()) == COUNT - 1
    keys.press("Control+z")
    assert len(table.points()) == COUNT


def test_a_row_can_be_entered_as_numbers(table: Table, photo: Photo) -> None:
    page = table.page
    page.click("[data-add=row]")
    page.click("#rows-0-points-fold")
    page.fill("#rows-0-line", ", ".join(f"{figure:g}" for figure in photo.lines[0]))
    page.keyboard.press("Tab")
    expect(page.locator("#rows-0-find")).to_be_focused()
    page.keyboard.press("Enter")
    table.says(f"{COUNT} contacts found")
    table.settled()
    page.fill("#rows-0-3-x", "12,5")
    page.keyboard.press("Tab")
    assert 12.5 in [x for x, _ in table.points()]
    page.fill("#rows-0-another", "400, 225")
    page.keyboard.press("Tab")
    assert (400.0, 225.0) in table.points()


@pytest.mark.parametrize("wrong", ["x", "1, 2, 3", "1e400", ""])
def test_invalid_numbers_change_nothing(table: Table, photo: Photo, wrong: str) -> None:
    table.draw_row(photo.lines[0])
    table.settled()
    table.page.click("#rows-0-points-fold")
    before = table.marks
    table.page.fill("#rows-0-2-y", wrong)
    table.page.keyboard.press("Tab")
    table.says("is not a number")
    assert table.marks == before


def test_zooming_and_moving_by_keys_buttons_and_wheel(table: Table) -> None:
    page = table.page
    width = "() => document.querySelector('#marks .ink.known').getBBox().width"
    table.tool("scale")
    table.click((200.0, 300.0), (500.0, 300.0))
    page.wait_for_timeout(50)
    before = page.evaluate(width)
    page.focus("#stage")
    page.keyboard.press("+")
    page.click("[data-action=larger]")
    page.wait_for_timeout(50)
    assert page.evaluate(width) == pytest.approx(before * 1.3**2, rel=0.02)
    page.keyboard.press("0") if page.evaluate("document.activeElement.id") == "stage" else page.click(
        "[data-action=whole]"
    )
    page.mouse.move(*table.at((350.0, 300.0)))
    page.mouse.wheel(0, -100)
    page.wait_for_timeout(50)
    assert page.evaluate(width) == pytest.approx(before * 1.25, rel=0.02)


def test_a_phone_360_pixels_wide_is_enough(new_page: NewPage, site: str, photo: Photo) -> None:
    table = Table(new_page(width=NARROW, has_touch=True, is_mobile=True), site)
    page = table.page
    table.open(photo.path, photo.size)
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW
    tools = page.locator(".tools").bounding_box()
    stage = page.locator("#stage").bounding_box()
    assert tools
    assert stage
    assert stage["y"] < tools["y"] <= HEIGHT - tools["height"] + 1
    page.touchscreen.tap(*table.at(photo.lines[0][:2]))
    page.touchscreen.tap(*table.at(photo.lines[0][2:]))
    table.says("contacts found")
    assert off(table.points(), photo.contacts[0]) < FOUND_WITHIN_PX
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW


def test_one_finger_aims_through_the_magnifier_and_two_zoom(new_page: NewPage, site: str, photo: Photo) -> None:
    table = Table(new_page(width=NARROW, has_touch=True, is_mobile=True), site)
    page = table.page
    table.open(photo.path, photo.size)
    fingers = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        given = [{"x": x, "y": y, "id": place} for place, (x, y) in enumerate(points)]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": given})

    table.tool("length")
    x, y = table.at((300.0, 350.0))
    touch("touchStart", (x - 30, y))
    touch("touchMove", (x - 10, y))
    touch("touchMove", (x, y))
    expect(page.locator("#loupe")).to_be_visible()
    touch("touchEnd")
    expect(page.locator("#loupe")).to_be_hidden()
    end = table.marks["segments"][0]["points"][0]
    assert (end["x"], end["y"]) == (pytest.approx(300.0, abs=2.0), pytest.approx(350.0, abs=2.0))
    zoom = "() => document.querySelector('#marks .ink').getBBox().x"
    page.wait_for_timeout(50)
    before = page.evaluate(zoom)
    touch("touchStart", (150.0, y), (210.0, y))
    touch("touchMove", (120.0, y), (240.0, y))
    touch("touchEnd")
    page.wait_for_timeout(50)
    assert page.evaluate(zoom) != pytest.approx(before, abs=5.0)
    assert len(table.marks["segments"][0]["points"]) == 1


def test_without_scripts_the_page_names_alternatives(new_page: NewPage, site: str) -> None:
    page = new_page(java_script_enabled=False)
    page.goto(f"{site}/photo")
    expect(page.locator(".note")).to_contain_text("otherhalf measure photo.png --row")
    expect(page.locator("#photo-bench")).to_be_hidden()


# Links to other pages, and accessibility


def test_the_bench_understands_the_observations_sent_to_it(table: Table, photo: Photo) -> None:
    for line in photo.lines:
        table.draw_row(line)
    table.scale_by((100.0, 640.0), (600.0, 640.0), "10", "0.02")
    pairs = table.bench_pairs()
    table.page.goto(table.page.get_attribute("#take", "href") or "", timeout=FIRST_ANSWER_MS)
    assert parse_qsl(urlsplit(table.page.url).query) == pairs
    assert table.page.locator(".error:not(:empty)").count() == 0
    assert table.page.input_value("[name=contact_count]") == str(2 * COUNT)


def test_axe_finds_no_violation_in_a_filled_photo_bench(new_page: NewPage, site: str, photo: Photo) -> None:
    table = Table(new_page(), site, "?body_length=6.52±0.03")
    page = table.page
    table.open(photo.path, photo.size)
    table.draw_row(photo.lines[0])
    table.settled()
    for folded in ("#rows-0-points-fold", "#results .budget summary", ".keys summary", ".json summary"):
        page.click(folded)
    found: list[str] = []
    for width in (WIDE, NARROW):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        found += violations(page, "photo-filled", width, [])
    assert not found, "\n".join(found)
