"""Facts about halves and series besides dimensions: counts, categories, names, ratings; and the order of mates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from api.identification.answering import end_allowance
from api.identification.mates import safety
from api.schemas.numbering_words import numbering_in_words
from api.schemas.words import BOUND_WORDS, LIFECYCLE_WORDS, NOT_RATED
from api.web.page.figures import counted, label, limits, mm, plain, values_in_words
from catalog.model.entries import Half
from catalog.model.entry_parts import Common, Dimension
from catalog.records.read_models import HalfRecord, MatingRecord
from matcher.features import FEATURES

SHOWN_MATES = 12
"""Mates on a page; of more the page says how many there are and links to all."""

CURRENTS = {"contact_current_a": "Current of a contact", "power_contact_current_a": "Current of a power contact"}
OTHER_RATINGS = {
    "upper_temperature_c": ("Highest temperature of the contacts", "°C"),
    "contact_resistance_mohm": ("Resistance of one mated contact", "mΩ"),
    "voltage_v": ("Voltage", "V"),
}
"""Ratings in words, with their units."""

Fact = tuple[str, str]
"""What it is, and its value."""


def facts(record: HalfRecord) -> Iterator[Fact]:
    """Everything that is counted or seen, in the order of looking."""
    half = record.half
    yield "Contacts", str(half.contact_count)
    yield "Rows", str(half.rows) + (f" of {_row_words(half)}" if half.rows > 1 or half.row_contacts else "")
    if half.blocked:
        sites = ", ".join(f"row {site.row} position {site.position}" for site in half.blocked)
        yield "Left out", sites
    yield "Numbering", numbering_in_words(half.numbering)
    allowance = end_allowance(record)
    if allowance is not None:
        yield "End allowance (body length less the contacts' span)", f"{mm(allowance)} mm"
    for name in FEATURES:
        if name in half.counts:
            yield label(name), str(half.counts[name])
        elif name in half.categories:
            yield label(name), values_in_words(name, half.categories[name])


def _row_words(half: Half) -> str:
    if half.row_contacts:
        return " and ".join(str(count) for count in half.row_contacts)
    return f"{half.contacts_per_row} positions"


def ordering(half: Half) -> tuple[Fact, ...]:
    """Order codes, markings and what is shared with series."""
    names = [("Order codes", ", ".join(half.order_codes)), ("Letters on it", ", ".join(half.markings))]
    return (*((name, value) for name, value in names if value), *shared_facts(half, half.aliases))


def shared_facts(entry: Common, aliases: Sequence[str]) -> tuple[Fact, ...]:
    """What both halves and series have: other names, whether it is made, ratings with their condition, a note."""
    found = [
        ("Also called", ", ".join(aliases)),
        ("Made", LIFECYCLE_WORDS[entry.lifecycle]),
        ("Mating cycles", str(entry.mating_cycles or "")),
        *_ratings(entry),
        ("Note", entry.note),
    ]
    return tuple((name, value) for name, value in found if value)


def _ratings(entry: Common) -> Iterator[Fact]:
    """Ratings in words. A current is valid only together with the number of contacts loaded at once, so a half does not
    show one that was taken with more contacts than it has."""
    own = entry.own_ratings if isinstance(entry, Half) else entry.ratings
    stated, kept = (ratings.model_dump(exclude_none=True) if ratings else {} for ratings in (entry.ratings, own))
    loaded = kept.get("loaded_contacts")
    condition = (
        f"with {counted(loaded, 'contact')} loaded at once" if loaded else "number of loaded contacts not stated"
    )
    if "temperature_rise_k" in kept:
        condition += f", {plain(kept['temperature_rise_k'])} K above the ambient"
    for name in (name for name in CURRENTS if name in stated):
        yield CURRENTS[name], f"{plain(kept[name])} A, {condition}" if name in kept else NOT_RATED
    for name in (name for name in OTHER_RATINGS if name in kept):
        words, unit = OTHER_RATINGS[name]
        yield words, f"{plain(kept[name])} {unit}"


def in_order(found: Sequence[tuple[MatingRecord, HalfRecord]]) -> list[tuple[MatingRecord, HalfRecord]]:
    """Matings of a half, the safest mate to order first, then by stack height and the mate's key."""

    def place(pair: tuple[MatingRecord, HalfRecord]) -> tuple[object, ...]:
        mating, other = pair
        height = mating.mating.stack_height
        return *safety(other, mating), 0.0 if height is None else height.value, other.key, mating.id

    return sorted(found, key=place)


def of_pair(stated: Dimension | None) -> str:
    """A dimension of a pair, with its tolerance and bound; empty where it is not stated."""
    if stated is None:
        return ""
    return f"{BOUND_WORDS[stated.bound]} {mm(stated.value)}{limits(stated.tolerance)} mm".strip()
