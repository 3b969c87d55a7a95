"""Using the photo bench as a person does: by mouse, touch and keyboard."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from playwright.sync_api import Page, Request, expect

from api.observations.short_form import parse_pieces

Point = tuple[float, float]

ROW_ADDRESS = "/v1/measure/row"


class Table:
    """One photo bench in a browser, with all requests it sent."""

    def __init__(self, page: Page, site: str, query: str = "") -> None:
        self.page = page
        self.sent: list[Request] = []
        page.on("request", lambda request: self.sent.append(request))
        page.goto(f"{site}/photo{query}")

    def open(self, picture: Path, size: tuple[int, int]) -> None:
        """Open a picture, and compute where its pixels lie on the screen: it is shown completely, in the middle."""
        self.page.set_input_files("#file", picture)
        expect(self.page.locator("#status")).to_contain_text(f"{size[0]} × {size[1]} pixels")
        box = self.page.evaluate(
            "() => { const stage = document.getElementById('stage'), box = stage.getBoundingClientRect();"
            " return [box.left + stage.clientLeft, box.top + stage.clientTop, stage.clientWidth, stage.clientHeight]; }"
        )
        self.scale = min(box[2] / size[0], box[3] / size[1])
        self.left = box[0] + (box[2] - size[0] * self.scale) / 2
        self.top = box[1] + (box[3] - size[1] * self.scale) / 2

    def at(self, point: Point) -> Point:
        """The position of a pixel of the picture on the screen."""
        return self.left + (point[0] + 0.5) * self.scale, self.top + (point[1] + 0.5) * self.scale

    def tool(self, name: str) -> None:
        self.page.click(f"[data-tool={name}]")

    def drag(self, start: Point, end: Point) -> None:
        mouse = self.page.mouse
        mouse.move(*self.at(start))
        mouse.down()
        mouse.move(*self.at(((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)))
        mouse.move(*self.at(end))
        mouse.up()

    def click(self, *points: Point) -> None:
        for point in points:
            self.page.mouse.click(*self.at(point))

    def draw_row(self, line: Sequence[float]) -> None:
        """Draw along a row with the mouse, and wait for the result."""
        self.tool("row")
        self.drag((line[0], line[1]), (line[2], line[3]))
        self.says("contacts found")

    def says(self, text: str) -> None:
        expect(self.page.locator("#status")).to_contain_text(text)

    def scale_by(self, start: Point, end: Point, length: str, limit: str = "") -> None:
        """Mark a known length; the field for the length then has the focus."""
        self.tool("scale")
        self.click(start, end)
        expect(self.page.locator("#scale-length")).to_be_focused()
        self.page.keyboard.type(length)
        self.page.keyboard.press("Tab")
        self.page.fill("#scale-limit", limit)
        self.page.keyboard.press("Tab")

    @property
    def marks(self) -> dict[str, Any]:
        """The marks as stored for a reload."""
        kept: dict[str, Any] = self.page.evaluate("JSON.parse(sessionStorage.getItem('otherhalf.photo'))")
        return kept

    def points(self, row: int = 0) -> list[Point]:
        return [(point["x"], point["y"]) for point in self.marks["rows"][row]["points"]]

    def settled(self) -> None:
        """Wait until no request is open or due."""
        expect(self.page.locator("#results")).to_have_attribute("aria-busy", "false")

    def bench_pairs(self) -> list[tuple[str, str]]:
        """The pieces in the address of the link to the bench."""
        self.settled()
        return parse_qsl(urlsplit(self.page.get_attribute("#take", "href") or "").query)

    def observations(self) -> dict[str, dict[str, Any]]:
        """These pieces as observations, the last one of each feature."""
        pieces = [f"{name}={value}" for name, value in self.bench_pairs()]
        return {given["feature"]: given for given in parse_pieces(pieces)}

    @property
    def posted(self) -> list[Request]:
        return [request for request in self.sent if request.method == "POST"]
