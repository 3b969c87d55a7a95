"""Identification uses a measured dimension where it is better known than the stated one, and says so."""

from __future__ import annotations

from api.identification.answering import answer
from api.schemas.requests import IdentifyRequest
from catalog.contribute import submission
from catalog.db.database import Catalogue
from catalog.evidence.statements import Confirmation
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.model.entries import Half
from catalog.snapshot.snapshot import SnapshotSource
from tests.catalog.model.entry_examples import half

DOUBTED = {"value": 7.4, "tolerance": 0.3, "extra_u": 0.15, "doubt": "read off a picture"}
MEASURED = 7.52


def _half() -> Half:
    described = half()
    return half(dimensions={"pitch": {"value": 0.635}, "body_length": DOUBTED}, part_number=described.part_number)


def _measure(catalogue: Catalogue, name: str, value: float) -> None:
    values = [{"feature": "body_length", "value": value, "u": 0.01}]
    said = Confirmation.model_validate(
        {"of": "half", "key": _half().key, "revision": 1, "basis": "measured", "values": values}
    )
    with catalogue.writing() as session:
        submission.confirm(session, Act(actor=name), said, {})


def test_a_doubtful_length_is_replaced_by_measurements_of_several_people(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        add(session, [_half()], Act(actor="Robin"))
    source = SnapshotSource(catalogue)
    stated = source.current()
    place = stated.columns.keys.index(_half().key)
    assert stated.columns.dimensions["body_length"].stated[place] == DOUBTED["value"]

    for name, value in (("Wren", MEASURED - 0.01), ("Dunnock", MEASURED), ("Siskin", MEASURED + 0.01)):
        _measure(catalogue, name, value)
    known = source.current()
    column = known.columns.dimensions["body_length"]
    assert abs(column.stated[place] - MEASURED) < 1e-6
    assert column.extra_u[place] < stated.columns.dimensions["body_length"].extra_u[place]

    request = IdentifyRequest.model_validate(
        {
            "observations": [
                {"feature": "contact_count", "value": 13},
                {"feature": "body_length", "value": MEASURED, "u": 0.02},
            ]
        }
    )
    lines = {line.feature: line for line in answer(known, request).candidates[0].evidence}
    assert lines["body_length"].expected == column.stated[place]
    assert "3 people" in (lines["body_length"].expected_from or "")
    assert lines["contact_count"].expected_from is None


def test_a_well_known_stated_length_is_kept(catalogue: Catalogue) -> None:
    exact = _half().model_copy(update={"dimensions": half().dimensions})
    with catalogue.writing() as session:
        add(session, [exact], Act(actor="Robin"))
    _measure(catalogue, "Wren", 7.43)
    snapshot = SnapshotSource(catalogue).current()
    record = snapshot.halves[_half().key]
    assert record.better_known == {}
