"""The demo's matings and numberings can all be true together."""

from __future__ import annotations

from collections import Counter

from api.fitting.wiring.contacts import contacts_of
from api.fitting.wiring.correspondence import pairing
from tests.seeds_demo.demo_world import world


def test_no_mating_of_the_demo_contradicts_the_numbering_of_its_halves() -> None:
    halves, doubts, sure = world().halves, Counter[str](), 0
    for mating in world().matings:
        if mating.correspondence == "unknown":
            continue
        found = pairing(mating, contacts_of(halves[mating.half]), contacts_of(halves[mating.other]))
        sure += found.sure
        doubts.update(found.doubts)
    assert not doubts
    assert sure > 1000
