"""After a change, a snapshot reads only what changed and equals a snapshot read from scratch."""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue, mark_changed
from catalog.db.tables import HalfTable
from catalog.evidence.statements import Sighting
from catalog.history.addition import add
from catalog.history.changes import restore, revise, withdraw
from catalog.history.documents import add_document
from catalog.model.entries import Half
from catalog.records.read import get_record
from catalog.snapshot import incremental as cache_module
from catalog.snapshot.incremental import Cache
from catalog.snapshot.search import SearchIndex
from catalog.snapshot.snapshot import Snapshot, SnapshotSource, take_snapshot
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns
from tests.catalog.history.changed_entries import HALF, MATE, MEMBER, WREN, by, longer
from tests.catalog.history.random_changes import RandomChanges, a_catalogue
from tests.catalog.model.entry_examples import half
from tests.catalog.snapshot.asking_workers import two_workers

STEPS = 30
LEAST_CARRIED_OUT = 20
"""Of the random changes; the others conflict with the catalogue and are refused."""


# --- equality ----------------------------------------------------------------------------------------------------


def same(one: object, other: object, where: str = "") -> None:
    """Fail if two snapshots, or parts of them, differ in anything, including order."""
    assert type(one) is type(other), where
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        assert one.dtype == other.dtype, where
        assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), where
    elif isinstance(one, Mapping) and isinstance(other, Mapping):
        assert list(one) == list(other), where
        for key, value in one.items():
            same(value, other[key], f"{where}[{key}]")
    elif (dataclasses.is_dataclass(one) and dataclasses.is_dataclass(other)) or isinstance(one, SearchIndex):
        same(vars(one), vars(other), where)
    elif isinstance(one, tuple | list) and isinstance(other, tuple | list):
        assert len(one) == len(other), where
        for place, (mine, theirs) in enumerate(zip(one, other, strict=True)):
            same(mine, theirs, f"{where}[{place}]")
    else:
        assert one == other, where


def anew(catalogue: Catalogue) -> Snapshot:
    """The whole snapshot, read from scratch."""
    with catalogue.reading() as session:
        return take_snapshot(session)


