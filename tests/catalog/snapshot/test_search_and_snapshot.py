"""Text search, and the snapshot that gives the catalogue to the matcher."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue, open_catalogue
from catalog.history.addition import add
from catalog.model.entries import Half, Series
from catalog.model.errors import EntryError
from catalog.model.series_laws import expand
from catalog.model.text_fields import LONGEST_LINE
from catalog.records.read_models import HalfRecord, SeriesRecord
from catalog.snapshot import snapshot as snapshot_module
from catalog.snapshot.search import Searchable, SearchIndex
from catalog.snapshot.snapshot import Build, Snapshot, SnapshotSource
from tests.catalog.model.entry_examples import half, mating, series


def _record(entry: Half) -> HalfRecord:
    return HalfRecord(
        key=entry.key, origin="listed", standing="reported", revision=1, half=entry, series_key=entry.series_key
    )


def _searchable(entry: Half) -> Searchable:
    return Searchable.of(_record(entry))


def _series_record(entry: Series) -> SeriesRecord:
    return SeriesRecord(key=entry.key, standing="reported", revision=1, series=entry, stated=True, half_count=0)


@pytest.fixture(scope="module")
def index() -> SearchIndex:
    halves = [half(), *expand(series()).halves]
    return SearchIndex([Searchable.of(_series_record(series())), *map(_searchable, halves)])


def _first(index: SearchIndex, text: str) -> tuple[str, str]:
    hit = index.search(text, 1)[0]
    return hit.kind, hit.key


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("SK-7/13", ("half", "siskin-works:sk-7-13")),
        ("sk713", ("half", "siskin-works:sk-7-13")),
        ("SK 7.13", ("half", "siskin-works:sk-7-13")),
        ("sk713t", ("half", "siskin-works:sk-7-13")),
        ("female", ("half", "siskin-works:sk-7-13")),
        ("sk 7", ("half", "siskin-works:sk-7-13")),
        ("dn40pb-020", ("half", "dunnock-sons:dn40pb-020")),
        ("40pb02", ("half", "dunnock-sons:dn40pb-020")),
        ("dn40bp-020", ("half", "dunnock-sons:dn40pb-020")),
        ("dn4opb-020", ("half", "dunnock-sons:dn40pb-020")),
        ("DN40", ("series", "dunnock-sons:dn40")),
        ("low forty", ("series", "dunnock-sons:dn40")),
        ("low fourty", ("series", "dunnock-sons:dn40")),
        ("dunnock and sons", ("maker", "dunnock-sons")),
        ("siskin", ("maker", "siskin-works")),
        ("SÍSKÏN", ("maker", "siskin-works")),
        ("dunnock pb 040", ("half", "dunnock-sons:dn40pb-040")),
    ],
)
def test_the_intended_entry_comes_first(index: SearchIndex, text: str, expected: tuple[str, str]) -> None:
    assert _first(index, text) == expected


def test_exact_matches_precede_prefixes_then_fragments_then_similar_texts() -> None:
    parts = ["WREN20", "WREN200", "XWREN20", "WREM20"]
    index = SearchIndex(_searchable(half(part_number=part, order_codes=[], markings=[], aliases=[])) for part in parts)
    hits = index.search("wren-20")
    assert [hit.matched for hit in hits] == parts
    assert hits[0].score == 1.0
    assert sorted((hit.score for hit in hits), reverse=True) == [hit.score for hit in hits]


def test_each_entry_is_found_once_by_its_best_text(index: SearchIndex) -> None:
    hits = index.search("dn40pb-020", 100)
    assert len({(hit.kind, hit.key) for hit in hits}) == len(hits)
    assert hits[0].matched == "DN40PB-020"


def test_the_limit_of_results_is_kept(index: SearchIndex) -> None:
    assert len(index.search("dn40", 4)) == 4


@pytest.mark.parametrize("text", ["", "  ", "-/-", "qqqqqqqq", "zz"])
def test_a_query_that_resembles_nothing_finds_nothing(index: SearchIndex, text: str) -> None:
    assert index.search(text) == []


def test_an_empty_catalogue_finds_nothing() -> None:
    assert SearchIndex([]).search("wren") == []


def test_a_query_longer_than_any_text_is_refused(index: SearchIndex) -> None:
    with pytest.raises(EntryError) as caught:
        index.search("x" * (LONGEST_LINE + 1))
    assert caught.value.field == "text"


# --- snapshot ----------------------------------------------------------------------------------------------------


@pytest.fixture
def filled(sqlite_migrated_url: str) -> Iterator[Catalogue]:
    with open_catalogue(sqlite_migrated_url) as catalogue:
        with catalogue.writing() as session:
            add(session, [series(), half(), mating()])
        yield catalogue


def test_the_snapshot_holds_listed_and_inferred_halves_in_the_order_of_the_columns(filled: Catalogue) -> None:
    snapshot = SnapshotSource(filled).current()
    assert snapshot.version == 1
    assert tuple(snapshot.halves) == snapshot.columns.keys
    listed = [record.key for record in snapshot.halves.values() if record.origin == "listed"]
    assert listed == [
        key for key, inferred in zip(snapshot.columns.keys, snapshot.columns.inferred, strict=True) if not inferred
    ]
    assert len(listed) == 10
    inferred = [record for record in snapshot.halves.values() if record.origin == "inferred"]
    assert inferred
    assert all(record.inferred_by == "stated law" and record.revision == 0 for record in inferred)


def test_the_snapshot_gives_the_matcher_the_values_of_the_entries(filled: Catalogue) -> None:
    columns = SnapshotSource(filled).current().columns
    at = columns.keys.index("siskin-works:sk-7-13")
    assert columns.dimensions["body_length"].stated[at] == 7.4
    assert columns.dimensions["body_length"].extra_u[at] == 0.04
    assert columns.counts["contact_count"][at] == 13
    assert columns.counts["rows"][at] == 2
    assert columns.counts["power_contact_count"][at] == 0
    assert columns.categories["half_kind"][at].tolist() == [0.0, 1.0, 0.0]
    assert set(columns.texts[at]) >= {"SK 7", "SK-7/13", "SK-7/13-T\\R", "=seven"}


def test_matings_are_in_the_order_of_the_columns(filled: Catalogue) -> None:
    snapshot = SnapshotSource(filled).current()
    pairs = snapshot.columns.matings
    assert snapshot.matings
    for number, record in enumerate(snapshot.matings):
        assert snapshot.columns.keys[pairs.half[number]] == record.mating.half
        assert snapshot.columns.keys[pairs.other[number]] == record.mating.other


def test_the_snapshot_is_searchable(filled: Catalogue) -> None:
    assert SnapshotSource(filled).current().search.search("sk713")[0].key == "siskin-works:sk-7-13"


def test_the_snapshot_is_rebuilt_only_after_a_change(filled: Catalogue) -> None:
    source = SnapshotSource(filled)
    first = source.current()
    assert source.current() is first
    with filled.writing() as session:
        add(session, [half()])  # stands already
    assert source.current() is first
    with filled.writing() as session:
        add(session, [half(part_number="N1")])
    second = source.current()
    assert second.version == 2
    assert "siskin-works:n1" in second.halves
    assert "siskin-works:n1" not in first.halves


def test_threads_that_ask_at_once_wait_for_one_build(filled: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    builds: list[int] = []
    whole = snapshot_module.build

    def counted(session: Session, before: Build | None) -> Build:
        builds.append(1)
        return whole(session, before)

    monkeypatch.setattr(snapshot_module, "build", counted)
    source = SnapshotSource(filled)
    ready = threading.Barrier(6)

    def ask(_: int) -> Snapshot:
        ready.wait()
        return source.current()

    with ThreadPoolExecutor(6) as pool:
        found = list(pool.map(ask, range(6)))
    assert len(builds) == 1
    assert all(each is found[0] for each in found)


def test_an_empty_catalogue_has_an_empty_snapshot(sqlite_migrated_url: str) -> None:
    with open_catalogue(sqlite_migrated_url) as catalogue:
        snapshot = SnapshotSource(catalogue).current()
    assert len(snapshot.columns) == 0
    assert snapshot.matings == ()
