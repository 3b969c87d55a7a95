"""``otherhalf wiring``: the printed map, the files, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.command_line.cli import app
from api.command_line.commands.common import ExitCode

PLUG, RECEPTACLE = "ouzelby:mossipet-p24", "ouzelby:mossipet-r24"


def run(demo_url: str, *arguments: str, code: int = ExitCode.ANSWERED, typed: str | None = None) -> str:
    """What the command prints."""
    runner = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "100"})
    result = runner.invoke(app, ["wiring", *arguments], input=typed)
    assert result.exit_code == code, result.output
    return result.output


@pytest.fixture
def nets(tmp_path: Path) -> Path:
    """What somebody traced at the plug."""
    found = {1: "BAT+", 2: "SDA", 24: "GND"}
    path = tmp_path / "traced.csv"
    lines = ["contact,net,reading", *(f"{n},{found.get(n, '')},{'3.9 V' if n == 1 else ''}" for n in range(1, 25))]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_a_map_names_its_views_and_the_worst_of_a_turned_half_first(demo_url: str, nets: Path) -> None:
    printed = run(demo_url, PLUG, RECEPTACLE, "--nets", str(nets))
    assert "MOSSIPET-R24 seen from its mating face" in printed
    assert "the mirror of the mating face" in printed
    first, second = printed.index("supply to ground: BAT+ would meet GND"), printed.index("no key is stated")
    assert second < first
    assert "connect the cell last" in " ".join(printed.split())


def test_a_wiring_that_nobody_knows_prints_no_net_for_the_mate(demo_url: str) -> None:
    printed = run(demo_url, "mistlethorpe:ploverick-p02-l", "dunnocksward:fescuelet-r02-8")
    assert "verify by continuity" in printed.lower()
    assert "No source says which contact meets which" in printed


def test_files_are_written_by_their_ending(demo_url: str, nets: Path, tmp_path: Path) -> None:
    files = [tmp_path / f"map{ending}" for ending in (".csv", ".json", ".svg")]
    named = [part for path in files for part in ("--to", str(path))]
    printed = run(demo_url, PLUG, RECEPTACLE, "--nets", str(nets), *named, "--mate-on", "bottom")
    assert "from the left" not in printed
    assert "supply to ground" in printed
    assert files[0].read_text(encoding="utf-8").splitlines()[1] == "1,BAT+,supply,3.9 V,,1,BAT+,1/12,1/1,1/1"
    assert json.loads(files[1].read_text(encoding="utf-8"))["sure"] is True
    assert files[2].read_text(encoding="utf-8").startswith("<svg")
    again = run(demo_url, PLUG, RECEPTACLE, "--to", str(files[0]), code=ExitCode.BAD_INPUT)
    assert "the file exists already" in " ".join(again.split())
    assert "BAT+" in files[0].read_text(encoding="utf-8")


def test_the_json_is_that_of_the_interface_and_nets_come_from_standard_input(demo_url: str, nets: Path) -> None:
    printed = run(demo_url, PLUG, RECEPTACLE, "--nets", "-", "--json", typed=nets.read_text(encoding="utf-8"))
    assert json.loads(printed)["contacts"][0]["net"] == "BAT+"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["ouzelby:mossipet-p25"], "no half of the catalogue has the key"),
        ([PLUG, "ouzelby:mossipet-r30"], "no mating of"),
        ([PLUG, "--nets", "no-such.csv"], "name a file that can be read"),
        ([PLUG, "--to", "map.png"], "use one of .csv, .json, .svg"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(demo_url: str, arguments: list[str], said: str) -> None:
    assert said in run(demo_url, *arguments, code=ExitCode.BAD_INPUT)


def test_a_half_without_numbering_has_no_view_to_draw(demo_url: str, tmp_path: Path) -> None:
    printed = run(demo_url, "pipitholt:seeplet-p24", "--to", str(tmp_path / "map.svg"), code=ExitCode.BAD_INPUT)
    assert "no view to draw" in printed
    assert "find contact 1 by its mark on the board" in run(demo_url, "pipitholt:seeplet-p24")
