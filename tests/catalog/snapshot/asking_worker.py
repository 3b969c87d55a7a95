"""A worker process with its own snapshot, like those of the service: `python -m tests.catalog.snapshot.asking_worker
URL`.

For each line with a half's key it prints a line: the snapshot's version, the half's stated body length, mm, in the
matcher's columns (null: not there), and the seconds until the snapshot was there.
"""

from __future__ import annotations

import json
import sys
import time

from catalog.db.database import open_catalogue
from catalog.snapshot.snapshot import SnapshotSource


def main(url: str) -> None:
    """Answer until the input ends."""
    with open_catalogue(url) as catalogue:
        source = SnapshotSource(catalogue)
        for line in sys.stdin:
            key = line.strip()
            started = time.perf_counter()
            columns = source.current().columns
            seconds = time.perf_counter() - started
            listed = {name: place for place, name in enumerate(columns.keys)}
            place = listed.get(key)
            stated = None if place is None else float(columns.dimensions["body_length"].stated[place])
            print(json.dumps([source.current().version, stated, seconds]), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
