"""Facts about the contacts from a footprint's lands: rows, positions, pitch, spans, hold-downs and pegs.

Coordinates are along the rows (u) and across them (v); a footprint whose rows run along y is turned first.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from catalog.footprints.board_sizes import land_size, peg_hole_diameter
from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import Box, Footprint, Pad
from catalog.footprints.name_facts import NameFacts
from matcher.features import FEATURES

SAME_SITE = 0.02
"""Centres closer than this along the rows are one contact site, mm; files round to 0.01."""

GRID_SHARE = 0.12
"""A distance counts as a whole number of pitches when it is off by less than this share of the pitch."""

LONGEST_BLOCKED_GAP = 4
"""Gaps of up to this many pitches are blocked positions, longer ones separate banks."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """The place of one land: its number, and its centre along (u) and across (v) the rows, mm."""

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
    """Rows and positions of the contacts, and how the rows of lands relate to them; mm; None where a number does
    not exist.

    ``blocked`` lists (row, position) left out, from 1; ``tail_layout`` is the category of that name.
    """

    rows: int
    positions: int
    row_contacts: tuple[int, ...]
    blocked: tuple[tuple[int, int], ...] = ()
    pitch: float | None
    tail_pitch: float | None = None
    row_spacing: float | None
    tail_layout: str | None
    banks: int = 1
    bank_gap: float | None = None

    @classmethod
    def of(cls, rows: Sequence[Sequence[Site]], contacts: int, facts: NameFacts) -> Layout:
        """Layout of rows of lands with that many contacts; the name may state fewer rows of contacts."""
        places = [_places(row) for row in rows]
        centres = [float(np.median([site.v for site in row])) for row in rows]
        spacing = round(float(np.median(np.diff(centres))), 4) if len(rows) > 1 else None
        if facts.rows is not None and facts.rows < len(rows) and facts.agrees(contacts):
            return cls._folded(places, spacing, contacts, facts.rows, facts)
        if len(rows) == 1:
            return cls._plain(places, None, "one_row", facts)
        return cls._plain(places, spacing, _stagger(places), facts)

    @classmethod
    def _folded(
        cls, places: Sequence[Sequence[float]], spacing: float | None, contacts: int, rows: int, facts: NameFacts
    ) -> Layout:
        """More rows of lands than of contacts: the tails of one row alternate."""
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
            tail_layout="alternating",
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
            tail_layout=layout,
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
    """Whether neighbouring rows are shifted by half a pitch (a quarter to three quarters of it)."""
    pitch = pitch_of(places)
    if pitch is None:
        return None if places[0][0] != places[1][0] else "aligned"
    shift = abs(places[1][0] - places[0][0]) / pitch % 1.0
    return "staggered" if 0.25 <= shift <= 0.75 else "aligned"


def _bank_gaps(places: Sequence[Sequence[float]], pitch: float | None) -> list[float]:
    """Gaps in the longest row that are not blocked positions: not a whole number of pitches, or very long."""
    row = max(places, key=len)
    if pitch is None or len(row) < 4:
        return []
    steps = np.diff(row)
    return [float(step) for step in steps if step > 1.25 * pitch and not _is_blocked_gap(step / pitch)]


def _is_blocked_gap(pitches: float) -> bool:
    return abs(pitches - round(pitches)) <= GRID_SHARE and round(pitches) <= LONGEST_BLOCKED_GAP


def _blocked(places: Sequence[Sequence[float]], pitch: float | None) -> tuple[tuple[tuple[int, int], ...], int]:
    """Sites of the common grid that have no land, as (row, position); and the grid's length.

    Empty if the lands are not on one grid, or if more than a quarter of it would be blocked.
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


SIGNAL_NUMBER = re.compile(r"\d{1,4}|[A-RT-Za-rt-z]\d{1,3}")
"""Names of signal lands: a number, or a row letter and a number; S1, SH and MP are shields and mounting lands."""

SAME_ROW = 0.15
"""Lands whose centres differ by less across the rows stand in one row, mm; first lands are often a little longer."""

MOST_ROWS = 20
"""More rows than this are scattered lands, not rows."""

TOUCHING = 0.01
"""Hold-down copper nearer than this is one conductor, mm."""


@dataclass(frozen=True, kw_only=True)
class Lands:
    """Rows and lands, mm; None where a number does not exist.

    ``turned`` says that x and y were exchanged. ``signal`` is the extent of the signal lands and ``centre_span`` that
    of their centres along the rows, ``hold_downs`` the extent of each hold-down conductor, all in (u, v).
    ``land_width`` and ``land_length`` are those of most contact lands, ``peg_diameter`` that of all holes for pegs.
    """

    turned: bool
    contact_count: int
    layout: Layout
    mounting: str
    signal: Box
    centre_span: tuple[float, float]
    hold_downs: tuple[Box, ...]
    pegs: int
    peg_span: float | None
    land_width: float | None
    land_length: float | None
    peg_diameter: float | None


def signal_lands(footprint: Footprint) -> list[Pad]:
    """Numbered lands with copper; raises UnusableFootprint where fewer than two numbers are there."""
    signal = [pad for pad in footprint.pads if pad.copper and SIGNAL_NUMBER.fullmatch(pad.number)]
    if len({pad.number for pad in signal}) < 2:
        raise UnusableFootprint("fewer than two numbered lands")
    return signal


