"""Adding a feature means adding an entry to the feature table; everything else is derived from it.

A separate process, whose table has three more entries, runs the tests of ``features_in_use.py``.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
IN_USE = "tests/functional/features_in_use.py"


PACKAGES = ("api", "catalog", "matcher", "seeds_demo")


def test_a_feature_needs_only_an_entry_in_the_feature_table() -> None:
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "tests.functional.wider_table"]
    done = subprocess.run([*command, IN_USE], cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_other_module_lists_the_features_of_a_group() -> None:
    """No other module lists the names of a group of features side by side: the table defines the group."""
    groups = (
        '"pitch", "tail_pitch"',
        '"height", "stack_height"',
        '"keying", "housing_colour"',
    )
    sources = [path for package in PACKAGES for path in (PROJECT / package).rglob("*.py")]
    assert len(sources) > 100
    found = [(path.name, group) for path in sources for group in groups if group in path.read_text(encoding="utf-8")]
    assert found == []
