"""Slips of one cause that touch several observations: these as each cause has them, with its prior and Jacobian."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from matcher.features import FEATURES
from matcher.observations import Of, Reduced

Way = tuple[float, float, list[Reduced]]
"""The prior of a cause, the derivative of the corrected values by those given, and the observations corrected."""


def ways(observations: Sequence[Reduced]) -> list[Way]:
    """Return all ways to read the observations: as given first, with what the causes leave of the probability."""
    of_counts = [*_swapped(observations), *_one_row(observations), *_split(observations)]
    found = [*of_counts, *_whole_row(observations), *_units(observations)]
    left = 1.0 - sum(prior for prior, _, _ in found)
    return [(left, 1.0, list(observations)), *found]


def _only(observations: Sequence[Reduced], feature: str) -> Reduced | None:
    """Return the last observation of a feature of this half."""
    own = [each for each in observations if each.feature == feature and each.of is Of.THIS]
    return own[-1] if own else None


def _with(observations: Sequence[Reduced], *changed: Reduced) -> list[Reduced]:
    new = {each.index: each for each in changed}
    return [new.get(each.index, each) for each in observations]


def _swapped(observations: Sequence[Reduced]) -> list[Way]:
    found = []
    for first, second in (("body_length", "body_width"), ("opening_length", "opening_width")):
        one, two = _only(observations, first), _only(observations, second)
        if one is None or two is None or one.value is None or two.value is None or one.value >= two.value:
            continue
        found.append((0.01, 1.0, _with(observations, replace(one, feature=second), replace(two, feature=first))))
    contacts, rows = _only(observations, "contact_count"), _only(observations, "rows")
    if contacts is not None and rows is not None and contacts.count and rows.count and rows.count > contacts.count:
        exchanged = replace(contacts, feature="rows"), replace(rows, feature="contact_count")
        found.append((0.01, 1.0, _with(observations, *exchanged)))
    return found


def _one_row(observations: Sequence[Reduced]) -> list[Way]:
    contacts, rows = _only(observations, "contact_count"), _only(observations, "rows")
    if contacts is None or rows is None or not contacts.count or rows.count != 1:
        return []
    return [
        (prior, 1.0, _with(observations, replace(contacts, count=contacts.count * k), replace(rows, count=k)))
        for k, prior in ((2, 0.008), (3, 0.001), (4, 0.001))
    ]


def _split(observations: Sequence[Reduced]) -> list[Way]:
    contacts, power = _only(observations, "contact_count"), _only(observations, "power_contact_count")
    if contacts is None or power is None or not contacts.count or power.count is None:
        return []
    total = contacts.count + power.count
    splits = [k for k in range(power.count - 4, power.count + 5) if k >= 0 and k != power.count and total - k >= 1]
    return [
        (0.02 / len(splits), 1.0, _with(observations, replace(contacts, count=total - k), replace(power, count=k)))
        for k in splits
    ]


def _whole_row(observations: Sequence[Reduced]) -> list[Way]:
    pitch, contacts, rows = (_only(observations, name) for name in ("pitch", "contact_count", "rows"))
    if pitch is None or pitch.value is None or pitch.spans != 1:
        return []
    if contacts is None or rows is None or not contacts.count or not rows.count:
        return []
    gaps = math.ceil(contacts.count / rows.count) - 1
    if gaps < 2 or not (pitch.unscaled or _may_be(pitch.feature, pitch.value / gaps)):
        return []
    shared = pitch.shared and replace(pitch.shared, coefficient=pitch.shared.coefficient / gaps)
    part = replace(
        pitch,
        value=pitch.value / gaps,
        u=pitch.u / gaps,
        total_u=pitch.total_u / gaps,
        corrected=pitch.corrected / gaps,
        spans=gaps,
        shared=shared,
    )
    return [(0.01, 1.0 / gaps, _with(observations, part))]


def _may_be(feature: str, size: float) -> bool:
    return FEATURES[feature].low <= size <= FEATURES[feature].high


def _units(observations: Sequence[Reduced]) -> list[Way]:
    lengths = [each for each in observations if each.value is not None and not each.unscaled]
    found = []
    for mm, prior in ((25.4, 0.002), (0.0254, 0.001)):
        in_mm = {each.index: replace(each, value=_in(each, mm)) for each in lengths}
        may = [each for each in lengths if _may_be(each.feature, _in(each, mm))]
        must = [each for each in may if not _may_be(each.feature, each.number)]
        sets = []
        if must or len(may) == len(lengths):
            sets.append(may)
        if must and len(must) < len(may):
            sets.append(must)
        sets = [each for each in sets if len(each) >= 2]
        for each in sets:
            changed = [in_mm[reading.index] for reading in each]
            found.append((prior / len(sets), mm ** len(each), _with(observations, *changed)))
    return found


def _in(reading: Reduced, mm: float) -> float:
    """Return the size if the number read is in another unit, of so many mm; what was subtracted since stays."""
    return (reading.number + reading.corrected) * mm - reading.corrected
