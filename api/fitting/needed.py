"""What is needed to connect to a half: its mates and whether they go into the room, and what can take its own place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from api.fitting.equivalents import equivalents
from api.fitting.room import WORST_FIRST, rooms, stack, worst
from api.identification import answer_words as words
from api.identification.cautions import listed_cautions
from api.identification.mates import half_ref, listed_mates
from api.identification.nearest import require_half
from api.identification.required_mate import required_mate
from api.schemas.answers import Mate
from api.schemas.fitting.needed import Needed, NeededAnswer, NeededMate, NeededRequest
from catalog.model.entries import Mating
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot

NAMED = 3
"""Parts named in a sentence; the table has all."""

NOT_FOR_SALE = (
    "If it cannot be bought: people take one from a donor board or a cable of the same device, or solder thin wires to "
    "test points that carry the same nets."
)


def needed(snapshot: Snapshot, asked: NeededRequest) -> NeededAnswer:
    """What can be ordered for each half. Raises ApiError for a half that the catalogue does not have."""
    for place, key in enumerate(asked.halves):
        require_half(snapshot, key, f"halves[{place}]")
    found = tuple(_needed(snapshot, snapshot.halves[key], asked) for key in dict.fromkeys(asked.halves))
    return NeededAnswer(
        need=asked.need,
        halves=found,
        suits_all=_suits_all(found),
        advice=(*(sentence for each in found for sentence in _advice(each, asked)), NOT_FOR_SALE),
        cautions=listed_cautions("before soldering"),
    )


def _needed(snapshot: Snapshot, record: HalfRecord, asked: NeededRequest) -> Needed:
    mates = tuple(sorted(_mates(snapshot, record, asked), key=lambda each: -WORST_FIRST.index(each.fits)))
    both = mates and asked.need == "both"
    return Needed(
        half=half_ref(record),
        mates=mates,
        required_mate=None if mates else required_mate(snapshot, record),
        equivalents=equivalents(snapshot, record),
        added_height=stack(_mating(snapshot, mates[0].mate), sum(asked.added.values())) if both else None,
    )


def _mates(snapshot: Snapshot, record: HalfRecord, asked: NeededRequest) -> Iterator[NeededMate]:
    for mate in listed_mates(snapshot, record.key):
        found = rooms(record.half, snapshot.halves[mate.id].half, _mating(snapshot, mate), asked)
        yield NeededMate(mate=mate, rooms=found, fits=worst(found))


def _mating(snapshot: Snapshot, mate: Mate) -> Mating:
    return next(each.mating for each in snapshot.matings if each.id == mate.mating)


def _suits_all(found: Sequence[Needed]) -> tuple[str, ...]:
    """Keys of mates that fit every half and go into the room, or at least are not known not to."""
    keys = [{each.mate.id for each in half.mates if each.fits != "no"} for half in found]
    return tuple(sorted(set.intersection(*keys)))


def _advice(found: Needed, asked: NeededRequest) -> Iterator[str]:
    name, fitting = found.half.part_number, [each for each in found.mates if each.fits != "no"]
    mates = _listed([words.warned(each.mate) for each in fitting])
    same = _listed([f"{each.half.maker} {each.half.part_number}" for each in found.equivalents if _same(each.relation)])
    alike = f" Interchangeable by its figures: {same}." if same else ""
    if asked.need == "same":
        yield f"For the board that {name} stands on: order {name} itself.{alike}"
    elif not fitting:
        room = "No listed mate goes into this room." if found.mates else "No mate is listed: see what it must be."
        yield f"For {name}: {room}"
    elif asked.need == "mate":
        yield f"To connect to {name}: order {mates}."
    else:
        raised = found.added_height
        height = f" It raises the upper board by {raised.least:.2f} to {raised.most:.2f} mm." if raised else ""
        yield (
            f"Between {name} and its mate: {mates} on the side that meets {name}, and {name} once more on the other "
            f"side.{alike} Wire every contact straight to the one that it meets; "
            f"'otherhalf wiring {found.half.id}' gives the map.{height}"
        )


def _same(relation: str) -> bool:
    return relation == "interchangeable"


def _listed(names: Sequence[str]) -> str:
    """Names with "or" between them; of many only the first few."""
    shown = list(dict.fromkeys(names))
    more = f" or one of {len(shown) - NAMED} more" if len(shown) > NAMED else ""
    return " or ".join(shown[:NAMED]) + more
