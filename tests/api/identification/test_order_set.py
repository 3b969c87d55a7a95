"""The smallest set of mates of which one fits: against every set there is, and on the demo's specimens."""

from __future__ import annotations

import itertools
import random
from types import SimpleNamespace
from typing import Any, cast

import pytest

from api.identification import answer_words as words
from api.identification.answering import answer
from api.identification.order_set import MOST_PARTS, order_set
from api.schemas.answers import OrderSet
from api.schemas.requests import IdentifyRequest
from catalog.snapshot.snapshot import Snapshot
from matcher.results import FittingMate, HalfInPlay, Ranking, Verdict
from seeds_demo.loader import demo_specimens
from tests.api.identification.test_mates_in_order import half, mating

LEVEL = 0.95


def chosen(
    probabilities: dict[str, float],
    mates: list[tuple[str, str]],
    *,
    absent: float = 0.0,
    verdict: Verdict = Verdict.SHORTLIST,
    geometry: dict[str, int] | None = None,
    misfit: tuple[int, ...] = (),
    lifecycle: dict[str, str] | None = None,
    **of_matings: dict[str, Any],
) -> OrderSet | None:
    """The order set where each half has its probability, and pairs of half and mate are listed.

    ``of_matings`` says more of the mating of a half and a mate: ``A_B={"basis": "inferred"}``.
    """
    keys = sorted({*probabilities, *(key for pair in mates for key in pair)})
    records = [mating(this, other, **of_matings.get(f"{this}_{other}", {})) for this, other in mates]
    numbers = [(geometry or {}).get(key, 1000 + place) for place, key in enumerate(keys)]
    snapshot = SimpleNamespace(
        halves={key: half(key, (lifecycle or {}).get(key, "unknown")) for key in keys},
        matings_both_ways=records,
        columns=SimpleNamespace(geometry=numbers, position=keys.index),
    )
    in_play = tuple(
        HalfInPlay(
            key=key,
            probability=probability,
            mates=tuple(
                FittingMate(half=this, key=other, mating=number, probability=1.0, fits_observed=number not in misfit)
                for number, (this, other) in enumerate(mates)
                if this == key
            ),
        )
        for key, probability in sorted(probabilities.items(), key=lambda each: -each[1])
    )
    ranking = SimpleNamespace(verdict=verdict, probability_absent=absent, in_play=in_play)
    return order_set(cast(Snapshot, snapshot), cast(Ranking, ranking))


def parts(found: OrderSet | None) -> list[str]:
    return [] if found is None else [part.mate.part_number for part in found.parts]


def test_two_halves_with_a_mate_each_need_both() -> None:
    found = chosen({"A": 0.46, "B": 0.44}, [("A", "X"), ("B", "Y")], absent=0.1)
    assert found is not None
    assert parts(found) == ["X", "Y"]
    assert found.probability == pytest.approx(1.0)
    assert [part.probability for part in found.parts] == pytest.approx([0.46 / 0.9, 0.44 / 0.9])


def test_one_part_is_enough_where_it_fits_both_halves() -> None:
    both = [("A", "X"), ("A", "Z"), ("B", "Y"), ("B", "Z")]
    assert parts(chosen({"A": 0.5, "B": 0.5}, both)) == ["Z"]


def test_an_unlikely_half_is_left_out() -> None:
    found = chosen({"A": 0.96, "B": 0.04}, [("A", "X"), ("B", "Y")])
    assert found is not None
    assert (parts(found), found.probability) == (["X"], pytest.approx(0.96))


def test_a_part_with_a_warning_counts_only_where_the_others_are_not_enough() -> None:
    pairs = [("A", "X"), ("A", "Z"), ("B", "Y"), ("B", "Z")]
    doubted = {"A_Z": {"basis": "inferred"}, "B_Z": {"basis": "inferred"}}
    assert parts(chosen({"A": 0.5, "B": 0.5}, pairs, **doubted)) == ["X", "Y"]
    found = chosen({"A": 0.5, "B": 0.5}, pairs, lifecycle={"X": "discontinued"}, **doubted)
    assert found is not None
    assert parts(found) == ["Z"]
    assert found.parts[0].beware == ("no source: inferred from the sizes",)


def test_what_is_disputed_or_does_not_fit_what_was_observed_never_counts() -> None:
    assert chosen({"A": 1.0}, [("A", "X")], A_X={"standing": "disputed"}) is None
    assert parts(chosen({"A": 1.0}, [("A", "X"), ("A", "Y")], misfit=(0,))) == ["Y"]
    assert chosen({"A": 1.0}, [("A", "X")], misfit=(0,)) is None


