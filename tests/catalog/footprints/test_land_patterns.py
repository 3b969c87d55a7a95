"""Land patterns read from footprint files, pad by pad. Drawings and names are invented."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from pydantic import ValidationError

from catalog.footprints import import_folders
from catalog.footprints.footprint_file import CIRCLE_CORNERS
from catalog.model.land_pattern import LandPattern, LandsAlike
from tests.catalog.footprints.footprint_drawings import drawing, hole, line, pad, rectangle, two_rows, write, zigzag

OF_ALL_SORTS = drawing(
    "Wren_ALL",
    *zigzag(5, 0.5, 4.0),
    pad("MP", -1.5, 2.0, size=(1.0, 2.0)),
    '(pad "MP" smd roundrect (at 3.5 2 90) (size 2 1) (layers F.Cu F.Mask) (roundrect_rratio 0.1))',
    '(pad "S1" thru_hole oval (at 6 2 45) (size 2 1.2) (drill oval 1.4 0.6 (offset 0.2 0)) (layers *.Cu *.Mask))',
    hole(-1.0, 0.5, 0.7),
    rectangle(-1.5, 0.0, 3.5, 4.0),
    rectangle(-2.5, -1.0, 7.5, 5.0, "F.CrtYd"),
    "(fp_circle (center 6 2) (end 7 2) (layer F.CrtYd) (width 0.05))",
    "(fp_rect (start 0 0) (end 1 2) (layer F.CrtYd) (width 0.05))",
    "(zone (net 0) (layer F.Cu) (keepout (tracks not_allowed)) (polygon (pts (xy 1 1) (xy 2 1) (xy 2 3))))",
    "(zone (net 0) (layer F.Cu) (polygon (pts (xy 1 1) (xy 2 1) (xy 2 3))))",
)


def patterns(tmp_path: Path, *files: tuple[str, str], licence: str = "") -> dict[str, LandPattern]:
    folder = write(tmp_path / "Birds.pretty", files)
    return {pattern.half: pattern for pattern in import_folders([folder], licence=licence).patterns}


def test_every_land_hole_courtyard_and_keepout_of_a_file_is_kept(tmp_path: Path) -> None:
    (pattern,) = patterns(tmp_path, ("Wren_ALL", OF_ALL_SORTS), licence="CC-BY 4.0").values()
    assert (pattern.basis, pattern.source, pattern.licence) == ("file", "Birds.pretty/Wren_ALL.kicad_mod", "CC-BY 4.0")
    assert sum(len(alike.at) for alike in pattern.lands) == 14
    contacts = next(alike for alike in pattern.lands if len(alike.at) == 10)
    assert contacts.at[3] == ("4", 0.5, 4.0)
    assert (contacts.width, contacts.height, contacts.layers) == (0.3, 1.2, ())
    rounded = next(alike for alike in pattern.lands if alike.shape == "roundrect")
    assert (rounded.turn, rounded.rounding, rounded.layers) == (90.0, 0.1, ("F.Cu", "F.Mask"))
    slot = next(alike for alike in pattern.lands if alike.shape == "oval")
    assert (slot.drill, slot.offset, slot.turn) == ((1.4, 0.6), (0.2, 0.0), 45.0)
    peg = next(alike for alike in pattern.lands if alike.kind == "np_thru_hole")
    assert (peg.drill, peg.at) == ((0.7,), (("", -1.0, 0.5),))
    assert pattern.body == (-1.5, 0.0, 3.5, 4.0)
    assert pattern.keepouts == (((1.0, 1.0), (2.0, 1.0), (2.0, 3.0)),)
    assert len(pattern.courtyard) == 4 + CIRCLE_CORNERS + 4


def test_a_circle_of_a_courtyard_becomes_strokes_around_it(tmp_path: Path) -> None:
    (pattern,) = patterns(tmp_path, ("Wren_ALL", OF_ALL_SORTS)).values()
    strokes = pattern.courtyard[4 : 4 + CIRCLE_CORNERS]
    for x0, y0, x1, y1 in strokes:
        middle = math.dist(((x0 + x1) / 2, (y0 + y1) / 2), (6.0, 2.0))
        assert middle == pytest.approx(1.0, abs=1e-6)
    assert [stroke[2:] for stroke in strokes] == [stroke[:2] for stroke in (*strokes[1:], strokes[0])]


@pytest.mark.parametrize(
    "odd",
    [
        '(pad "1" smd custom (at 0 0) (size 1 1) (layers F.Cu))',
        '(pad "1" smd trapezoid (at 0 0) (size 1 1) (layers F.Cu))',
        '(pad "" np_thru_hole circle (at 0 0) (size 1 1) (layers F.Cu))',
        f'(pad "{"9" * 41}" smd rect (at 0 0) (size 1 1) (layers F.Cu))',
    ],
)
def test_a_land_that_cannot_be_kept_whole_leaves_the_half_without_a_pattern(tmp_path: Path, odd: str) -> None:
    text = two_rows("Wren_ODD", 5).removesuffix(")") + odd + ")"
    folder = write(tmp_path, [("Wren_ODD", text), ("Wren_EVEN", two_rows("Wren_EVEN", 5))])
    report = import_folders([folder]).report
    assert (report.imported, report.patterns) == (2, 1)


def test_rows_along_y_keep_the_files_own_directions(tmp_path: Path) -> None:
    lands = [pad(str(n), row * 4.0, n * 0.5, size=(1.2, 0.3)) for n in range(1, 6) for row in (0, 1)]
    numbered = [
        part.replace(f'"{n}"', f'"{k}"') for k, (n, part) in enumerate(zip("1122334455", lands, strict=True), 1)
    ]
    text = drawing("Wren_Y", *numbered, rectangle(0.0, -1.0, 4.0, 4.0), line(-1, -2, 5, -2, "F.CrtYd"))
    (pattern,) = patterns(tmp_path, ("Wren_Y", text)).values()
    assert pattern.body == (0.0, -1.0, 4.0, 4.0)
    assert pattern.lands[0].at[1] == ("2", 4.0, 0.5)


@pytest.mark.parametrize(
    "given",
    [
        {"kind": "thru_hole"},
        {"drill": (0.5,)},
        {"at": ()},
        {"width": 0},
        {"at": (("1", 600.0, 0.0),)},
        {"drill": (1, 2, 3), "kind": "thru_hole"},
        {"shape": "custom"},
    ],
)
def test_impossible_lands_are_refused(given: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        LandsAlike.model_validate({"width": 1, "height": 1, "at": (("1", 0.0, 0.0),), **given})
