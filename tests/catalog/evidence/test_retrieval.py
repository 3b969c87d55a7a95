"""From documents in the database to assessments, on both engines: the right documents, in order, in one query."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.db.engines import CHUNK
from catalog.evidence.assessment import Assessed
from catalog.evidence.retrieval import assessments
from catalog.evidence.statements import Answer, Confirmation, Dispute, Sighting
from catalog.history.acts import Act
from catalog.history.documents import add_document
from tests.catalog.evidence.evidence_examples import (
    CITATION,
    IDA,
    PER,
    WHEN,
    assessed,
    by_document,
    dispute,
    half,
    length,
    mating,
    measured,
    tried,
)
from tests.catalog.model.entry_examples import series

CITED = half(datasheet=CITATION)


Keep = Callable[[Session], None]


def document(statement: Confirmation | Dispute | Sighting, author: str, key: str, state: str = "") -> Keep:
    """A function that stores the statement as that author's document; a dispute is open, any other statement counts."""
    if isinstance(statement, Sighting):
        of, about = "half", statement.half
    else:
        of, about = statement.of, statement.key
    usual = "open" if isinstance(statement, Dispute) else "listed"

    def kept(session: Session) -> None:
        act = Act(actor=author, at=WHEN)
        add_document(session, act, statement.record, statement, of=of, about=about, state=state or usual, key=key)

    return kept


def answered(session: Session, answer: Answer) -> None:
    add_document(session, Act(actor=IDA), answer.record, answer, of="half", about="siskin-works:sk-0")


def keep(catalogue: Catalogue, *documents: Keep) -> None:
    with catalogue.writing() as session:
        for kept in documents:
            kept(session)


@contextmanager
def counted(session: Session) -> Iterator[list[str]]:
    """Count the SQL statements that a session sends."""
    sent: list[str] = []
    bind = session.connection()

    def note(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        sent.append(statement)

    event.listen(bind, "before_cursor_execute", note)
    try:
        yield sent
    finally:
        event.remove(bind, "before_cursor_execute", note)


def test_the_documents_of_an_entry_are_assessed(catalogue: Catalogue) -> None:
    keep(
        catalogue,
        document(Sighting(half=CITED.key, device="Reed 4 recorder"), IDA, "s-1"),
        document(measured(length(6.52)), IDA, "c-1"),
        document(measured(length(6.48)), PER, "c-2"),
        document(measured(length(9.0)), PER, "c-3", state="withdrawn"),
        document(dispute(CITED), PER, "d-1", state="resolved"),
    )
    with catalogue.reading() as session:
        found = assessments(session, [assessed(CITED)])[CITED.key]
    assert (found.standing, found.sightings, found.disputes) == ("confirmed", 1, ())
    assert [(each.key, each.author, each.added_at) for each in found.confirmations] == [
        ("c-1", IDA, WHEN),
        ("c-2", PER, WHEN),
        ("c-3", PER, WHEN),
    ]
    assert found.estimates["body_length"].measured.people == 2


def test_a_series_and_a_half_of_one_key_keep_their_documents_apart(catalogue: Catalogue) -> None:
    same = series(maker=CITED.maker, name=CITED.part_number, datasheet=None)
    assert same.key == CITED.key
    keep(
        catalogue,
        document(by_document(same), IDA, "c-1"),
        document(dispute(CITED), IDA, "d-1"),
        document(Sighting(half=CITED.key, device="Reed 4 recorder"), IDA, "s-1"),
    )
    with catalogue.reading() as session:
        of_series = assessments(session, [assessed(same)])[same.key]
        of_half = assessments(session, [assessed(CITED)])[CITED.key]
    assert (of_series.standing, of_series.sightings, len(of_series.confirmations)) == ("documented", 0, 1)
    assert (of_half.standing, of_half.sightings, len(of_half.confirmations)) == ("disputed", 1, 0)


def test_matings_are_read_by_the_key_they_were_listed_under(catalogue: Catalogue) -> None:
    listed, corrected = mating(citation=CITATION), mating(citation=CITATION, stack_height={"value": 1.6})
    keep(catalogue, document(tried(listed, listed.other, "mates"), IDA, "c-1"))
    with catalogue.reading() as session:
        found = assessments(session, [assessed(corrected, key=listed.key)])
    assert {key: each.standing for key, each in found.items()} == {listed.key: "confirmed"}


def many(number: int) -> list[Assessed]:
    return [assessed(half(part_number=f"SK-{n}", datasheet=CITATION)) for n in range(number)]


@pytest.mark.parametrize("number", [1, CHUNK, CHUNK + 1])
def test_one_query_serves_any_number_of_entries(catalogue: Catalogue, number: int) -> None:
    entries = many(number)
    about = measured(length(), content=half(part_number="SK-0"))
    other = measured(length(), content=half(part_number="ZZ-1"))
    answer = Answer(dispute="d-1", text="no document about an entry")
    keep(
        catalogue,
        document(about, IDA, "c-1"),
        document(other, IDA, "c-2"),
        lambda session: answered(session, answer),
    )
    with catalogue.reading() as session, counted(session) as sent:
        found = assessments(session, entries)
    assert len(sent) == 1
    assert set(found) == {entry.key for entry in entries}
    assert [key for key, each in found.items() if each.standing == "confirmed"] == ["siskin-works:sk-0"]


def test_without_entries_no_query_is_sent(catalogue: Catalogue) -> None:
    with catalogue.reading() as session, counted(session) as sent:
        assert assessments(session, []) == {}
    assert sent == []


def test_entries_without_documents_share_one_empty_assessment(catalogue: Catalogue) -> None:
    with catalogue.reading() as session:
        found = assessments(session, many(CHUNK + 1))
    assert len({id(each) for each in found.values()}) == 1


def test_entries_of_several_kinds_at_once_are_refused(catalogue: Catalogue) -> None:
    with catalogue.reading() as session, pytest.raises(ValueError, match="one kind at a time, not half and mating"):
        assessments(session, [assessed(half()), assessed(mating())])
