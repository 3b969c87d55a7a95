"""Proposes matings of halves with the same family, count and pitch and opposite kinds. Their basis is "inferred"."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from catalog.footprints.name_facts import KIND_LETTERS, family
from catalog.model.entries import Half, Mating
from catalog.model.entry_parts import HalfKind

NOTE = "same family, count and pitch in their footprints; no source states that they mate"
LETTER_KINDS: dict[str, HalfKind] = {"P": "plug", "S": "receptacle"}


def kinds_by_letters(halves: Sequence[Half]) -> list[Half]:
    """Set the kind of halves whose name states the count followed by P or S, if the counterpart exists as well."""
    names = {(half.part_number, half.contact_count, half.rows) for half in halves}
    return [_kind_by_letter(half, names) for half in halves]


def _kind_by_letter(half: Half, names: set[tuple[str, int, int]]) -> Half:
    found = [m for m in KIND_LETTERS.finditer(half.part_number) if int(m[1]) == half.contact_count]
    if half.half_kind is not None or len(found) != 1:
        return half
    place, letter = found[0].start(3), found[0][3]
    counterpart = half.part_number[:place] + ("S" if letter == "P" else "P") + half.part_number[place + 1 :]
    if (counterpart, half.contact_count, half.rows) not in names:
        return half
    return half.model_copy(update={"half_kind": LETTER_KINDS[letter]})


def propose(halves: Sequence[Half]) -> list[Mating]:
    """Every plug with every receptacle of its family, rows, count and pitch (to 0.01 mm)."""
    plugs: dict[tuple[object, ...], list[Half]] = defaultdict(list)
    receptacles: dict[tuple[object, ...], list[Half]] = defaultdict(list)
    for half in halves:
        pitch = half.dimensions.get("pitch")
        if half.half_kind in ("plug", "receptacle") and pitch is not None:
            same = (family(half.part_number), half.rows, half.contact_count, round(pitch.value, 2))
            (plugs if half.half_kind == "plug" else receptacles)[same].append(half)
    return [
        Mating(half=plug.key, other=receptacle.key, basis="inferred", note=NOTE)
        for same, group in plugs.items()
        for plug in group
        for receptacle in receptacles.get(same, ())
    ]
