"""The PDF to hold a part against, measured in the file: scale, rulers both ways, contacts, mates, words."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from pypdf import PageObject, PdfReader
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app
from api.drawing.geometry import DrawingError
from api.drawing.size_sources import make_sizes, sizes_of
from api.drawing.sizes import Length, Sizes, Source
from api.fitting.paper_check import ENLARGED, SHOWS, pair_of, paper_check
from catalog.snapshot.snapshot import Snapshot

MM = 25.4 / 72.0
"""Millimetres of a PDF point: 1/72 inch (ISO 32000-1, 8.3.2.3)."""

MICROMETRE = 1e-3
PLUG = "ouzelby:mossipet-p24"


@dataclass
class Drawn:
    """The paths of one page in mm: closed or open lines, and rectangles as x, y, width, height."""

    lines: list[list[tuple[float, float]]] = field(default_factory=list)
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)


def drawn(page: PageObject) -> Drawn:
    """Read with pypdf. The sheets draw in points from the page's corner; a matrix besides reportlab's one would move
    them, so that there is none."""
    found = Drawn()
    content = page.get_contents()
    assert content is not None
    for operands, operator in content.operations:
        numbers = [float(each) * MM for each in operands] if operator in (b"m", b"l", b"re") else []
        if operator == b"cm":
            assert [float(each) for each in operands] == [1, 0, 0, 1, 0, 0]
        elif operator == b"m":
            found.lines.append([(numbers[0], numbers[1])])
        elif operator == b"l":
            found.lines[-1].append((numbers[0], numbers[1]))
        elif operator == b"re":
            found.boxes.append((numbers[0], numbers[1], numbers[2], numbers[3]))
    return found


def pages(made: bytes) -> list[PageObject]:
    return list(PdfReader(io.BytesIO(made)).pages)


def outlines(found: Drawn) -> Iterator[tuple[float, float]]:
    """Width and height of every line's box."""
    for line in found.lines:
        across, down = [x for x, _ in line], [y for _, y in line]
        yield max(across) - min(across), max(down) - min(down)


def near(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return all(math.isclose(a, b, abs_tol=MICROMETRE) for a, b in zip(one, other, strict=True))


@pytest.fixture(scope="module")
def made(snapshot: Snapshot) -> bytes:
    return paper_check([pair_of(snapshot, snapshot.halves[PLUG])])


def test_the_paper_has_its_size_and_both_rulers_are_fifty_millimetres(made: bytes) -> None:
    for page in pages(made)[:-1]:
        assert near((float(page.mediabox.width) * MM, float(page.mediabox.height) * MM), (210.0, 297.0))
        sizes = list(outlines(drawn(page)))
        assert any(near(size, (50.0, 0.0)) for size in sizes)
        assert any(near(size, (0.0, 50.0)) for size in sizes)


def test_the_body_is_drawn_at_full_size_and_then_at_the_scale_that_is_said(made: bytes, snapshot: Snapshot) -> None:
    half = snapshot.halves[PLUG].half
    body = half.dimensions["body_length"].value, half.dimensions["body_width"].value
    full, large, _ = pages(made)
    assert any(near(size, body) for size in outlines(drawn(full)))
    scale = next(each for each in ENLARGED if f"Enlarged {each}:1" in large.extract_text())
    assert scale == 20
    assert any(near(size, (scale * body[0], scale * body[1])) for size in outlines(drawn(large)))


def test_contacts_lie_a_pitch_apart_from_end_to_end(made: bytes, snapshot: Snapshot) -> None:
    sizes, mate = pair_of(snapshot, snapshot.halves[PLUG])
    assert mate is not None
    for page, scale in zip(pages(made), (1, 20), strict=False):
        for each in (sizes, mate):
            middles = sorted({round(x + width / 2, 4) for x, _, width, _ in drawn(page).boxes})
            # Middles of one half: the run of 12 places a pitch apart.
            pitch = scale * each.mm("pitch")
            runs = [
                first
                for first in middles
                if all(any(abs(first + k * pitch - m) < MICROMETRE for m in middles) for k in range(12))
            ]
            assert runs, "the contacts of a row"


def test_half_and_mate_are_named_with_their_view_and_the_limits_of_paper(made: bytes, snapshot: Snapshot) -> None:
    text = [page.extract_text() for page in pages(made)]
    for page in text[:2]:
        assert "the half: MOSSIPET-P24" in page
        assert "its mate: MOSSIPET-R24" in page
        assert page.count("Seen from the mating face") == 2
    last = " ".join(text[-1].split())
    for said in SHOWS:
        assert said in last


def test_of_a_half_without_a_mate_it_alone_is_drawn(snapshot: Snapshot) -> None:
    text = pages(paper_check([(sizes_of(snapshot.halves[PLUG].half), None)]))[0].extract_text()
    assert "the half: MOSSIPET-P24" in text
    assert "its mate" not in text


def test_equal_sheets_are_equal_files(made: bytes, snapshot: Snapshot) -> None:
    assert made == paper_check([pair_of(snapshot, snapshot.halves[PLUG])])


def test_letters_that_the_fonts_lack_are_question_marks_and_nothing_breaks() -> None:
    text = pages(paper_check([(_long(6.0, "Ω片 ±5"), None)]))[0].extract_text()
    assert "?? ±5" in text


def _long(length: float, name: str = "LONG") -> Sizes:
    lengths = {
        "body_length": Length(value=length, source=Source.STATED),
        "body_width": Length(value=3.0, source=Source.STATED),
    }
    return make_sizes(half_kind="plug", row_contacts=(10, 10), lengths=lengths, name=name)


def test_a_long_half_stands_upright_and_a_longer_one_is_refused() -> None:
    full = drawn(pages(paper_check([(_long(200.0), None)]))[0])
    assert any(near(size, (3.0, 200.0)) for size in outlines(full))
    with pytest.raises(DrawingError, match="larger than the paper"):
        paper_check([(_long(290.0), None)])
    with pytest.raises(DrawingError, match="A0"):
        paper_check([(_long(6.0), None)], "A0")
    with pytest.raises(DrawingError, match="nothing to print"):
        paper_check([])


def test_many_halves_go_onto_several_sheets_and_none_is_lost(snapshot: Snapshot) -> None:
    keys = [key for key, record in snapshot.halves.items() if record.origin == "listed"][:300:10]
    text = " ".join(
        page.extract_text() for page in pages(paper_check([pair_of(snapshot, snapshot.halves[k]) for k in keys]))
    )
    assert all(f"the half: {snapshot.halves[key].half.part_number}" in text for key in keys)


def test_page_and_command_give_the_file(server: TestClient, demo_url: str, tmp_path: Path, made: bytes) -> None:
    answer = server.get("/print.pdf", params={"half": PLUG})
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == made
    assert "/print.pdf?half=ouzelby:mossipet-p24" in server.get("/print", params={"half": PLUG}).text
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    file = tmp_path / "check.pdf"
    assert run.invoke(app, ["print", PLUG, "--output", str(file)]).exit_code == 0
    assert file.read_bytes() == made
    for options, said in (
        ([PLUG, "--output", str(file)], "exists already"),
        ([PLUG, "--output", str(tmp_path / "b.pdf"), "--paper", "A0"], "--paper"),
        (["nobody:nothing", "--output", str(tmp_path / "c.pdf")], "KEY"),
    ):
        refused = run.invoke(app, ["print", *options])
        assert refused.exit_code != 0
        assert said in refused.output
    assert server.get("/print.pdf", params={"half": PLUG, "paper": "A0"}).status_code == 422
    assert server.get("/print.pdf").status_code == 422
