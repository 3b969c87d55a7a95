"""Time of advice on the next measurement, and of hints: `python -m tests.bench.advice [--queries 100]`.

Uses the real halves of an installed footprint package. Each specimen's observations are taken in random order; after
each, the ranking, the advice and the hints are timed separately. Prints p50 and p99 in milliseconds by the number of
observations, and their ratio to the ranking of the same run; asserts nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence

import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.decision.likely_slips import hints
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.posterior import posterior
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import PHOTO, Bench, Scenario

SCENARIO = Scenario(features=(*PHOTO, "mounting", "orientation"))


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=int, default=100)
    options = parser.parse_args(arguments)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    halves = [entry for entry in import_folders(folders).entries if isinstance(entry, Half)]
    columns = build_columns(rows_of(halves, 0.0, 1e9), [])
    absent, bench, draw = fit_absent(columns), Bench(columns, 3), np.random.default_rng(0)
    times: dict[int, list[tuple[float, float, float]]] = {}
    for half in draw.integers(0, len(columns), options.queries):
        observed = bench.specimen(int(half), SCENARIO)
        order = draw.permutation(len(observed))
        for number in range(1, len(observed) + 1):
            taken = [observed[i] for i in sorted(order[:number])]
            started = time.perf_counter()
            result = posterior(columns, absent, taken)
            ranked = time.perf_counter()
            advise(result)
            advised = time.perf_counter()
            hints(result, taken)
            hinted = time.perf_counter()
            times.setdefault(number, []).append((ranked - started, advised - ranked, hinted - advised))
    print(f"{len(columns)} real halves, {options.queries} specimens; p50 / p99 ms, and ratio of p50 to the ranking's")
    for number, each in [*times.items(), (0, [line for lines in times.values() for line in lines])]:
        print(line(f"after {number}" if number else "all", np.array(each) * 1000))


def line(name: str, milliseconds: np.ndarray) -> str:
    """One line of the table."""
    p50, p99 = np.percentile(milliseconds, [50, 99], axis=0)
    columns = ("ranking", "advice", "hints")
    cells = [f"{c} {a:.1f} / {b:.1f} (×{a / p50[0]:.1f})" for c, a, b in zip(columns, p50, p99, strict=True)]
    return f"{name:9}" + "   ".join(cells)


if __name__ == "__main__":
    main()
