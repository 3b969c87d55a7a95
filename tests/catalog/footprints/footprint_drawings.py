"""Small invented footprint files, drawn for the tests: connectors of imaginary bird-song recorders."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path


def pad(
    number: str,
    x: float,
    y: float,
    *,
    size: tuple[float, float] = (0.3, 1.2),
    kind: str = "smd",
    turn: float = 0,
    layers: str = '"F.Cu" "F.Paste" "F.Mask"',
) -> str:
    """One land; holes get a drill and all layers."""
    at = f"(at {x:g} {y:g} {turn:g})" if turn else f"(at {x:g} {y:g})"
    drill = "" if kind in ("smd", "connect") else f" (drill {min(size) * 0.6:g})"
    if drill:
        layers = "*.Cu *.Mask"
    return f'(pad "{number}" {kind} rect {at} (size {size[0]:g} {size[1]:g}){drill} (layers {layers}))'


def hole(x: float, y: float, across: float = 1.0) -> str:
    """A hole without copper, for a moulded peg."""
    return (
        f'(pad "" np_thru_hole circle (at {x:g} {y:g}) (size {across:g} {across:g}) (drill {across:g}) (layers *.Cu))'
    )


def line(x1: float, y1: float, x2: float, y2: float, layer: str = "F.Fab") -> str:
    """One stroke."""
    return f'(fp_line (start {x1:g} {y1:g}) (end {x2:g} {y2:g}) (layer "{layer}") (width 0.1))'


def rectangle(left: float, top: float, right: float, bottom: float, layer: str = "F.Fab") -> str:
    """A rectangle of four strokes."""
    corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
    return "\n".join(line(*a, *b, layer) for a, b in pairwise(corners))


def drawing(name: str, *parts: str, head: str = "footprint") -> str:
    """A whole file; ``head`` "module" is the old form."""
    start = f'(footprint "{name}" (version 20211014)' if head == "footprint" else f"(module {name}"
    return "\n".join((f'{start} (layer "F.Cu")', '(descr "for a song recorder (invented)")', *parts, ")"))


def zigzag(positions: int, pitch: float, spacing: float, *, shift: float = 0.0, **kind: object) -> list[str]:
    """Lands of two rows along x, numbered across the rows; the second row is shifted along."""
    return [
        pad(str(2 * position + row + 1), position * pitch + row * shift, row * spacing, **kind)  # type: ignore[arg-type]
        for position in range(positions)
        for row in (0, 1)
    ]


def two_rows(name: str, positions: int, *, pitch: float = 0.5, allowance: float = 3.0) -> str:
    """A surface-mount half of two rows 4 mm apart with a body over its lands."""
    reach = (positions - 1) * pitch
    end = allowance / 2
    return drawing(name, *zigzag(positions, pitch, 4.0), rectangle(-end, 0.0, reach + end, 4.0))


def one_row(name: str, positions: int, *, pitch: float = 2.0) -> str:
    """A through-hole half of one row."""
    lands = [pad(str(n + 1), n * pitch, 0, size=(1.2, 1.2), kind="thru_hole") for n in range(positions)]
    return drawing(name, *lands, rectangle(-pitch / 2, -1.5, (positions - 0.5) * pitch, 1.5))


def write(folder: Path, files: Iterable[tuple[str, str]]) -> Path:
    """Write texts as footprint files named like their halves; returns the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files:
        (folder / f"{name}.kicad_mod").write_text(text, encoding="utf-8")
    return folder
