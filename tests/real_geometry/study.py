"""The study on real geometry, whole: `python -m tests.real_geometry.study [--queries 20000] [--absence 1500]`.

Prints, for both interpretations of the body's outline, how often the right geometry comes first and among five, the
calibration error and its noise floor, the results of a filter and a nearest neighbour on the same queries, and how well
"not in this catalogue" is calibrated.

With --noise it prints instead whether probabilities hold under other kinds of noise, and with --held-out how well
"not in this catalogue" is calibrated for series missing from the catalogue.
"""

from __future__ import annotations

import argparse
import textwrap
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace
from multiprocessing import get_context

import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, HalfRow, Ints
from matcher.decision.posterior import PRIOR_ABSENT
from tests.matcher.invented import invented_rows
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.noise_study import LEGEND, bar, report_noise
from tests.real_geometry.simulated.absence import Batch, Ratios, batches, put_together, ratios
from tests.real_geometry.simulated.baselines import run_filter, run_nearest
from tests.real_geometry.simulated.left_out import LeftOut, left_out_pairs
from tests.real_geometry.simulated.noises import FEATURE_SETS, NOISES, with_heights
from tests.real_geometry.simulated.outlines import as_drawn, row_of, rows_of
from tests.real_geometry.simulated.simulation import BASIC, PHOTO, Scenario, Tally, joined, run, with_process_tolerance
from tests.seeds_demo.demo_world import world

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
    parser = argparse.ArgumentParser(
        description=__doc__, epilog=_epilog(), formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--queries", type=int, default=20000, help="specimens for each scenario")
    parser.add_argument("--absence", type=int, default=1500, help="left-out specimens; 0 leaves this part out")
    parser.add_argument(
        "--outline", choices=("moulding", "drawn", "both"), default="both", help="outline of the body to use"
    )
    parser.add_argument(
        "--noise", nargs="+", choices=("all", *NOISES), metavar="NAME", help="names of noises listed below, or all"
    )
    parser.add_argument(
        "--sets",
        nargs="+",
        choices=tuple(FEATURE_SETS),
        default=tuple(FEATURE_SETS),
        help="what is observed, with --noise",
    )
    parser.add_argument("--held-out", type=int, default=0, metavar="N", help="specimens of series that are left out")
    options = parser.parse_args(arguments)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    started = time.perf_counter()
    halves = [entry for entry in import_folders(folders).entries if isinstance(entry, Half)]
    print(f"{len(halves)} halves imported in {time.perf_counter() - started:.1f} s")
    readings = {"moulding": halves, "drawn": as_drawn(halves, folders) if options.outline != "moulding" else []}
    for outline in ("moulding", "drawn") if options.outline == "both" else (options.outline,):
        rows = rows_of(readings[outline])
        print(f"\nbody outline: {outline}; {len(rows)} halves, {len({row.series for row in rows})} series")
        if options.noise:
            study_noises(rows, NOISES if "all" in options.noise else options.noise, options.queries, options.sets)
        if options.held_out:
            study_held_out(outline, [with_heights(rows)], options.held_out)
        if not (options.noise or options.held_out):
            study(rows, options.queries, options.absence)
            if options.absence:
                study_variants(readings[outline], options.absence)
    if options.held_out:
        demo = demo_rows()
        study_held_out("demo", [demo], options.held_out)
        study_held_out("10 series of it", [of_ten_series(demo, seed) for seed in range(20)], options.held_out)
        study_held_out("10 other series", [invented_rows(10)[0]], options.held_out)


def _epilog() -> str:
    noises = "\n".join(f"  {noise.name:16} {noise.says}" for noise in NOISES.values())
    return f"""\
examples:
  python -m tests.real_geometry.study                               the whole study, both outlines
  python -m tests.real_geometry.study --noise bias --queries 5000   one noise, a table of six lines
  python -m tests.real_geometry.study --noise all --outline drawn   all noises, one outline
  python -m tests.real_geometry.study --held-out 1500               absent: series left out by both rules

noises (each has its seed; one specimen in ten is of a half that is not listed):
{noises}

what the columns of a noise's table mean:
{textwrap.indent(LEGEND, "  ")}
"""


def study_noises(rows: list[HalfRow], names: Iterable[str], queries: int, sets: Sequence[str]) -> None:
    """A table for each noise, with a line for each of the feature sets."""
    print(f"\n{LEGEND}")
    for name in names:
        report_noise(rows, NOISES[name], queries, sets)


HELD_OUT_HEADER = (
    f"{'':16}{'left out':12}{'E[L]':>7}{'95 % of E[L]':>16}{'L≥10':>8}{'L≥20':>8}{'L≥100':>8}"
    f"{'AUROC':>8}{'cal.err':>9}{'floor':>8}{'P(absent)':>11}"
)


def study_held_out(name: str, catalogues: Sequence[Sequence[HalfRow]], specimens: int) -> None:
    """Whether L = p(y | listed) / q(y) is honest on series that the fit did not see, by both rules of leaving out.

    Small catalogues come as several, with a share of the specimens each.
    """
    parts = []
    for seed, rows in enumerate(catalogues):
        columns = build_columns([with_process_tolerance(row) for row in rows], [])
        parts += batches(rows, columns, -(-specimens // len(catalogues)), seed)
    with get_context("fork").Pool(PROCESSES) as pool:
        found = put_together(bar(pool.imap(_ratios_of, parts), len(parts), name))
    halves = " + ".join(str(len(rows)) for rows in catalogues)
    print(f"\nabsent, {name}: {halves} halves; series left out in {len(parts)} batches, ", end="")
    print(f"{parts[0].specimens} absent and as many listed specimens of each")
    print(HELD_OUT_HEADER)
    for (features, rule), result in found.items():
        mean, low, high = result.mean_ratio()
        shares = "".join(f"{result.share_from(t):8.4f}" for t in (10, 20, 100))
        error, floor = result.calibration(PRIOR_ABSENT)
        print(f"{features:16}{rule:12}{mean:7.3f}{low:9.3f}–{high:.3f} {shares}{result.auroc():8.3f}", end="")
        print(f"{error:9.4f}{floor:8.4f}{result.doubt(PRIOR_ABSENT):11.4f}", flush=True)


def _ratios_of(batch: Batch) -> dict[tuple[str, str], Ratios]:
    return batch.ratios(NOISES["standing"])


def demo_rows() -> list[HalfRow]:
    """The demo catalogue with every law expanded; what its drawings print counts as nominal."""
    rows = [row_of(half) for half in world().halves.values()]
    return [
        replace(row, dimensions={name: replace(dim, bound="nominal") for name, dim in row.dimensions.items()})
        for row in rows
    ]


def of_ten_series(rows: Sequence[HalfRow], seed: int) -> list[HalfRow]:
    """The halves of ten of the series, drawn with the seed."""
    chosen = np.random.default_rng(seed).choice(sorted({row.series for row in rows}), size=10, replace=False)
    return [row for row in rows if row.series in chosen]


def study_variants(halves: Sequence[Half], most: int) -> None:
    """How often a variant that no entry lists is among the first five, predicted from its siblings."""
    usable = [half for half in halves if "pitch" in half.dimensions and 0.2 <= half.dimensions["pitch"].value <= 2.54]
    left_out = LeftOut(usable, min(most, len(left_out_pairs(usable))))
    shares = [f"{name} {left_out.named_in_five(SCENARIOS[name]):.3f}" for name in VARIANT_SCENARIOS]
    print(f"{len(left_out.entries)} variants left out, inferred and among the first five: {'; '.join(shares)}")


VARIANT_SCENARIOS = ("count, rows, pitch, length, width", "and land span")


def study(rows: list[HalfRow], queries: int, absence: int) -> None:
    """All scenarios on one catalogue."""
    stated = [with_process_tolerance(row) for row in rows]
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
    """The scenario for all chosen halves, distributed over processes."""
    absent = fit_absent(columns)
    pieces = [piece.tolist() for piece in np.array_split(chosen, PROCESSES)]
    tasks = [(columns, absent, piece, scenario, seed) for seed, piece in enumerate(pieces)]
    with get_context("fork").Pool(PROCESSES) as pool:
        return joined(pool.starmap(run, tasks))


def report_absence(name: str, result: Ratios) -> None:
    """AUROC and the calibration of the likelihood ratio, with a bootstrap over series."""
    mean, low, high = result.mean_ratio()
    shares = ", ".join(f"P(L≥{t}) = {result.share_from(t):.3f} (≤ {1 / t:.3f})" for t in (3, 10))
    print(f"absent, {name}: AUROC {result.auroc():.3f}; E[L|absent] {mean:.3f} [{low:.3f}, {high:.3f}]; {shares}")
    mean_stated, error = result.mean_probability_absent(0.1), result.calibration_error(0.1)
    print(f"    where a tenth is absent: mean P(absent) {mean_stated:.3f}, calibration error {error:.3f}", flush=True)


if __name__ == "__main__":
    main()
