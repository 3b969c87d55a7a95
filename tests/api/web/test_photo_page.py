"""The photo bench as served, before any script runs."""

from __future__ import annotations

import json
from html import escape
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from api.web.page.rendering import PAGE_POLICY
from api.web.photo.photo import OUTLINES, PLANES, lengths
from matcher.features import FEATURES, Kind, Plane

LARGEST_PAGE = 150_000
"""Largest size in bytes of a page without pictures, so that it opens quickly over a slow connection."""

TRAP = '"><script>alert(1)</script>'


class Elements(HTMLParser):
    """Tags with their attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)


def elements(server: TestClient, address: str = "/photo") -> list[tuple[str, dict[str, str | None]]]:
    return Elements(server.get(address).text).found


def test_the_page_is_served_with_the_strict_policy(server: TestClient) -> None:
    answer = server.get("/photo")
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == PAGE_POLICY
    assert len(answer.content) < LARGEST_PAGE


def test_nothing_is_inline_and_nothing_comes_from_other_servers(server: TestClient) -> None:
    found = elements(server)
    assert {"script", "link"} <= {tag for tag, _ in found}
    for tag, attributes in found:
        assert "style" not in attributes, tag
        assert not [name for name in attributes if name.startswith("on")], tag
        assert tag != "style"
        if tag == "script":
            assert attributes["src"] == "/static/photo.js"
        if tag == "link":
            assert (attributes["href"] or "").startswith("/static/")


def test_every_script_and_style_sheet_of_the_page_is_served(server: TestClient) -> None:
    served = 0
    for tag, attributes in elements(server):
        address = attributes.get("src") if tag == "script" else attributes.get("href") if tag == "link" else None
        if address:
            assert server.get(address).status_code == 200, address
            served += 1
    assert served >= 2


def test_without_scripts_the_page_says_what_it_needs_and_names_alternatives(server: TestClient) -> None:
    text = server.get("/photo").text
    told = text.split("<noscript>")[2].split("</noscript>")[0]
    assert "JavaScript" in told
    assert "otherhalf measure photo.png --row" in told


def test_the_page_says_which_data_leave_the_browser(server: TestClient) -> None:
    text = " ".join(server.get("/photo").text.split())
    assert "The picture is never uploaded." in text
    assert "a narrow grey strip along the line you draw is sent" in text


def test_every_field_has_a_label_and_ids_are_unique_on_the_photo_page(server: TestClient) -> None:
    found = elements(server)
    ids = [attributes["id"] for _, attributes in found if "id" in attributes]
    assert len(ids) == len(set(ids))
    labelled = {attributes.get("for") for tag, attributes in found if tag == "label"}
    for tag, attributes in found:
        if tag in ("input", "select", "textarea"):
            assert attributes.get("id") in labelled or "aria-label" in attributes, attributes


def test_observations_from_the_bench_are_returned_to_it(server: TestClient) -> None:
    text = server.get("/photo", params=[("pitch", "4.41/11"), ("height", "<=0.9")]).text
    assert "<code>pitch=4.41/11</code>" in text
    assert "<code>height=&lt;=0.9</code>" in text
    assert 'href="/?pitch=4.41%2F11&amp;height=%3C%3D0.9"' in text


def test_hostile_text_in_the_address_appears_as_text(server: TestClient) -> None:
    text = server.get("/photo", params={"marking": TRAP, TRAP: "1"}).text
    assert TRAP not in text
    assert escape(TRAP).replace("&quot;", "&#34;") in text


def test_every_length_seen_from_above_can_be_chosen_and_no_other() -> None:
    named = {feature.name for feature in lengths()}
    assert {"pitch", "body_length", "land_span", "mated_width"} <= named
    assert "height" not in named
    assert all(FEATURES[name].kind is Kind.DIMENSION for name in named)


@pytest.mark.parametrize("plane", Plane)
def test_every_depth_has_a_label(plane: Plane) -> None:
    assert PLANES[plane]


@pytest.mark.parametrize(("along", "across", "words"), OUTLINES)
def test_an_outline_gives_lengths_of_the_feature_table(along: str, across: str, words: str) -> None:
    given = [name for name in (along, across) if name]
    assert given
    assert all(FEATURES[name].kind is Kind.DIMENSION for name in given)
    assert not along or FEATURES[along].along_rows
    assert not across or not FEATURES[across].along_rows


def row(marked: int, clear: int | None = None, feature: str = "pitch", **found: object) -> str:
    """A marked row as the page's script sends it."""
    seen = {"likely": [[marked, 0.99]], "missing": 0, "sure": True} | found if found else None
    clear = marked if clear is None else clear
    return json.dumps({"feature": feature, "marked": marked, "clear": clear, "found": seen})


def counted(server: TestClient, *rows: str, **asked: object) -> tuple[list[str], str]:
    """The pieces and the notes for these rows."""
    answer = server.get("/photo/counts", params={"row": list(rows), **asked})
    assert answer.status_code == 200, answer.text
    return answer.json()["pieces"], " ".join(answer.json()["notes"])


def test_marked_rows_are_counted_together(server: TestClient) -> None:
    assert counted(server, row(12), row(12)) == (["contact_count=24", "rows=2"], "")
    assert counted(server, row(12), row_count=2) == (["contact_count=24", "rows=2"], "")
    assert counted(server, row(12), row(11), of="other")[0] == [
        "other.contact_count=23",
        "other.rows=2",
    ]


def test_one_row_gives_a_minimum_count(server: TestClient) -> None:
    pieces, notes = counted(server, row(12))
    assert pieces == ["contact_count=12.."]
    assert "at least" in notes


def test_doubtful_marks_and_uncertain_counts_give_a_range(server: TestClient) -> None:
    assert counted(server, row(12, clear=11), row_count=2)[0][0] == "contact_count=22..24"
    unsure = row(12, likely=[[12, 0.6], [13, 0.38], [11, 0.02]], sure=False, missing=2)
    assert counted(server, unsure, row_count=2)[0][0] == "contact_count=20..26"


def test_a_row_without_a_reliable_count_is_not_counted(server: TestClient) -> None:
    pieces, notes = counted(server, row(12, likely=[[12, 0.6]], sure=False), row(12))
    assert pieces == ["rows=2"]
    assert "count them by eye" in notes


def test_tails_and_too_few_marks_are_not_counted_as_contacts(server: TestClient) -> None:
    assert counted(server, row(12, feature="tail_pitch"), row(2)) == ([], "")
    assert counted(server) == ([], "")


def test_more_rows_than_a_part_can_have_are_not_counted(server: TestClient) -> None:
    pieces, notes = counted(server, row(12), row(12), row_count=1)
    assert pieces == []
    assert "2 rows are marked, but the part is said to have 1." in notes


def test_an_invalid_row_is_refused(server: TestClient) -> None:
    for wrong in ("{", "[]", '{"feature": "height", "marked": 3, "clear": 3, "found": null}'):
        answer = server.get("/photo/counts", params={"row": wrong})
        assert answer.status_code in (400, 422), answer.text
        assert answer.json()["detail"]
