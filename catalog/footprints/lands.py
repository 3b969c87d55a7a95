"""What a footprint's lands say of the contacts: rows, positions, pitch, spans, hold-downs and pegs.

Everything is worked out along the rows (u) and across them (v); a footprint whose rows run along y is turned first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from catalog.footprints.layout import GRID_SHARE, Layout, Site, clusters, pitch_of
from catalog.footprints.naming import NameFacts
from catalog.footprints.parsing import Box, Footprint, Pad, UnusableFootprint
from matcher.features import FEATURES

SIGNAL_NUMBER = re.compile(r"\d{1,4}|[A-RT-Za-rt-z]\d{1,3}")
"""Names of signal lands: a number, or a row letter and a number; S1, SH and MP are shields and mounting lands."""

SAME_ROW = 0.15
"""Lands whose centres differ by less across the rows stand in one row, mm; first lands are often a little longer."""

MOST_ROWS = 20
"""More rows than this are no rows but scattered lands."""

TOUCHING = 0.01
"""Hold-down copper nearer than this is one conductor, mm."""


@dataclass(frozen=True, kw_only=True)
class Lands:
    """Rows and lands, mm; None where a number does not exist.

    ``sites`` are the contact sites along the rows, per row; ``blocked`` lists (row, position) left out, from 1.
    ``body_turned`` tells that x and y were exchanged. ``signal`` is the extent of the signal lands,
    ``hold_downs`` that of each hold-down conductor, both in (u, v).
    """

    body_turned: bool
    contact_count: int
    rows: int
    positions: int
    row_contacts: tuple[int, ...]
    blocked: tuple[tuple[int, int], ...]
    pitch: float | None
    tail_pitch: float | None
    row_spacing: float | None
    layout: str | None
    banks: int
    bank_gap: float | None
    mounting: str
    signal: Box
    centre_span: tuple[float, float]
    hold_downs: tuple[Box, ...]
    pegs: int
    peg_span: float | None


def signal_lands(footprint: Footprint) -> list[Pad]:
    """Numbered lands with copper; raises UnusableFootprint where fewer than two numbers are there."""
    signal = [pad for pad in footprint.pads if pad.copper and SIGNAL_NUMBER.fullmatch(pad.number)]
    if len({pad.number for pad in signal}) < 2:
        raise UnusableFootprint("fewer than two numbered lands")
    return signal


def rows_run_along_y(footprint: Footprint, facts: NameFacts) -> bool | None:
    """Whether the rows of lands run along y: the way that needs fewer rows, a tie decided by the name's pitch.

    None where both ways are as good, as in a square of four lands. Raises UnusableFootprint.
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
    """Work out the rows, which run along y if ``along_y`` (None: if the lands say so, else if they reach farther).

    Raises UnusableFootprint where fewer than two numbered lands or no rows are found.
    """
    signal = signal_lands(footprint)
    turned = rows_run_along_y(footprint, facts) if along_y is None else along_y
    if turned is None:
        reach = _extent(pad.box for pad in signal)
        turned = reach.height > reach.width
    contacts = len({pad.number for pad in signal})
    rows = _rows(signal, turned=turned)
    layout = Layout.of(rows, contacts, facts)
    _check_pitch(layout.pitch)
    others = [pad for pad in footprint.pads if pad.copper and not SIGNAL_NUMBER.fullmatch(pad.number)]
    pegs = [pad for pad in footprint.pads if pad.kind == "np_thru_hole"]
    peg_places = sorted(pad.y if turned else pad.x for pad in pegs)
    peg_span = peg_places[-1] - peg_places[0] if pegs else 0.0
    return Lands(
        body_turned=turned,
        contact_count=contacts,
        rows=layout.rows,
        positions=layout.positions,
        row_contacts=layout.row_contacts,
        blocked=layout.blocked,
        pitch=layout.pitch,
        tail_pitch=layout.tail_pitch,
        row_spacing=layout.row_spacing,
        layout=layout.name,
        banks=layout.banks,
        bank_gap=layout.bank_gap,
        mounting=_mounting(signal),
        signal=_extent(_box(pad, turned=turned) for pad in signal),
        centre_span=_centres(rows),
        hold_downs=_conductors([_box(pad, turned=turned) for pad in others]),
        pegs=len(pegs),
        peg_span=peg_span if peg_span >= FEATURES["peg_hole_span"].low else None,
    )


def _check_pitch(pitch: float | None) -> None:
    if pitch is not None and pitch < FEATURES["pitch"].low:
        raise UnusableFootprint("not in millimetres", f"a pitch of {pitch:.4g} is finer than any connector's")


def _box(pad: Pad, *, turned: bool) -> Box:
    return pad.box.turned() if turned else pad.box


def _extent(boxes: Iterable[Box]) -> Box:
    whole, *rest = boxes
    for box in rest:
        whole = whole.union(box)
    return whole


def _centres(rows: Sequence[Sequence[Site]]) -> tuple[float, float]:
    places = [site.u for row in rows for site in row]
    return min(places), max(places)


def _rows(signal: Sequence[Pad], *, turned: bool) -> list[list[Site]]:
    """Sites by row; a row that only repeats numbers of the rows before (second lands of one contact) is left out."""
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
                whole = whole.union(other)
            else:
                apart.append(other)
        joined = [*apart, whole]
    return tuple(sorted(joined, key=lambda b: (b.left, b.top)))
