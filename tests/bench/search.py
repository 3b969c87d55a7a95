"""Time of a search among six thousand halves: `python -m tests.bench.search`. Prints milliseconds; asserts nothing."""

from __future__ import annotations

import time

import numpy as np

from catalog.model.entries import Half
from catalog.records.read_models import HalfRecord
from catalog.snapshot.search import Searchable, SearchIndex
from tests.catalog.model.entry_examples import half

HALVES = 6000
QUERIES = ["W13-00110", "w1300110", "00110", "w13-0011o", "siskin 110", "tr"]
"""Part numbers unchanged, without punctuation, in part, with a letter for a digit; two words; a text in all of them."""


def main() -> None:
    """Print the median and the worst of five rounds."""
    entries = [half(part_number=f"W{n % 97}-{n:05}", order_codes=[f"{n}-TR", f"{n}-TU"]) for n in range(HALVES)]
    index = SearchIndex(Searchable.of(_record(entry)) for entry in entries)
    times = []
    for text in QUERIES * 5:
        start = time.perf_counter()
        index.search(text)
        times.append(time.perf_counter() - start)
    print(f"search among {HALVES} halves: median {np.median(times) * 1e3:.1f} ms, worst {max(times) * 1e3:.1f} ms")


def _record(entry: Half) -> HalfRecord:
    return HalfRecord(
        key=entry.key, origin="listed", standing="reported", revision=1, half=entry, series_key=entry.series_key
    )


if __name__ == "__main__":
    main()