def rows_run_along_y(footprint: Footprint, facts: NameFacts) -> bool | None:
    """Whether the rows of lands run along y: the direction with fewer rows; the name's pitch decides a tie.

    None if both directions are equally good, as in a square of four lands. Raises UnusableFootprint.
    """
    signal = signal_lands(footprint)
    xs, ys = [pad.x for pad in signal], [pad.y for pad in signal]
    along_x, along_y = len(clusters(ys, SAME_ROW)), len(clusters(xs, SAME_ROW))
    if facts.rows is not None and along_x != along_y and facts.rows in (along_x, along_y):
        return facts.rows == along_y
    if along_x != along_y:
        return along_y < along_x
    steps = pitch_of([sorted(xs)]), pitch_of([sorted(ys)])
    if facts.pitch is None or None in steps:
        return None
    fits = [step is not None and abs(step - facts.pitch) <= GRID_SHARE * facts.pitch for step in steps]
    return None if fits[0] == fits[1] else fits[1]


def read_lands(footprint: Footprint, facts: NameFacts, *, along_y: bool | None = None) -> Lands:
    """Find the rows, which run along y if ``along_y`` (None: if the lands show it, otherwise if they extend farther
    that way).

    Raises UnusableFootprint where fewer than two numbered lands or no rows are found.
    """
    signal = signal_lands(footprint)
    turned = rows_run_along_y(footprint, facts) if along_y is None else along_y
    if turned is None:
        reach = Box.around(pad.box for pad in signal)
        turned = reach.height > reach.width

    def box(pad: Pad) -> Box:
        return pad.box.turned() if turned else pad.box

    contacts = len({pad.number for pad in signal})
    rows = _rows(signal, turned=turned)
    layout = Layout.of(rows, contacts, facts)
    if layout.pitch is not None and layout.pitch < FEATURES["pitch"].low:
        detail = f"a pitch of {layout.pitch:.4g} is finer than any connector's"
        raise UnusableFootprint("not in millimetres", detail)
    centres = [site.u for row in rows for site in row]
    others = [pad for pad in footprint.pads if pad.copper and not SIGNAL_NUMBER.fullmatch(pad.number)]
    holes = [pad for pad in footprint.pads if pad.kind == "np_thru_hole"]
    pegs = [pad.y if turned else pad.x for pad in holes]
    peg_span = max(pegs) - min(pegs) if pegs else 0.0
    land_width, land_length = land_size(_main_lands(signal), turned=turned)
    return Lands(
        turned=turned,
        contact_count=contacts,
        layout=layout,
        mounting=_mounting(signal),
        signal=Box.around(box(pad) for pad in signal),
        centre_span=(min(centres), max(centres)),
        hold_downs=_conductors([box(pad) for pad in others]),
        pegs=len(pegs),
        peg_span=peg_span if peg_span >= FEATURES["peg_hole_span"].low else None,
        land_width=land_width,
        land_length=land_length,
        peg_diameter=peg_hole_diameter(holes, contacts),
    )


def _rows(signal: Sequence[Pad], *, turned: bool) -> list[list[Site]]:
    """Sites by row; a row that only repeats numbers of earlier rows (second lands of a contact) is left out."""
    rows: list[list[Site]] = []
    seen: set[str] = set()
    main = _main_lands(signal)
    for side in ([p for p in main if not p.back], [p for p in main if p.back]):
        sites = [Site(number=p.number, u=p.y if turned else p.x, v=p.x if turned else p.y) for p in side]
        for group in clusters([site.v for site in sites], SAME_ROW):
            row = [sites[index] for index in group]
            numbers = {site.number for site in row}
            if not numbers <= seen:
                seen |= numbers
                rows.append(sorted(row, key=lambda site: site.u))
    if len(rows) > MOST_ROWS:
        raise UnusableFootprint("lands in no rows", f"{len(rows)} rows would be needed")
    return rows


def _main_lands(signal: Sequence[Pad]) -> list[Pad]:
    """Lands without the small ones (heat vias, second tails) that repeat the number of one more than twice as large."""
    largest: dict[str, float] = {}
    for pad in signal:
        largest[pad.number] = max(largest.get(pad.number, 0.0), pad.box.area)
    return [pad for pad in signal if pad.box.area >= largest[pad.number] / 2]


def _mounting(signal: Sequence[Pad]) -> str:
    """How most signal lands are made; lands at the board's edge alone (`connect`) count as surface lands."""
    holes = sum(pad.kind == "thru_hole" for pad in signal)
    return "through_hole" if 2 * holes > len(signal) else "surface_mount"


def _conductors(boxes: Sequence[Box]) -> tuple[Box, ...]:
    """Join touching copper into conductors."""
    joined: list[Box] = []
    for box in boxes:
        whole, apart = box, []
        for other in joined:
            if whole.touches(other, TOUCHING):
                whole = Box.around((whole, other))
            else:
                apart.append(other)
        joined = [*apart, whole]
    return tuple(sorted(joined, key=lambda b: (b.left, b.top)))