def test_of_parts_that_fit_the_same_halves_the_safest_is_taken() -> None:
    assert parts(chosen({"A": 1.0}, [("A", "X"), ("A", "Y")], A_X={"correspondence": "unknown"})) == ["Y"]


def test_a_mate_of_the_same_geometry_and_wiring_fits_the_other_half_too() -> None:
    """A maker and its clone list only their own parts."""
    pairs, alike = [("A", "X"), ("B", "Y")], {"X": 1, "Y": 1}
    found = chosen({"A": 0.6, "B": 0.4}, pairs, geometry=alike)
    assert found is not None
    assert len(found.parts) == 1
    (part,) = found.parts
    assert [each.id for each in part.halves] == ["A", "B"]
    assert len(part.mate.suits) == 1
    assert len(parts(chosen({"A": 0.6, "B": 0.4}, pairs, geometry=alike, A_X={"correspondence": "unknown"}))) == 2


def test_nothing_is_ordered_under_no_match_or_without_enough_mates() -> None:
    pairs = [(f"A{n}", f"X{n}") for n in range(5)]
    assert chosen({"A0": 1.0}, pairs, verdict=Verdict.NO_MATCH) is None
    assert chosen({"A0": 0.94, "B": 0.06}, pairs[:1]) is None
    assert len(parts(chosen({f"A{n}": 0.25 for n in range(4)}, pairs[:4]))) == MOST_PARTS
    assert chosen({f"A{n}": 0.2 for n in range(5)}, pairs) is None


@pytest.mark.parametrize("seed", range(40))
def test_no_smaller_or_more_probable_set_exists(seed: int) -> None:
    draw = random.Random(seed)
    weights = [draw.random() ** 3 for _ in range(7)]
    probabilities = {f"A{n}": weight / sum(weights) for n, weight in enumerate(weights)}
    pairs = [(half, f"X{n}") for half in probabilities for n in range(6) if draw.random() < 0.3]
    fits = {mate: {half for half, other in pairs if other == mate} for _, mate in pairs}

    def covered(choice: tuple[str, ...]) -> float:
        return sum(p for half, p in probabilities.items() if any(half in fits[mate] for mate in choice))

    enough = [
        max(map(covered, itertools.combinations(sorted(fits), size)), default=0.0) for size in range(1, MOST_PARTS + 1)
    ]
    found = chosen(probabilities, pairs)
    sizes = [size for size, best in enumerate(enough, start=1) if best >= LEVEL]
    assert len(parts(found)) == (sizes[0] if sizes else 0)
    if found is not None:
        assert found.probability == pytest.approx(enough[sizes[0] - 1])
        assert found.probability == pytest.approx(covered(tuple(parts(found))))


LISTED = [each for each in demo_specimens() if each.expected.half is not None]


def test_one_of_the_parts_fits_the_half_that_a_specimen_is(snapshot: Snapshot) -> None:
    sizes = []
    for specimen in LISTED:
        found = answer(snapshot, IdentifyRequest.model_validate({"observations": specimen.observations}))
        sizes.append(len(found.order.parts) if found.order else 0)
        if found.order is None:
            assert words.order_set(found) == ()
        else:
            fitted = [half.id for part in found.order.parts for half in part.halves]
            assert specimen.expected.half in fitted, specimen.name
    assert sizes.count(0) < len(sizes) / 4
    assert max(sizes) > 1


def test_the_set_is_told_in_words_with_what_tells_the_parts_apart(snapshot: Snapshot) -> None:
    seen = [
        {"feature": "contact_count", "value": 24},
        {"feature": "rows", "value": 2},
        {"feature": "pitch", "value": 4.41, "spans": 11},
        {"feature": "body_length", "value": 6.63},
        {"feature": "body_width", "value": 1.99},
    ]
    order, arrival = words.order_set(answer(snapshot, IdentifyRequest.model_validate({"observations": seen})))
    assert order.startswith("Order both parts, and one of them fits (99.1 %, if the half is in this catalogue): ")
    assert order.endswith("MOSSIPET-R24 (stack 0.80 mm), SEEPLET-R24 (stack 0.80 mm).")
    assert arrival == "On arrival, tell them apart by hold-downs 4 / 2."
    seen.append({"feature": "hold_down_count", "value": 4})
    assert words.order_set(answer(snapshot, IdentifyRequest.model_validate({"observations": seen}))) == ()
