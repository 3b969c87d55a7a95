"""The folders at the top are the architecture, and import contracts hold it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
VISIBLE = {"README.md", "DEVELOPERS.md", "pyproject.toml", "api", "catalog", "matcher", "seeds_demo", "tests"}


def test_the_top_folder_holds_only_the_known_packages() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, check=False, capture_output=True, text=True)
    names = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    assert {name for name in names if not name.startswith(".")} <= VISIBLE


def test_import_contracts_are_kept() -> None:
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"]
    result = subprocess.run(command, cwd=ROOT, check=False, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
