"""Slips of one cause that touch several observations: each is the same observations read in another way.

    p(y | half) = (1 − Σ π)·p(y as given | half) + Σ π_c·p(y as cause c has it | half)

Only causes that the numbers suggest are tried, so that most answers cost no more. The observations that a cause touches
become one part, so that evidence still adds up. Priors are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from matcher.features import FEATURES
from matcher.observations import Of, Reduced

SIDES_SWAPPED, COUNTS_SWAPPED, ONE_ROW_SEEN, GAPS_FORGOTTEN, SPLIT_OTHERWISE = 0.01, 0.01, 0.01, 0.01, 0.02
"""Priors of two sides or two counts given in each other's place, of seeing one row of more, of a whole row's span given
as the pitch, and of telling contacts from power contacts otherwise than the entry does."""

MOST_SPLIT_OTHERWISE = 4
"""Most contacts that are taken for power contacts, or the reverse."""

UNITS = {1 / 25.4: ("inches", 0.002), 1 / 0.0254: ("mils", 0.001)}
"""Reading over true size, name and prior where a tool showed another unit than mm for several lengths."""

FEWEST_LENGTHS = 2
"""Lengths from which a unit is a mistake of the tool and not of one reading."""

SIDES = (("body_length", "body_width"), ("opening_length", "opening_width"))
"""Dimensions of which the first is the longer one on nearly every half."""

MORE_ROWS = {2: 0.8, 3: 0.1, 4: 0.1}
"""How many rows there are, with their shares, where only one was seen."""

FEWEST_GAPS = 2
"""Gaps in a row from which its span is not also a right pitch."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause: what it makes of the observations that it touches, and its prior.

    ``log_jacobian`` is ln of the derivatives of the corrected values by those given. ``change`` holds the fields that
    would differ in every observation touched, where they are the same. ``told_by`` are further observations without
    which it could not be told.
    """

    kind: str
    words: str
    prior: float
    corrected: tuple[Reduced, ...]
    log_jacobian: float = 0.0
    change: tuple[tuple[str, float | str], ...] = ()
    told_by: frozenset[int] = frozenset()

    @property
    def indices(self) -> frozenset[int]:
        """Which observations it touches."""
        return frozenset(reading.index for reading in self.corrected)


def causes(observations: Sequence[Reduced]) -> Iterator[Cause]:
    """Every cause that the numbers suggest."""
    own = {each.feature: each for each in observations if each.of is Of.THIS}
    for longer, wider in SIDES:
        if longer in own and wider in own and _shorter(own[longer], own[wider]):
            both = f"{FEATURES[longer].label} and {FEATURES[wider].label} given in each other's place"
            yield _exchanged(f"{longer}_and_width_swapped", both, SIDES_SWAPPED, own[longer], own[wider])
    yield from _of_counts(own.get("contact_count"), own.get("rows"))
    yield from _of_power(own.get("contact_count"), own.get("power_contact_count"))
    yield from _gaps(own.get("pitch"), own.get("contact_count"), own.get("rows"))
    yield from _in_other_units(observations)


def _shorter(one: Reduced, other: Reduced) -> bool:
    return one.value is not None and other.value is not None and one.value < other.value


def _exchanged(kind: str, words: str, prior: float, one: Reduced, other: Reduced) -> Cause:
    corrected = (replace(one, feature=other.feature), replace(other, feature=one.feature))
    return Cause(kind=kind, words=words, prior=prior, corrected=corrected)


def _of_counts(contacts: Reduced | None, rows: Reduced | None) -> Iterator[Cause]:
    if contacts is None or rows is None or not contacts.count or not rows.count:
        return
    if rows.count > contacts.count:
        words = "contacts and rows given in each other's place"
        yield _exchanged("contacts_and_rows_swapped", words, COUNTS_SWAPPED, contacts, rows)
    if rows.count == 1:
        for number, share in MORE_ROWS.items():
            corrected = (replace(contacts, count=contacts.count * number), replace(rows, count=number))
            yield Cause(
                kind="one_row_seen", words="one row seen of more", prior=ONE_ROW_SEEN * share, corrected=corrected
            )


def _of_power(contacts: Reduced | None, power: Reduced | None) -> Iterator[Cause]:
    """The total of contacts and power contacts is right, and any other split of it is as probable."""
    if contacts is None or power is None or not contacts.count or power.count is None:
        return
    most = MOST_SPLIT_OTHERWISE
    wrong = [number for number in range(-min(power.count, most), min(contacts.count - 1, most) + 1) if number]
    for number in wrong:
        corrected = (
            replace(contacts, count=contacts.count - number),
            replace(power, count=power.count + number),
        )
        words = "power contacts counted as contacts" if number > 0 else "contacts counted as power contacts"
        prior = SPLIT_OTHERWISE / len(wrong)
        yield Cause(kind="power_split_otherwise", words=words, prior=prior, corrected=corrected)


def _gaps(pitch: Reduced | None, contacts: Reduced | None, rows: Reduced | None) -> Iterator[Cause]:
    """The whole row measured, and its gaps not given."""
    if pitch is None or pitch.value is None or pitch.spans > 1:
        return
    if contacts is None or rows is None or not contacts.count or not rows.count:
        return
    gaps = -(-contacts.count // rows.count) - 1
    if gaps < FEWEST_GAPS:
        return
    corrected = scaled(pitch, 1.0 / gaps, spans=gaps)
    if not _plausible(corrected):
        return
    yield Cause(
        kind="gaps_not_given",
        words="the whole row measured, its gaps not given",
        prior=GAPS_FORGOTTEN,
        corrected=(corrected,),
        log_jacobian=-math.log(gaps),
        change=(("spans", gaps),),
        told_by=frozenset({contacts.index, rows.index}),
    )


def _plausible(reading: Reduced) -> bool:
    row = FEATURES[reading.feature]
    return reading.unscaled or row.low <= reading.number <= row.high


def _in_other_units(observations: Sequence[Reduced]) -> Iterator[Cause]:
    """Two or more lengths in another unit: all that may be, and only those that cannot be in mm."""
    lengths = [each for each in observations if each.value is not None and not each.unscaled]
    for factor, (name, prior) in UNITS.items():
        changed = [in_other_unit(each, factor) for each in lengths]
        possible = [each for each in changed if _plausible(each)]
        wrong = {each.index for each in lengths if not _plausible(each)}
        certain = [each for each in possible if each.index in wrong]
        sets = [possible] if certain or len(possible) == len(lengths) else []
        if 0 < len(certain) < len(possible):
            sets.append(certain)
        sets = [each for each in sets if len(each) >= FEWEST_LENGTHS]
        for each in sets:
            every = len(each) == len(lengths)
            yield Cause(
                kind=f"{'everything' if every else 'several'}_in_{name}",
                words=f"{name} typed as mm",
                prior=prior / len(sets),
                corrected=tuple(each),
                log_jacobian=-len(each) * math.log(factor),
                change=(("unit", {"inches": "in", "mils": "mil"}[name]),),
            )


def scaled(reading: Reduced, factor: float, *, spans: int | None = None) -> Reduced:
    """The reading times ``factor``, with its uncertainty, what was subtracted from it and its share of a zero error."""
    shared = reading.shared
    return replace(
        reading,
        value=reading.number * factor,
        u=reading.u * factor,
        total_u=reading.total_u * factor,
        corrected=reading.corrected * factor,
        spans=reading.spans if spans is None else spans,
        shared=None if shared is None else replace(shared, coefficient=shared.coefficient * factor),
    )


def in_other_unit(reading: Reduced, factor: float) -> Reduced:
    """The reading if it is ``factor`` times the true size; its uncertainty in mm, and what was subtracted from it, do
    not depend on the unit's name."""
    return replace(reading, value=(reading.number + reading.corrected) / factor - reading.corrected)
