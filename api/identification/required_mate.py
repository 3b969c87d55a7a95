"""What a mate must be where none is listed, and the listed halves whose figures would allow it.

The same rules hold here as in the machine review of matings (`catalog.review.stacks`): a mate that the review would
question is not named. No source says that what is named here mates.
"""

from __future__ import annotations

from collections.abc import Iterator

from api.identification.mates import half_ref
from api.schemas import answers
from catalog.model.entries import Half, Mating
from catalog.records.read_models import HalfRecord
from catalog.review.dimensions import agree_on_categories, interval, pitch_of, sites
from catalog.review.findings import is_clean
from catalog.review.stacks import MISREGISTER_SHARE, mating_findings
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES

SHOWN = 10
"""Halves that could fit by size that are named; the others are counted."""

OPPOSITE = {"plug": "receptacle", "receptacle": "plug", "hermaphroditic": "hermaphroditic"}

SAME_COUNTS = ("bank_count", "power_contact_count")
"""Counts that mates share, besides contacts and rows."""

SAME_CATEGORIES = ("contact_layout",)

INTO = (("body_length", "opening_length"), ("body_width", "opening_width"))
"""Sizes of a plug and of the opening of its receptacle."""


def required_mate(snapshot: Snapshot, record: HalfRecord) -> answers.RequiredMate:
    """What the mate of a half must be, and the listed halves that could be it, those with the most figures that agree
    first."""
    found = [could for other in snapshot.halves.values() if (could := _could_fit(record, other)) is not None]
    found.sort(key=lambda each: (-len(each.checked), _foreign(record, each), each.clearance or 0.0, each.half.id))
    return answers.RequiredMate(
        half=half_ref(record),
        requirements=tuple(requirements(record.half)),
        could_fit=tuple(found[:SHOWN]),
        could_fit_in_all=len(found),
    )


def _foreign(record: HalfRecord, other: answers.CouldFit) -> tuple[bool, bool]:
    half = record.half
    return other.half.maker != half.maker, other.half.series != half.series


# --- requirements ------------------------------------------------------------------------------------------------


def requirements(half: Half) -> Iterator[answers.Requirement]:
    """The figures that a mate must have, one by one."""
    kind = OPPOSITE.get(half.half_kind or "")
    if kind is None:
        why = "it is not known whether this half is the plug or the receptacle: look which one goes into the other"
        yield answers.Requirement(feature="half_kind", value=None, why=why)
    else:
        yield answers.Requirement(feature="half_kind", value=kind, why="the opposite of this half")
    blocked = f"; {len(half.blocked)} of the places are blocked" if half.blocked else ""
    yield answers.Requirement(feature="contact_count", value=sites(half), why=f"a contact for each one{blocked}")
    yield answers.Requirement(feature="rows", value=half.rows, why="as many as this half")
    pitch, gaps = pitch_of(half), half.contacts_per_row - 1
    if pitch is not None:
        # Held in the middle, each end is off by half of what the rows differ in all.
        off = 2 * MISREGISTER_SHARE * pitch / max(gaps, 1)
        why = f"over {gaps} gaps the contacts must still meet"
        yield answers.Requirement(feature="pitch", value=pitch, least=pitch - off, most=pitch + off, why=why)
    for name in SAME_COUNTS:
        if half.counts.get(name, 0) > 1 or (name == "power_contact_count" and half.counts.get(name)):
            yield answers.Requirement(feature=name, value=half.counts[name], why="as many as this half")
    for name in SAME_CATEGORIES:
        if name in half.categories:
            value = " or ".join(half.categories[name])
            yield answers.Requirement(feature=name, value=value, why="as this half's contacts stand")
    yield from _sizes(half)


def _sizes(half: Half) -> Iterator[answers.Requirement]:
    """What goes into what. A right-angle plug's width lies along the board, so that only its length is known to."""
    upright = half.categories.get("orientation") == ("vertical",)
    for body, opening in INTO if upright or half.half_kind == "receptacle" else INTO[:1]:
        own = {name: half.dimensions[name].value for name in (body, opening) if name in half.dimensions}
        if half.half_kind == "plug" and body in own:
            why = f"this half goes into it; its {FEATURES[body].label} is {own[body]:g} mm"
            yield answers.Requirement(feature=opening, least=own[body], why=why)
        elif half.half_kind == "receptacle" and opening in own:
            why = f"it goes into this half's opening of {own[opening]:g} mm"
            yield answers.Requirement(feature=body, most=own[opening], why=why)
        elif half.half_kind == "receptacle" and body in own:
            why = f"it goes into this half, which is {own[body]:g} mm itself; how wide its opening is, is not stated"
            yield answers.Requirement(feature=body, most=own[body], why=why)
    if half.half_kind == "receptacle" and "yes" in half.categories.get("centre_island", ()):
        yield answers.Requirement(feature="centre_island", value="no", why="this half's island goes into it")


# --- halves that could be it -------------------------------------------------------------------------------------


def _could_fit(record: HalfRecord, other: HalfRecord) -> answers.CouldFit | None:
    """The other half as a possible mate; None where a figure speaks against it, or where a pitch is not stated."""
    half, mate = record.half, other.half
    if other.origin != "listed" or half.rows != mate.rows or pitch_of(half) is None or pitch_of(mate) is None:
        return None
    if sites(half) != sites(mate) or half.contacts_per_row != mate.contacts_per_row:
        return None
    if other.key == record.key and half.half_kind != "hermaphroditic":
        return None
    shared = [name for name in SAME_COUNTS if name in half.counts and name in mate.counts]
    layout = [
        {name: each.categories[name] for name in SAME_CATEGORIES if name in each.categories} for each in (half, mate)
    ]
    if any(half.counts[name] != mate.counts[name] for name in shared) or not agree_on_categories(*layout):
        return None
    pair = Mating(half=record.key, other=other.key, basis="inferred")
    if not is_clean(mating_findings(pair, half, mate)):
        return None
    bodies = _bodies(half, mate)
    if bodies is None:
        return None
    agreeing = [name for name in SAME_CATEGORIES if all(name in each for each in layout)]
    checked = ["contact_count", "rows", "pitch", *shared, *agreeing, *bodies]
    if half.half_kind and mate.half_kind:
        checked.insert(0, "half_kind")
    clearances = [room for name, room in bodies.items() if name.startswith("opening")]
    return answers.CouldFit(half=half_ref(other), checked=tuple(checked), clearance=min(clearances, default=None))


def _bodies(half: Half, mate: Half) -> dict[str, float] | None:
    """The room of a plug in its receptacle by the size that limits it, mm; None where it does not go in.

    The review has compared the openings that are stated. Where one is not, a plug is smaller than the receptacle.
    """
    by_kind = {half.half_kind: half, mate.half_kind: mate}
    plug, receptacle = by_kind.get("plug"), by_kind.get("receptacle")
    rooms: dict[str, float] = {}
    if plug is None or receptacle is None:
        return rooms
    upright = plug.categories.get("orientation") == ("vertical",)
    for body, opening in INTO if upright else INTO[:1]:
        limit = opening if opening in receptacle.dimensions else body
        if body in plug.dimensions and limit in receptacle.dimensions:
            (inner, inner_reach), (outer, outer_reach) = interval(plug, body), interval(receptacle, limit)
            if inner - inner_reach > outer + outer_reach:
                return None
            rooms[limit] = outer - inner
    return rooms
