"""The whole simulation: the people, what they do and in which order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from catalog.model.entries import AnyEntry, Half, Series
from catalog.model.series_laws import expand
from tests.functional.crowd_parts import Parts, Type, make_parts
from tests.functional.crowd_people import MISTAKEN, SLIPS, Person, mistaken, mistaken_laws, slipped
from tests.functional.crowd_vandal import VANDAL, Vandal
from tests.functional.crowd_world import Deed, adding, measuring, sighting

HONEST, CARELESS = 30, 3
MEASUREMENTS = 4
"""Average number of times that each half is measured, by people at random."""

SIGHTINGS = 60
LOOK_AGAIN = 0.5
"""Chance that an honest person stopped by the machine review finds the mistake in the source; else it is acknowledged
(an old revision contains the mistake too)."""

FIRST = 0.5
"""Entries are added in the first half of all acts, so that most exist when people measure."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The parts that exist, and what everyone intends to do, by its place in time."""

    parts: Parts
    deeds: tuple[tuple[int, Deed], ...]

    def of_others(self) -> list[tuple[int, Deed]]:
        """All acts except the vandal's."""
        return [(place, deed) for place, deed in self.deeds if deed.actor != VANDAL]


def make_plan(seed: int) -> Plan:
    """Thirty honest people, three careless ones and a vandal."""
    rng = np.random.default_rng(seed)
    parts = make_parts(rng)
    people = [Person(f"Keeper {number}", rng) for number in range(1, HONEST + 1)]
    people += [Person(f"Hasty {number}", rng, careless=True) for number in range(1, CARELESS + 1)]
    entries: list[Series | Half] = [*parts.series, *parts.singles]
    authors = [people[int(rng.integers(len(people)))] for _ in entries]
    adds = [_entry(person, entry, rng) for person, entry in zip(authors, entries, strict=True)]
    own = {key: person for person, entry in zip(authors, entries, strict=True) for key in _halves(entry)}
    said = [(float(rng.uniform(0.0, FIRST)), deed) for deed in adds]
    said += [(float(rng.uniform(FIRST / 2, 1.0)), deed) for deed in _evidence(parts.types, people, own, rng)]
    vandal = Vandal(parts.types, parts.series, parts.singles, rng)
    said += [(float(rng.uniform(FIRST / 4, 1.0)), deed) for deed in vandal.deeds()]
    ordered = sorted(said, key=lambda each: each[0])
    return Plan(parts=parts, deeds=tuple((place, deed) for place, (_, deed) in enumerate(ordered)))


def _halves(entry: Series | Half) -> list[str]:
    return [half.key for half in expand(entry).halves] if isinstance(entry, Series) else [entry.key]


def _entry(person: Person, entry: Series | Half, rng: np.random.Generator) -> Deed:
    if person.careless:
        given = slipped(entry, rng) if isinstance(entry, Half) and rng.random() < SLIPS else entry
        return Deed(actor=person.name, what="add", doing=adding(given), stubborn=False)
    if rng.random() < MISTAKEN:
        return _mistake(person, entry, rng)
    return Deed(actor=person.name, what="add", doing=adding(entry))


def _mistake(person: Person, entry: Series | Half, rng: np.random.Generator) -> Deed:
    wrong: AnyEntry = mistaken(entry, rng) if isinstance(entry, Half) else mistaken_laws(entry, rng)
    if rng.random() < LOOK_AGAIN:
        wary = adding(wrong)
        return Deed(actor=person.name, what="add wrongly", doing=wary, again=adding(entry), stubborn=False)
    return Deed(actor=person.name, what="add wrongly", doing=adding(wrong))


def _evidence(
    types: Mapping[str, Type], people: list[Person], own: Mapping[str, Person], rng: np.random.Generator
) -> Iterator[Deed]:
    """People measure only halves added by others; their own would be refused."""
    keys = list(types)
    for _ in range(MEASUREMENTS * len(keys)):
        key = keys[int(rng.integers(len(keys)))]
        others = [person for person in people if person is not own[key]]
        person = others[int(rng.integers(len(others)))]
        values = person.values(types[key])
        stubborn = not person.careless
        yield Deed(actor=person.name, what="measure", doing=measuring(key, values), stubborn=stubborn)
    for number in range(SIGHTINGS):
        person, key = people[int(rng.integers(len(people)))], keys[int(rng.integers(len(keys)))]
        yield Deed(actor=person.name, what="sight", doing=sighting(key, f"recorder {number}"))
