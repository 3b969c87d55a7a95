"""The outcome of the simulation: which confirmed entries are wrong, and how two worlds differ."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.tables import DocumentTable, HalfTable, JournalTable
from catalog.evidence.agreement import stated
from catalog.model.entries import Half
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.columns.process_tolerance import process_interval
from matcher.identify import identify
from matcher.observations import Observation
from matcher.results import Identification
from matcher.uncertainty.interlaboratory import COVERAGE
from matcher.uncertainty.reduce import reduce
from tests.functional.crowd_parts import LENGTHS, Type

SPECIMENS = 40
OBSERVED_U = 0.03


@dataclass(frozen=True, kw_only=True)
class Interval:
    """The interval in which parts lie according to the entry, mm."""

    centre: float
    half_width: float

    def holds(self, value: float) -> bool:
        """Whether a length lies within."""
        return abs(value - self.centre) <= self.half_width


def own_interval(record: HalfRecord, feature: str) -> Interval:
    """The entry's own 95 % interval of a dimension: √(t² + U²) about its centre, as in E_n without a measurement.

    Where measurements are more certain, the centre is theirs, t the process's half-width and U twice the standard
    uncertainty of that centre. Else the centre is the stated one (of a maximum or minimum the middle of the process
    that it bounds), t the drawing's tolerance or, where it states none, the process's default, and U = 2·extra_u.
    """
    better = record.better_known.get(feature)
    if better is not None:
        return Interval(centre=better.value, half_width=math.hypot(better.tolerance or 0.0, COVERAGE * better.u))
    figures, dimension = stated(record.half), record.half.dimensions[feature]
    centre, default = process_interval(feature, figures.dimensions[feature], figures.pitch)
    tolerance = default if dimension.tolerance is None else dimension.tolerance
    return Interval(centre=centre, half_width=math.hypot(tolerance, COVERAGE * dimension.extra_u))


def wrong_in(record: HalfRecord, made: Type | None) -> list[str]:
    """Features in which an entry is wrong: counts, and lengths whose true centre is outside the entry's own interval.

    An entry for a part that does not exist is wrong in everything.
    """
    if made is None:
        return ["it does not exist"]
    drawing: Half = made.drawing
    counts = [
        name for name in ("half_kind", "rows", "contact_count") if getattr(record.half, name) != getattr(drawing, name)
    ]
    return counts + [
        name
        for name in record.half.dimensions
        if name not in made.centres or not own_interval(record, name).holds(made.centres[name])
    ]


def mistaken_as_stated(record: HalfRecord, made: Type | None) -> bool:
    """Whether the entry differs from the maker's drawing."""
    return made is None or record.half.dimensions != made.drawing.dimensions


def listed(snapshot: Snapshot) -> Iterator[HalfRecord]:
    """Listed halves, without inferred ones."""
    return (record for record in snapshot.halves.values() if record.origin == "listed")


def standings(snapshot: Snapshot, types: Mapping[str, Type]) -> Counter[tuple[str, str]]:
    """The number of entries by standing, right and wrong entries separately."""
    return Counter(
        (record.standing, "wrong" if wrong_in(record, types.get(record.key)) else "right")
        for record in listed(snapshot)
    )


def differences(with_vandal: Snapshot, without: Snapshot) -> dict[str, list[str]]:
    """Entries that differ between two worlds, by key, with the differences except revision numbers and times."""
    found = {}
    for ours, theirs in (
        (_by_key(with_vandal), _by_key(without)),
        ({each.id: each for each in with_vandal.matings}, {each.id: each for each in without.matings}),
    ):
        for key in sorted(ours.keys() | theirs.keys()):
            one, other = _compared(ours.get(key)), _compared(theirs.get(key))
            if one != other:
                found[key] = [
                    f"{name}: {one.get(name)} / {other.get(name)}"
                    for name in one.keys() | other.keys()
                    if one.get(name) != other.get(name)
                ]
    return found


def _by_key(snapshot: Snapshot) -> dict[str, HalfRecord]:
    return dict(snapshot.halves)


def _compared(record: HalfRecord | MatingRecord | None) -> dict[str, Any]:
    left_out = {"revision", "substance_revision", "changed_at"}
    return {} if record is None else record.model_dump(exclude=left_out)


def specimens(types: Mapping[str, Type], seed: int) -> list[list[Observation]]:
    """Parts of random types with their measured lengths."""
    rng = np.random.default_rng(seed)
    keys = list(types)
    return [_specimen(types[keys[int(number)]], rng) for number in rng.integers(len(keys), size=SPECIMENS)]


def _specimen(made: Type, rng: np.random.Generator) -> list[Observation]:
    spans = made.drawing.contacts_per_row - 1
    observed = [Observation(feature="contact_count", value=made.drawing.contact_count)]
    for name in LENGTHS:
        over = spans if name == "pitch" else 1
        value = made.part(name, over, rng) * over + float(rng.normal(0.0, OBSERVED_U))
        if name == "pitch" or rng.random() < 0.5:
            observed.append(Observation(feature=name, value=round(value, 2), u=OBSERVED_U, spans=over))
    return observed


def answers(snapshot: Snapshot, observed: list[list[Observation]]) -> list[Identification]:
    """The catalogue's answer for each specimen."""
    return [identify(snapshot.columns, snapshot.absent, reduce(one)) for one in observed]


def journal_faults(session: Session) -> list[str]:
    """All faults of the journal: revisions that are not 1 to n, and states that do not follow from the last."""
    rows = session.execute(select(JournalTable).order_by(JournalTable.id)).scalars()
    last: dict[tuple[str, str], JournalTable] = {}
    faults = []
    for row in rows:
        before = last.get((row.record, row.key))
        number, state = (before.revision, before.new) if before is not None else (0, None)
        if row.revision != number + 1:
            faults.append(f"{row.id}: {row.record} {row.key} revision {row.revision} after {number}")
        if row.old != state:
            faults.append(f"{row.id}: {row.record} {row.key} does not follow on what stood")
        if before is not None and row.at < before.at:
            faults.append(f"{row.id}: {row.record} {row.key} is earlier than what came before")
        last[row.record, row.key] = row
    return faults


def unjournalled(session: Session) -> list[str]:
    """Entries and documents whose state differs from the journal's last row about them."""
    rows = session.execute(select(JournalTable).order_by(JournalTable.id)).scalars()
    last = {(row.record, row.key): row for row in rows}
    standing = {
        ("half", key): (revision, state)
        for key, revision, state in session.execute(select(HalfTable.key, HalfTable.revision, HalfTable.state))
    }
    documents = select(DocumentTable.record, DocumentTable.key, DocumentTable.revision, DocumentTable.state)
    standing |= {(record, key): (revision, state) for record, key, revision, state in session.execute(documents)}
    return [
        f"{record} {key} stands as {found}"
        for (record, key), found in standing.items()
        if (record, key) not in last
        or found != (last[record, key].revision, last[record, key].new.get("state", "listed"))
    ]
