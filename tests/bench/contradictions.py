"""Time of an identification from contradicting readings of one size: `python -m tests.bench.contradictions`.

Prints seconds for 20 and 200 readings that share one caliper's zero error, with 120 and 2400 halves, their
ratio in the same run, and seconds for the most readings that a picture without a scale may have; asserts nothing.
"""

from __future__ import annotations

import time

from matcher.absent.em_fit import fit_absent
from matcher.identify import identify
from matcher.observations import MAX_UNSCALED
from matcher.uncertainty.reduce import reduction
from tests.matcher.invented import invented_columns
from tests.matcher.test_contradicting_readings import in_a_picture, readings

FEW, MANY = 20, 200


def main() -> None:
    """Print a line for each catalogue."""
    for series in (6, 120):
        columns = invented_columns(series)
        absent, seconds = fit_absent(columns), {}
        for number in (FEW, MANY):
            given, start = readings(number), time.perf_counter()
            identify(columns, absent, given)
            seconds[number] = time.perf_counter() - start
        few, many = seconds[FEW], seconds[MANY]
        print(f"{len(columns)} halves: {FEW} readings {few:.2f} s, {MANY} readings {many:.2f} s (×{many / few:.1f})")
        given, start = reduction(in_a_picture(MAX_UNSCALED)).readings, time.perf_counter()
        identify(columns, absent, given)
        print(f"{len(columns)} halves: {MAX_UNSCALED} readings without a scale {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
