"""From a picture on disk to the half and its mate, through the installed command and a real server."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import catalogues
from tests.api.web.photographed import Rows, encoded, photographed

PROJECT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from api.command_line.cli import main; main()"]

PLUG = Rows(pitch=25.2, count=12, heights=(60.0, 150.0), shifts=(0.0, 0.0))
"""A picture of the demo plug of 24 contacts and 0.4 mm pitch at 63 pixels per millimetre."""


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    url = catalogues.placed(tmp_path_factory.mktemp("journey") / "demo.sqlite3", catalogues.demo())
    return {**os.environ, "OTHERHALF_DATABASE": url, "COLUMNS": "80"}


def run(environment: dict[str, str], *arguments: str) -> str:
    command = [*COMMAND, *arguments]
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, env=environment, check=True)
    assert done.stderr == ""
    return done.stdout


def test_a_photo_and_a_few_more_observations_identify_the_mate(environment: dict[str, str], tmp_path: Path) -> None:
    photo = tmp_path / "plug.jpg"
    photo.write_bytes(encoded(photographed(PLUG), "JPEG", quality=92))
    rows = [part for line in PLUG.lines for part in ("--row", ",".join(f"{each:.0f}" for each in line))]
    printed = run(environment, "measure", str(photo), *rows, "--px-per-mm", "63")
    _, _, typed = printed.rpartition("otherhalf identify ")
    seen = ("body_length=6.63", "body_width=1.99", "tail_span=2.18", "half_kind=plug", "hold_down_form=end_tab")
    answer: dict[str, Any] = json.loads(run(environment, "identify", *shlex.split(typed), *seen, "--json"))
    first = answer["candidates"][0]
    assert first["half"]["part_number"] == "MOSSIPET-P24"
    assert first["mates"][0]["part_number"] == "MOSSIPET-R24"
    assert {"contact_count", "pitch", "row_spacing"} <= {line["feature"] for line in first["evidence"]}
