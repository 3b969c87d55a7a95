"""Whether a half and its mate carry a current: enough, not enough or unknown, with what that rests on.

A rating holds for the number of loaded contacts with which it was taken (IEC 60512-5-2), and supply and return both
carry the current. As one published example puts it, the same part carries 12 A on one contact, and 3 A on each when all
are loaded. So what the ratings do not cover is unknown, and both halves must be known to say enough.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from api.fitting.current.contact_rating import Judged, Load, amperes, contacts_of, judged, unknown
from api.fitting.current.derating import DERATING, SQUARE_ROOT
from api.identification.cautions import listed_cautions
from api.identification.mates import by_part, listed_mates
from api.identification.nearest import require_half
from api.schemas.answers import Mate
from api.schemas.fitting.current import CurrentAnswer, CurrentRequest, RatedHalf
from api.schemas.problems import FieldProblem, shown
from api.schemas.words import BASIS_WORDS, NOT_RATED
from api.service.problems import ApiError
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot

LARGEST_CURRENT_A = 10_000.0
SMALLEST_CURRENT_A = 1e-6
"""Currents that are asked about; others are slips of the unit (from memory: no such connector carries more)."""

COLDEST_C, HOTTEST_C = -100.0, 250.0
ABSOLUTE_ZERO_C = -273.15
"""Ambient temperatures that are asked about; beyond them it is another scale (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Side:
    """One half of the pair. ``mate`` says how a mate mates with the half; None where that is not listed."""

    record: HalfRecord
    judged: Judged
    mate: Mate | None = None


def current(snapshot: Snapshot, asked: CurrentRequest) -> CurrentAnswer:
    """Whether the half and its mate, or all its listed mates, carry the current. Raises ApiError with all wrong
    fields."""
    for field, key in (("half", asked.half), ("mate", asked.mate)):
        if key is not None:
            require_half(snapshot, key, field)
    listed = by_part(listed_mates(snapshot, asked.half))
    named = list(listed) if asked.mate is None else [asked.mate]
    half, mates = snapshot.halves[asked.half], [snapshot.halves[key] for key in named]
    load = Load(
        contact_a=asked.current_a / min(asked.supply_contacts, asked.return_contacts),
        contacts=asked.supply_contacts + asked.return_contacts,
        ambient_c=asked.ambient_c,
        power=asked.power_contacts,
    )
    errors = list(_wrong(asked, load, [half, *(mates if asked.mate is not None else ())]))
    if errors:
        raise ApiError.of_fields(errors)
    sides = [Side(record=mate, judged=judged(mate.half, load), mate=listed.get(mate.key)) for mate in mates]
    return _answer(asked, load, Side(record=half, judged=judged(half.half, load)), sides, snapshot.version)


def _wrong(asked: CurrentRequest, load: Load, halves: Sequence[HalfRecord]) -> Iterator[FieldProblem]:
    if not SMALLEST_CURRENT_A <= asked.current_a <= LARGEST_CURRENT_A:
        over = asked.current_a > LARGEST_CURRENT_A
        message = "no such connector carries this" if over else "the current must be above 0"
        yield _fault("current_a", asked.current_a, message, "give the current from the supply in A, such as 1.5")
    if not COLDEST_C <= asked.ambient_c <= HOTTEST_C:
        below = asked.ambient_c < ABSOLUTE_ZERO_C
        message = "this is below absolute zero" if below else "no such connector works at this temperature"
        yield _fault(
            "ambient_c", asked.ambient_c, message, "give the temperature of the air around it in °C, such as 40"
        )
    for record in halves:
        there = contacts_of(record.half, power=load.power)
        if there is not None and load.contacts > there:
            message = f"supply and return need {load.contacts} {load.thing}s, and {record.half.part_number} has {there}"
            yield _fault("return_contacts", asked.return_contacts, message, f"give at most {there} in all")


def _fault(field: str, value: float, message: str, remedy: str) -> FieldProblem:
    return FieldProblem(field=field, value=shown(value), message=message, remedy=remedy)


def decisive(half: Side, mates: Sequence[Side]) -> Side:
    """The half that decides, and what is then to be said of the pair, or of the half with any of its mates."""
    own = half.judged.verdict
    verdicts = {mate.judged.verdict for mate in mates}
    if own == "not_enough":
        return half
    if not mates:
        return replace(half, judged=unknown("no mate of it is listed, and the weaker of the two counts", "its mate"))
    if verdicts == {"not_enough"}:
        return mates[0]
    if own == "unknown":
        return half
    if len(verdicts) > 1:
        return replace(half, judged=unknown("it depends on which mate it has", "which mate it is"))
    if verdicts == {"enough"} and any(side.mate is None for side in mates):
        return replace(half, judged=unknown("no source says that the two mate", "a mating of the two"))
    return mates[0] if verdicts == {"unknown"} else min((half, *mates), key=lambda side: side.judged.allowed_a or 0.0)


def _answer(asked: CurrentRequest, load: Load, half: Side, mates: Sequence[Side], version: int) -> CurrentAnswer:
    sides, deciding = (half, *mates), decisive(half, mates)
    halves = tuple(_rated(side, load) for side in sides)
    verdict = deciding.judged.verdict
    margins = [rated.margin_a for rated in halves if rated.margin_a is not None]
    resistance = max((r for side in sides if (r := _resistance(side)) is not None), default=None)
    path = None if resistance is None else resistance / 1e3 * (1 / asked.supply_contacts + 1 / asked.return_contacts)
    missing = (text for side in (deciding, *sides) for text in side.judged.missing if verdict == "unknown")
    return CurrentAnswer(
        verdict=verdict,
        reason=f"{amperes(load.contact_a)} on each {load.thing}. {deciding.record.half.part_number}: "
        f"{deciding.judged.reason}.",
        current_per_contact_a=load.contact_a,
        loaded_contacts=load.contacts,
        margin_a=min(margins) if margins and verdict != "unknown" else None,
        contact_resistance_mohm=resistance,
        loss_w=None if path is None else asked.current_a**2 * path,
        voltage_drop_v=None if path is None else asked.current_a * path,
        halves=halves,
        missing=tuple(dict.fromkeys(missing)),
        rests_on=tuple(_rests_on(asked, load, sides, resistance)),
        cautions=listed_cautions("before power"),
        catalogue_version=version,
    )


def _rated(side: Side, load: Load) -> RatedHalf:
    half, told = side.record.half, side.judged
    return RatedHalf(
        id=side.record.key,
        part_number=half.part_number,
        maker=half.maker,
        verdict=told.verdict,
        reason=told.reason,
        ratings=half.own_ratings,
        allowed_a=told.allowed_a,
        margin_a=None if told.allowed_a is None else told.allowed_a - load.contact_a,
        missing=told.missing,
        standing=side.record.standing,
        citation=half.datasheet,
        beware=() if side.mate is None else side.mate.beware,
    )


def _resistance(side: Side) -> float | None:
    ratings = side.record.half.ratings
    return ratings.contact_resistance_mohm if ratings else None


def _rests_on(asked: CurrentRequest, load: Load, sides: Sequence[Side], resistance: float | None) -> Iterator[str]:
    yield (
        f"{load.contacts} contacts are loaded, {asked.supply_contacts} for the supply and {asked.return_contacts} for "
        f"the return. Each side is taken to share the current equally; contacts that carry other currents at the same "
        f"time count as loaded too."
    )
    if any(side.judged.allowed_a for side in sides):
        yield f"Derated to {DERATING:g} of the base curve (IEC 60512-5-2), and never more than stated. {SQUARE_ROOT}"
        yield "A stated current is taken as measured. If its maker derated it already, more is allowed."
    stated: dict[str, list[str]] = {}
    for side in sides:
        stated.setdefault(_source(side, load), []).append(side.record.half.part_number)
    yield from (f"{', '.join(dict.fromkeys(parts))}: {source}." for source, parts in stated.items())
    if resistance is not None:
        yield f"Loss and voltage drop are those of contacts of {resistance:g} mΩ; copper and solder come on top."


def _source(side: Side, load: Load) -> str:
    """What is stated for one half, by whom, and who says that it mates."""
    half, ratings = side.record.half, side.record.half.own_ratings
    rated = ratings and getattr(ratings, load.rating)
    told = [amperes(rated) if rated else NOT_RATED if ratings != half.ratings else "no current stated for it"]
    if ratings and ratings.loaded_contacts:
        told.append(f"contacts loaded: {ratings.loaded_contacts}")
    if ratings and ratings.temperature_rise_k:
        told.append(f"{ratings.temperature_rise_k:g} K above the ambient")
    if ratings and ratings.upper_temperature_c:
        told.append(f"contacts up to {ratings.upper_temperature_c:g} °C")
    told.append(half.datasheet.words if half.datasheet else "no document cited")
    told.append(side.record.standing)
    if side.mate is not None:
        told.append(f"mates: {BASIS_WORDS[side.mate.basis]}")
        told += side.mate.beware
    return ", ".join(told)
