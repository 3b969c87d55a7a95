"""What somebody probably meant by a name that nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rapidfuzz import fuzz, process
from rapidfuzz.utils import default_process

CLOSE_ENOUGH = 60.0
"""Similarity (0 to 100) from which a known name is worth offering. Common practice, no source."""


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known name most like ``word``, or None when none is like it."""
    found = process.extractOne(
        word, list(known), scorer=fuzz.ratio, processor=default_process, score_cutoff=CLOSE_ENOUGH
    )
    return None if found is None else found[0]


def closest_meaning(word: str, words_of: Mapping[str, Iterable[str]]) -> str | None:
    """The name one of whose words (the name itself included) is most like ``word``, or None."""
    names = {known: name for name, words in words_of.items() for known in (name, *words)}
    found = closest(word, names)
    return None if found is None else names[found]


def remedy_for(known: Iterable[str], suggestion: str | None) -> str:
    """Sentence that offers the suggestion, if any, and lists what is known."""
    listed = f"known: {', '.join(known)}"
    return listed if suggestion is None else f"did you mean {suggestion!r}? ({listed})"
