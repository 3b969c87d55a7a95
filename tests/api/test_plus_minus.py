"""Every ± that a person reads says what it is, in the words of `matcher.plus_minus`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.command_line.cli import app
from matcher import plus_minus
from tests.api.web.browsed import browser
from tests.api.web.page_reading import check_form
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, MATE, MEMBER, SERIES

WORDS = (plus_minus.LIMIT, plus_minus.INTERVAL, plus_minus.DRAWING, plus_minus.PROCESS)
PLUG = ("contact_count=24", "rows=2", "pitch=4.41/11", "body_length=6.63", "body_width=1.99")


def assert_told(text: str) -> None:
    assert "±" in text, "this shows nothing"
    assert any(word in text for word in WORDS), text


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path_factory.mktemp('shop') / 'shop.sqlite3'}") as made:
        said = {
            "of": "half",
            "key": HALF,
            "revision": 1,
            "basis": "measured",
            "values": [{"feature": "body_length", "value": 7.42, "u": 0.01}],
        }
        answer = made.ask("POST", "/v1/confirmations", IDA, json={"confirmation": said})
        assert answer.status_code == 201, answer.text
        yield made


PAGES = [
    (
        "/?contact_count=20&rows=2&pitch=3.6/9&body_length=5.4",
        ["End allowance 1.80 ± ", "mm (95 %)", "with your own limit of error"],
    ),
    (
        f"/halves/{HALF}",
        [
            "± after a stated figure is the drawing tolerance, after a measured one the interval of 95 %",
            "within ± 0.05 (process tolerance)",
            "known to ± 0.08 mm (95 %)",
            "Board to board, ± drawing tolerance",
            "body length 7.420 ± 0.020 mm (95 %)",
        ],
    ),
    (
        "/cases/new?contact_count=13&body_length=7.41±0.03@caliper",
        ["body length 7.41±0.03, caliper (±: limit of error)"],
    ),
    (f"/series/{SERIES}", ["drawing tolerance ± 0.10 mm"]),
    (f"/compare?half={HALF}&half={MEMBER}&half={MATE}", ["process tolerance assumed", "± is the drawing tolerance"]),
    (f"/halves/{HALF}/confirm?by=measured", ["your own limit of error with ±"]),
    ("/contribute/half", ["± drawing tolerance"]),
    ("/contribute/series", ["± drawing tolerance", "± drawing tolerance of summed stack heights, mm"]),
]


@pytest.mark.parametrize(("path", "words"), PAGES, ids=[path.partition("?")[0] for path, _ in PAGES])
def test_a_page_says_it(shop: Workshop, path: str, words: list[str]) -> None:
    page = check_form(browser(shop, IDA).open(path).text)
    assert_told(page.text)
    for each in words:
        assert each in page.text


PRINTED = [
    (("identify", *PLUG), "u: standard uncertainty; ±: process tolerance, within which parts lie."),
    (("explain", "pipitholt:seeplet-p24", *PLUG), "stated 6.72 ± 0.1 mm (process tolerance)"),
    (("identify", "--ask"), "(digital caliper, loose part, limit of error at most ±0.2 mm)"),
    (("measure", "--readings", "pitch=4.62/11+less=0.21"), "(95 %, k = "),
]


def test_the_laws_of_a_drawing_say_it(tmp_path: Path) -> None:
    table = tmp_path / "drawing.txt"
    table.write_text("contacts | A ±0.1\n10 | 3.8\n20 | 5.8", encoding="utf-8")
    named = ("--maker", "O", "--series", "T", "--kind", "plug", "--rows", "2", "--pitch", "0.4")
    done = CliRunner().invoke(
        app, ["table", str(table), *named, "--part-number", "T{contacts:2}", "--letter", "A=body_length"]
    )
    assert done.exit_code == 0, done.output
    assert f"lengths in mm, ± the {plus_minus.DRAWING}" in " ".join(done.output.split())


@pytest.mark.parametrize(("arguments", "words"), PRINTED, ids=[" ".join(arguments[:2]) for arguments, _ in PRINTED])
def test_a_command_says_it(demo_url: str, arguments: tuple[str, ...], words: str) -> None:
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    printed = " ".join(run.invoke(app, list(arguments), input="stop\n").output.split())
    assert_told(printed)
    assert words in printed


def test_scripts_of_pages_use_the_same_words() -> None:
    """Scripts cannot import them."""
    folder = Path(__file__).resolve().parents[2] / "api"
    quoted = [
        text
        for path in folder.rglob("*.js")
        for line in path.read_text(encoding="utf-8").splitlines()
        if not line.lstrip().startswith(("*", "/"))
        for text in re.findall(r'"([^"]*±[^"]*)"', line)
    ]
    assert len(quoted) >= 3
    for text in quoted:
        assert any(word in text for word in WORDS), text
