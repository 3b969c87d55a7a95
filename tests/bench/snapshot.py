"""Time of a snapshot, complete and after changes, in one run: `python -m tests.bench.snapshot`.

With the demo catalogue and, if installed, the real halves of a footprint package: the whole snapshot, the snapshot
after 1 change and after 100, their parts, and how long two worker processes take to answer from a changed catalogue.
Prints milliseconds and ratios to the whole snapshot; asserts nothing.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from catalog.db.database import Catalogue, open_catalogue
from catalog.footprints import import_folders
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.changes import revise
from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from catalog.records.read import get_record
from catalog.snapshot.incremental import read_cache
from catalog.snapshot.search import SearchIndex
from catalog.snapshot.snapshot import SnapshotSource, build
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import assemble_columns
from seeds_demo.loader import load_demo
from tests.catalog.snapshot.asking_workers import two_workers
from tests.real_geometry.conftest import FOOTPRINTS

SHIFT_MM = 0.01
"""Length that a change adds to a body, mm."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a table for each catalogue."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args(arguments)
    with _catalogue(load_demo) as (url, catalogue):
        table("demo", url, catalogue, options.rounds)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    if folders:
        with _catalogue(lambda opened: _fill(opened, folders)) as (url, catalogue):
            table("real halves", url, catalogue, options.rounds)


@contextmanager
def _catalogue(fill: Callable[[Catalogue], object]) -> Iterator[tuple[str, Catalogue]]:
    with tempfile.TemporaryDirectory(prefix="otherhalf-") as folder:
        url = f"sqlite:///{folder}/catalogue.sqlite3"
        with open_catalogue(url) as catalogue:
            fill(catalogue)
            yield url, catalogue


def _fill(catalogue: Catalogue, folders: Sequence[Path]) -> None:
    entries = import_folders(folders).entries
    with catalogue.writing() as session:
        add(session, entries)


def table(name: str, url: str, catalogue: Catalogue, rounds: int) -> None:
    """One table."""
    source = SnapshotSource(catalogue)
    halves = source.current().halves
    keys = [key for key, record in halves.items() if record.origin == "listed"]
    print(f"\n{name}: {len(keys)} listed halves, {len(halves) - len(keys)} inferred; median of {rounds}")
    whole = [timed(lambda: SnapshotSource(catalogue).current()) for _ in range(rounds)]
    base = row("whole snapshot", whole, statistics.median(whole))
    for part, seconds in parts(catalogue, rounds).items():
        row(f"  {part}", seconds, base)
    for changes in (1, 100):
        row(f"after {changes} changes", after(catalogue, source, keys, changes, rounds), base)
    with two_workers(url) as workers:
        for worker in workers:
            worker.ask(keys[0])
        seen = []
        for number in range(rounds):
            lengthen(catalogue, [keys[number]])
            seen += [worker.ask(keys[number])[2] for worker in workers]
    row("in two worker processes, after 1 change", seen, base)


def parts(catalogue: Catalogue, rounds: int) -> dict[str, list[float]]:
    """Seconds of the parts of a whole snapshot."""
    with catalogue.reading() as session:
        made = build(session, None)
        cache, halves = made.cache, [kept.prepared for kept in made.halves]
        matings = [kept.prepared for kept in cache.matings.values()]
        searchable = [kept.searchable for kept in cache.halves.values() if kept.searchable is not None]
        ways: dict[str, Callable[[], object]] = {
            "reading, variants, each half by itself": lambda: read_cache(session),
            "columns": lambda: assemble_columns(halves, matings),
            "density of absent": lambda: fit_absent(made.snapshot.columns),
            "search": lambda: SearchIndex(searchable),
        }
        return {part: [timed(way) for _ in range(rounds)] for part, way in ways.items()}


def after(catalogue: Catalogue, source: SnapshotSource, keys: Sequence[str], changes: int, rounds: int) -> list[float]:
    """Seconds until the snapshot includes the changes, which are spread over the catalogue."""
    step = len(keys) // changes
    seconds = []
    for number in range(rounds):
        lengthen(catalogue, keys[number % step :: step][:changes])
        seconds.append(timed(source.current))
    return seconds


def lengthen(catalogue: Catalogue, keys: Sequence[str]) -> None:
    """Change the body length of each half."""
    with catalogue.writing() as session:
        for key in keys:
            half = get_record(session, "half", key).content
            if not isinstance(half, Half):
                raise TypeError(f"{key} is no half")
            old = half.dimensions.get("body_length", Dimension(value=1.0))
            length = Dimension(value=round(old.value + SHIFT_MM, 3), tolerance=old.tolerance)
            changed = half.model_copy(update={"dimensions": {**half.dimensions, "body_length": length}})
            revise(session, operators("bench"), key, changed)


def timed(run: Callable[[], object]) -> float:
    """Seconds of one run."""
    started = time.perf_counter()
    run()
    return time.perf_counter() - started


def row(name: str, seconds: Sequence[float], base: float) -> float:
    """Print one line; returns its median."""
    median = statistics.median(seconds)
    print(f"{name:42} {median * 1e3:8.0f} ms   worst {max(seconds) * 1e3:8.0f} ms   ×{median / base:6.3f}", flush=True)
    return median


if __name__ == "__main__":
    main()
