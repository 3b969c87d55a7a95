"""Mutation testing: which small defects of a module would the tests not notice?

`python -m tests.mutation catalog/history/undo.py [--tests tests/catalog/history tests/api/rest]`

Each mutant is the module with one change (`mutants.py`). The tests that enter the changed function are run against it,
fastest first, until one fails. The survivors are printed: the line, its original text, and the replacement that made
no test fail. A survivor is either a missing test or a change that makes no difference: say which in the
commit, and why.

Tests in a browser, on PostgreSQL and on real footprints are left out: important rules have a fast test. A change in a
function replaces the loaded function in a forked process; any other change (constants, tables, defaults) goes into a
copy of the tree that a new process imports.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # a process with threads cannot be forked safely

import pytest

from tests.mutation.running import Campaign

PROJECT = Path(__file__).resolve().parents[2]
LEFT_OUT = "not postgresql and not browser and not real_geometry and not bench"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the mutants of the named modules, print the survivors, and return their number."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("modules", nargs="+", help="paths of modules, such as catalog/history/undo.py")
    parser.add_argument(
        "--tests", nargs="+", help="files and folders of tests; by default those that mirror the modules"
    )
    parser.add_argument("--seconds", type=float, default=20.0, help="most tests to run for each mutant (20)")
    parser.add_argument("--sample", type=float, default=1.0, help="share of the mutants to try, chosen at random (1)")
    parser.add_argument("--lines", help="only these lines of the module, such as 20-45")
    options = parser.parse_args(arguments)
    lines = range(*(int(end) + i for i, end in enumerate(options.lines.split("-")))) if options.lines else None
    tests = options.tests or sorted({mirror(module) for module in options.modules})
    with tempfile.TemporaryDirectory(prefix="otherhalf-mutants-") as folder:
        campaign = Campaign(
            project=PROJECT,
            modules=[PROJECT / module for module in options.modules],
            folder=Path(folder),
            seconds=options.seconds,
            chosen=lambda mutant: (lines is None or mutant.line in lines) and random.random() < options.sample,
        )
        given = ["-q", "-s", "-p", "no:cacheprovider", "-p", "no:xdist", "-o", "addopts=--import-mode=importlib"]
        pytest.main([*given, "-m", LEFT_OUT, f"--basetemp={folder}/tests", *tests], plugins=[campaign])
    return campaign.survived


def mirror(module: str) -> str:
    """The folder of tests that mirrors a module's, or the nearest above it."""
    folder = Path("tests") / Path(module).parent
    while not (PROJECT / folder).is_dir():
        folder = folder.parent
    return str(folder)


if __name__ == "__main__":
    random.seed(1)
    sys.exit(1 if main() else 0)
