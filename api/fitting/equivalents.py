"""Halves that can take another's place: that mate alike, that go onto the same lands, or both.

The words are those of the connector standards (IEC 60050-581, from memory): intermateable, intermountable,
interchangeable. Interchangeable also means the same performance there, which no catalogue of dimensions can say.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping

from api.identification.mates import DOUBTED, half_ref
from api.schemas.fitting.needed import Equivalent, Relation
from api.schemas.words import WORST_CONTACTS
from catalog.model.entries import Half
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.features import DIMENSIONS, ENTRY_COUNTS, FEATURES

SAME_LANDS_MM = 0.1
"""Land patterns that differ by no more take the same part: common practice, no source."""

LANDS = tuple(name for name in DIMENSIONS if FEATURES[name].on_bare_board)
COUNTED_LANDS = tuple(name for name in ENTRY_COUNTS if FEATURES[name].on_bare_board)
"""What a bare board shows of a half."""

NEEDED_LANDS = ("land_span", "pitch")
"""Without these a land pattern is not known."""

RELATIONS: tuple[Relation, ...] = ("interchangeable", "intermateable", "intermountable")

Meeting = tuple[int, str, float | None]
"""Geometry of a mate, wiring and stack height."""


def equivalents(snapshot: Snapshot, record: HalfRecord) -> tuple[Equivalent, ...]:
    """The listed halves that can take this one's place, the most alike first."""
    alike = {each.key: each for each in snapshot.halves.values() if each.origin == "listed" and _alike(each, record)}
    meetings = _meetings(snapshot, {record.key, *alike})
    found: list[Equivalent] = []
    for key, other in alike.items():
        if key != record.key:
            found += _equivalent(record, other, meetings)
    return tuple(sorted(found, key=lambda each: (RELATIONS.index(each.relation), each.half.maker, each.half.id)))


def _alike(one: HalfRecord, other: HalfRecord) -> bool:
    return all(getattr(one.half, name) == getattr(other.half, name) for name in ("half_kind", "rows", "contact_count"))


def _meetings(snapshot: Snapshot, keys: Collection[str]) -> Mapping[str, set[Meeting]]:
    """What each of these halves meets, by matings that are safe enough to rely on."""
    found: dict[str, set[Meeting]] = defaultdict(set)
    for record in snapshot.matings:
        pair, stack = record.mating, record.mating.stack_height
        for half, other in ((pair.half, pair.other), (pair.other, pair.half)):
            if half in keys and _relied_on(record):
                geometry = int(snapshot.columns.geometry[snapshot.columns.position(other)])
                found[half].add((geometry, pair.correspondence, None if stack is None else stack.value))
    return found


def _relied_on(record: MatingRecord) -> bool:
    mating = record.mating
    return mating.basis != "inferred" and mating.correspondence not in WORST_CONTACTS and record.standing not in DOUBTED


def _equivalent(record: HalfRecord, other: HalfRecord, meetings: Mapping[str, set[Meeting]]) -> Iterator[Equivalent]:
    own, theirs = meetings.get(record.key, set()), meetings.get(other.key, set())
    mates = bool({meeting[:2] for meeting in own} & {meeting[:2] for meeting in theirs})
    stacks = bool(own & theirs)
    lands = same_lands(record.half, other.half)
    if mates and stacks and lands:
        yield _named(other, "interchangeable", "the same mate at the same stack height, on the same lands")
    elif mates:
        stack = "" if stacks else "; the stack height is another one, or not stated"
        board = "; other lands" if lands is False else "; it is not known whether it goes onto the same lands"
        yield _named(other, "intermateable", f"the same mate{stack}{'' if lands else board}")
    elif lands:
        yield _named(other, "intermountable", "the same lands; no mate of both is listed")


def _named(other: HalfRecord, relation: Relation, why: str) -> Equivalent:
    return Equivalent(half=half_ref(other), relation=relation, why=why)


def same_lands(one: Half, other: Half) -> bool | None:
    """Whether both go onto the same lands; None if too little is stated."""
    if any(name not in half.dimensions for half in (one, other) for name in NEEDED_LANDS):
        return None
    sizes = [name for name in (*LANDS, "pitch") if name in one.dimensions and name in other.dimensions]
    counts = [name for name in COUNTED_LANDS if name in one.counts and name in other.counts]
    mounting = [half.categories.get("mounting") for half in (one, other)]
    if None not in mounting and mounting[0] != mounting[1]:
        return False
    return all(one.counts[name] == other.counts[name] for name in counts) and all(
        abs(one.dimensions[name].value - other.dimensions[name].value) <= SAME_LANDS_MM for name in sizes
    )
