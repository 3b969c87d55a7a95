"""From rows of lands to rows of contacts: positions, pitch, stagger, banks and blocked positions, mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from catalog.footprints.naming import NameFacts

SAME_SITE = 0.02
"""Centres closer than this along the rows are one contact site, mm; files round to 0.01."""

GRID_SHARE = 0.12
"""A distance counts as a whole number of pitches when it is off by less than this share of the pitch."""

LONGEST_BLOCKED_GAP = 4
"""Gaps of up to this many pitches are blocked positions, longer ones separate banks."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """Where one land stands: its number, and its centre along (u) and across (v) the rows, mm."""

    number: str
    u: float
    v: float


def clusters(values: Sequence[float], gap: float) -> list[list[int]]:
    """Indices of values grouped so that neighbours in a group are no farther apart than ``gap``; ascending."""
    order = sorted(range(len(values)), key=values.__getitem__)
    groups: list[list[int]] = []
    for index in order:
        if groups and values[index] - values[groups[-1][-1]] <= gap:
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups


def pitch_of(rows: Sequence[Sequence[float]]) -> float | None:
    """Pitch of rows of places: the mean of the steps within a quarter of their lower median, or None."""
    steps = np.concatenate([np.diff(row) for row in rows]) if rows else np.empty(0)
    steps = steps[steps > SAME_SITE]
    if steps.size == 0:
        return None
    typical = float(np.sort(steps)[(steps.size - 1) // 2])
    regular = steps[np.abs(steps - typical) <= typical / 4]
    return round(float(regular.mean()), 4)


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Rows and positions of the contacts, and how the rows of lands relate to them; see `lands.Lands`."""

    rows: int
    positions: int
    row_contacts: tuple[int, ...]
    blocked: tuple[tuple[int, int], ...] = ()
    pitch: float | None
    tail_pitch: float | None = None
    row_spacing: float | None
    name: str | None
    banks: int = 1
    bank_gap: float | None = None

    @classmethod
    def of(cls, rows: Sequence[Sequence[Site]], contacts: int, facts: NameFacts) -> Layout:
        """Layout of rows of lands that carry so many contacts; the name may state fewer rows of contacts."""
        places = [_places(row) for row in rows]
        centres = [float(np.median([site.v for site in row])) for row in rows]
        spacing = round(float(np.median(np.diff(centres))), 4) if len(rows) > 1 else None
        if facts.rows is not None and facts.rows < len(rows) and facts.agrees(contacts):
            return cls._folded(places, spacing, contacts, facts.rows, facts)
        if len(rows) == 1:
            return cls._plain(places, None, None, facts)
        return cls._plain(places, spacing, _stagger(places), facts)

    @classmethod
    def _folded(
        cls, places: Sequence[Sequence[float]], spacing: float | None, contacts: int, rows: int, facts: NameFacts
    ) -> Layout:
        """More rows of lands than of contacts: tails of one row leave alternately."""
        merged = sorted(value for row in places for value in row)
        distinct = [merged[group[0]] for group in clusters(merged, SAME_SITE)]
        positions = facts.positions or -(-contacts // rows)
        pitch = pitch_of([distinct]) if len(distinct) >= positions > 1 else None
        tail = pitch_of(places)
        return cls(
            rows=rows,
            positions=positions,
            row_contacts=(),
            pitch=pitch or tail or facts.pitch,
            tail_pitch=tail if pitch is not None and tail is not None and tail > 1.2 * pitch else None,
            row_spacing=spacing,
            name="alternating_tails",
        )

    @classmethod
    def _plain(
        cls, places: Sequence[Sequence[float]], spacing: float | None, layout: str | None, facts: NameFacts
    ) -> Layout:
        pitch = pitch_of(places)
        gaps = _bank_gaps(places, pitch)
        blocked, positions = _blocked(places, pitch) if not gaps and layout != "staggered" else ((), 0)
        counts = tuple(len(row) for row in places)
        return cls(
            rows=len(places),
            positions=max(positions, *counts),
            row_contacts=counts if len(set(counts)) > 1 else (),
            blocked=blocked,
            pitch=pitch or facts.pitch,
            row_spacing=spacing,
            name=layout,
            banks=len(gaps) + 1,
            bank_gap=round(float(np.median(gaps)), 4) if gaps else None,
        )


def _places(row: Sequence[Site]) -> list[float]:
    """One place per contact of the row: the middle of its lands; places that coincide are one site."""
    lands: dict[str, list[float]] = {}
    for site in row:
        lands.setdefault(site.number, []).append(site.u)
    values = sorted((min(places) + max(places)) / 2 for places in lands.values())
    return [values[group[0]] for group in clusters(values, SAME_SITE)]


def _stagger(places: Sequence[Sequence[float]]) -> str | None:
    """Whether neighbouring rows stand half a pitch apart (a quarter to three quarters of it)."""
    pitch = pitch_of(places)
    if pitch is None:
        return None if places[0][0] != places[1][0] else "aligned"
    shift = abs(places[1][0] - places[0][0]) / pitch % 1.0
    return "staggered" if 0.25 <= shift <= 0.75 else "aligned"


def _bank_gaps(places: Sequence[Sequence[float]], pitch: float | None) -> list[float]:
    """Gaps of the longest row that are no blocked positions: no whole number of pitches, or very long."""
    row = max(places, key=len)
    if pitch is None or len(row) < 4:
        return []
    steps = np.diff(row)
    return [float(step) for step in steps if step > 1.25 * pitch and not _is_blocked_gap(step / pitch)]


def _is_blocked_gap(pitches: float) -> bool:
    return abs(pitches - round(pitches)) <= GRID_SHARE and round(pitches) <= LONGEST_BLOCKED_GAP


def _blocked(places: Sequence[Sequence[float]], pitch: float | None) -> tuple[tuple[tuple[int, int], ...], int]:
    """Sites of the common grid that have no land, as (row, position); and the grid's length.

    Nothing is said when the lands do not stand on one grid, or when more than a quarter of it would be blocked.
    """
    if pitch is None:
        return (), 0
    start = min(row[0] for row in places)
    taken = [np.asarray([(value - start) / pitch for value in row]) for row in places]
    if any(np.abs(sites - np.round(sites)).max() > GRID_SHARE for sites in taken):
        return (), 0
    length = 1 + max(round(float(sites[-1])) for sites in taken)
    empty = [
        (number + 1, position + 1)
        for number, sites in enumerate(taken)
        for position in sorted(set(range(length)) - {int(s) for s in np.round(sites)})
    ]
    return (tuple(empty), length) if len(empty) * 4 <= length * len(places) else ((), 0)
