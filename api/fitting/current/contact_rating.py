"""What the ratings of one half say to the current of its contacts: enough, not enough or unknown.

A rating holds for the number of loaded contacts with which it was taken (IEC 60512-5-2). As one published example puts
it, the same part carries 12 A on one contact, and 3 A on each when all are loaded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from api.fitting.current.derating import allowed_a
from api.schemas.fitting.current import Enough
from api.schemas.words import NOT_RATED
from catalog.model.entries import Half
from catalog.model.entry_parts import POWER_CONTACTS, Ratings

SAME = 1e-9
"""Relative difference of two currents that are one current rounded differently."""


@dataclass(frozen=True, kw_only=True)
class Load:
    """What one half must carry: A on the contact that carries most, how many contacts are loaded, and where."""

    contact_a: float
    contacts: int
    ambient_c: float
    power: bool

    @property
    def rating(self) -> str:
        """The rating that counts."""
        return "power_contact_current_a" if self.power else "contact_current_a"

    @property
    def thing(self) -> str:
        """What carries it."""
        return "power contact" if self.power else "contact"

    def exceeds(self, allowed: float) -> bool:
        """Whether it is more than this current of one contact, A."""
        return self.contact_a > allowed * (1.0 + SAME)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What the ratings of one half say."""

    verdict: Enough
    reason: str
    allowed_a: float | None = None
    missing: tuple[str, ...] = ()


def judged(half: Half, load: Load) -> Judged:
    """What the ratings of one half say to a load."""
    stated, own = half.ratings, half.own_ratings
    upper = stated.upper_temperature_c if stated else None
    if upper is not None and load.ambient_c >= upper:
        return Judged(verdict="not_enough", reason=f"its contacts may become {upper:g} °C at most", allowed_a=0.0)
    if stated is None or getattr(stated, load.rating) is None:
        return unknown(f"no current of a {load.thing} is stated", f"the current of a {load.thing}")
    if own is None or getattr(own, load.rating) is None:
        taken = f"the stated one was taken with {stated.loaded_contacts} contacts loaded"
        needed = f"a current taken with {load.contacts} to {half.all_contacts} contacts loaded"
        return unknown(f"{NOT_RATED}; {taken}", needed)
    if contacts_of(half, power=load.power) is None:
        return unknown("it is not stated how many power contacts it has", "the number of its power contacts")
    return _by_rating(getattr(own, load.rating), own, load)


def _by_rating(rated: float, own: Ratings, load: Load) -> Judged:
    """The same by a rating that belongs to the half."""
    rise, upper = own.temperature_rise_k, own.upper_temperature_c
    allowed, reason = None, f"{amperes(rated)} is stated for each {load.thing}"
    if rise is not None and upper is not None:
        allowed = allowed_a(rated, rise, upper, load.ambient_c)
        reason = (
            f"{amperes(allowed)} is allowed for each {load.thing} at {load.ambient_c:g} °C, of {amperes(rated)} stated"
        )
    if load.exceeds(rated if allowed is None else allowed):
        return Judged(verdict="not_enough", reason=reason, allowed_a=allowed)
    doubts = dict(_not_covered(rated, own, load))
    if doubts:
        return unknown(next(iter(doubts.values())), *doubts)
    reason += f" with {own.loaded_contacts} contacts loaded"
    return Judged(verdict="enough", reason=reason, allowed_a=allowed)


def _not_covered(rated: float, own: Ratings, load: Load) -> Iterator[tuple[str, str]]:
    """What would have to be known to use a rating, and why."""
    taken, here = own.loaded_contacts, load.contacts
    if taken is None:
        yield (
            "the number of loaded contacts",
            f"it is not stated with how many contacts loaded {amperes(rated)} was taken",
        )
    elif here > taken:
        with_them = "1 contact" if taken == 1 else f"{taken} contacts"
        why = f"{amperes(rated)} was taken with {with_them} loaded, and here {here} are"
        yield f"a current taken with {here} or more contacts loaded", why
    why = f"{amperes(rated)} is stated, but not what is left of it at {load.ambient_c:g} °C"
    if own.temperature_rise_k is None:
        yield "the temperature rise at the stated current", why
    if own.upper_temperature_c is None:
        yield "the highest temperature of the contacts", why


def unknown(reason: str, *missing: str) -> Judged:
    """Nothing can be said, and what would have to be known."""
    return Judged(verdict="unknown", reason=reason, missing=missing)


def contacts_of(half: Half, *, power: bool) -> int | None:
    """Its contacts of one sort; None where their number is not stated."""
    return half.counts.get(POWER_CONTACTS) if power else half.contact_count


def amperes(current: float) -> str:
    """A current in words; four figures, as a difference that decides must show."""
    return f"{current:.4g} A"
