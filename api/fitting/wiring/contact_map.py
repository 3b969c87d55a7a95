"""The contact map: from what a half's contacts carry to what its mate's contacts carry, and how that is seen.

The mate is shown from its mating face, from its board side (the mirror), and as it lies: on the top or the bottom of
its board, on a flex that may be folded over. Each is a `View` of the mate's frame (`catalog.model.numbering`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy.orm import Session

from api.fitting.wiring.contacts import Contact, Contacts, contacts_of
from api.fitting.wiring.correspondence import VERIFY, Pairing, listed_pairs, pairing
from api.fitting.wiring.misplaced import Carried, misplaced
from api.fitting.wiring.nets import matched, role_of
from api.identification.cautions import listed_cautions
from api.identification.mates import safety
from api.schemas.fitting.contact_map import (
    BoardSide,
    ContactMapAnswer,
    ContactMapRequest,
    Fold,
    FoundContact,
    MapHalf,
    MappedContact,
    MapView,
    Misplaced,
    SeenContact,
)
from api.schemas.numbering_words import numbering_in_words
from api.schemas.words import CONTACT_CAUTIONS, CONTACT_WORDS
from api.service.problems import ApiError
from catalog.model.errors import NotFoundError
from catalog.model.numbering import AS_IT_IS, SIDES, Side, View
from catalog.records import queries
from catalog.records.read_models import HalfRecord, MatingRecord
from matcher.features import FEATURES

ON_BOARD: Mapping[BoardSide, View] = {"top": AS_IT_IS, "bottom": SIDES["board_side"]}
FOLDED: Mapping[Fold, View] = {"none": AS_IT_IS, "along_rows": View(y=-1), "across_rows": View(x=-1)}
"""What a place on the board and a fold do to a view of the mate from above its board."""

FOLD_WORDS: Mapping[Fold, str] = {
    "none": "",
    "along_rows": ", the flex folded over along the rows",
    "across_rows": ", the flex folded over across the rows",
}

Pair = tuple[MatingRecord, HalfRecord]


def contact_map(session: Session, request: ContactMapRequest) -> ContactMapAnswer:
    """The map for a request. Raises ApiError for a half, mate or mating that is not listed, for sources that disagree
    where none is chosen, and as `map_between`."""
    half = _half(session, request.half, "half")
    return map_between(request, half, None if request.mate is None else _pair(session, request, half))


def map_between(request: ContactMapRequest, half: HalfRecord, pair: Pair | None) -> ContactMapAnswer:
    """The map from a half to the mate of this mating. Raises ApiError for contacts that the half has not, that are
    named twice or that are missing."""
    listed = () if pair is None else listed_pairs(pair[0].mating, half.key)
    ours = contacts_of(half.half, [one for one, _ in listed])
    theirs = None if pair is None else contacts_of(pair[1].half, [two for _, two in listed])
    found = matched(request.contacts, ours, request.seen_from)
    met = Pairing(meets={}) if pair is None or theirs is None else _pairing(pair, ours, theirs)
    carried = {name: Carried(net=each.net.strip(), role=each.role or role_of(each.net)) for name, each in found.items()}
    wrongly = misplaced(ours, carried, met.meets, None if pair is None else pair[1].half) if ours.placed else ()
    at_mate = {met.meets[name]: each for name, each in carried.items() if name in met.meets} if met.sure else {}
    return ContactMapAnswer(
        half=_named(half),
        mate=None if pair is None else _named(pair[1]),
        mating=None if pair is None else pair[0].id,
        correspondence=None if pair is None else pair[0].mating.correspondence,
        basis=None if pair is None else pair[0].mating.basis,
        sure=met.sure and pair is not None,
        doubts=met.doubts,
        contacts=tuple(_mapped(each, found.get(each.name), carried, met) for each in ours.every),
        unmet=() if theirs is None else tuple(n for n in theirs.by_name if n not in set(met.meets.values())),
        views=(
            *(() if theirs is None else _mate_views(theirs, at_mate, request)),
            *_both_sides(ours, carried, "half"),
        ),
        misplaced=wrongly,
        notes=tuple(_notes(ours, theirs, carried, wrongly)),
        cautions=_cautions(pair),
    )


def _half(session: Session, key: str, field: str) -> HalfRecord:
    try:
        record = queries.get_half(session, key)
    except NotFoundError as error:
        raise ApiError.at(
            field,
            f"no half of the catalogue has the key {key!r}",
            "find its key with /v1/search or 'otherhalf search'",
            value=key,
            name="unknown-half",
        ) from error
    if record.state != "listed":
        remedy = f"use {record.successor}" if record.successor else "choose another half"
        raise ApiError.at(field, f"the half {key} is {record.state}", remedy, value=key)
    return record


def _pair(session: Session, request: ContactMapRequest, half: HalfRecord) -> Pair:
    """The mating that is asked for; of several that say the same, the safest."""
    mate = _half(session, request.mate or "", "mate")
    every = queries.mates_of(session, half.key)
    found = [(mating, other) for mating, other in every if other.key == mate.key]
    if not found:
        known = ", ".join(sorted({other.key for _, other in every})) or "none is listed"
        raise ApiError.at(
            "mate",
            f"no mating of {half.key} with {mate.key} is listed",
            f"choose one of its mates: {known}" if len(every) <= MOST_MATES else "choose one of the mates on its page",
            value=mate.key,
        )
    if request.mating is not None:
        chosen = next((pair for pair in found if pair[0].id == request.mating), None)
        if chosen is None:
            known = ", ".join(mating.id for mating, _ in found)
            message = f"{half.key} and {mate.key} have no mating {request.mating!r}"
            raise ApiError.at("mating", message, f"choose one of: {known}", value=request.mating)
        return chosen
    said = {(mating.mating.faced().correspondence, mating.mating.faced().contact_map) for mating, _ in found}
    if len(said) > 1:
        known = "; ".join(f"{mating.id} ({CONTACT_WORDS[mating.mating.correspondence]})" for mating, _ in found)
        message = "sources disagree on which contact meets which"
        raise ApiError.at("mating", message, f"trace both boards, then choose one of: {known}", value=None)
    return min(found, key=lambda pair: safety(pair[1], pair[0]))


MOST_MATES = 12
"""Most mates that a remedy names."""


def _pairing(pair: Pair, ours: Contacts, theirs: Contacts) -> Pairing:
    """Which contacts meet; a disputed or withdrawn entry makes it doubtful."""
    mating, other = pair
    found = pairing(mating.mating, ours, theirs)
    disputed = [told for told, record in (("mating", mating), ("mate", other)) if record.standing == "disputed"]
    doubts = [f"the entry of the {told} is disputed: {VERIFY}" for told in disputed]
    return Pairing(meets=found.meets, doubts=(*found.doubts, *doubts))


def _mapped(
    contact: Contact, found: FoundContact | None, carried: Mapping[str, Carried], met: Pairing
) -> MappedContact:
    has = carried.get(contact.name)
    return MappedContact(
        contact=contact.name,
        net="" if has is None else has.net,
        role=None if has is None else has.role,
        role_guessed=found is not None and found.role is None and bool(found.net.strip()),
        reading="" if found is None else found.reading,
        note="" if found is None else found.note,
        mate_contact=met.meets.get(contact.name),
    )


def _named(record: HalfRecord) -> MapHalf:
    half = record.half
    return MapHalf(
        key=record.key,
        part_number=half.part_number,
        maker=half.maker,
        numbering=numbering_in_words(half.numbering),
    )


def _both_sides(contacts: Contacts, carried: Mapping[str, Carried], whose: str) -> Iterator[MapView]:
    sides: tuple[Side, ...] = ("mating_face",) if contacts.sideways else ("mating_face", "board_side")
    for side in sides:
        yield from _seen_as(contacts, carried, SIDES[side], (whose, side, _SIDE_TITLES[side]))


_SIDE_TITLES: Mapping[Side, str] = {
    "mating_face": "seen from its mating face",
    "board_side": "seen from its board side, where it is soldered: the mirror of the mating face",
}


def _mate_views(theirs: Contacts, carried: Mapping[str, Carried], request: ContactMapRequest) -> Iterator[MapView]:
    yield from _both_sides(theirs, carried, "mate")
    if theirs.sideways:
        return
    view = placed_view(request.mate_on, request.fold)
    shown = "its mating face" if view.side == "mating_face" else "its board side"
    title = f"on the {request.mate_on} of its board{FOLD_WORDS[request.fold]}, seen from above the top: {shown} shows"
    yield from _seen_as(theirs, carried, view, ("mate", "in_place", title))


def placed_view(mate_on: BoardSide, fold: Fold) -> View:
    """How the mate's frame is seen by somebody above the top of its board, before the fold and after it."""
    return ON_BOARD[mate_on].then(FOLDED[fold])


