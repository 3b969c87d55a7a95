"""The study of hints: `python -m tests.real_geometry.hints_study [--specimens 300] [--clean 2000] [PART…]`.

Every mistake is put into specimens of real geometry, and the share is printed in which it can be seen at all (no half
explains the mistaken observations as they stand), in which the right hint comes first and among the first two, and
the time of one call; for specimens without mistakes, how often there is any hint. The threshold for showing hints was
chosen on one half of the series, and everything is reported on the other.

Footprints carry no heights and hardly any metal's length. These mistakes are tried on the demo catalogue, which is
invented: that part is not real geometry.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from typing import TypeVar

import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, Ints, MatingRow
from matcher.decision.likely_slips import Hint, hints
from matcher.decision.likely_slips.report import SHOWN_FROM
from matcher.decision.posterior import PRIOR_ABSENT, posterior
from matcher.observations import Reduced, SharedError, SharedKind
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.simulated.mistaken import (
    COUNTED,
    DEMO,
    FULL,
    INJECTIONS,
    WITH_HEIGHTS,
    WITHOUT_PAIR,
    FullBench,
    explained,
    is_right,
    names_the_miscount,
    without,
    without_miscount,
)
from tests.real_geometry.simulated.outlines import row_of, rows_of
from tests.real_geometry.simulated.simulation import BASIC, Scenario, with_process_tolerance
from tests.seeds_demo.demo_world import world

ZERO = SharedError(group="zero:caliper", kind=SharedKind.ZERO, sd=0.03 / np.sqrt(3.0))
"""A caliper's limit of error of 0.03 mm, shared by all its readings."""

IN_PICTURE = (
    *("contacts_for_gaps", "gap_missed", "twice_the_pitch", "half_the_pitch"),
    "other_kind",
)
"""Mistakes that a picture without scale can show."""

MISTAKES = {**WITH_HEIGHTS, **INJECTIONS}

TRIES = 40
"""Halves tried for each specimen wanted before a mistake counts as impossible to see in this catalogue."""

STEPS = np.round(np.arange(0.05, 0.96, 0.05), 2)
ALLOWED = 0.01
"""The threshold is chosen for this share of specimens without mistakes that get a hint: half of what is allowed."""

PROCESSES = 2

Result = TypeVar("Result")


@dataclass(frozen=True, kw_only=True)
class Setup:
    """A catalogue, the features observed on its specimens, and their shared error."""

    columns: Columns
    absent: AbsentModel
    scenario: Scenario
    zero: SharedError | None = None

    def bench(self, seed: int) -> FullBench:
        """A bench with this setup."""
        return FullBench(self.columns, seed, self.zero)

    def hints_of(self, specimen: Sequence[Reduced], shown_from: float) -> tuple[tuple[Hint, ...], float]:
        """Hints for the specimen, and the time they took beyond the identification, ms."""
        result = posterior(self.columns, self.absent, specimen, PRIOR_ABSENT)
        started = time.perf_counter()
        found = hints(result, specimen, shown_from=shown_from)
        return found, (time.perf_counter() - started) * 1000.0


@dataclass(kw_only=True)
class Outcome:
    """Results for one mistake: specimens where it was possible and where it could be seen, the right hint's rank (0: it
    was not given), and times."""

    possible: int = 0
    places: list[int] = field(default_factory=list)
    times: list[float] = field(default_factory=list)

    def share(self, places: int) -> float:
        """Share of seen mistakes whose hint is among the first ``places``."""
        return float(np.mean([0 < place <= places for place in self.places]))

    @property
    def seen(self) -> float:
        """Share of possible mistakes that can be seen."""
        return len(self.places) / max(self.possible, 1)


def try_mistake(
    kind: str, setup: Setup, wanted: int, among: Ints, seed: int, shown_from: float = SHOWN_FROM
) -> Outcome:
    """Put a mistake into ``wanted`` specimens where it can be seen, from halves drawn from ``among``."""
    bench, outcome = setup.bench(seed), Outcome()
    for half in np.random.default_rng(seed + 1).choice(among, size=TRIES * wanted).tolist():
        if len(outcome.places) == wanted:
            break
        specimen = bench.specimen(half, setup.scenario)
        if kind in COUNTED:
            specimen = without_miscount(specimen, setup.columns, half)
        if kind in WITHOUT_PAIR:
            specimen = without(specimen, "stack_height")
        mistaken = MISTAKES[kind](specimen, half, bench)
        if mistaken is None:
            continue
        outcome.possible += 1
        if explained(mistaken, setup.columns):
            continue
        found, took = setup.hints_of(mistaken, shown_from)
        right = [is_right(hint, kind, specimen, mistaken) for hint in found]
        outcome.places.append(right.index(True) + 1 if any(right) else 0)
        outcome.times.append(took)
    return outcome


@dataclass(kw_only=True)
class Clean:
    """Results for specimens without mistakes: the probability of the likeliest false hint (0: none), and how many had
    their true miscount named."""

    false: list[float] = field(default_factory=list)
    miscounts: int = 0
    times: list[float] = field(default_factory=list)

    def share(self, shown_from: float) -> float:
        """Share of specimens without mistakes that get a false hint."""
        return float(np.mean(np.array(self.false) >= shown_from))


