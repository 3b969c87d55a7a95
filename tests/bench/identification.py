"""Time of one identification compared with two simple filters, in one run: `python -m tests.bench.identification`.

With the real halves of an installed footprint package (if present) and with 100,000 synthetic halves: p50 and
p99 of the whole answer, of the ranking alone, of a NumPy filter over all columns, and of the same filter in DuckDB;
then the first two for pictures without a scale, which no filter can search. Prints milliseconds of this process's
processor time and ratios to the NumPy filter; asserts nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence

import duckdb
import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow
from matcher.decision.posterior import posterior
from matcher.identify import identify
from matcher.observations import Reduced
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.simulated.baselines import measured_row, measured_table
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import PHOTO, Bench, Scenario

FEATURES = tuple(PHOTO)
FEW = ("contact_count", "pitch", "body_length", "body_width")
LIMITS = np.array([0.5, 0.5, 0.02, 0.1, 0.1, 0.1])
SCENARIO = Scenario(features=PHOTO)
PICTURES = {
    "picture without a scale": Scenario(features=PHOTO, unscaled=True),
    "the same, fewer readings": Scenario(features=FEW, unscaled=True),
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=int, default=200)
    options = parser.parse_args(arguments)
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    if folders:
        halves = [entry for entry in import_folders(folders).entries if isinstance(entry, Half)]
        table("real halves", build_columns(rows_of(halves, 0.0, 1e9), []), options.queries)
    table("synthetic halves", build_columns(synthetic_rows(100_000), []), options.queries)


def synthetic_rows(number: int) -> list[HalfRow]:
    """Invented halves: series of twenty sizes with random pitch, allowance and widths."""
    draw = np.random.default_rng(0)
    rows = []
    for series in range(number // 20):
        pitch = float(draw.choice([0.35, 0.4, 0.5, 0.635, 0.8, 1.0, 1.27, 2.0, 2.54]))
        lines, allowance, width = int(draw.integers(1, 5)), draw.uniform(1, 8), draw.uniform(1.5, 12)
        for step in range(1, 21):
            sizes = {"pitch": pitch, "body_length": pitch * (step * 3 - 1) + allowance, "body_width": width}
            rows.append(
                HalfRow(
                    key=f"{series}-{step}",
                    series=str(series),
                    dimensions={name: Dim(value=size) for name, size in (sizes | {"land_span": width + 1}).items()},
                    counts={"contact_count": step * 3 * lines, "rows": lines},
                    categories={},
                )
            )
    return rows


def table(name: str, columns: Columns, queries: int) -> None:
    """One table."""
    bench, draw = Bench(columns, 0), np.random.default_rng(1)
    specimens = [bench.specimen(int(half), SCENARIO) for half in draw.integers(0, len(columns), queries)]
    started = time.perf_counter()
    absent = fit_absent(columns)
    print(f"\n{len(columns)} {name}; the density of absent took {time.perf_counter() - started:.1f} s to fit")
    values = measured_table(columns, FEATURES)
    connection = duckdb.connect()
    connection.register("halves_in_memory", dict(zip(FEATURES, values.T, strict=True)))
    connection.execute("create table halves as select * from halves_in_memory")
    ways: dict[str, Callable[[list[Reduced]], object]] = {
        "NumPy filter": lambda specimen: numpy_filter(values, specimen),
        "DuckDB filter": lambda specimen: duckdb_filter(connection, specimen),
        "ranking": lambda specimen: posterior(columns, absent, specimen),
        "whole answer": lambda specimen: identify(columns, absent, specimen),
    }
    times = {way: timed(answer, specimens) for way, answer in ways.items()}
    base = float(np.median(times["NumPy filter"]))
    for way, each in times.items():
        print_line(way, each, base)
    for subject, scenario in PICTURES.items():
        print(subject)
        specimens = [bench.specimen(int(half), scenario) for half in draw.integers(0, len(columns), queries)]
        for way in ("ranking", "whole answer"):
            print_line(way, timed(ways[way], specimens), base)


def print_line(way: str, seconds: list[float], base: float) -> None:
    """Times of one method; ``base`` is the reference for the ratio, in seconds."""
    p50, p99 = np.quantile(seconds, [0.5, 0.99])
    print(f"{way:16} p50 {p50 * 1e3:8.2f} ms   p99 {p99 * 1e3:8.2f} ms   ×{p50 / base:7.1f}")


def timed(answer: Callable[[list[Reduced]], object], specimens: list[list[Reduced]]) -> list[float]:
    """Seconds of processor time for each specimen, after one run to warm up."""
    answer(specimens[0])
    seconds = []
    for specimen in specimens:
        started = time.process_time()
        answer(specimen)
        seconds.append(time.process_time() - started)
    return seconds


def numpy_filter(values: np.ndarray, specimen: list[Reduced]) -> np.ndarray:
    """Halves within the limits in every column."""
    off = np.abs(values - measured_row(specimen, FEATURES)) > LIMITS
    return np.flatnonzero(~off.any(axis=1))


def duckdb_filter(connection: duckdb.DuckDBPyConnection, specimen: list[Reduced]) -> object:
    """The same filter as a query."""
    wanted = measured_row(specimen, FEATURES)
    parts = [
        f"abs({name} - {size}) <= {limit}"
        for name, size, limit in zip(FEATURES, wanted, LIMITS, strict=True)
        if not np.isnan(size)
    ]
    return connection.execute("select count(*) from halves where " + " and ".join(parts)).fetchall()


if __name__ == "__main__":
    main()