@pytest.fixture
def whole_reads(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """A list that grows by one each time a source reads everything."""
    reads: list[int] = []
    whole = cache_module.read_cache

    def counted(session: Session) -> Cache:
        reads.append(1)
        return whole(session)

    monkeypatch.setattr("catalog.snapshot.snapshot.read_cache", counted)
    return reads


@pytest.fixture
def fitted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Columns that are the same to the last byte are fitted once: fitting takes most of the time of a snapshot."""
    fitted: dict[bytes, AbsentModel] = {}

    def remembered(columns: Columns) -> AbsentModel:
        content = pickle.dumps(columns)
        if content not in fitted:
            fitted[content] = fit_absent(columns)
        return fitted[content]

    monkeypatch.setattr("catalog.snapshot.snapshot.fit_absent", remembered)


# --- random changes ----------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("fitted_once")
@pytest.mark.parametrize("seed", range(2))
def test_after_any_changes_the_snapshot_equals_one_read_from_scratch(
    catalogue: Catalogue, seed: int, monkeypatch: pytest.MonkeyPatch, whole_reads: list[int]
) -> None:
    monkeypatch.setattr(cache_module, "MOST_CHANGED_SHARE", 1.0)
    with catalogue.writing() as session:
        a_catalogue(session)
    source, changes = SnapshotSource(catalogue), RandomChanges(catalogue, seed)
    source.current()
    for step in range(STEPS):
        for _ in range(1 + step % 3):
            changes.one()
        before = len(whole_reads)
        current = source.current()
        assert len(whole_reads) == before
        same(current, anew(catalogue), "snapshot")
    assert len(changes.carried_out) >= LEAST_CARRIED_OUT


# --- what is read and computed -----------------------------------------------------------------------------------


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    with catalogue.writing() as session:
        a_catalogue(session)
    return catalogue


def _change(catalogue: Catalogue, change: Callable[[Session], Any]) -> None:
    with catalogue.writing() as session:
        change(session)


def test_statements_about_a_half_leave_columns_and_absent_unchanged(filled: Catalogue) -> None:
    source = SnapshotSource(filled)
    first = source.current()
    said = Sighting.model_validate({"half": HALF, "device": "field recorder"})
    _change(filled, lambda session: add_document(session, by(WREN), "sighting", said, of="half", about=HALF))
    second = source.current()
    assert second.version == first.version + 1
    assert second.columns is first.columns
    assert second.absent is first.absent


def test_withdrawing_and_restoring_a_half_includes_its_matings(filled: Catalogue) -> None:
    source = SnapshotSource(filled)
    first = source.current()
    of_mate = [record.id for record in first.matings if MATE in (record.mating.half, record.mating.other)]
    assert of_mate
    _change(filled, lambda session: withdraw(session, by(WREN), "half", MATE))
    without = source.current()
    assert MATE not in without.halves
    assert not {record.id for record in without.matings} & set(of_mate)
    _change(filled, lambda session: restore(session, by(WREN), "half", MATE))
    assert source.current().matings == first.matings


def test_a_change_missing_from_the_journal_is_found_by_reading_everything(
    filled: Catalogue, whole_reads: list[int]
) -> None:
    source = SnapshotSource(filled)
    source.current()

    def by_hand(session: Session) -> None:
        found = session.execute(select(HalfTable).where(HalfTable.key == HALF)).scalar_one()
        sizes = found.content["dimensions"]
        changed = found.content | {"dimensions": sizes | {"body_length": {"value": 7.9}}}
        session.execute(update(HalfTable).where(HalfTable.key == HALF).values(content=changed, body_length=7.9))
        mark_changed(session)

    _change(filled, by_hand)
    seen = source.current()
    assert seen.halves[HALF].half.dimensions["body_length"].value == 7.9
    assert len(whole_reads) == 2


def test_a_change_missing_from_the_journal_is_found_among_others_too(filled: Catalogue, whole_reads: list[int]) -> None:
    source = SnapshotSource(filled)
    source.current()
    _change(filled, mark_changed)
    _change(filled, lambda session: revise(session, by(WREN), HALF, longer()))
    seen = source.current()
    assert len(whole_reads) == 2
    same(seen, anew(filled), "snapshot")


def test_very_many_changes_make_the_snapshot_read_everything(filled: Catalogue, whole_reads: list[int]) -> None:
    source = SnapshotSource(filled)
    source.current()
    more = [half(part_number=f"N{number}") for number in range(100)]
    _change(filled, lambda session: add(session, more, by(WREN)))
    seen = source.current()
    assert len(whole_reads) == 2
    same(seen, anew(filled), "snapshot")


def test_few_changes_are_read_one_by_one(filled: Catalogue, whole_reads: list[int]) -> None:
    source = SnapshotSource(filled)
    source.current()
    _change(filled, lambda session: revise(session, by(WREN), HALF, longer()))
    source.current()
    assert len(whole_reads) == 1


def test_a_cache_newer_than_the_catalogue_is_not_used(filled: Catalogue) -> None:
    """As when yesterday's copy of the file is put back."""
    with filled.reading() as session:
        cache = cache_module.read_cache(session)
        ahead = dataclasses.replace(cache, version=cache.version + 5, journal=cache.journal + 5)
        assert cache_module.update_cache(session, ahead) is None


# --- several processes -------------------------------------------------------------------------------------------


def test_every_worker_process_sees_a_change_at_its_next_request(migrated_url: str, catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        a_catalogue(session)
    with two_workers(migrated_url) as workers:
        first = [worker.ask(MEMBER) for worker in workers]
        assert first[0][:2] == first[1][:2]
        for round_ in range(1, 4):
            with catalogue.writing() as session:
                entry = get_record(session, "half", MEMBER).content
                changed = longer(entry if isinstance(entry, Half) else None, 0.1)
                revise(session, by(WREN), MEMBER, changed)
            for version, length, _ in (worker.ask(MEMBER) for worker in workers):
                assert version == first[0][0] + round_
                assert length == changed.dimensions["body_length"].value
