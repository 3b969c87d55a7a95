"""The form of a token, and how one is masked wherever it appears in a text."""

from __future__ import annotations

import re

PREFIX = "oh_"
"""How every token begins, so that people and programs that look for leaked secrets recognise it."""

MASK = f"{PREFIX}…"

_WHOLE = re.compile(rf"{PREFIX}[A-Za-z0-9_-]{{43}}")
_IN_TEXT = re.compile(rf"{PREFIX}[A-Za-z0-9_-]{{16,}}")


def is_token(text: str) -> bool:
    """Whether a text has the form of a token: the prefix, and 256 bits in the alphabet of RFC 4648, section 5."""
    return _WHOLE.fullmatch(text) is not None


def masked(text: str) -> str:
    """The text with everything masked that looks like a token or most of one."""
    return _IN_TEXT.sub(MASK, text)
