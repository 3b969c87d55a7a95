"""What was kept when `contact_layout` also asked for the tails is read as `tail_layout`: stored and sent, nothing lost.

Catalogues and specimens are made with the present names and then rewritten into the old ones, in every table.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import JSON, select, update

from api.observations.checking import form_of
from api.observations.short_form import parse_pieces
from api.operations.case_ranking import rank_again
from api.schemas.requests import IdentifyRequest, to_observations
from api.web.bench.parameters import tidy
from catalog.db.database import Catalogue, open_catalogue
from catalog.db.tables import DocumentTable, HalfTable, JournalTable, SeriesTable
from catalog.exchange.replay import import_whole
from catalog.exchange.whole import write_whole
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.changes import revise
from catalog.model.entries import Half
from catalog.records.read import get_record, load_halves, load_series
from catalog.snapshot.snapshot import take_snapshot
from matcher.features import FEATURES
from matcher.uncertainty.reduce import reduce
from tests import catalogues
from tests.api.web.browsed import browser
from tests.api.web.page_reading import check_form
from tests.api.workshop import Workshop, workshop
from tests.catalog.exchange.exchange_files import read_entries
from tests.catalog.history.changed_entries import IDA, WREN, by
from tests.catalog.model.entry_examples import half, series

OLD = {"alternating": "alternating_tails"}
SURE, UNSURE = ("alternating",), ("staggered", "alternating")
SIZES = {"pitch": {"value": 0.635}, "body_length": {"value": 7.4}, "body_width": {"value": 3.0}}


def _old(given: Any) -> Any:
    """JSON as it was written before: `tail_layout` under the name `contact_layout`."""
    if isinstance(given, list):
        return [_old(each) for each in given]
    if not isinstance(given, dict):
        return given
    if given.get("feature") == "tail_layout":
        return {**given, "feature": "contact_layout", "value": [OLD.get(each, each) for each in given["value"]]}
    return {
        ("contact_layout" if name == "tail_layout" else name): (
            [OLD.get(each, each) for each in value] if name == "tail_layout" else _old(value)
        )
        for name, value in given.items()
    }


def _age(catalogue: Catalogue) -> int:
    """Rewrite everything that is stored; returns how many texts changed."""
    changed = 0
    with catalogue.writing() as session:
        for table in (HalfTable, SeriesTable, DocumentTable, JournalTable):
            key, *_ = table.__table__.primary_key.columns
            columns = [column for column in table.__table__.c if isinstance(column.type, JSON)]
            for row in session.execute(select(key.label("row"), *columns)).mappings().all():
                aged = {each.name: _old(row[each.name]) for each in columns if row[each.name] is not None}
                changed += sum(aged[name] != row[name] for name in aged)
                session.execute(update(table).where(key == row["row"]).values(**aged))
    return changed


def _half(number: str, layout: tuple[str, ...]) -> Half:
    names = {"order_codes": [number], "aliases": [], "markings": []}
    return half(part_number=number, dimensions=SIZES, categories={"tail_layout": list(layout)}, **names)


def _series() -> Any:
    """A series whose law for plugs states the tails."""
    laws = series().model_dump(mode="json")
    laws["kinds"][0]["categories"] = {"tail_layout": list(SURE)}
    return laws


def _written(catalogue: Catalogue, path: Path) -> Path:
    with catalogue.reading() as session, path.open("w", encoding="utf-8", newline="\n") as stream:
        write_whole(session, stream)
    return path


def _entries(catalogue: Catalogue) -> tuple[object, object]:
    with catalogue.reading() as session:
        return load_series(session), load_halves(session)


@pytest.fixture
def old(catalogue: Catalogue) -> Catalogue:
    """A catalogue of the old kind: halves, a series with its members, and their journal."""
    with catalogue.writing() as session:
        add(session, [series(kinds=_series()["kinds"]), _half("SURE", SURE), _half("UNSURE", UNSURE)], by(WREN))
    before = _entries(catalogue)
    assert _age(catalogue) == 2 * (1 + 6 + 2), "the series, its plugs and both halves, each also in the journal"
    assert _entries(catalogue) == before
    return catalogue


def test_a_stored_entry_states_its_tails_and_no_contacts(old: Catalogue) -> None:
    with old.reading() as session:
        snapshot = take_snapshot(session)
    layouts = {key.rpartition(":")[2]: record.half.categories for key, record in snapshot.halves.items()}
    assert layouts["sure"] == {"tail_layout": SURE}
    assert layouts["unsure"] == {"tail_layout": UNSURE}, "what was possible stays possible, and nothing more is certain"
    assert layouts["dn40pa-010"] == {"tail_layout": SURE}
    at = snapshot.columns.position("siskin-works:sure")
    assert snapshot.columns.dimensions["tail_pitch"].centre[at] == pytest.approx(1.5 * 0.635), "one pitch or two"


def test_old_history_goes_on_and_is_exported_and_imported_before_and_after_a_change(
    old: Catalogue, tmp_path: Path
) -> None:
    """The first change after the split writes the entry before it by its new name."""
    for name in ("before", "after"):
        path = _written(old, tmp_path / f"{name}.jsonl")
        assert "alternating_tails" in path.read_text(encoding="utf-8"), "rows of the journal are never changed"
        with open_catalogue(catalogues.placed(tmp_path / f"{name}.sqlite3", catalogues.empty())) as other:
            with other.writing() as session:
                import_whole(session, path)
            assert _entries(other) == _entries(old)
        with old.writing() as session:
            record = get_record(session, "half", "siskin-works:sure")
            revise(session, by(WREN), record.content.key, record.content.model_copy(update={"note": f"seen {name}"}))
    with old.reading() as session:
        changed = get_record(session, "half", "siskin-works:sure")
    assert (changed.revision, changed.substance_revision) == (3, 1), "the figures are the same, so evidence stands"


@pytest.mark.parametrize("kind", ["jsonl", "csv"])
def test_an_old_file_is_read(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"halves.{kind}"
    if kind == "csv":
        head = "maker,series,part_number,rows,contact_count,contact_layout"
        rows = ["S,S,A,1,10,alternating_tails", "S,S,B,1,10,staggered; alternating_tails", "S,S,C,1,10,staggered"]
        path.write_text("\n".join((head, *rows)), encoding="utf-8")
    else:
        common = {"record": "half", "maker": "S", "series": "S", "rows": 1, "contact_count": 10}
        lines = [("A", ["alternating_tails"]), ("B", ["staggered", "alternating_tails"]), ("C", ["staggered"])]
        written = [{**common, "part_number": name, "categories": {"contact_layout": v}} for name, v in lines]
        path.write_text("\n".join(map(json.dumps, written)), encoding="utf-8")
    found = {entry.part_number: entry.categories for entry in read_entries(path) if isinstance(entry, Half)}
    assert found == {
        "A": {"tail_layout": SURE},
        "B": {"tail_layout": UNSURE},
        "C": {"contact_layout": ("staggered",)},
    }


def test_an_entry_that_states_the_tails_twice_is_refused() -> None:
    both = {"contact_layout": ["alternating_tails"], "tail_layout": ["one_row"]}
    with pytest.raises(ValueError, match="contact_layout cannot be 'alternating_tails'"):
        half(categories=both)


SENT = [
    (["alternating_tails"], SURE),
    (["staggered", "alternating_tails"], UNSURE),
    (["Alternating tails"], SURE),
]


@pytest.mark.parametrize(("value", "meant"), SENT)
def test_an_old_observation_is_read_however_it_is_sent(value: list[str], meant: tuple[str, ...]) -> None:
    typed = ",".join(value)
    for of in ("this", "other"):
        requests = (
            {"feature": "contact_layout", "value": value, "of": of},
            *parse_pieces([f"{of}.contact_layout={typed}"]),
            *parse_pieces([f"{of}.stagger={typed}"]),
        )
        for request in requests:
            given = to_observations(form_of(IdentifyRequest, {"observations": [request]}))
            (seen,) = reduce(given)
            assert (seen.feature, seen.of, seen.values) == ("tail_layout", of, frozenset(meant))


def test_an_old_address_of_the_bench_becomes_the_present_one() -> None:
    pairs = [("contact_layout", "staggered,alternating_tails"), ("other.contact_layout", "alternating_tails")]
    assert tidy([*pairs, ("pitch", "0.5")]) == [
        ("tail_layout", "staggered,alternating"),
        ("other.tail_layout", "alternating"),
        ("pitch", "0.5"),
    ]
    assert tidy([("contact_layout", "staggered"), ("contact_layout", "alternating_tails")]) == [
        ("tail_layout", "staggered,alternating")
    ]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def test_saved_specimens_and_evidence_of_the_old_kind_stay_as_they_were(shop: Workshop) -> None:
    seen = {"feature": "tail_layout", "value": list(SURE)}
    lengths = [{"feature": "contact_count", "value": 13}, {"feature": "pitch", "value": 0.635}]
    case = {"title": "reed bed", "visibility": "public", "observations": [*lengths, seen]}
    saved = shop.ask("POST", "/v1/specimens", IDA, key="case", json=case)
    assert saved.status_code == 201, saved.text
    listed = shop.ask("POST", "/v1/halves", WREN, key="half", json={"entry": _named(_half("SK-9", SURE))})
    assert listed.status_code == 201, listed.text
    evidence = {
        "of": "half",
        "key": "siskin-works:sk-9",
        "basis": "measured",
        "revision": 1,
        "values": [{"feature": "pitch", "value": 0.635, "u": 0.01}, seen],
    }
    path = "/v1/halves/siskin-works:sk-9"
    said = shop.ask("POST", "/v1/confirmations", IDA, json={"confirmation": evidence})
    assert said.status_code == 201, said.text
    case_path = f"/v1/specimens/{saved.json()['key']}"
    pages = (f"/cases/{saved.json()['key']}", "/halves/siskin-works:sk-9", "/halves/siskin-works:sk-9/evidence")
    shown = [shop.server.get(each).json() for each in (case_path, path, f"{path}/evidence")]
    read = [browser(shop).open(each).text for each in pages]
    assert f"{FEATURES['tail_layout'].label} alternating" in check_form(read[0]).text
    assert _age(shop.catalogue) >= 5
    assert [shop.server.get(each).json() for each in (case_path, path, f"{path}/evidence")] == shown
    assert [browser(shop).open(each).text for each in pages] == read
    with shop.catalogue.writing() as session:
        add(session, [_half("SK-8", UNSURE)], operators("a new entry"))
    with shop.catalogue.reading() as session:
        snapshot = take_snapshot(session)
    assert [each.fault for each in rank_again(shop.catalogue, snapshot)] == [""]


def _named(entry: Half) -> dict[str, Any]:
    return entry.model_dump(mode="json", exclude_defaults=True)
