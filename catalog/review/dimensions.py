"""Lengths of an entry as the checks use them: values, and how far parts and drawings lie about them, mm."""

from __future__ import annotations

from collections.abc import Mapping

from catalog.model.entries import Half
from matcher.columns.process_tolerance import process_interval
from matcher.features import FEATURES

LEAST_SLACK = 0.05
"""Two lengths of one drawing contradict each other only by more than this, mm: rounding to 0.05. Common practice."""


def value(half: Half, feature: str) -> float | None:
    """What the entry states of a dimension, mm; None where it states nothing."""
    return half.dimensions[feature].value if feature in half.dimensions else None


def pitch_of(half: Half) -> float | None:
    """The stated pitch, mm."""
    return value(half, "pitch")


def interval(half: Half, feature: str) -> tuple[float, float]:
    """Centre and half-width, mm, within which parts lie by this entry."""
    return process_interval(feature, half.dimensions[feature].dim, pitch_of(half))


def excess(half: Half, inner: str, outer: str, *, times: int = 1) -> float | None:
    """By how much ``times`` the inner length surely exceeds the outer, mm; None where one is not stated.

    Slack is what drawings round and, for bounds, what parts may lie off them.
    """
    if inner not in half.dimensions or outer not in half.dimensions:
        return None
    small, large = interval(half, inner), interval(half, outer)
    bounded = any(half.dimensions[name].bound != "nominal" for name in (inner, outer))
    slack = LEAST_SLACK + (small[1] * times + large[1] if bounded else 0.0)
    return half.dimensions[inner].value * times - half.dimensions[outer].value - slack


def contact_span(half: Half) -> float | None:
    """First to last contact centre of the longest row, mm; None without a pitch. Groups stand their gap apart."""
    pitch = pitch_of(half)
    if pitch is None:
        return None
    gap = value(half, "bank_gap") or pitch
    groups = min(half.counts.get("bank_count", 1), half.contacts_per_row)
    return pitch * (half.contacts_per_row - groups) + gap * (groups - 1)


def label(feature: str) -> str:
    """Bench words for a feature."""
    return FEATURES[feature].label


def agree_on_categories(one: Mapping[str, tuple[str, ...]], other: Mapping[str, tuple[str, ...]]) -> bool:
    """Whether no category is stated by both without a common value, those aside in which like halves may differ."""
    shared = (name for name in one.keys() & other.keys() if not FEATURES[name].varies)
    return all(set(one[name]) & set(other[name]) for name in shared)
