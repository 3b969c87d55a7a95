"""The catalogue page: search that tolerates typing errors, sorting by a known value, and paging."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import pytest
from starlette.testclient import TestClient

from api.service.paging import Listing
from api.service.settings import Settings
from api.web.catalogue.catalogue import ON_A_PAGE
from api.web.catalogue.order import BY_FIT, ORDERS
from api.web.page.figures import figure_typed
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.changes import withdraw
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from tests.api.web.page_reading import HTML, Page, check_form
from tests.api.workshop import Workshop, app_for, workshop
from tests.catalog.history.changed_entries import HALF, WREN
from tests.catalog.model.entry_examples import half


@pytest.fixture
def shop(empty_url: str) -> Iterator[Workshop]:
    """A workshop for this file."""
    with workshop(empty_url) as made:
        yield made


def seen(server: TestClient, status: int = 200, **parameters: str) -> Page:
    """The catalogue page as one person sees it."""
    answer = server.get("/catalogue", params=parameters, headers=HTML)
    assert answer.status_code == status, answer.text
    return check_form(answer.text)


def every_page(server: TestClient, **parameters: str) -> list[str]:
    """Keys of all halves, page after page."""
    keys: list[str] = []
    page = seen(server, **parameters)
    while True:
        keys += page.values("half")
        onward = [link for link in page.links() if "cursor=" in link]
        if not onward:
            return keys
        page = check_form(server.get(onward[0], headers=HTML).text)


def listed(snapshot: Snapshot) -> list[HalfRecord]:
    """Listed halves."""
    return [record for record in snapshot.halves.values() if record.origin == "listed"]


def test_paging_shows_every_listed_half_once(server: TestClient, snapshot: Snapshot) -> None:
    wanted = [record.key for record in listed(snapshot) if record.half.maker == "Wrenstubble"]
    assert len(wanted) > 3 * ON_A_PAGE
    shown = every_page(server, maker="wrenstubble")
    assert sorted(shown) == sorted(wanted)
    assert len(set(shown)) == len(shown)


def test_a_half_added_meanwhile_does_not_shift_the_pages(shop: Workshop) -> None:
    many = [half(part_number=f"SK-{n:03}", aliases=[], order_codes=[]) for n in range(2 * ON_A_PAGE)]
    with shop.catalogue.writing() as session:
        add(session, many, Act(actor=WREN))
    first = seen(shop.server, series="siskin-works:sk", sort="name")
    with shop.catalogue.writing() as session:
        add(session, [half(part_number="SK-", aliases=[], order_codes=[])], Act(actor=WREN))
    (onward,) = [link for link in first.links() if "cursor=" in link]
    second = check_form(shop.server.get(onward, headers=HTML).text)
    assert not set(first.values("half")) & set(second.values("half"))
    assert len({*first.values("half"), *second.values("half")}) == 2 * ON_A_PAGE


@pytest.mark.parametrize("sort", [name for name in ORDERS if name != BY_FIT])
def test_every_order_can_be_selected(server: TestClient, sort: str) -> None:
    page = seen(server, sort=sort)
    assert len(page.values("half")) == ON_A_PAGE


@pytest.mark.parametrize(
    ("sort", "feature"), [("pitch", "pitch"), ("length", "body_length"), ("width", "body_width"), ("height", "height")]
)
def test_an_order_by_a_dimension_is_ascending_with_unstated_values_last(
    server: TestClient, snapshot: Snapshot, sort: str, feature: str
) -> None:
    keys = every_page(server, sort=sort, series="wrenstubble:bittrelet")
    figures = [snapshot.halves[key].half.dimensions.get(feature) for key in keys]
    known = [figure.value for figure in figures if figure is not None]
    assert known == sorted(known)
    assert all(figure is None for figure in figures[len(known) :])


def test_the_half_nearest_to_a_value_comes_first_in_any_unit(server: TestClient, snapshot: Snapshot) -> None:
    """0.256 in = 6.5024 mm (1 in = 25.4 mm exactly, international inch)."""
    lengths = {
        r.key: r.half.dimensions["body_length"].value for r in listed(snapshot) if "body_length" in r.half.dimensions
    }
    for typed in ("6.5024", "6,5024", "0.256 in", "256 mil"):
        off = [abs(lengths[key] - 6.5024) for key in seen(server, sort="length", near=typed).values("half")]
        assert off == sorted(off)
        assert off[0] == min(abs(value - 6.5024) for value in lengths.values())


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("6.5", 6.5),
        (" 6,5 mm ", 6.5),
        ("1 in", 25.4),
        (".5", 0.5),
        ("six", None),
        ("6.5 pounds", None),
        ("-1", None),
        ("1e400", None),
        ("", None),
    ],
)
def test_common_ways_to_type_a_value_are_understood(typed: str, mm: float | None) -> None:
    assert figure_typed(typed) == (None if mm is None else pytest.approx(mm))


def test_an_invalid_value_is_reported_and_the_list_is_still_shown(server: TestClient) -> None:
    page = seen(server, sort="length", near="<b>long</b>")
    assert "“<b>long</b>” is not a number" in page.text
    assert "<b>long" not in page.html
    assert len(page.values("half")) == ON_A_PAGE


def test_search_finds_halves_despite_a_typing_error(server: TestClient) -> None:
    page = seen(server, q="bitrelet")
    assert page.values("half")[0].startswith("wrenstubble:bittrelet")
    assert "/series/wrenstubble:bittrelet" in page.links()


def test_search_results_can_be_sorted_by_a_dimension(server: TestClient, snapshot: Snapshot) -> None:
    keys = every_page(server, q="bittrelet", sort="height")
    heights = [snapshot.halves[key].half.dimensions["height"].value for key in keys]
    assert heights == sorted(heights)


def test_an_empty_result_suggests_what_to_do(server: TestClient) -> None:
    page = seen(server, q="zzzqqq-not-there")
    assert not page.values("half")
    assert "Nothing here has that name" in page.text
    assert "/" in page.links()


def test_a_hostile_query_appears_as_text(server: TestClient) -> None:
    html = seen(server, q='"><script>alert(1)</script>').html
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert(1)" in html


def test_a_withdrawn_half_leaves_the_catalogue(shop: Workshop) -> None:
    assert HALF in every_page(shop.server)
    with shop.catalogue.writing() as session:
        withdraw(session, Act(actor=WREN), "half", HALF)
    assert HALF not in every_page(shop.server)
    assert HALF not in seen(shop.server, q="SK-7/13").values("half")


def test_hostile_names_appear_as_text(shop: Workshop) -> None:
    name = "<img src=x onerror=alert(1)>"
    with shop.catalogue.writing() as session:
        add(session, [half(maker=name, series=name, part_number=name)], Act(actor=WREN))
    for parameters in ({}, {"q": "img src"}):
        page = seen(shop.server, **parameters)
        assert "<img" not in page.html
        assert name in page.text


def test_ticked_halves_can_be_compared_or_printed_without_script(server: TestClient) -> None:
    page = seen(server)
    keys = page.values("half")[:2]
    forms = [given.get("action") for tag, given in page.names if tag == "form"]
    buttons = [given.get("formaction") for tag, given in page.names if tag == "button" and given.get("formaction")]
    assert "/compare" in forms
    assert set(buttons) == {"/print"}
    for address in ("/compare", "/print"):
        assert server.get(address, params={"half": keys}, headers=HTML).status_code == 200


@pytest.mark.parametrize("text", ["[]", '["a", 1, "b"]', '[0, "x", "y"]', '[0, NaN, "y"]', "no json", "[" * 900])
def test_a_forged_cursor_is_refused(server: TestClient, text: str) -> None:
    cursor = Listing(name="catalogue", cursor=None, limit=1, filters={"sort": "name"}).cursor_after(text)
    assert "the cursor cannot be read" in seen(server, status=422, sort="name", cursor=cursor).text


def test_a_cursor_of_another_search_is_refused(server: TestClient) -> None:
    (onward,) = [link for link in seen(server, sort="name").links() if "cursor=" in link]
    cursor = parse_qs(urlsplit(onward).query)["cursor"][0]
    assert "from another list" in seen(server, status=422, sort="pitch", cursor=cursor).text


def test_the_outlines_of_a_page_are_drawn_at_one_scale(server: TestClient, snapshot: Snapshot) -> None:
    page = seen(server, maker="wrenstubble", sort="length")
    found = re.findall(r'class="drawing outline" viewBox="[^ ]+ [^ ]+ ([^ ]+) [^"]+" width="([^"]+)"', page.html)
    scales = [float(width) / float(mm) for mm, width in found]
    assert len(scales) == ON_A_PAGE
    assert max(scales) - min(scales) < 0.02 * max(scales)


def test_an_empty_catalogue_says_so(empty_url: str) -> None:
    with TestClient(app_for(Settings(database_url=empty_url))) as client:
        assert "This catalogue holds 0 halves" in seen(client).text
