"""Expansion of a series: the halves and matings that its laws make."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from catalog.model.entries import AnyEntry, Half, HeightClass, KindLaw, Mating, Series, StackPair
from catalog.model.entry_parts import DIGITS_MM, LARGEST_DIMENSION, Dimension, DimensionLaw
from catalog.model.errors import EntryError

MOST_HALVES = 20_000
"""Most halves of a series; more must be a mistake in its contact counts or classes."""

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_NUMBER = re.compile(r"(contacts|positions)(?::([1-9]))?")


@dataclass(frozen=True, kw_only=True)
class Expansion:
    """The halves and matings of a series, each once."""

    halves: tuple[Half, ...]
    matings: tuple[Mating, ...]

    @property
    def members(self) -> list[AnyEntry]:
        """The halves, then the matings."""
        return [*self.halves, *self.matings]


@dataclass(frozen=True, kw_only=True)
class _Member:
    half: Half
    height: HeightClass


def expand(series: Series) -> Expansion:
    """All halves and matings of a series. Raises EntryError, naming the law that cannot be carried out."""
    sizes = [len(law.contact_counts) * len(law.classes) for law in series.kinds]
    if sum(sizes) > MOST_HALVES:
        raise EntryError(
            f"series {series.name} would have {sum(sizes)} halves",
            field="kinds",
            value=sum(sizes),
            remedy=f"Check contact_counts and classes; {MOST_HALVES} is the most",
        )
    members = [member for index, law in enumerate(series.kinds) for member in _members(series, law, f"kinds[{index}]")]
    _refuse_twice([member.half.key for member in members], "part_number", "give two halves the same part number")
    matings = tuple(
        mating for index, pair in enumerate(series.stack) for mating in _mates(series, pair, members, f"stack[{index}]")
    )
    _refuse_twice([mating.key for mating in matings], "stack", "list a mating twice")
    return Expansion(halves=tuple(member.half for member in members), matings=matings)


def dimension_at(law: DimensionLaw, positions: int) -> float:
    """The law's value for a number of positions (contacts per row), mm."""
    return round(law.intercept + law.slope * positions, DIGITS_MM)


def fill(pattern: str, values: Mapping[str, str | int], *, field: str) -> str:
    """A part-number pattern with its placeholders replaced; raises EntryError for an unknown placeholder."""

    def replaced(match: re.Match[str]) -> str:
        name = match[1]
        number = _NUMBER.fullmatch(name)
        if number:
            return str(values[number[1]]).zfill(int(number[2] or 0))
        if name in values:
            return str(values[name])
        raise _unknown(pattern, match[0], values, field)

    text = _PLACEHOLDER.sub(replaced, pattern)
    rest = _PLACEHOLDER.sub("", pattern)
    if "{" in rest or "}" in rest:
        raise _unknown(pattern, "a single brace", values, field)
    return text


def _unknown(pattern: str, placeholder: str, values: Mapping[str, object], field: str) -> EntryError:
    known = ", ".join(f"{{{name}}}" for name in values)
    return EntryError(
        f"the pattern {pattern!r} contains {placeholder}, which is not a placeholder",
        field=field,
        value=pattern,
        remedy=f"Use {known}; {{contacts:3}} pads with zeros to three digits, up to nine are possible",
    )


def _refuse_twice(keys: Sequence[str], field: str, what: str) -> None:
    twice = [key for key, times in Counter(keys).items() if times > 1]
    if twice:
        raise EntryError(
            f"the laws {what}: {twice[0]}",
            field=field,
            value=twice[0],
            remedy="Make the pattern distinguish kinds, contact counts and classes, and list each only once",
        )


def _members(series: Series, law: KindLaw, field: str) -> Iterator[_Member]:
    for number, height in enumerate(law.classes):
        for contacts in law.contact_counts:
            yield _Member(half=_half(series, law, height, contacts, field, number), height=height)


def _half(series: Series, law: KindLaw, height: HeightClass, contacts: int, field: str, number: int) -> Half:
    positions = law.positions(contacts)
    _check_blocked(law, contacts, positions, field)
    places: dict[str, str | int] = {"contacts": contacts, "positions": positions, "class": height.code}
    part = fill(law.part_number, places, field=f"{field}.part_number")
    codes = {**places, "part": part}
    own = {f"{field}.dimensions.{name}": law for name, law in law.dimensions.items() if name not in height.dimensions}
    own |= {f"{field}.classes[{number}].dimensions.{name}": law for name, law in height.dimensions.items()}
    return Half(
        maker=series.maker,
        series=series.name,
        part_number=part,
        half_kind=law.half_kind,
        rows=law.rows,
        contact_count=contacts,
        positions=positions,
        blocked=law.blocked,
        numbering=law.numbering,
        dimensions={path.rsplit(".", 1)[1]: _dimension(law, positions, contacts, path) for path, law in own.items()},
        counts=law.counts,
        categories=law.categories,
        markings=law.markings,
        aliases=law.aliases,
        order_codes=tuple(fill(code, codes, field=f"{field}.order_codes") for code in law.order_codes),
        lifecycle=series.lifecycle,
        mating_cycles=series.mating_cycles,
        ratings=series.ratings,
        datasheet=series.datasheet,
    )


