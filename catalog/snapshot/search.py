"""Text search in part numbers, order codes, makers, series, aliases and markings.

It ignores case and punctuation, and finds parts of texts and texts with typing errors. Matches are ranked: the exact
text, its beginning, another part of it, its words in any order, a similar text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from catalog.model.entries import slug
from catalog.model.errors import EntryError
from catalog.model.text_fields import LONGEST_LINE, comparable
from catalog.records.read_models import HalfRecord, SeriesRecord
from matcher.columns.columns import Floats, Ints

HitKind = Literal["half", "series", "maker"]

EXACT, PREFIX, FRAGMENT, WORDS, FUZZY = 1.0, 0.9, 0.8, 0.7, 0.6
"""Score of each way to match; a fuzzy one is multiplied by the similarity."""

STEP = 0.09
"""Largest bonus of a match, in proportion to the share of the text that the query covers."""

LEAST_SIMILARITY = 70.0
"""Texts with a lower similarity (percent) count as different. Common practice, no source."""

WHOLE_SHARE = 0.1
"""Share of a fuzzy score that compares whole texts, with two swapped letters as one error; it decides ties."""

LEAST_FUZZY = 3
"""Fewest characters of a query for a fuzzy search: two letters are similar to everything."""

_KIND_ORDER: dict[HitKind, int] = {"maker": 0, "series": 1, "half": 2}
_SEPARATOR = "\n"


@dataclass(frozen=True, kw_only=True)
class Hit:
    """An entry or maker with the text ``matched`` by which it was found. ``score`` is from 0 to 1 (the same text)."""

    key: str
    kind: HitKind
    label: str
    matched: str
    score: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Searchable:
    """The texts by which a half or a series can be found, as search compares them, and all its words together."""

    texts: tuple[tuple[str, Hit], ...]
    words: str
    whole: Hit

    @classmethod
    def of(cls, record: HalfRecord | SeriesRecord) -> Searchable:
        """The texts of a record."""
        if isinstance(record, HalfRecord):
            half = record.half
            texts = (half.part_number, *half.order_codes, *half.aliases, *half.markings)
            beside: tuple[str, ...] = (half.maker, half.series, *texts, str(half.contact_count))
            return cls._of("half", record.key, half.maker, texts, beside)
        series = record.series
        texts = (series.name, *series.aliases)
        return cls._of("series", record.key, series.maker, texts, (series.maker, *texts))

    @classmethod
    def _of(cls, kind: HitKind, key: str, maker: str, texts: tuple[str, ...], words: tuple[str, ...]) -> Searchable:
        label = f"{maker} {texts[0]}"
        targets = [Hit(key=key, kind=kind, label=label, matched=text) for text in texts]
        of_maker = Hit(key=slug(maker), kind="maker", label=maker, matched=maker)
        compared = [(comparable(target.matched), target) for target in (*targets, of_maker)]
        return cls(
            texts=tuple((text, target) for text, target in compared if text),
            words=_SEPARATOR.join(comparable(word) for word in words),
            whole=targets[0],
        )


class SearchIndex:
    """An index of entries. It never changes, so it is safe to share between threads."""

    def __init__(self, entries: Iterable[Searchable]) -> None:
        by_text: dict[str, dict[tuple[HitKind, str], Hit]] = {}
        self._whole: list[tuple[str, Hit]] = []
        for entry in entries:
            for text, target in entry.texts:
                by_text.setdefault(text, {}).setdefault((target.kind, target.key), target)
            self._whole.append((entry.words, entry.whole))
        self._texts = list(by_text)
        self._targets = [tuple(targets.values()) for targets in by_text.values()]
        self._lengths = np.array([len(text) for text in self._texts], dtype=np.int64)

    def search(self, text: str, limit: int = 20) -> list[Hit]:
        """The best ``limit`` hits, best first, each entry or maker once. Raises EntryError if the text is too long."""
        if len(text) > LONGEST_LINE:
            raise EntryError(
                f"the search text has {len(text)} characters",
                field="text",
                value=text[:LONGEST_LINE],
                remedy=f"Shorten it to at most {LONGEST_LINE}",
            )
        query = comparable(text)
        if not query or not self._texts:
            return []
        best: dict[tuple[HitKind, str], Hit] = {}
        for score, target in self._scored(query, text):
            earlier = best.get((target.kind, target.key))
            if earlier is None or earlier.score < score:
                best[target.kind, target.key] = replace(target, score=round(score, 4))
        return sorted(best.values(), key=_order)[:limit]

    def _scored(self, query: str, text: str) -> Iterator[tuple[float, Hit]]:
        scores = self._fuzzy(query)
        for index, candidate in enumerate(self._texts):
            if query in candidate:
                scores[index] = _contained(query, candidate)
        for found in np.flatnonzero(scores):
            for target in self._targets[int(found)]:
                yield float(scores[found]), target
        words = [word for word in map(comparable, re.split(r"\s+", text)) if word]
        if len(words) > 1:
            for whole, target in self._whole:
                if all(word in whole for word in words):
                    yield WORDS + STEP * len(query) / max(len(query), len(whole)), target

    def _fuzzy(self, query: str) -> Floats:
        scores = np.zeros(len(self._texts))
        if len(query) < LEAST_FUZZY:
            return scores
        # A longer text may contain something similar to the query; a shorter one must be similar to the whole query.
        longer = self._lengths >= len(query)
        for scorer, chosen in ((fuzz.partial_ratio, np.flatnonzero(longer)), (fuzz.ratio, np.flatnonzero(~longer))):
            scores[chosen] = self._similarity(query, chosen, scorer, LEAST_SIMILARITY) / 100.0
        similar = np.flatnonzero(scores)
        whole = self._similarity(query, similar, OSA.normalized_similarity, None)
        scores[similar] = FUZZY * ((1.0 - WHOLE_SHARE) * scores[similar] + WHOLE_SHARE * whole)
        return scores

    def _similarity(self, query: str, chosen: Ints, scorer: Any, least: float | None) -> Floats:
        texts = [self._texts[index] for index in chosen]
        if not texts:
            return np.zeros(0)
        found: Floats = process.cdist([query], texts, scorer=scorer, score_cutoff=least, dtype=np.float64)[0]
        return found


def _contained(query: str, candidate: str) -> float:
    if query == candidate:
        return EXACT
    ceiling = PREFIX if candidate.startswith(query) else FRAGMENT
    return ceiling + STEP * len(query) / len(candidate)


def _order(hit: Hit) -> tuple[float, int, str]:
    return -hit.score, _KIND_ORDER[hit.kind], hit.key
