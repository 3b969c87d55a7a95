"""Results of the simulation for several seeds: ``python -m tests.functional.crowd_study 1 2 3``."""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from time import perf_counter

from catalog.db.database import open_catalogue
from catalog.history.undo import undo
from catalog.snapshot.snapshot import Snapshot, take_snapshot
from tests.functional.crowd import make_plan
from tests.functional.crowd_outcome import answers, differences, specimens, standings
from tests.functional.crowd_parts import Type
from tests.functional.crowd_vandal import VANDAL
from tests.functional.crowd_world import World, keeper, moment


def study(seed: int, folder: Path) -> None:
    """Print the results for one seed."""
    plan = make_plan(seed)
    with (
        open_catalogue(f"sqlite:///{folder / f'{seed}-with.sqlite3'}") as catalogue,
        open_catalogue(f"sqlite:///{folder / f'{seed}-without.sqlite3'}") as quiet,
    ):
        world, without = World(catalogue=catalogue), World(catalogue=quiet)
        world.live(plan.deeds)
        without.live((place, deed) for place, deed in world.taken if deed.actor != VANDAL)
        with catalogue.reading() as session:
            before = take_snapshot(session)
        began = perf_counter()
        with catalogue.writing() as session:
            undone = undo(session, keeper(len(plan.deeds)), VANDAL, moment(0))
        took = perf_counter() - began
        with catalogue.reading() as session, quiet.reading() as other:
            after, never = take_snapshot(session), take_snapshot(other)
    observed = specimens(plan.parts.types, seed)
    same = answers(after, observed) == answers(never, observed)
    outcomes = Counter(outcome for (_, _, outcome), number in world.tally.items() for _ in range(number))
    sys.stdout.write(f"seed {seed}: {dict(outcomes)}\n")
    for name, snapshot in (("before", before), ("after", after), ("never", never)):
        sys.stdout.write(f"  {name}: {_told(snapshot, plan.parts.types)}\n")
    counted = Counter(record for record, _ in undone.taken_back)
    sys.stdout.write(f"  undone in {took:.1f} s: {dict(counted)}; reviewed anew: {len(undone.reviewed)}\n")
    for kept in undone.kept:
        sys.stdout.write(f"    kept {kept.record} {kept.key}: {kept.why} ({', '.join(kept.by)})\n")
    refused = {key: number for key, number in without.tally.items() if key[2] != "taken"}
    sys.stdout.write(f"  refused without the vandal: {refused}; identification the same: {same}\n")
    for key, what in differences(after, never).items():
        sys.stdout.write(f"    differs {key}: {'; '.join(what)[:300]}\n")


def _told(snapshot: Snapshot, types: Mapping[str, Type]) -> str:
    counted = standings(snapshot, types)
    return ", ".join(f"{standing} {truth} {number}" for (standing, truth), number in sorted(counted.items()))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        for given in sys.argv[1:]:
            study(int(given), Path(place))