def _seen_as(
    contacts: Contacts, carried: Mapping[str, Carried], view: View, called: tuple[str, str, str]
) -> Iterator[MapView]:
    """A half as this view shows it, nothing where no contact has a known place; ``called`` is whose it is, its name and
    its title."""
    whose, name, title = called
    if not contacts.placed:
        return
    rows: list[list[tuple[float, SeenContact | None]]] = [[] for _ in contacts.row_lengths]
    sites = {**dict.fromkeys(contacts.blocked), **contacts.by_place}
    for place, contact in sites.items():
        row, position = view.of_place(place, contacts.row_lengths)
        rows[row - 1].append((position, None if contact is None else _seen(contact, carried, view)))
    ends = [_seen(each, carried, view) for each in contacts.every if each.kind != "contact" and each.at is not None]
    yield MapView.model_validate(
        {
            "name": name,
            "whose": whose,
            "title": f"{contacts.half.part_number} {title}",
            "side": view.side,
            "rows": [[cell for _, cell in sorted(row, key=lambda each: each[0])] for row in rows],
            "ends": sorted(ends, key=lambda each: (each.y, each.x)),
        }
    )


def _seen(contact: Contact, carried: Mapping[str, Carried], view: View) -> SeenContact:
    x, y = view.of(*contact.spot)
    has = carried.get(contact.name, Carried(net="", role=None))
    first = contact.kind == "contact" and contact.number == 1
    return SeenContact(contact=contact.name, net=has.net, role=has.role, x=round(x, 6), y=round(y, 6), first=first)


