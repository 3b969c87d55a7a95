"""Text fields: visible characters only, in one spelling (Unicode NFC).

Invisible characters can deceive: direction overrides show a name in another order than it is stored, zero-width
characters make two different names look the same, and control characters break files and terminals. Text with such
characters is refused rather than changed, so that people see what their text contained. Markup and formulas are
ordinary text here; they are escaped where they are shown.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Annotated

from pydantic import AfterValidator, StringConstraints

LONGEST_LINE, LONGEST_TEXT = 200, 2000
"""Most characters of a name or other line, and of a note."""

JOINERS = "\u200c\u200d"
"""Zero-width non-joiner and joiner. Persian, several Indian scripts and joined pictographs need them, so they are
allowed in notes. They are not allowed in names and part numbers, where they would only produce look-alikes."""

NOT_IN_XML = "\ufffe\uffff"
"""Noncharacters that XML 1.0 (2.2, Char) forbids: the feed of changes could not contain them."""

BLANK_LETTERS = "\u115f\u1160\u3164\uffa0\u2800"
"""Letters and a symbol that are blank although Unicode does not class them as space (Hangul fillers, blank Braille
pattern): a name made of them would look empty."""

REFUSED = {
    "Cc": "a control character",
    "Cf": "an invisible character",
    "Cs": "half of a character",
    "Zl": "a line separator",
    "Zp": "a paragraph separator",
}
"""General categories of Unicode that are refused. Cf holds zero-width characters, direction marks, overrides and
isolates, soft hyphens and tags."""


_WITHOUT_SIGNS = {code: None for code in range(128) if not chr(code).isalnum()}


@lru_cache(maxsize=1 << 17)
def comparable(text: str) -> str:
    """The text as search and review compare it: letters and digits only, without case and accents."""
    if text.isascii():  # ten times as fast, and a catalogue has tens of thousands of names
        return text.lower().translate(_WITHOUT_SIGNS)
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(character for character in decomposed if character.isalnum())


def plain_line(text: str) -> str:
    """The line in NFC. Raises ValueError for line breaks and all invisible characters."""
    return _plain(text, allowed="")


def plain_text(text: str) -> str:
    """The text in NFC, with ``\\n`` for line breaks and spaces for tabs. Raises ValueError for other invisible
    characters."""
    broken = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    return _plain(broken, allowed="\n" + JOINERS)


def _plain(text: str, allowed: str) -> str:
    if not text.isascii() or not text.isprintable():
        for position, character in enumerate(text, start=1):
            if character not in allowed and (fault := _fault(character)) is not None:
                raise ValueError(f"character {position} is {fault} (U+{ord(character):04X}); write the text without it")
    return unicodedata.normalize("NFC", text)


def _fault(character: str) -> str | None:
    if character in NOT_IN_XML:
        return "not a character"
    if character in BLANK_LETTERS:
        return "an invisible character"
    return REFUSED.get(unicodedata.category(character))


Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=LONGEST_LINE),
    AfterValidator(plain_line),
]
"""A name, part number or other single line: 1 to 200 characters."""

Passage = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=LONGEST_TEXT),
    AfterValidator(plain_text),
]
"""A note of at most 2000 characters; may be empty."""

Remark = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=LONGEST_TEXT),
    AfterValidator(plain_text),
]
"""A note of 1 to 2000 characters."""
