"""The study on real geometry, whole: `python -m tests.real_geometry.study [--queries 20000] [--absence 1500]`.

Prints, for both readings of the body's outline, how often the right geometry comes first and among five, the
calibration error and its noise floor, what a filter and a nearest neighbour do with the same queries, and how honest
"not in this catalogue" is.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from multiprocessing import get_context

import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, HalfRow, Ints
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.simulated.absence import Ratios, ratios
from tests.real_geometry.simulated.baselines import run_filter, run_nearest
from tests.real_geometry.simulated.outlines import as_drawn, rows_of
from tests.real_geometry.simulated.simulation import BASIC, PHOTO, Scenario, Tally, joined, run, with_process_tolerance

SCENARIOS = {
    "count, rows, pitch, length, width": Scenario(features=BASIC),
    "and mounting": Scenario(features=(*BASIC, "mounting")),
    "and land span": Scenario(features=PHOTO),
    "unscaled photo": Scenario(features=PHOTO, unscaled=True),
    "2 % gross errors": Scenario(features=PHOTO, gross=0.02),
    "lands of a found board": Scenario(features=PHOTO, found_board=True),
}
PROCESSES = 2
FINE_PITCH = 0.8


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=int, default=20000, help="specimens for each scenario")
    parser.add_argument("--absence", type=int, default=1500, help="left-out specimens; 0 leaves this part out")
    parser.add_argument("--outline", choices=("moulding", "drawn", "both"), default="both")
    options = parser.parse_args(arguments)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    started = time.perf_counter()
    halves = [entry for entry in import_folders(folders).entries if isinstance(entry, Half)]
    print(f"{len(halves)} halves imported in {time.perf_counter() - started:.1f} s")
    readings = {"moulding": halves, "drawn": as_drawn(halves, folders) if options.outline != "moulding" else []}
    for outline in ("moulding", "drawn") if options.outline == "both" else (options.outline,):
        study(outline, rows_of(readings[outline]), options.queries, options.absence)


def study(outline: str, rows: list[HalfRow], queries: int, absence: int) -> None:
    """All scenarios on one catalogue."""
    stated = [with_process_tolerance(row) for row in rows]
    print(f"\nbody outline: {outline}; {len(rows)} halves, {len({row.series for row in rows})} series")
    columns = build_columns(stated, [])
    found = build_columns([with_process_tolerance(row, lands=False) for row in rows], [])
    subset = fine_pitch_subset(columns)
    print(f"{'':36}{'first':>8}{'in five':>9}{'cal.err':>9}{'floor':>8}{'filter':>8}{'lost':>7}{'nearest':>9}{'ms':>7}")
    for name, scenario in SCENARIOS.items():
        used = found if scenario.found_board else columns
        report(name, used, scenario, queries, np.arange(len(columns)))
        report("  fine pitch, 2+ rows, SMT, vertical", used, scenario, queries // 10, subset)
    if absence:
        for name, scenario in list(SCENARIOS.items())[:3]:
            report_absence(name, ratios(columns, scenario, absence))


def fine_pitch_subset(columns: Columns) -> Ints:
    """Pitch ≤ 0.8 mm, two rows or more, surface mount, vertical."""
    keep = (columns.dimensions["pitch"].stated <= FINE_PITCH + 1e-9) & (columns.counts["rows"] >= 2)
    keep &= columns.categories["mounting"][:, 0] > 0.5
    keep &= columns.categories["orientation"][:, 0] > 0.5
    return np.flatnonzero(keep)


def report(name: str, columns: Columns, scenario: Scenario, queries: int, among: Ints) -> None:
    """One line of the table."""
    chosen = np.random.default_rng(7).choice(among, size=max(queries, 1))
    started = time.perf_counter()
    tally = in_processes(columns, chosen, scenario)
    each = (time.perf_counter() - started) / len(chosen) * PROCESSES * 1000
    line = f"{name:36}{tally.first.mean():8.4f}{tally.in_five.mean():9.4f}{tally.calibration_error():9.4f}"
    line += f"{tally.noise_floor():8.4f}"
    if not scenario.unscaled:
        filtered, lost = run_filter(columns, chosen.tolist(), scenario, 0)
        nearest = run_nearest(columns, chosen.tolist(), scenario, 0)
        line += f"{filtered.first.mean():8.3f}{lost:7.3f}{nearest.first.mean():9.3f}"
    else:
        line += f"{'–':>8}{'–':>7}{'–':>9}"
    print(f"{line}{each:7.1f}", flush=True)


def in_processes(columns: Columns, chosen: Ints, scenario: Scenario) -> Tally:
    """The scenario over all chosen halves, shared out over processes."""
    absent = fit_absent(columns)
    pieces = [piece.tolist() for piece in np.array_split(chosen, PROCESSES)]
    tasks = [(columns, absent, piece, scenario, seed) for seed, piece in enumerate(pieces)]
    with get_context("fork").Pool(PROCESSES) as pool:
        return joined(pool.starmap(run, tasks))


def report_absence(name: str, result: Ratios) -> None:
    """AUROC and the honesty of the likelihood ratio, with a bootstrap over series."""
    mean, low, high = result.mean_ratio()
    shares = ", ".join(f"P(L≥{t}) = {result.share_from(t):.3f} (≤ {1 / t:.3f})" for t in (3, 10))
    print(f"absent, {name}: AUROC {result.auroc():.3f}; E[L|absent] {mean:.3f} [{low:.3f}, {high:.3f}]; {shares}")
    mean_stated, error = result.mean_probability_absent(0.1), result.calibration_error(0.1)
    print(f"    where a tenth is absent: mean P(absent) {mean_stated:.3f}, calibration error {error:.3f}", flush=True)


if __name__ == "__main__":
    main()
