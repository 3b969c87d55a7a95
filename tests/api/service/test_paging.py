"""Cursors and pages: following them gives a list once and completely, and a cursor is valid only for its own list."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence

import pytest

from api.service.paging import LARGEST_NUMBER, LONGEST_CURSOR, Listing
from api.service.problems import ApiError
from catalog.evidence.statements import LONGEST_KEY

ROWS = range(1, 8)


def rows_after(after: int | None, limit: int) -> Sequence[int]:
    return [row for row in ROWS if row > (after or 0)][:limit]


def listing(cursor: str | None = None, *, name: str = "halves", limit: int = 3, **filters: object) -> Listing:
    return Listing(name=name, cursor=cursor, limit=limit, filters=filters)


def refused(given: Listing, attribute: str = "after") -> tuple[str, object, str]:
    with pytest.raises(ApiError) as caught:
        getattr(given, attribute)
    problem = caught.value
    (field,) = problem.errors
    assert problem.name == "invalid-cursor"
    assert field.remedy == "start again without a cursor, and follow next from there"
    assert field.message == problem.detail
    return field.field, field.value, field.message


@pytest.mark.parametrize("limit", [1, 2, 3, 6, 7, 8])
def test_following_next_gives_every_row_once_and_ends(limit: int) -> None:
    found, cursor, pages = [], None, 0
    while pages == 0 or cursor is not None:
        part = listing(cursor, limit=limit).page(rows_after, lambda row: row)
        found += part.items
        cursor, pages = part.next, pages + 1
    assert found == list(ROWS)
    assert pages == -(-len(ROWS) // limit)


def test_one_more_row_than_the_page_is_read_to_see_whether_there_is_a_next_page() -> None:
    asked: list[tuple[int | None, int]] = []

    def read(after: int | None, limit: int) -> Sequence[int]:
        asked.append((after, limit))
        return rows_after(after, limit)

    first = listing().page(read, lambda row: row)
    listing(first.next).page(read, lambda row: row)
    assert asked == [(None, 4), (3, 4)]


@pytest.mark.parametrize("key", ["a", "ab", "abc", "abcd", "ouzelby:mossipet-p24", "größe:½", "?>~?>~?>~", "", "0"])
def test_a_cursor_contains_its_key_and_needs_no_quoting_in_an_address(key: str) -> None:
    cursor = listing().cursor_after(key)
    assert set(cursor) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
    assert listing(cursor).after == key


def test_a_list_continues_after_the_longest_key() -> None:
    key = "𐐨" * LONGEST_KEY
    cursor = listing().cursor_after(key)
    assert len(cursor) <= LONGEST_CURSOR
    assert listing(cursor).after == key


def test_without_a_cursor_a_list_starts_at_the_beginning() -> None:
    assert listing().after is None
    assert listing().after_number is None


def test_an_omitted_filter_equals_none_and_the_order_of_filters_does_not_matter() -> None:
    cursor = listing(maker="Ouzelby", kind="plug").cursor_after("k")
    assert listing(cursor, kind="plug", maker="Ouzelby", rows=None).after == "k"


def test_a_list_that_has_no_filters_equals_one_without_filters() -> None:
    bare = Listing(name="halves", cursor=None, limit=3)
    assert listing(bare.cursor_after("k")).after == "k"


@pytest.mark.parametrize(
    "other",
    [
        {"name": "series", "maker": "Ouzelby"},
        {"maker": "Pipitholt"},
        {"kind": "Ouzelby"},
        {"maker": "Ouzelby", "kind": "plug"},
        {},
    ],
    ids=["another list", "another value", "another filter", "one filter more", "one less"],
)
def test_a_cursor_of_another_list_or_other_filters_is_refused(other: dict[str, str]) -> None:
    cursor = listing(maker="Ouzelby").cursor_after("k")
    field, value, message = refused(listing(cursor, **other))  # type: ignore[arg-type]
    assert (field, value, message) == ("cursor", cursor, "the cursor comes from another list or other filters")


def sealed(content: object) -> str:
    return base64.urlsafe_b64encode(json.dumps(content).encode()).decode().rstrip("=")


UNREADABLE = {
    "nothing": "",
    "no ASCII": "é",
    "too short": "a",
    "signs": "!!!!",
    "a space": "ab cd",
    "too few parts": sealed(["one"]),
    "a number": sealed(5),
    "too many parts": sealed(["a", "b", "c"]),
    "no JSON": base64.urlsafe_b64encode(b"[" * 900).decode(),
    "no UTF-8": base64.urlsafe_b64encode(b"\xff\xfe\xfd").decode(),
    "deeper than Python recurses": base64.urlsafe_b64encode(b"[" * 300_000).decode(),
}


@pytest.mark.parametrize("cursor", UNREADABLE.values(), ids=UNREADABLE.keys())
def test_a_cursor_that_cannot_be_read_is_refused(cursor: str) -> None:
    assert refused(listing(cursor))[2] == "the cursor cannot be read"


def test_extra_characters_in_a_valid_cursor_are_refused() -> None:
    cursor = listing().cursor_after("k")
    assert refused(listing(f"{cursor[:8]}!!!!{cursor[8:]}"))[2] == "the cursor cannot be read"


def test_a_key_that_is_not_text_is_refused() -> None:
    belonging = json.loads(base64.urlsafe_b64decode(listing().cursor_after("k") + "=="))[0]
    assert refused(listing(sealed([belonging, 5])))[2] == "the cursor comes from another list or other filters"


def test_a_refusal_shows_only_the_beginning_of_a_cursor() -> None:
    assert refused(listing("é" * 500))[1] == "é" * 80


def test_a_cursor_contains_the_number_of_its_row() -> None:
    assert listing(listing().cursor_after(41)).after_number == 41


@pytest.mark.parametrize("key", ["", "-1", "1.5", "five", "²", "٣", "1" * 11])
def test_a_cursor_without_a_row_number_is_refused(key: str) -> None:
    assert refused(listing(listing().cursor_after(key)), "after_number")[2] == "the cursor does not name a row"


def test_a_number_too_large_for_the_engines_becomes_their_largest() -> None:
    """2³¹ − 1: PostgreSQL's type integer (its documentation, 8.1)."""
    assert LARGEST_NUMBER == 2147483647
    assert listing(listing().cursor_after("2147483648")).after_number == 2147483647
    assert listing(listing().cursor_after("2147483646")).after_number == 2147483646
