"""The whole catalogue is exported and imported with its history; merging a publication overwrites nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.contribute import submission
from catalog.db.database import Catalogue, open_catalogue
from catalog.evidence.retrieval import assessment_of
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.exchange.merge import Merged, merge_published
from catalog.exchange.replay import import_whole
from catalog.exchange.whole import End, is_whole, write_whole
from catalog.history.acts import Act, operators
from catalog.history.addition import add
from catalog.history.changes import restore, revise, withdraw
from catalog.history.documents import add_document, documents
from catalog.history.journal import page
from catalog.model.entries import AnyEntry
from catalog.model.entry_parts import Dimension
from catalog.model.errors import EntryError, FileError
from catalog.records.read import get_record, load_halves, load_matings, load_series
from catalog.records.read_models import assessed_of
from catalog.snapshot.snapshot import take_snapshot
from tests import catalogues
from tests.catalog.model.entry_examples import half, mating, series

SERIES, HALF, MATING = series(), half(), mating()
MEASURED = {"feature": "pitch", "value": HALF.dimensions["pitch"].value, "u": 0.005}


def _by(name: str, **more: Any) -> Act:
    return Act(actor=name, **more)


@pytest.fixture
def lived_in(catalogue: Catalogue) -> Catalogue:
    """A catalogue that people have worked on."""
    with catalogue.writing() as session:
        contributors.add(session, operators(), "Wren", Role.MAINTAINER)
        contributors.add(session, operators(), "Robin")
        add(session, [SERIES, HALF, MATING], _by("Robin", reason="from the drawing"))
    with catalogue.writing() as session:
        revise(session, _by("Robin"), HALF.key, HALF.model_copy(update={"note": "seen on two boards"}))
        said = Confirmation.model_validate(
            {"of": "half", "key": HALF.key, "revision": 2, "basis": "measured", "values": [MEASURED]}
        )
        submission.confirm(session, _by("Wren"), said, {})
        submission.sight(session, _by("Wren"), Sighting(half=HALF.key, device="reed recorder", board="lid"))
        wrong = Dispute(of="series", key=SERIES.key, revision=1, reason="the second class is missing")
        submission.dispute(session, _by("Wren"), wrong)
        add_document(session, _by("Robin"), "specimen", Sighting(half="x:y", device="mine"), private=True)
    with catalogue.writing() as session:
        withdraw(session, operators("twice"), "mating", MATING.key)
    return catalogue


@pytest.fixture
def another(tmp_path: Path) -> Iterator[Catalogue]:
    """A second catalogue, empty."""
    with open_catalogue(catalogues.placed(tmp_path / "another.sqlite3", catalogues.empty())) as opened:
        yield opened


def _written(catalogue: Catalogue, folder: Path, **options: Any) -> Path:
    path = folder / "whole.jsonl"
    with catalogue.reading() as session, path.open("w", encoding="utf-8", newline="\n") as stream:
        write_whole(session, stream, **options)
    return path


def _published(catalogue: Catalogue, folder: Path) -> Path:
    return _written(catalogue, folder, origin="North marsh", signed_off_by="Wren")


def _merge(catalogue: Catalogue, path: Path) -> Merged:
    with catalogue.writing() as session:
        return merge_published(session, operators(), path)


def _everything(catalogue: Catalogue) -> tuple[object, ...]:
    with catalogue.reading() as session:
        entries = [load(session) for load in (load_series, load_halves, load_matings)]
        said = [
            [each.model_copy(update={"id": 0}) for each in documents(session, record)]
            for record in ("sighting", "confirmation", "dispute")
        ]
        return *entries, *said, page(session, limit=500), contributors.listed(session), take_snapshot(session).version


def test_entries_evidence_people_and_history_are_imported_unchanged(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    path = _written(lived_in, tmp_path)
    assert is_whole(path)
    with another.writing() as session:
        counts = import_whole(session, path)
    assert counts["half"] == 10
    assert _everything(another) == _everything(lived_in)
    with another.reading() as session:
        assert get_record(session, "mating", MATING.key).state == "withdrawn"


def test_work_continues_after_the_import(lived_in: Catalogue, another: Catalogue, tmp_path: Path) -> None:
    path = _written(lived_in, tmp_path)
    with another.writing() as session:
        import_whole(session, path)
    with another.writing() as session:
        restore(session, operators("needed"), "mating", MATING.key)
    with another.reading() as session:
        last, before = page(session, limit=2)
    assert (last.action, last.revision) == ("restore", 3)
    assert last.id > before.id


def test_private_records_are_not_exported_unless_asked_for(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    path = _written(lived_in, tmp_path)
    assert '"record":"specimen"' not in path.read_text(encoding="utf-8")
    with another.writing() as session:
        import_whole(session, _written(lived_in, tmp_path, private=True))
    with another.reading() as session:
        assert documents(session, "specimen") == []
        assert len(documents(session, "specimen", private=True)) == 1


def test_a_whole_catalogue_is_imported_only_into_an_empty_one(lived_in: Catalogue, tmp_path: Path) -> None:
    path = _written(lived_in, tmp_path)
    before = _everything(lived_in)
    with pytest.raises(EntryError, match="empty") as caught, lived_in.writing() as session:
        import_whole(session, path)
    assert "merge" in caught.value.remedy
    assert _everything(lived_in) == before


def _without_end(lines: list[str]) -> list[str]:
    return lines[:-1]


def _altered(lines: list[str]) -> list[str]:
    return [line.replace("from the drawing", "from a drawing") for line in lines]


def _one_left_out(lines: list[str]) -> list[str]:
    return [*lines[:5], *lines[6:]]


def _something_after(lines: list[str]) -> list[str]:
    return [*lines, lines[1]]


def _turned(lines: list[str]) -> list[str]:
    return [lines[0], lines[2], lines[1], *lines[3:]]


def _another_form(lines: list[str]) -> list[str]:
    return [json.dumps(json.loads(lines[0]) | {"form": 99}), *lines[1:]]


@pytest.mark.parametrize("spoil", [_without_end, _altered, _one_left_out, _something_after, _turned, _another_form])
def test_a_damaged_file_is_refused_as_a_whole(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path, spoil: Any
) -> None:
    path = _written(lived_in, tmp_path)
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(spoil(lines)) + "\n", encoding="utf-8")
    with pytest.raises(FileError) as caught, another.writing() as session:
        import_whole(session, path)
    assert caught.value.remedy
    with another.reading() as session:
        assert (load_halves(session), page(session)) == ([], [])


def test_a_file_without_its_closing_line_is_not_merged(lived_in: Catalogue, another: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(EntryError, match="signed"):
        _merge(another, _written(lived_in, tmp_path))


def test_new_entries_are_added_with_their_evidence_as_work_of_others(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    merged = _merge(another, _published(lived_in, tmp_path))
    assert merged.added == {"series": 1, "half": 10, "mating": 6}  # the other series is only named by its half
    assert merged.statements == {"confirmation": 1, "sighting": 1, "dispute": 1}
    assert (merged.differences, merged.left) == ((), ())
    with another.reading() as session:
        record = get_record(session, "half", HALF.key)
        assert record.content.note == "seen on two boards"
        assert record.author == "Robin @ North marsh"
        assessed = assessment_of(session, assessed_of(record))
        assert [(each.author, each.counts, each.agrees) for each in assessed.confirmations] == [
            ("Wren @ North marsh", True, True)
        ]
        rows = page(session, record="half", key=HALF.key)
        assert all("North marsh" in row.reason for row in rows)


def test_merging_again_changes_nothing(lived_in: Catalogue, another: Catalogue, tmp_path: Path) -> None:
    path = _published(lived_in, tmp_path)
    _merge(another, path)
    before = _everything(another)
    merged = _merge(another, path)
    assert set(merged.added.values()) == {0}
    assert merged.statements == {}
    assert _everything(another) == before


def test_entries_with_other_content_are_listed_and_left_unchanged(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    ours = _with_pitch(HALF, 0.6)
    with another.writing() as session:
        add(session, [ours], _by("Dunnock"))
    merged = _merge(another, _published(lived_in, tmp_path))
    assert [(each.key, each.what) for each in merged.differences if each.record == "half"] == [
        (HALF.key, "another note, dimensions")
    ]
    assert {each.record: each.why for each in merged.left} == {
        "confirmation": "the entry has other figures in this catalogue"
    }
    with another.reading() as session:
        assert get_record(session, "half", HALF.key).content == ours


def test_evidence_is_merged_where_only_the_wording_differs(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    with another.writing() as session:
        add(session, [HALF], _by("Dunnock"))
    merged = _merge(another, _published(lived_in, tmp_path))
    assert merged.statements["confirmation"] == 1
    with another.reading() as session:
        assessed = assessment_of(session, assessed_of(get_record(session, "half", HALF.key)))
    assert assessed.confirmations[0].counts
    assert assessed.confirmations[0].confirmation.revision == 1


def test_entries_withdrawn_on_one_side_are_reported_and_kept(
    lived_in: Catalogue, another: Catalogue, tmp_path: Path
) -> None:
    with another.writing() as session:
        add(session, [SERIES, HALF, MATING], _by("Dunnock"))
    merged = _merge(another, _published(lived_in, tmp_path))
    assert [each.what for each in merged.differences if each.key == MATING.key] == ["withdrawn there, listed here"]
    with another.reading() as session:
        assert get_record(session, "mating", MATING.key).state == "listed"


def test_private_cases_are_not_merged(lived_in: Catalogue, another: Catalogue, tmp_path: Path) -> None:
    path = _written(lived_in, tmp_path, origin="North marsh", signed_off_by="Wren", private=True)
    _merge(another, path)
    with another.reading() as session:
        assert documents(session, "specimen", private=True) == []


def test_revisions_out_of_sequence_are_refused(lived_in: Catalogue, another: Catalogue, tmp_path: Path) -> None:
    path = _written(lived_in, tmp_path)
    heading, *rows, _ = path.read_text(encoding="utf-8").splitlines()
    told = [json.loads(row) for row in rows]
    second = next(row for row in told if row["key"] == HALF.key and row["revision"] == 2)
    second["old"]["content"]["part_number"] = "another"
    lines = [json.dumps(row, separators=(",", ":")) + "\n" for row in told]
    end = End(rows=len(lines), sha256=hashlib.sha256("".join(lines).encode()).hexdigest())
    path.write_text("".join([heading + "\n", *lines, end.model_dump_json() + "\n"]), encoding="utf-8")
    with pytest.raises(FileError, match="does not follow"), another.writing() as session:
        import_whole(session, path)


def _with_pitch(entry: AnyEntry, pitch: float) -> Any:
    dimensions = {**entry.dimensions, "pitch": Dimension(value=pitch)}  # type: ignore[union-attr]
    return entry.model_copy(update={"dimensions": dimensions})
