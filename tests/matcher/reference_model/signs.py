"""What is seen or tried, not measured: categories, labels, letters and trial fits."""

from __future__ import annotations

import math

from rapidfuzz import fuzz

from matcher.columns.columns import Columns
from matcher.features import FEATURES, Feature, Kind
from matcher.observations import Reduced, TrialFit
from tests.matcher.reference_model.bodies import Body, known_kind, matings_of, stated_count

LABEL_SEEN_WRONGLY = 0.03
SHORT_TEXT = 4
CAP_SHORT, CAP_LONG = 3.0, 100.0
LEAST_SIMILARITY = 0.6
SAME_PITCH = 0.02
FITS_LISTED, FITS_SAME_KIND, FITS_SAME_FACE, FITS_OTHERWISE = 0.97, 0.01, 0.30, 0.02


def category(reduced: Reduced, body: Body) -> float:
    """Return the probability of a category seen, or of a set of them, or of labels seen and not seen."""
    feature = FEATURES[reduced.feature]
    seen = reduced.values or frozenset()
    row = body.category(reduced.feature)
    names = list(feature.values)
    if feature.kind is Kind.LABELS:
        return math.prod(
            _label(row[names.index(name)], name in seen, feature, name) for name in names if name != "none"
        )
    return math.fsum(
        has * _named(feature, true, name) for true, has in zip(names, row, strict=True) for name in sorted(seen)
    )


def _named(feature: Feature, true: str, name: str) -> float:
    """Return how often a half with the value ``true`` is given ``name``: it looks like a value, and that is read."""
    others = feature.looks_like.get(true, {})
    found = (1.0 - math.fsum(others.values())) * _read(feature, true, name)
    return found + math.fsum(share * _read(feature, other, name) for other, share in others.items())


def _read(feature: Feature, look: str, name: str) -> float:
    """Return how often what looks like one value is read as ``name``."""
    confusable = len(feature.values) - 1
    right, wrong = feature.right_share, (1.0 - feature.right_share) / confusable
    if feature.strongest is not None and right > feature.strongest * wrong:
        wrong = 1.0 / (confusable + feature.strongest)
        right = 1.0 - confusable * wrong
    return right if look == name else wrong


def _label(present: float, seen: bool, feature: Feature, name: str) -> float:
    hidden = feature.looks_like.get(name, {}).get("none", 0.0)
    named = (1.0 - hidden) * feature.right_share
    if seen:
        return present * named + (1.0 - present) * LABEL_SEEN_WRONGLY
    return present * (1.0 - named) + (1.0 - present) * (1.0 - LABEL_SEEN_WRONGLY)


def stripped(text: str) -> str:
    """Return only letters and digits, in capitals."""
    return "".join(character for character in text if character.isalnum()).upper()


def marking(text: str, texts: tuple[str, ...]) -> float:
    """Return the bounded likelihood ratio of letters read on a half that carries ``texts``."""
    read = stripped(text)
    if not read:
        return 1.0
    cap = CAP_SHORT if len(read) <= SHORT_TEXT else CAP_LONG
    best = max((_similarity(read, stripped(other)) for other in texts), default=0.0)
    good = min(1.0, max(0.0, (best - LEAST_SIMILARITY) / (1.0 - LEAST_SIMILARITY))) ** 2
    return 0.5 + 0.5 * (1.0 + (cap - 1.0) * good)


def _similarity(read: str, other: str) -> float:
    if len(other) >= len(read):
        return fuzz.partial_ratio(read, other) / 100.0
    return fuzz.ratio(read, other) / 100.0


def trial_fit(columns: Columns, half: int, fit: TrialFit) -> float:
    """Return the probability that a half mated, or did not, with a known one."""
    mates = _mates(columns, half, columns.keys.index(fit.half))
    return mates if fit.mates else 1.0 - mates


def _mates(columns: Columns, half: int, known: int) -> float:
    if any(int(columns.matings.other[m]) == known for m in matings_of(columns, half)):
        return FITS_LISTED
    kind, other_kind = known_kind(columns, half), known_kind(columns, known)
    if kind is not None and kind == other_kind and kind != "hermaphroditic":
        return FITS_SAME_KIND
    return FITS_SAME_FACE if _same_face(columns, half, known) else FITS_OTHERWISE


def _same_face(columns: Columns, half: int, known: int) -> bool:
    """Return whether rows, contacts and pitch agree; a value that neither states does not agree."""
    for feature in ("rows", "contact_count"):
        stated = stated_count(columns, feature, half)
        if stated < 0 or stated != stated_count(columns, feature, known):
            return False
    pitch = columns.dimensions["pitch"].centre
    return abs(float(pitch[half]) - float(pitch[known])) <= SAME_PITCH
