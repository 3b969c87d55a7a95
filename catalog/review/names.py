"""Part numbers compared without case and signs, and without words for plating or packing."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from rapidfuzz.distance import OSA

from catalog.model.entries import Half
from catalog.model.text_fields import comparable

_PLATING = ("au", "sn", "ag", "ni", "gf", "g", "s", "f", "e", "lf", "pb", "pbf", "rohs")
_PACKING = ("tr", "t", "r", "te", "reel", "tape", "cut", "ct", "box", "bulk", "bag", "tray", "tube", "cap", "peg")
PACKING_WORDS = frozenset((*_PLATING, *_PACKING))
"""Words after a part number for plating, lead-free, cap, tape or packaging. Common practice, no source."""

MOST_PACKING_WORDS = 3
"""Most words that are removed: removing more would destroy the number itself."""

SHORTEST_STEM = 4
"""Fewest letters and figures that must remain when packing words are removed."""

LEAST_SIMILAR_LENGTH = 6
"""Shorter part numbers are similar by chance."""

_SIGNS = re.compile(r"[\W_]+")


@lru_cache(maxsize=1 << 17)  # each name is compared with many
def stem(text: str) -> str:
    """`comparable` text of a part number without the words for plating and packing at its end."""
    if text.isascii() and text.isalnum():
        return text.lower()
    words = [word for word in _SIGNS.split(text.casefold()) if word]
    for _ in range(MOST_PACKING_WORDS):
        shorter = comparable("".join(words[:-1]))
        if len(words) < 2 or words[-1] not in PACKING_WORDS or len(shorter) < SHORTEST_STEM:
            break
        words.pop()
    return comparable("".join(words))


def names_of(half: Half) -> tuple[str, ...]:
    """Part number and order codes: the names under which the half is sold."""
    return (half.part_number, *half.order_codes)


def is_part_number(text: str) -> bool:
    """Whether an alias can be a part number rather than a word for the kind of half."""
    return any(character.isdigit() for character in text) and len(comparable(text)) >= SHORTEST_STEM


def known_as(half: Half) -> tuple[str, ...]:
    """All names that identify this half."""
    return (*names_of(half), *(alias for alias in half.aliases if is_part_number(alias)))


def share_name(half: Half, other: Half, read: Callable[[str], str]) -> bool:
    """Whether a part number or order code of one half, as ``read``, is a name of the other."""
    sold, known = ({read(name) for name in names(half)} for names in (names_of, known_as))
    other_sold, other_known = ({read(name) for name in names(other)} for names in (names_of, known_as))
    return bool(sold & other_known or known & other_sold)


def one_slip_apart(first: str, second: str) -> bool:
    """Whether two plain names differ by one typing error other than a figure, since sizes differ by figures."""
    if min(len(first), len(second)) < LEAST_SIMILAR_LENGTH or OSA.distance(first, second, score_cutoff=1) != 1:
        return False
    differing = [(a, b) for a, b in zip(first, second, strict=False) if a != b]
    if len(first) != len(second):
        longer, shorter = sorted((first, second), key=len, reverse=True)
        place = next((i for i, (a, b) in enumerate(zip(longer, shorter, strict=False)) if a != b), len(shorter))
        return not longer[place].isdigit()
    return len(differing) > 1 or not (differing[0][0].isdigit() and differing[0][1].isdigit())
