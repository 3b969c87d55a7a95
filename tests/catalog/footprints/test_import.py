"""Folders of footprints: series, matings, the report. All names are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from catalog.db.database import open_catalogue
from catalog.footprints import FootprintImport, import_folders
from catalog.history.addition import add
from catalog.model.entries import Half, Mating, Series
from catalog.model.errors import FileError
from tests.catalog.footprints.footprint_drawings import drawing, one_row, pad, rectangle, two_rows, write


def import_folder(path: Path, progress: Callable[[int, int], None] | None = None) -> FootprintImport:
    return import_folders([path], progress)


def halves(imported: FootprintImport) -> dict[str, Half]:
    return {entry.part_number: entry for entry in imported.entries if isinstance(entry, Half)}


def series_of(imported: FootprintImport) -> dict[str, str]:
    return {name: half.series for name, half in halves(imported).items()}


def matings(imported: FootprintImport) -> set[tuple[str, str]]:
    return {(entry.half, entry.other) for entry in imported.entries if isinstance(entry, Mating)}


def family(stem: str, sizes: tuple[int, ...], **kind: float) -> list[tuple[str, str]]:
    """Files of one construction; ``stem`` has {n} for contacts and {p} for positions."""
    names = [(stem.format(n=2 * size, p=size), size) for size in sizes]
    return [(name, two_rows(name, size, **kind)) for name, size in names]


def test_sizes_in_names_are_left_open(tmp_path: Path) -> None:
    folder = write(tmp_path, family("Wren_SB3-{n:02d}D-4_2x{p:02d}", (5, 6, 8)))
    assert set(series_of(import_folder(folder)).values()) == {"Wren_SB3-*D-4_2x*"}


def test_sizes_inside_longer_part_numbers_are_found(tmp_path: Path) -> None:
    folder = write(tmp_path, family("Wren_7301{n:02d}-9{p:02d}1", (5, 6, 8)))
    assert set(series_of(import_folder(folder)).values()) == {"Wren_7301*-9051", "Wren_7301*-9061", "Wren_7301*-9081"}
    plain = write(tmp_path / "plain", family("Wren_73{n:03d}-77", (5, 6, 8)))
    assert set(series_of(import_folder(plain)).values()) == {"Wren_73*-77"}


def test_other_digits_separate_series(tmp_path: Path) -> None:
    files = family("Wren_T15-{n}", (5, 6, 8)) + family("Wren_T20-{n}", (5, 6, 8))
    assert set(series_of(import_folder(write(tmp_path, files))).values()) == {"Wren_T15-*", "Wren_T20-*"}


def test_a_different_pitch_makes_a_different_series_with_its_own_name(tmp_path: Path) -> None:
    files = family("Wren_T-{n}", (5, 6)) + family("Wren_T-{n}", (8, 9), pitch=0.8)
    assert sorted(set(series_of(import_folder(write(tmp_path, files))).values())) == ["Wren_T-*", "Wren_T-* (2)"]


def test_every_half_names_a_series_of_the_import(tmp_path: Path) -> None:
    imported = import_folder(write(tmp_path, family("Wren_T15-{n}", (5, 6)) + family("Lark_{n}", (7,))))
    stated = {entry.key for entry in imported.entries if isinstance(entry, Series)}
    assert {half.series_key for half in halves(imported).values()} == stated
    assert imported.report.series == len(stated)


def test_a_square_of_four_lands_has_the_orientation_of_its_siblings(tmp_path: Path) -> None:
    """Two rows of two with the pitch equal to the row spacing: only the siblings show the direction of the rows."""

    def body(name: str, positions: int) -> tuple[str, str]:
        lands = [pad(str(2 * n + r + 1), r * 2.0, n * 2.0) for n in range(positions) for r in (0, 1)]
        return name, drawing(name, *lands, rectangle(-2, -0.5, 4, positions * 2 - 1.5))

    imported = import_folder(write(tmp_path, [body(f"Wren_Q_2x{n:02d}", n) for n in (2, 3, 4, 5)]))
    square = halves(imported)["Wren_Q_2x02"]
    assert square.dimensions["body_length"].value == pytest.approx(3.0)
    assert square.dimensions["body_width"].value == pytest.approx(6.0)
    assert imported.report.series == 1


def test_matings_need_opposite_kinds_of_one_family_count_and_pitch(tmp_path: Path) -> None:
    plugs = family("Wren_Q7_Plug_{n}", (5, 6))
    receptacles = family("Wren_Q7_Receptacle_{n}", (6, 7)) + family("Wren_Q8_Receptacle_{n}", (5,))
    coarser = family("Wren_Q7_Receptacle_{n}", (5,), pitch=0.6)
    imported = import_folder(write(tmp_path, plugs + receptacles + coarser))
    assert matings(imported) == {("wren:wren_q7_plug_12", "wren:wren_q7_receptacle_12")}
    (mating,) = (entry for entry in imported.entries if isinstance(entry, Mating))
    assert mating.basis == "inferred"
    assert imported.report.matings == 1
    assert imported.report.without_mate == imported.report.imported - 2


def test_letters_after_the_count_give_the_kind_only_where_both_exist(tmp_path: Path) -> None:
    files = family("Wren_R3-{n}DP-A", (5, 6)) + family("Wren_R3-{n}DS-A", (5,))
    imported = import_folder(write(tmp_path, files))
    kinds = {name: half.half_kind for name, half in halves(imported).items()}
    assert kinds == {"Wren_R3-10DP-A": "plug", "Wren_R3-10DS-A": "receptacle", "Wren_R3-12DP-A": None}
    assert matings(imported) == {("wren:wren_r3-10dp-a", "wren:wren_r3-10ds-a")}


def test_matings_are_found_across_folders_of_one_import(tmp_path: Path) -> None:
    plugs = write(tmp_path / "plugs.pretty", [("Wren_Male_1x06", one_row("Wren_Male_1x06", 6))])
    receptacles = write(tmp_path / "recs.pretty", [("Wren_Female_1x06", one_row("Wren_Female_1x06", 6))])
    assert import_folders([plugs, receptacles]).report.matings == 1
    assert import_folder(tmp_path).report.matings == 1


def test_the_report_names_each_skipped_file_and_groups_the_reasons(tmp_path: Path) -> None:
    folder = write(tmp_path / "Recorders.pretty", family("Wren_T-{n}", (5, 6)))
    (folder / "broken.kicad_mod").write_text("(footprint", encoding="utf-8")
    (folder / "binary.kicad_mod").write_bytes(b"\xff\xfe\x00")
    (folder / "torn.kicad_mod").write_text('(footprint "x', encoding="utf-8")
    (folder / "notes.txt").write_text("no footprint at all", encoding="utf-8")
    report = import_folder(folder).report
    assert (report.read, report.imported) == (5, 2)
    assert report.skipped_by_reason == {"cut off or damaged": 2, "no text": 1}
    assert "Recorders.pretty/binary.kicad_mod" in {item.file for item in report.skipped}


def test_a_name_already_taken_is_skipped_and_reported(tmp_path: Path) -> None:
    write(tmp_path / "a", [("Wren_T-10", two_rows("Wren_T-10", 5))])
    write(tmp_path / "b", [("Wren_T-10", two_rows("Wren_t 10", 5).replace("Wren_t 10", "WREN_T 10"))])
    report = import_folder(tmp_path).report
    assert report.imported == 1
    assert report.skipped_by_reason == {"name already taken": 1}


def test_progress_ends_at_the_number_of_files(tmp_path: Path) -> None:
    calls: list[tuple[int, int]] = []
    import_folder(write(tmp_path, family("Wren_T-{n}", (5, 6, 7))), lambda done, total: calls.append((done, total)))
    assert calls == [(1, 3), (2, 3), (3, 3)]


def test_one_file_can_be_imported(tmp_path: Path) -> None:
    write(tmp_path, family("Wren_T-{n}", (5, 6)))
    assert import_folder(tmp_path / "Wren_T-10.kicad_mod").report.imported == 1


def test_an_empty_folder_imports_nothing(tmp_path: Path) -> None:
    imported = import_folder(tmp_path)
    assert imported.entries == ()
    assert imported.report.read == 0


def test_a_missing_folder_is_an_error_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read") as refusal:
        import_folder(tmp_path / "nowhere")
    assert ".kicad_mod" in refusal.value.remedy


def test_two_spellings_of_a_maker_become_the_more_common_one(tmp_path: Path, sqlite_migrated_url: str) -> None:
    files = family("Wren_T15-{n}", (5, 6)) + family("WREN_T20-{n}", (5,))
    imported = import_folder(write(tmp_path / "files", files))
    assert {half.maker for half in halves(imported).values()} == {"Wren"}
    with open_catalogue(sqlite_migrated_url) as catalogue, catalogue.writing() as session:
        assert add(session, imported.entries).added["half"] == 3


def test_series_whose_names_give_the_same_key_are_numbered(tmp_path: Path, sqlite_migrated_url: str) -> None:
    files = [*family("Wren_T15-{n}", (5, 6)), ("Wren_T15", two_rows("Wren_T15", 7))]
    imported = import_folder(write(tmp_path / "files", files))
    keys = [entry.key for entry in imported.entries if isinstance(entry, Series)]
    assert len(set(keys)) == len(keys) == 2
    with open_catalogue(sqlite_migrated_url) as catalogue, catalogue.writing() as session:
        assert add(session, imported.entries).added["half"] == 3
