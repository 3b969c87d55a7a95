"""What would meet what if a half went into its mate turned round, or aside by one position.

A half that moves brings a contact to where another of its contacts belongs; so it meets the mate's contact that belongs
to that other one. Only the half's own places and what its contacts carry are needed, whichever way the pair is wired.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from api.drawing.geometry import Point
from api.fitting.wiring.contacts import Contact, Contacts
from api.fitting.wiring.correspondence import ALIKE
from api.schemas.fitting.contact_map import Displacement, Meeting, Misplaced, Role, Severity
from catalog.model.entries import Half
from catalog.model.numbering import HALF_TURN
from matcher.features import FEATURES

FOR_ITS_BOARD = ("none", "unequal_pegs")
"""Values of the feature ``keying`` that stop no mate (see its meaning in the feature table)."""

SEVERITIES: tuple[Severity, ...] = (
    "supply_to_ground",
    "supply_to_other_supply",
    "supply_to_signal",
    "ground_to_signal",
    "signal_to_signal",
)
"""What two nets that meet may be, the worst first. The order is common practice, no source."""

TITLES: Mapping[Displacement, str] = {
    "turned": "turned by 180°",
    "one_position_right": "one position to the right, as the half's mating face shows it",
    "one_position_left": "one position to the left, as the half's mating face shows it",
    "one_row_down": "one row down, as the half's mating face shows it",
    "one_row_up": "one row up, as the half's mating face shows it",
}

Motion = Callable[[Point], Point]


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What a contact carries."""

    net: str
    role: Role | None


def misplaced(
    contacts: Contacts, carried: Mapping[str, Carried], meets: Mapping[str, str], mate: Half | None
) -> tuple[Misplaced, ...]:
    """Every way to put the half in wrongly, with what would meet; ``meets`` gives the mate's contact of each."""
    half = contacts.half
    turn, along, across = could_turn(half, mate), could_shift(half, mate), could_shift_across(half, mate)
    x, y = contacts.pitch, contacts.row_spacing
    ways: list[tuple[Displacement, Motion, tuple[bool, str]]] = [
        ("turned", lambda at: HALF_TURN.of(*at), turn),
        ("one_position_right", lambda at: (at[0] + x, at[1]), along),
        ("one_position_left", lambda at: (at[0] - x, at[1]), along),
    ]
    if half.rows > 1:
        ways += [
            ("one_row_down", lambda at: (at[0], at[1] + y), across),
            ("one_row_up", lambda at: (at[0], at[1] - y), across),
        ]
    return tuple(
        Misplaced(
            displacement=name,
            title=TITLES[name],
            possible=possible,
            why=why,
            meetings=_meetings(_moved(contacts, motion, ends=name == "turned"), carried, meets) if possible else (),
        )
        for name, motion, (possible, why) in ways
    )


def _moved(contacts: Contacts, motion: Motion, *, ends: bool) -> Iterator[tuple[Contact, Contact]]:
    """Each contact with the one in whose place it would stand. Power contacts and hold-downs change ends with a half
    turn; by a pitch they move to nowhere in particular."""
    moving = [each for each in contacts.every if each.at is not None and (ends or each.kind == "contact")]
    cell = (ALIKE * contacts.pitch, ALIKE * contacts.row_spacing)
    for contact in moving:
        x, y = motion(contact.spot)
        for other in moving:
            at = other.spot
            if other.kind == contact.kind and abs(at[0] - x) < cell[0] and abs(at[1] - y) < cell[1]:
                yield contact, other


def _meetings(
    moved: Iterator[tuple[Contact, Contact]], carried: Mapping[str, Carried], meets: Mapping[str, str]
) -> tuple[Meeting, ...]:
    found: dict[tuple[int, str, str], list[tuple[str, str, str | None]]] = {}
    for contact, stands_at in moved:
        one, two = carried.get(contact.name), carried.get(stands_at.name)
        severity = None if one is None or two is None else severity_of(one, two)
        if one is not None and two is not None and severity is not None:
            place = (SEVERITIES.index(severity), one.net, two.net)
            found.setdefault(place, []).append((contact.name, stands_at.name, meets.get(stands_at.name)))
    worst_first = sorted(found.items(), key=lambda item: item[0][0])
    return tuple(
        Meeting(severity=SEVERITIES[rank], net=net, meets=other, contacts=tuple(pairs))
        for (rank, net, other), pairs in worst_first
    )


def severity_of(one: Carried, two: Carried) -> Severity | None:
    """How bad it is that two nets meet; None where they are one net, both grounds, or one carries nothing known."""
    if not one.net or not two.net or one.net.casefold() == two.net.casefold():
        return None
    roles = {one.role, two.role}
    if not roles <= {"supply", "ground", "signal"} or roles == {"ground"}:
        return None
    if "supply" in roles:
        if "ground" in roles:
            return "supply_to_ground"
        return "supply_to_signal" if "signal" in roles else "supply_to_other_supply"
    return "ground_to_signal" if "ground" in roles else "signal_to_signal"


def keys_of(half: Half) -> list[str]:
    """The keys of a half that can stop its mate, in words."""
    stated = half.categories.get("keying", ())
    return [FEATURES["keying"].values[value] for value in stated if value not in FOR_ITS_BOARD]


def could_turn(half: Half, mate: Half | None) -> tuple[bool, str]:
    """Whether nothing stated stops the half from going in turned by 180°, and why. A key needs both halves."""
    ours, theirs = keys_of(half), [] if mate is None else keys_of(mate)
    if ours and theirs:
        named = ", ".join(dict.fromkeys((*ours, *theirs)))
        return False, f"both halves have keys ({named}); a worn, broken or forced key stops nothing"
    if ours and mate is None:
        return True, f"it has a key ({', '.join(ours)}), which stops it only if the mate has its counterpart"
    if ours or theirs:
        return True, f"only one half states a key ({', '.join(ours or theirs)})"
    if _keys_stated(half) and (mate is None or _keys_stated(mate)):
        return True, "no key is stated on either half" if mate is not None else "it has no key"
    return True, "whether there are keys is not stated of both halves"


def _keys_stated(half: Half) -> bool:
    return "keying" in half.categories


def could_shift(half: Half, mate: Half | None) -> tuple[bool, str]:
    """Whether nothing stated stops the half from going in one position aside along the rows, and why."""
    return _could_shift(half, mate, "body_length", "opening_length", "pitch", "ends")


def could_shift_across(half: Half, mate: Half | None) -> tuple[bool, str]:
    """The same, one row aside."""
    return _could_shift(half, mate, "body_width", "opening_width", "row_spacing", "sides")


def _could_shift(half: Half, mate: Half | None, body: str, opening: str, step: str, where: str) -> tuple[bool, str]:
    halves: Sequence[Half] = (half,) if mate is None else (half, mate)
    receptacle = next((each for each in halves if each.half_kind == "receptacle"), None)
    plug = next((each for each in halves if each.half_kind == "plug"), None)
    if receptacle is None or plug is None:
        return True, "what encloses what is not stated"
    if opening in receptacle.dimensions and body in plug.dimensions and step in plug.dimensions:
        room = receptacle.dimensions[opening].value - plug.dimensions[body].value
        told = f"the pocket leaves the plug {max(room, 0.0):.2g} mm of room between its {where}"
        return room >= plug.dimensions[step].value, told
    if receptacle.categories.get("tail_form") == ("pin",) and "opening_length" not in receptacle.dimensions:
        return True, f"a plain block of sockets is open at its {where}"
    return True, f"no size of a pocket is stated that would stop it at its {where}"
