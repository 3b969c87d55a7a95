"""Hostile text in every contributed field appears as text on every page that shows it: no element, no script."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.browser.hostile import HOSTILE, SHORT
from tests.browser.visits import NewPage
from tests.browser.world import HOSTILE_NAME, IDA, MIA, PER

if TYPE_CHECKING:
    from playwright.sync_api import Page

HALF = "/halves/{hostile_half}"

SHOWING = {
    "half": (f"{HALF}?evidence=all&mates=all", None),
    "mate": ("/halves/{hostile_mate}?mates=all", None),
    "series": ("/series/{hostile_series}", None),
    "catalogue": ("/catalogue?q=part+script", None),
    "compare": ("/compare?half={hostile_half}&half={hostile_mate}", None),
    "print": ("/print?half={hostile_half}", None),
    "bench": ("/?contact_count=10&pitch=0.83&body_length=6.1&body_width=4.1", None),
    "case": ("/cases/{case}", IDA),
    "cases": ("/cases", None),
    "journal": ("/journal", None),
    "pending": ("/pending", MIA),
    "dispute": ("/disputes/{dispute}", MIA),
    "revise": (f"{HALF}/revise", IDA),
    "revise-series": ("/series/{hostile_series}/revise", IDA),
    "state": (f"{HALF}/state", IDA),
    "confirm": (f"{HALF}/confirm", PER),
    "dispute-it": (f"{HALF}/dispute", PER),
    "sighting": (f"{HALF}/sighting", PER),
    "maintain": ("/maintain", MIA),
}

FIELDS = (
    "half.note",
    "marking",
    "alias",
    "code",
    "doubt",
    *(f"half.{name}" for name in ("title", "revision", "page", "address")),
    "series.note",
    "series.alias",
    "series.title",
    "mating.note",
    "mating.title",
    "measured.note",
    "document.title",
    "document.note",
    "device",
    "board",
    "sighting.note",
    "sighting.title",
    "dispute",
    "answer",
    "title",
    "case.note",
    "seen",
    "comment",
    "withdrawal",
    "reason of part",
    "suspended",
)
"""Fields that some page must show; the text of each page is searched for all of them."""

CAUGHT = """
window.caught = [];
window.ran = (number) => window.caught.push(number);
window.alert = () => window.caught.push("alert");
"""

MADE = """() => [...document.querySelectorAll(
    "img[src='nest'], img[onerror], [onerror], [onclick], main script, b > b, main i")]
  .map((node) => node.outerHTML.slice(0, 120))"""
"""Elements that could only come from contributed text: no page of this server uses them."""

WRITTEN = """() => [
  document.body.innerText, document.title,
  ...[...document.querySelectorAll("input, textarea")].map((node) => node.value),
  ...[...document.querySelectorAll("option, details, svg title, svg text")].map((node) => node.textContent),
].join("\\n")"""
"""All text of the page, including fields and collapsed parts."""


def test_hostile_text_appears_as_text_on_every_page_and_every_field_is_shown_on_some_page(new_page: NewPage) -> None:
    written: list[str] = []
    pages = {who: new_page(who=who, script=CAUGHT) for who in {who for _, who in SHOWING.values()}}
    for name, (address, who) in SHOWING.items():
        page = pages[who]
        answer = page.goto(address.format_map(new_page.visits.world.keys), wait_until="networkidle")
        assert answer is not None
        assert answer.ok
        assert page.evaluate(MADE) == [], name
        assert page.evaluate("window.caught") == [], name
        assert "49" not in page.evaluate("document.title"), name  # 7 * 7: no template was rendered twice
        written.append(_written(page))
        assert any(each in written[-1] for each in (SHORT, HOSTILE, HOSTILE_NAME)), name
    whole = "\n".join(written)
    assert [field for field in FIELDS if f"{field} {HOSTILE}" not in whole] == []


def _written(page: Page) -> str:
    # A page collapses white space in its text.
    return " ".join(str(page.evaluate(WRITTEN)).split())


def test_hostile_text_in_the_address_and_the_fields_of_the_bench_appears_as_text(new_page: NewPage) -> None:
    page = new_page(script=CAUGHT)
    page.goto("/?body_length=<img src=nest onerror=ran(1)>&marking=<script>ran(2)</script>")
    page.locator('[name="body_width"]').fill(HOSTILE)
    page.locator('[name="body_width"]').press("Tab")
    page.wait_for_load_state("networkidle")
    page.locator("[data-error]").first.wait_for()
    assert page.evaluate(MADE) == []
    assert page.evaluate("window.caught") == []


def test_hostile_text_in_a_form_appears_as_text_beside_its_errors(new_page: NewPage) -> None:
    page = new_page("/contribute/half", IDA, script=CAUGHT)
    for name in ("maker", "series", "part_number", "note", "rows", "dimensions.pitch.value"):
        page.locator(f'[name="{name}"]').fill(HOSTILE)
    page.locator(".sending button[value=save]").click()
    page.get_by_role("alert").wait_for()
    assert page.locator('[name="maker"]').input_value() == HOSTILE
    assert page.evaluate(MADE) == []
    assert page.evaluate("window.caught") == []