def _notes(
    ours: Contacts, theirs: Contacts | None, carried: Mapping[str, Carried], wrongly: Sequence[Misplaced]
) -> Iterator[str]:
    for contacts in (ours,) if theirs is None or theirs.half.key == ours.half.key else (ours, theirs):
        yield from contacts.notes
        yield from _of_tails(contacts)
    if not ours.placed:
        yield "What would meet what in a half put in wrongly cannot be said without its numbering."
    elif not any(each.net for each in carried.values()):
        yield "No nets are given, so nothing is said of what would meet in a half put in wrongly."
    aside = any(each.possible and each.displacement != "turned" for each in wrongly)
    if aside and any(each.kind != "contact" for each in ours.every):
        yield "What power contacts and hold-downs would touch in a half put in aside is not known: look at them."


def _of_tails(contacts: Contacts) -> Iterator[str]:
    """Where the tails on the board do not stand as the contacts do."""
    half, layouts = contacts.half, contacts.half.categories.get("tail_layout", ())
    if contacts.sideways:
        yield (
            f"{half.part_number} mates sideways, so its board does not show its rows. Only its mating face is drawn: "
            "find the tail of each contact by continuity."
        )
    elif "alternating" in layouts or ("one_row" in layouts and half.rows > 1):
        told = " or ".join(FEATURES["tail_layout"].values[layout] for layout in layouts)
        yield f"The tails of {half.part_number} leave {told}: the plans show its contacts, not its lands."


def _cautions(pair: Pair | None) -> tuple[str, ...]:
    always = "A map is no proof: before anything is connected, check every supply and ground contact by continuity."
    wired = () if pair is None else (CONTACT_CAUTIONS[pair[0].mating.correspondence],)
    return (always, *wired, *listed_cautions("before power"))
