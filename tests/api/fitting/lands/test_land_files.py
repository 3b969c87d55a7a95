"""Land files are read back by an independent parser and by our own importer, every land within a micrometre."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from kiutils.footprint import Footprint as IndependentFootprint

from api.fitting.lands.land_files import CALCULATED, kicad_mod, svg
from api.fitting.lands.pattern_geometry import bounds, first_mark, is_contact, places
from catalog.footprints import import_folders
from catalog.footprints.footprint_file import parse_footprint
from catalog.model.entries import Half
from catalog.model.land_pattern import LandPattern
from tests.catalog.footprints.footprint_drawings import one_row, two_rows, write
from tests.catalog.footprints.test_land_patterns import OF_ALL_SORTS

MICROMETRE = 0.001
SVG = "{http://www.w3.org/2000/svg}"


def imported(tmp_path: Path, text: str = OF_ALL_SORTS, licence: str = "CC-BY 4.0") -> tuple[Half, LandPattern]:
    found = import_folders([write(tmp_path / "Birds.pretty", [("Wren_ALL", text)])], licence=licence)
    (half,) = (entry for entry in found.entries if isinstance(entry, Half))
    return half, found.patterns[0]


def given(pattern: LandPattern) -> list[tuple[object, ...]]:
    """Number, kind, shape, place, turn, size, drill and offset of every land."""
    return sorted(
        (name, each.kind, each.shape, x, y, each.turn, each.width, each.height, each.drill, each.offset)
        for each in pattern.lands
        for name, x, y in each.at
    )


def by_another_parser(text: str, folder: Path) -> list[tuple[object, ...]]:
    """The same, as kiutils (an independent library for this format, from PyPI) reads it."""
    path = folder / "written.kicad_mod"
    path.write_text(text, encoding="utf-8")
    found = []
    for pad in IndependentFootprint.from_file(str(path)).pads:
        drill = pad.drill
        holes = tuple(each for each in (drill.diameter, drill.width) if each) if drill else ()
        aside = (drill.offset.X, drill.offset.Y) if drill and drill.offset else (0.0, 0.0)
        at = pad.position
        size = pad.size.X, pad.size.Y
        found.append((pad.number, pad.type, pad.shape, at.X, at.Y, at.angle or 0.0, *size, holes, aside))
    return sorted(found)


def assert_alike(found: list[tuple[object, ...]], expected: list[tuple[object, ...]]) -> None:
    """Every land the same, lengths within a micrometre."""
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        for a, b in zip(one, other, strict=True):
            assert a == (b if isinstance(b, str) else pytest.approx(b, abs=MICROMETRE)), (one, other)


@pytest.mark.parametrize("text", [OF_ALL_SORTS, two_rows("Wren_TWO", 30, pitch=0.35), one_row("Wren_ONE", 7)])
def test_an_independent_parser_reads_every_land(tmp_path: Path, text: str) -> None:
    half, pattern = imported(tmp_path, text)
    assert_alike(by_another_parser(kicad_mod(pattern, half.part_number), tmp_path), given(pattern))


def test_layers_corners_courtyard_and_keepouts_survive_too(tmp_path: Path) -> None:
    half, pattern = imported(tmp_path)
    path = tmp_path / "written.kicad_mod"
    path.write_text(kicad_mod(pattern, half.part_number), encoding="utf-8")
    read = IndependentFootprint.from_file(str(path))
    (rounded,) = (pad for pad in read.pads if pad.shape == "roundrect")
    assert rounded.roundrectRatio == pytest.approx(0.1)
    assert rounded.layers == ["F.Cu", "F.Mask"]
    assert {tuple(pad.layers) for pad in read.pads if pad.type == "smd" and pad.shape == "rect"} == {
        ("F.Cu", "F.Paste", "F.Mask")
    }
    drawn = [item for item in read.graphicItems if getattr(item, "layer", "") == "F.CrtYd"]
    ends = [(item.start.X, item.start.Y, item.end.X, item.end.Y) for item in drawn]
    assert_alike(sorted(ends), sorted(pattern.courtyard))
    (zone,) = read.zones
    assert zone.keepoutSettings is not None
    assert [(point.X, point.Y) for point in zone.polygons[0].coordinates] == list(pattern.keepouts[0])


def test_our_own_importer_reads_back_the_same_half_and_lands(tmp_path: Path) -> None:
    half, pattern = imported(tmp_path)
    folder = write(tmp_path / "again", [("Wren_ALL", kicad_mod(pattern, half.part_number))])
    found = import_folders([folder])
    (again,) = (entry for entry in found.entries if isinstance(entry, Half))
    assert again == half
    assert_alike(given(found.patterns[0]), given(pattern))
    assert found.patterns[0].keepouts == pattern.keepouts


def test_a_name_with_quotes_and_brackets_stays_text(tmp_path: Path) -> None:
    _, pattern = imported(tmp_path)
    name = 'Wren "(B)\\" <i>'
    assert parse_footprint(kicad_mod(pattern, name)).name == name
    ElementTree.fromstring(svg(pattern, name))


@pytest.mark.parametrize("write_it", [kicad_mod, svg])
def test_source_licence_and_that_they_are_to_be_checked_stand_in_every_file(
    tmp_path: Path, write_it: Callable[[LandPattern, str], str]
) -> None:
    def said(pattern: LandPattern) -> str:
        text = write_it(pattern, "Wren_ALL")
        pieces = ElementTree.fromstring(text).iter(f"{SVG}text") if text.startswith("<svg") else []
        return " ".join(each.text or "" for each in pieces) or text

    _, pattern = imported(tmp_path)
    told = said(pattern)
    assert "Birds.pretty/Wren_ALL.kicad_mod" in told
    assert "Licence: CC-BY 4.0" in told
    assert "Check them against the maker's drawing" in told
    assert CALCULATED not in told
    assert "Licence: not stated" in said(pattern.model_copy(update={"licence": ""}))
    calculated = said(pattern.model_copy(update={"basis": "calculated", "source": "a method"}))
    assert CALCULATED in calculated
    assert "Method: a method" in calculated


def test_the_picture_is_at_one_to_one_and_every_land_stands_in_its_place(tmp_path: Path) -> None:
    _, pattern = imported(tmp_path)
    picture = ElementTree.fromstring(svg(pattern, "Wren_ALL"))
    left, top, width, height = map(float, picture.attrib["viewBox"].split())
    assert picture.attrib["width"] == f"{width:g}mm"
    assert float(picture.attrib["height"].removesuffix("mm")) == height
    box = bounds(pattern)
    assert left < box.left < box.right < left + width
    assert top < box.top < box.bottom < top + height
    drawn = []
    for css in ("contact", "other"):
        for rect in picture.iter(f"{SVG}rect"):
            if rect.attrib.get("class") == css:
                x, y, turn = map(float, re.findall(r"-?[\d.]+", rect.attrib["transform"]))
                name = rect.find(f"{SVG}title")
                assert name is not None
                drawn.append(
                    (name.text, css == "contact", x, y, -turn, *(float(rect.attrib[k]) for k in ("width", "height")))
                )
    lands = [
        (name or "no number", is_contact(name), x, y, each.turn, each.width, each.height)
        for each in pattern.lands
        if each.kind != "np_thru_hole"
        for name, x, y in each.at
    ]
    assert_alike(sorted(drawn), sorted(lands))
    assert {"contact", "other", "hole", "peg", "courtyard", "body", "keep-out", "first"} <= {
        each.attrib.get("class") for each in picture.iter()
    }


def test_the_arrowhead_points_at_land_1_from_outside(tmp_path: Path) -> None:
    _, pattern = imported(tmp_path)
    tip, *rest = first_mark(pattern)
    first = next(box for name, box in places(pattern) if name == "1")
    assert first.left <= tip[0] <= first.right or first.top <= tip[1] <= first.bottom
    for _, box in places(pattern):
        for x, y in (tip, *rest):
            assert not (box.left <= x <= box.right and box.top <= y <= box.bottom)
    distance = [math.dist(tip, corner) for corner in rest]
    assert distance[0] == pytest.approx(distance[1])


def test_extent_and_mark_are_those_of_the_drawing(tmp_path: Path) -> None:
    # By hand: a slot's copper of 2 × 1.2 mm at (6, 2), turned by 45° with 0.2 mm between hole and copper, reaches
    # (2 + 1.2) / (2·√2) each way from (6 + 0.2/√2, 2 − 0.2/√2), y down.
    _, pattern = imported(tmp_path)
    slot = next(box for name, box in places(pattern) if name == "S1")
    reach, aside = 3.2 / (2 * math.sqrt(2)), 0.2 / math.sqrt(2)
    expected = (6 + aside - reach, 2 - aside - reach, 6 + aside + reach, 2 - aside + reach)
    assert (slot.left, slot.top, slot.right, slot.bottom) == pytest.approx(expected)
    # Land 1 at (0, 0) is nearest to the upper edge, y = −1: the courtyard's.
    assert first_mark(pattern) == tuple(pytest.approx(point) for point in ((0, -1.3), (-0.4, -2.1), (0.4, -2.1)))
    box = bounds(pattern)
    assert (box.left, box.top, box.right, box.bottom) == pytest.approx((-2.5, -2.1, 7.5, 5.0))


@pytest.mark.parametrize(
    ("first", "tip"),
    [((0.0, 0.0), (0.0, -1.3)), ((2.0, 4.0), (2.0, 5.3)), ((-1.9, 2.0), (-2.8, 2.0)), ((7.0, 2.0), (7.8, 2.0))],
)
def test_the_arrowhead_stands_on_the_side_nearest_to_land_1(
    tmp_path: Path, first: tuple[float, float], tip: tuple[float, float]
) -> None:
    _, pattern = imported(tmp_path)
    named = [each.model_copy(update={"at": tuple((f"X{n}", x, y) for n, x, y in each.at)}) for each in pattern.lands]
    one = named[0].model_copy(update={"at": (("1", *first),)})
    moved = first_mark(pattern.model_copy(update={"lands": (*named, one)}))
    assert moved[0] == pytest.approx(tip)
    back = [sum(axis) / 2 for axis in zip(*moved[1:], strict=True)]
    assert math.dist(back, moved[0]) == pytest.approx(0.8)
    outwards = [2 * t - b for t, b in zip(moved[0], back, strict=True)]
    assert math.dist(outwards, first) < math.dist(back, first)


def test_without_a_land_1_there_is_no_arrowhead_and_the_picture_says_so(tmp_path: Path) -> None:
    _, pattern = imported(tmp_path)
    lands = [each.model_copy(update={"at": tuple((f"X{n}", x, y) for n, x, y in each.at)}) for each in pattern.lands]
    nameless = pattern.model_copy(update={"lands": tuple(lands)})
    assert first_mark(nameless) == ()
    assert "Land 1 is not known" in svg(nameless, "Wren_ALL")
    assert "F.SilkS" in kicad_mod(pattern, "Wren_ALL").split("fp_poly")[1]
    assert "fp_poly" not in kicad_mod(nameless, "Wren_ALL")