def _check_blocked(law: KindLaw, contacts: int, positions: int, field: str) -> None:
    for site in law.blocked:
        if site.row > law.rows or site.position > positions:
            raise EntryError(
                f"the blocked site row {site.row}, position {site.position} is outside a half of {contacts} contacts",
                field=f"{field}.blocked",
                value=site.model_dump(),
                remedy=f"The half has {law.rows} rows of {positions} positions, including blocked ones",
            )


def _dimension(law: DimensionLaw, positions: int, contacts: int, path: str) -> Dimension:
    value = dimension_at(law, positions)
    if not 0 < value <= LARGEST_DIMENSION:
        raise EntryError(
            f"the law gives {value:g} mm at {contacts} contacts ({positions} positions)",
            field=path,
            value=value,
            remedy="Correct the intercept, the slope (mm per position of one row) or the contact counts",
        )
    return Dimension(value=value, bound=law.bound, tolerance=law.tolerance)


def _mates(series: Series, pair: StackPair, members: Sequence[_Member], field: str) -> list[Mating]:
    firsts, seconds = _sides(series, pair, members, field)
    pairs = [
        _mating(series, pair, first, second, field)
        for first in firsts
        for second in seconds
        if first.half.contact_count == second.half.contact_count
    ]
    # Two hermaphroditic halves of one class meet twice, as A-B and B-A; that is one mating.
    found = list({mating.key: mating for mating in pairs}.values())
    if not found:
        raise EntryError(
            f"no contact count is listed for both {pair.plug!r} and {pair.receptacle!r}",
            field=field,
            value=(pair.plug, pair.receptacle),
            remedy="List the contact counts of both kinds, or leave the pair out",
        )
    return found


def _sides(
    series: Series, pair: StackPair, members: Sequence[_Member], field: str
) -> tuple[list[_Member], list[_Member]]:
    kinds = {law.half_kind for law in series.kinds}
    if "hermaphroditic" in kinds and len(kinds) > 1:
        raise EntryError(
            "a series has either hermaphroditic halves or plugs and receptacles, not both",
            field="kinds",
            value=sorted(kinds),
            remedy="Make two series, and list the matings between them one by one",
        )
    both = "hermaphroditic" in kinds
    first = _of_class(members, "hermaphroditic" if both else "plug", pair.plug, f"{field}.plug")
    second = _of_class(members, "hermaphroditic" if both else "receptacle", pair.receptacle, f"{field}.receptacle")
    return first, second


def _of_class(members: Sequence[_Member], kind: str, code: str, field: str) -> list[_Member]:
    of_kind = [member for member in members if member.half.half_kind == kind]
    found = [member for member in of_kind if member.height.code == code]
    if not found:
        known = sorted({member.height.code for member in of_kind})
        raise EntryError(
            f"no {kind} of this series has the height class {code!r}",
            field=field,
            value=code,
            remedy=f"Known classes: {', '.join(known)}" if known else f"Give the series a law for the {kind} first",
        )
    return found


def _mating(series: Series, pair: StackPair, first: _Member, second: _Member, field: str) -> Mating:
    return Mating(
        half=first.half.key,
        other=second.half.key,
        stack_height=pair.stack_height or _summed(series, first.height, second.height, field),
        mated_width=pair.mated_width,
        correspondence=series.correspondence,
        basis="maker",
        citation=series.datasheet,
    )


def _summed(series: Series, first: HeightClass, second: HeightClass, field: str) -> Dimension | None:
    shares = (first.stack_share, second.stack_share)
    if shares == (None, None):
        return None
    total = round(sum(share or 0.0 for share in shares), DIGITS_MM)
    if None in shares or total == 0:
        raise EntryError(
            f"the stack shares {shares} of the classes {first.code!r} and {second.code!r} give no stack height",
            field=field,
            value=shares,
            remedy="Give both classes a stack_share with a sum above 0, or give the pair a stack_height",
        )
    return Dimension(value=total, tolerance=series.stack_tolerance)