def try_clean(setup: Setup, number: int, among: Ints, seed: int, shown_from: float = SHOWN_FROM) -> Clean:
    """Hints for specimens without mistakes except the simulation's noise and miscounts."""
    bench, clean = setup.bench(seed), Clean()
    for half in np.random.default_rng(seed + 1).choice(among, size=number).tolist():
        specimen = bench.specimen(half, setup.scenario)
        found, took = setup.hints_of(specimen, shown_from)
        true = int(setup.columns.counts["contact_count"][half])
        false = [hint.probability for hint in found if not names_the_miscount(hint, specimen, true)]
        clean.miscounts += len(false) < len(found)
        clean.false.append(max(false, default=0.0))
        clean.times.append(took)
    return clean


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--specimens", type=int, default=300, help="specimens for each mistake")
    parser.add_argument("--clean", type=int, default=2000, help="clean specimens for each setup")
    parser.add_argument("parts", nargs="*", help=f"of {', '.join(PARTS)}; all by default")
    options = parser.parse_args(arguments)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    halves = [entry for entry in import_folders(folders).entries if isinstance(entry, Half)]
    columns = build_columns([with_process_tolerance(row) for row in rows_of(halves)], [])
    real = Setup(columns=columns, absent=fit_absent(columns), scenario=Scenario(features=FULL))
    print(f"real geometry: {len(columns)} halves")
    setups: dict[str, tuple[str, Callable[[], Setup], tuple[str, ...]]] = {
        "caliper": ("one caliper, its zero error shared", lambda: replace(real, zero=ZERO), tuple(INJECTIONS)),
        "alone": ("each reading by itself", lambda: real, tuple(INJECTIONS)),
        "few": ("count, rows, pitch, length, width only", lambda: replace(real, scenario=FEW), tuple(INJECTIONS)),
        "picture": ("a picture without scale", lambda: replace(real, scenario=UNSCALED), IN_PICTURE),
        "demo": ("demo catalogue (invented)", demo_setup, tuple(WITH_HEIGHTS)),
    }
    for part in options.parts or ("choice", *setups):
        if part == "choice":
            choose(real, options.clean)
        else:
            name, setup, kinds = setups[part]
            report(name, setup(), kinds, options)


FEW, UNSCALED = Scenario(features=BASIC), Scenario(features=FULL, unscaled=True)
PARTS = ("choice", "caliper", "alone", "few", "picture", "demo")


def demo_setup() -> Setup:
    """The demo catalogue with heights, matings and lengths over the metal."""
    demo = world()
    matings = [
        MatingRow(
            half=mating.half,
            other=mating.other,
            dimensions={name: Dim(value=dim.value, tolerance=dim.tolerance) for name, dim in mating.dimensions.items()},
        )
        for mating in demo.matings
    ]
    columns = build_columns([row_of(half) for half in demo.halves.values()], matings)
    return Setup(columns=columns, absent=fit_absent(columns), scenario=Scenario(features=DEMO))


def of_series(columns: Columns, parity: int) -> Ints:
    """The halves of every second series."""
    return np.flatnonzero(columns.series % 2 == parity)


def choose(setup: Setup, number: int) -> None:
    """Print the smallest threshold at which few enough specimens of the first half of the series get false hints."""
    clean = try_clean(setup, number, of_series(setup.columns, 0), seed=11, shown_from=float(STEPS[0]))
    shares = {float(step): clean.share(float(step)) for step in STEPS}
    enough = [step for step, share in shares.items() if share <= ALLOWED]
    print("chosen on even series: false hints by threshold")
    print("  " + "  ".join(f"{step:.2f}: {share:.4f}" for step, share in list(shares.items())[:8]))
    print(f"  smallest with at most {ALLOWED:.0%}: {enough[0] if enough else 'none'}; in use: {SHOWN_FROM}")


def report(name: str, setup: Setup, kinds: Iterable[str], options: argparse.Namespace) -> None:
    """A table of all mistakes on the other half of the series."""
    among = of_series(setup.columns, 1)
    print(f"\n{name} (odd series)\n{'':34}{'n':>6}{'seen':>7}{'first':>8}{'in two':>8}{'ms':>7}{'p99':>6}")
    tasks = [(kind, setup, options.specimens, among, 5) for kind in kinds]
    for (kind, *_), outcome in zip(tasks, in_processes(try_mistake, tasks), strict=True):
        if not outcome.places:
            print(f"{kind:34}{0:6} of {outcome.possible} possible ones can be seen")
            continue
        line = f"{kind:34}{len(outcome.places):6}{outcome.seen:7.2f}{outcome.share(1):8.3f}{outcome.share(2):8.3f}"
        print(f"{line}{np.mean(outcome.times):7.1f}{np.percentile(outcome.times, 99):6.0f}", flush=True)
    pieces = [(setup, options.clean // PROCESSES, among, 100 + seed) for seed in range(PROCESSES)]
    cleans = in_processes(try_clean, pieces)
    times = np.concatenate([clean.times for clean in cleans])
    line = f"clean: {np.mean([clean.share(SHOWN_FROM) for clean in cleans]):.4f} with a false hint, "
    line += f"{sum(clean.miscounts for clean in cleans)} true miscounts named, of {len(times)}"
    print(f"{line}; {times.mean():.1f} ms, p99 {np.percentile(times, 99):.0f}", flush=True)


def in_processes(task: Callable[..., Result], arguments: Sequence[tuple[object, ...]]) -> list[Result]:
    """All calls, distributed over processes."""
    with get_context("fork").Pool(PROCESSES) as pool:
        return pool.starmap(task, arguments, chunksize=1)


if __name__ == "__main__":
    main()
