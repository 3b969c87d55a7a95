"""Starts worker processes that answer from their own snapshots."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[3]
PATIENCE = 60.0
"""Seconds within which a worker must end after its input was closed."""


class Worker:
    """One `tests.catalog.snapshot.asking_worker`."""

    def __init__(self, url: str) -> None:
        command = [sys.executable, "-m", "tests.catalog.snapshot.asking_worker", url]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT)

    def ask(self, key: str) -> tuple[int, float | None, float]:
        """Return the version, the half's body length in it (None: not listed), and the seconds it took."""
        if self._process.stdin is None or self._process.stdout is None:
            raise RuntimeError("the worker was started without pipes")
        self._process.stdin.write(key + "\n")
        self._process.stdin.flush()
        version, stated, seconds = json.loads(self._process.stdout.readline())
        return version, stated, seconds

    def end(self) -> None:
        """Close the worker's input and wait for it to end."""
        self._process.communicate(timeout=PATIENCE)


@contextmanager
def two_workers(url: str) -> Iterator[tuple[Worker, Worker]]:
    """Two worker processes on one catalogue."""
    workers = Worker(url), Worker(url)
    try:
        yield workers
    finally:
        for worker in workers:
            worker.end()
