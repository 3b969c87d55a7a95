"""Lengths of an entry as the checks use them: values and intervals, mm."""

from __future__ import annotations

from collections.abc import Mapping

from catalog.model.entries import Half
from matcher.columns.process_tolerance import process_interval
from matcher.features import FEATURES

LEAST_SLACK = 0.05
"""Two lengths of one drawing contradict each other only by more than this, mm: rounding to 0.05. Common practice, no
source."""


def value(half: Half, feature: str) -> float | None:
    """The stated dimension, mm; None if it is not stated."""
    return half.dimensions[feature].value if feature in half.dimensions else None


def pitch_of(half: Half) -> float | None:
    """The stated pitch, mm."""
    return value(half, "pitch")


def sites(half: Half) -> int:
    """Contacts and blocked places together."""
    return half.contact_count + len(half.blocked)


def interval(half: Half, feature: str) -> tuple[float, float]:
    """Centre and half-width, mm, of the interval in which parts lie according to this entry."""
    return process_interval(feature, half.dimensions[feature].dim, pitch_of(half))


def excess(half: Half, inner: str, outer: str, *, times: int = 1) -> float | None:
    """By how much ``times`` the inner length surely exceeds the outer, mm; None where one is not stated.

    The slack is the rounding of drawings and, for bounds, the parts' own deviation.
    """
    if inner not in half.dimensions or outer not in half.dimensions:
        return None
    small, large = interval(half, inner), interval(half, outer)
    bounded = any(half.dimensions[name].bound != "nominal" for name in (inner, outer))
    slack = LEAST_SLACK + (small[1] * times + large[1] if bounded else 0.0)
    return half.dimensions[inner].value * times - half.dimensions[outer].value - slack


def contact_span(half: Half) -> float | None:
    """First to last contact centre of the longest row, mm; None without a pitch; gaps between groups are included."""
    pitch = pitch_of(half)
    if pitch is None:
        return None
    gap = value(half, "bank_gap") or pitch
    groups = min(half.counts.get("bank_count", 1), half.contacts_per_row)
    return pitch * (half.contacts_per_row - groups) + gap * (groups - 1)


def label(feature: str) -> str:
    """The feature's name as shown to people."""
    return FEATURES[feature].label


def agree_on_categories(one: Mapping[str, tuple[str, ...]], other: Mapping[str, tuple[str, ...]]) -> bool:
    """Whether every category that both state has a common value; categories that may vary between equal halves are left
    out."""
    shared = (name for name in one.keys() & other.keys() if not FEATURES[name].varies)
    return all(set(one[name]) & set(other[name]) for name in shared)
