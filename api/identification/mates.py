"""What to order: the mates of a candidate, the safest first, with all that must be said of each.

Several halves may share the candidate's geometry, so that no measurement tells them apart. Then the mates of all of
them are listed, and what fits every one of them comes first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from api.schemas import answers
from api.schemas.words import BASIS_WORDS, CONTACT_WORDS, LIFECYCLE_WORDS, WORST_CONTACTS
from catalog.evidence.standing import Standing
from catalog.records.read_models import HalfRecord, MatingRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.results import Candidate, FittingMate

WIRING = ("identity", "listed", "unknown", *WORST_CONTACTS)
BASES = ("maker", "other_maker", "trial_fit", "inferred")
STANDINGS = ("confirmed", "documented", "reported", "disputed", "withdrawn")
LIFECYCLES = ("active", "unknown", "not_for_new_designs", "discontinued")
"""What a mate and its mating may be, the safest to order first."""

DOUBTED = STANDINGS[3:]
DYING = LIFECYCLES[2:]


def mates_of(snapshot: Snapshot, found: Candidate) -> tuple[answers.Mate, ...]:
    """The mates of the candidate's halves, the safest to order first: each part, stack height and wiring once.

    Where several sources speak of one pair at one stack height, the best of them counts.
    """
    best: dict[tuple[str, str, float | None], answers.Mate] = {}
    for each in found.mates:
        mate = mate_of(snapshot, each)
        place = each.half, mate.id, mate.stack_height
        best[place] = min(best.get(place, mate), mate, key=_rank)
    parts: dict[tuple[str, float | None, str], list[answers.Mate]] = {}
    suited: dict[tuple[int, float | None, str], set[str]] = {}
    geometry, columns = snapshot.columns.geometry, snapshot.columns
    for mate in best.values():
        alike = mate.stack_height, mate.correspondence
        parts.setdefault((mate.id, *alike), []).append(mate)
        suited.setdefault((int(geometry[columns.position(mate.id)]), *alike), set()).update(mate.suits)
    members = {found.key, *found.same_geometry}
    mates = [
        _together(same, suited[int(geometry[columns.position(key)]), stack, wiring] == members)
        for (key, stack, wiring), same in parts.items()
    ]
    return tuple(sorted(mates, key=_rank))


def listed_mates(snapshot: Snapshot, key: str) -> tuple[answers.Mate, ...]:
    """The mates of one half, whatever was observed, the safest to order first: each part, stack height and wiring once,
    by its best source."""
    columns = snapshot.columns.matings
    best: dict[tuple[object, ...], answers.Mate] = {}
    for number in np.flatnonzero(columns.half == snapshot.columns.position(key)).tolist():
        other = snapshot.columns.keys[int(columns.other[number])]
        mate = mate_of(snapshot, FittingMate(half=key, key=other, mating=number, probability=1.0, fits_observed=True))
        place = mate.id, mate.stack_height, mate.correspondence
        best[place] = min(best.get(place, mate), mate, key=safety_of)
    return tuple(sorted(best.values(), key=lambda mate: (safety_of(mate), mate.id)))


def by_part(mates: Iterable[answers.Mate]) -> dict[str, answers.Mate]:
    """The first mate of each part, by its key."""
    found: dict[str, answers.Mate] = {}
    for mate in mates:
        found.setdefault(mate.id, mate)
    return found


def _rank(mate: answers.Mate) -> tuple[float, ...]:
    """Smaller for what is safer to order."""
    doubted, *wired = safety_of(mate)
    return (not mate.fits_observed, doubted, not mate.suits_all, *wired, -mate.probability)


def safety_of(mate: answers.Mate) -> tuple[int, ...]:
    """Smaller for a mate that is safer to order, whatever was observed."""
    return _safety(mate.correspondence, mate.basis, mate.standing, mate.lifecycle)


def safety(record: HalfRecord, mating: MatingRecord) -> tuple[int, ...]:
    """Smaller for a mate and its mating that are safer to order, whatever was observed."""
    standing = _worse_standing(record, mating)
    return _safety(mating.mating.correspondence, mating.mating.basis, standing, record.half.lifecycle)


def _safety(correspondence: str, basis: str, standing: str, lifecycle: str) -> tuple[int, ...]:
    return (
        standing in DOUBTED,
        WIRING.index(correspondence),
        BASES.index(basis),
        STANDINGS.index(standing),
        LIFECYCLES.index(lifecycle),
    )


def _worse_standing(record: HalfRecord, mating: MatingRecord) -> Standing:
    return max(record.standing, mating.standing, key=STANDINGS.index)


def _together(same: Sequence[answers.Mate], suits_all: bool) -> answers.Mate:
    """One part that suits several tied halves alike, as its best source describes it."""
    best = min(same, key=_rank)
    return best.model_copy(
        update={
            "suits": tuple(key for mate in same for key in mate.suits),
            "suits_all": suits_all,
            "fits_observed": any(mate.fits_observed for mate in same),
            "probability": max(mate.probability for mate in same),
        }
    )


def mate_of(snapshot: Snapshot, found: FittingMate) -> answers.Mate:
    """A mate as it is answered, for one half."""
    record, mating = snapshot.halves[found.key], snapshot.matings_both_ways[found.mating]
    pair, half = mating.mating.dimensions, record.half
    return answers.Mate(
        **_orderable(record),
        stack_height=pair["stack_height"].value if "stack_height" in pair else None,
        mated_width=pair["mated_width"].value if "mated_width" in pair else None,
        correspondence=mating.mating.correspondence,
        basis=mating.mating.basis,
        standing=_worse_standing(record, mating),
        lifecycle=half.lifecycle,
        beware=beware(record, mating),
        citation=mating.mating.citation,
        ratings=half.own_ratings,
        note=" ".join(each for each in (mating.mating.note, half.note) if each),
        probability=found.probability,
        fits_observed=found.fits_observed,
        suits=(found.half,),
        suits_all=False,
        mating=mating.id,
    )


def beware(record: HalfRecord, mating: MatingRecord) -> tuple[str, ...]:
    """What must be said of a mate wherever it is named."""
    return tuple(_doubts(record, mating))


def _doubts(record: HalfRecord, mating: MatingRecord) -> Iterator[str]:
    if mating.mating.correspondence in WORST_CONTACTS:
        yield CONTACT_WORDS[mating.mating.correspondence]
    if mating.mating.basis == "inferred":
        yield BASIS_WORDS["inferred"]
    if record.half.lifecycle in DYING:
        yield LIFECYCLE_WORDS[record.half.lifecycle]
    if record.standing in DOUBTED or mating.standing in DOUBTED:
        yield "disputed"


def half_ref(record: HalfRecord) -> answers.HalfRef:
    """A half with what is needed to order it."""
    return answers.HalfRef(**_orderable(record), contact_count=record.half.contact_count, standing=record.standing)


def _orderable(record: HalfRecord) -> dict[str, Any]:
    """The fields of a half with which it is ordered."""
    names = ("part_number", "order_codes", "maker", "series", "half_kind")
    return {"id": record.key, **{name: getattr(record.half, name) for name in names}}
