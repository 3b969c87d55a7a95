"""Text from people: invisible characters are refused, and visible text is normalised to one encoding."""

from __future__ import annotations

import unicodedata
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from catalog.model.text_fields import Line, Passage, Remark, plain_line, plain_text

OVERRIDES = [chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))]
ZERO_WIDTH = ["\u200b", "\u200e", "\u200f", "\u2060", "\ufeff", "\u00ad", "\u061c"]
CONTROLS = [chr(code) for code in (*range(0x20), *range(0x7F, 0xA0))]
NOT_IN_NOTES = [one for one in CONTROLS if one not in "\t\n\r"]


@pytest.mark.parametrize(
    "character", [*OVERRIDES, *ZERO_WIDTH, *CONTROLS, "\u2028", "\u2029", "\ud800", "\u3164", "\uffff"]
)
def test_a_line_refuses_invisible_characters(character: str) -> None:
    with pytest.raises(ValueError, match=f"character 4 is .*U\\+{ord(character):04X}"):
        plain_line(f"rec{character}order")


@pytest.mark.parametrize(
    "character", [*OVERRIDES, *ZERO_WIDTH, *NOT_IN_NOTES, "\u2028", "\u2029", "\udfff", "\U000e0041"]
)
def test_a_note_refuses_invisible_characters(character: str) -> None:
    with pytest.raises(ValueError, match=f"character 4 is .*U\\+{ord(character):04X}"):
        plain_text(f"rec{character}order")


def test_a_note_normalises_line_breaks_and_turns_tabs_into_spaces() -> None:
    assert plain_text("one\r\ntwo\rthree\n\tfour") == "one\ntwo\nthree\n four"


@pytest.mark.parametrize("joiner", ["\u200c", "\u200d"])
def test_joiners_are_kept_in_notes_where_scripts_need_them_and_refused_in_names(joiner: str) -> None:
    assert plain_text(f"می{joiner}خواهم") == f"می{joiner}خواهم"
    with pytest.raises(ValueError, match="invisible"):
        plain_line(f"می{joiner}خواهم")


@pytest.mark.parametrize(
    "text", ["<b>bold</b>", "=1+1", "@cell", "'; DROP TABLE halves; --", "Žižka Ø 0,4 µm", "録音機"]
)
def test_visible_text_is_kept_unchanged(text: str) -> None:
    assert plain_line(text) == text
    assert plain_text(text) == text


def test_different_encodings_of_one_text_become_equal() -> None:
    assert plain_line("cafe\u0301") == "café"
    assert plain_text("A\u030angstro\u0308m") == unicodedata.normalize("NFC", "Ångström")


def test_checking_plain_text_again_changes_nothing() -> None:
    for text in ("cafe\u0301\r\n\tx", "a\u0323\u0307"):
        assert plain_text(plain_text(text)) == plain_text(text)


@pytest.mark.parametrize(("kind", "longest"), [(Line, 200), (Passage, 2000), (Remark, 2000)])
def test_the_length_of_texts_is_limited(kind: Any, longest: int) -> None:
    adapter: TypeAdapter[str] = TypeAdapter(kind)
    assert adapter.validate_python("x" * longest) == "x" * longest
    for text in ("x" * (longest + 1), "x" * 10_000_000):
        with pytest.raises(ValidationError, match="at most"):
            adapter.validate_python(text)


@pytest.mark.parametrize("kind", [Line, Remark])
@pytest.mark.parametrize("text", ["", "  ", "\n\u00a0\u2003"])
def test_a_required_text_must_not_be_blank(kind: Any, text: str) -> None:
    with pytest.raises(ValidationError, match="at least 1 character"):
        TypeAdapter[str](kind).validate_python(text)
