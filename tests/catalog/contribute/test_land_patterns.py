"""Land patterns are kept with their history, apart from what the matcher loads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from catalog.contribute.land_patterns import keep_patterns, pattern_of
from catalog.db.database import Catalogue, open_catalogue
from catalog.exchange.merge import merge_published
from catalog.exchange.replay import import_whole
from catalog.exchange.whole import write_whole
from catalog.history import journal
from catalog.history.acts import Act, operators
from catalog.history.addition import add
from catalog.history.documents import documents, revise_document
from catalog.model.land_pattern import RECORD, LandPattern
from catalog.snapshot.snapshot import take_snapshot
from tests.catalog.model.entry_examples import half


def pattern(width: float = 0.3, key: str = half().key) -> LandPattern:
    lands = [{"width": width, "height": 1.2, "at": [("1", 0.0, 0.0), ("2", 0.5, 0.0)]}]
    return LandPattern.model_validate({"half": key, "lands": lands, "body": (-1, -1, 2, 1), "source": "a file"})


@pytest.fixture
def kept(catalogue: Catalogue) -> Catalogue:
    """A half with its lands."""
    with catalogue.writing() as session:
        add(session, [half()])
        assert keep_patterns(session, operators("added"), [pattern()]) == 1
    return catalogue


def test_a_pattern_is_found_again_and_others_are_not(kept: Catalogue) -> None:
    with kept.reading() as session:
        assert pattern_of(session, half().key) == pattern()
        assert pattern_of(session, "siskin-works:other") is None


def test_the_same_lands_again_change_nothing_and_others_are_a_revision(kept: Catalogue) -> None:
    before = kept.version()
    with kept.writing() as session:
        assert keep_patterns(session, operators("again"), [pattern()]) == 0
    assert kept.version() == before
    with kept.writing() as session:
        assert keep_patterns(session, Act(actor="Wren Olsen"), [pattern(0.25)]) == 1
    with kept.reading() as session:
        assert pattern_of(session, half().key) == pattern(0.25)
        rows = [row for row in journal.page(session, record="half", key=half().key) if row.record == RECORD]
        assert [(row.action, row.revision, row.actor) for row in rows] == [
            ("revise", 2, "Wren Olsen"),
            ("add", 1, "operator"),
        ]


def test_lands_that_were_undone_are_not_found_and_can_be_kept_again(kept: Catalogue) -> None:
    with kept.writing() as session:
        (document,) = documents(session, RECORD)
        revise_document(session, operators("undone"), document, "undo", state="withdrawn")
    with kept.writing() as session:
        assert pattern_of(session, half().key) is None
        assert keep_patterns(session, operators("again"), [pattern()]) == 1
    with kept.reading() as session:
        assert pattern_of(session, half().key) == pattern()
        assert len(documents(session, RECORD)) == 1


def test_the_matchers_snapshot_reads_no_lands(kept: Catalogue) -> None:
    read: list[tuple[str, str]] = []

    def note(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        read.append((statement, repr(parameters)))

    with kept.reading() as session:
        event.listen(session.get_bind(), "before_cursor_execute", note)
        take_snapshot(session)
        event.remove(session.get_bind(), "before_cursor_execute", note)
    of_documents = [(statement, parameters) for statement, parameters in read if "documents.content" in statement]
    assert of_documents
    for statement, parameters in of_documents:
        assert "documents.record IN" in statement
        assert RECORD not in parameters


def test_lands_move_with_the_whole_history_and_with_a_publication(kept: Catalogue, tmp_path: Path) -> None:
    whole = tmp_path / "whole.jsonl"
    with kept.reading() as session, whole.open("w", encoding="utf-8") as stream:
        write_whole(session, stream, origin="North marsh", signed_off_by="Wren Olsen")
    with open_catalogue(f"sqlite:///{tmp_path / 'copy.sqlite3'}") as copy:
        with copy.writing() as session:
            import_whole(session, whole)
        with copy.reading() as session:
            assert pattern_of(session, half().key) == pattern()
    with open_catalogue(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other:
        with other.writing() as session:
            assert merge_published(session, operators(), whole).statements == {RECORD: 1}
        with other.reading() as session:
            assert pattern_of(session, half().key) == pattern()


def test_own_lands_stay_where_others_publish_lands_of_the_same_half(kept: Catalogue, tmp_path: Path) -> None:
    whole = tmp_path / "whole.jsonl"
    with kept.reading() as session, whole.open("w", encoding="utf-8") as stream:
        write_whole(session, stream, origin="North marsh", signed_off_by="Wren Olsen")
    with open_catalogue(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other:
        with other.writing() as session:
            add(session, [half()])
            keep_patterns(session, operators(), [pattern(0.2)])
            merged = merge_published(session, operators(), whole)
            assert [left.why for left in merged.left] == ["the half has lands in this catalogue"]
        with other.reading() as session:
            assert pattern_of(session, half().key) == pattern(0.2)
