"""A complete run (OTHERHALF_REQUIRE_ALL=1) skips nothing: a test that would be skipped fails and shows the reason."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent

SKIPS = """
import pytest

def test_that_runs(): pass

def test_that_skips(): pytest.skip("no nest found")

@pytest.mark.xfail(reason="known", strict=True)
def test_that_is_expected_to_fail(): raise AssertionError
"""

SKIPS_WHOLLY = """
import pytest
pytest.skip("no wood found", allow_module_level=True)
"""


def _run(tmp_path: Path, require_all: str) -> subprocess.CompletedProcess[str]:
    (tmp_path / "test_skips.py").write_text(SKIPS)
    (tmp_path / "test_skips_wholly.py").write_text(SKIPS_WHOLLY)
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    command = [sys.executable, "-m", "pytest", "-p", "tests.conftest", "-p", "no:cacheprovider", str(tmp_path)]
    command.append("--continue-on-collection-errors")
    environment = os.environ | {"OTHERHALF_REQUIRE_ALL": require_all, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=120)


def test_an_ordinary_run_may_skip_tests(tmp_path: Path) -> None:
    run = _run(tmp_path, "")
    assert run.returncode == 0, run.stdout
    assert "1 passed, 2 skipped, 1 xfailed" in run.stdout


def test_a_skipped_test_or_module_fails_a_complete_run_and_shows_the_reason(tmp_path: Path) -> None:
    run = _run(tmp_path, "1")
    assert run.returncode != 0
    for reason in ("no nest found", "no wood found"):
        assert f"OTHERHALF_REQUIRE_ALL=1 allows no skips, but: Skipped: {reason}" in run.stdout
