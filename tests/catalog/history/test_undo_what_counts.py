"""Which changes count as confirmed by others, what an undo restores for others, and what it does not wait for."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from catalog.contribute.contribution import contribute
from catalog.db.database import Catalogue
from catalog.evidence.retrieval import assessment_of
from catalog.history.changes import merge, revise, withdraw
from catalog.history.documents import add_document, documents, revise_document
from catalog.history.undo import Undone, undo
from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from catalog.records.read import get_record
from catalog.records.read_models import assessed_of
from tests.catalog.evidence.evidence_examples import by_document, measured
from tests.catalog.history.changed_entries import IDA, PER, SERIES, WREN, by, confirm, fill, since_ever, wider_laws
from tests.catalog.model.entry_examples import half, series

VANDAL = "Cuckoo"
KEY = half().key


def undone(session: Session) -> Undone:
    return undo(session, by("Mia Dunn", "a spree", maintainer=True), VANDAL, since_ever())


def two_lengths(**values: float) -> Half:
    """The half with its length and width, either of them changed."""
    lengths = {"pitch": 0.635, "body_length": 7.4, "body_width": 3.0} | values
    return half(dimensions={name: Dimension(value=value, tolerance=0.1) for name, value in lengths.items()})


def measure(session: Session, who: str, entry: Half, revision: int, **values: float) -> None:
    said: list[dict[str, Any]] = [{"feature": name, "value": value, "u": 0.01} for name, value in values.items()]
    given = measured(*said, content=entry, revision=revision)
    add_document(session, by(who), "confirmation", given, of="half", about=entry.key)


def spoil(session: Session, **values: float) -> Half:
    """A half added by another person; the vandal changes its lengths."""
    contribute(session, by(WREN), two_lengths(), {})
    spoilt = two_lengths(**values)
    revise(session, by(VANDAL), KEY, spoilt)
    return spoilt


def test_a_confirmed_half_that_was_withdrawn_is_restored(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        confirm(session, half(), IDA, PER)
        withdraw(session, by(VANDAL), "half", KEY)
        answer = undone(session)
        assert get_record(session, "half", KEY).standing == "confirmed"
    assert (answer.taken_back, answer.kept) == ((("half", KEY),), ())


def test_a_confirmed_half_that_was_merged_away_is_restored(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        confirm(session, half(), IDA, PER)
        merge(session, by(VANDAL), KEY, "dunnock-sons:dn40r-010")
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).state == "listed"


def test_a_measurement_of_another_length_does_not_confirm_a_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        spoilt = spoil(session, body_length=9.0)
        measure(session, IDA, spoilt, 2, body_width=3.0)
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).content == two_lengths()


def test_a_measurement_that_fits_old_and_new_figures_does_not_confirm_a_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        spoilt = spoil(session, body_length=7.45)
        measure(session, IDA, spoilt, 2, body_length=7.42)
        assert undone(session).kept == ()


def test_a_measurement_of_the_changed_value_confirms_the_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        better = spoil(session, body_length=9.0)
        measure(session, IDA, better, 2, body_length=9.02)
        answer = undone(session)
        assert get_record(session, "half", KEY).content == better
    assert [(kept.key, kept.by) for kept in answer.kept] == [(KEY, (IDA,))]


def test_a_change_is_not_confirmed_if_as_many_people_measured_the_old_figures_before_it(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(WREN), two_lengths(), {})
        measure(session, PER, two_lengths(), 1, body_length=7.41)
        spoilt = two_lengths(body_length=9.0)
        revise(session, by(VANDAL), KEY, spoilt)
        measure(session, IDA, spoilt, 2, body_length=9.02)
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).content == two_lengths()


def test_a_change_is_not_confirmed_if_as_many_people_measured_the_old_figures_after_it(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        spoilt = spoil(session, body_length=9.0)
        measure(session, IDA, spoilt, 2, body_length=9.02)
        measure(session, PER, spoilt, 2, body_length=7.41)
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).content == two_lengths()


def test_a_withdrawn_measurement_of_the_old_figures_does_not_count_against_a_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(WREN), two_lengths(), {})
        measure(session, PER, two_lengths(), 1, body_length=7.41)
        (said,) = documents(session, "confirmation")
        revise_document(session, by(PER), said, "withdraw", state="withdrawn")
        revise(session, by(VANDAL), KEY, two_lengths(body_length=9.0))
        measure(session, IDA, two_lengths(body_length=9.0), 2, body_length=9.02)
        assert [(kept.key, kept.by) for kept in undone(session).kept] == [(KEY, (IDA,))]


@pytest.mark.parametrize("other", [{"body_length": 8.2}, {"body_width": 3.0}], ids=["fits neither", "fits both"])
def test_a_measurement_that_fits_old_and_new_figures_does_not_count_against_a_change(
    catalogue: Catalogue, other: dict[str, float]
) -> None:
    with catalogue.writing() as session:
        contribute(session, by(WREN), two_lengths(), {})
        measure(session, PER, two_lengths(), 1, **other)
        revise(session, by(VANDAL), KEY, two_lengths(body_length=9.0))
        measure(session, IDA, two_lengths(body_length=9.0), 2, body_length=9.02)
        assert [(kept.key, kept.by) for kept in undone(session).kept] == [(KEY, (IDA,))]


def test_a_measurement_that_contradicts_an_added_half_does_not_confirm_it(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(VANDAL), two_lengths(), {})
        measure(session, IDA, two_lengths(), 1, body_length=9.0)
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).state == "withdrawn"


def test_the_contributors_own_evidence_does_not_confirm_their_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        spoilt = spoil(session, body_length=9.0)
        add_document(session, by(VANDAL), "confirmation", by_document(spoilt, revision=2), of="half", about=KEY)
        assert undone(session).kept == ()
        assert get_record(session, "half", KEY).content == two_lengths()


def test_a_document_with_the_new_figures_confirms_a_change(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        better = spoil(session, body_length=9.0)
        add_document(session, by(IDA), "confirmation", by_document(better, revision=2), of="half", about=KEY)
        answer = undone(session)
        assert get_record(session, "half", KEY).content == better
    assert [(kept.key, kept.by) for kept in answer.kept] == [(KEY, (IDA,))]


def test_a_document_confirms_new_laws_of_a_series_and_one_for_the_old_laws_does_not_count_against_them(
    catalogue: Catalogue,
) -> None:
    with catalogue.writing() as session:
        fill(session)
        for who, revision in ((PER, 1), (IDA, 2)):
            given = by_document(series(), revision=revision)
            add_document(session, by(who), "confirmation", given, of="series", about=SERIES)
            if revision == 1:
                revise(session, by(VANDAL), SERIES, wider_laws())
        answer = undone(session)
        assert get_record(session, "series", SERIES).content == wider_laws()
    assert [(kept.key, kept.by) for kept in answer.kept if kept.record == "series"] == [(SERIES, (IDA,))]


def test_a_measurement_made_under_other_figures_counts_once_its_own_figures_are_restored(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        spoilt = spoil(session, body_length=9.0)
        measure(session, IDA, spoilt, 2, body_length=7.39)
        measure(session, PER, spoilt, 2, body_length=7.42)
        undone(session)
        assert get_record(session, "half", KEY).standing == "confirmed"


def test_a_measurement_older_than_the_figures_in_force_does_not_count(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(WREN), two_lengths(), {})
        measure(session, PER, two_lengths(), 1, body_length=9.0)
        revise(session, by(IDA), KEY, two_lengths(body_length=9.0))
        (judged,) = assessment_of(session, assessed_of(get_record(session, "half", KEY))).confirmations
    assert (judged.counts, judged.stale) == (False, True)


def false_twin() -> Half:
    """The same sizes as the half, and its name except for one character."""
    return two_lengths().model_copy(update={"part_number": "SK-713"})


OTHER = {"part_number": "QX-5", "order_codes": (), "aliases": ()}


def test_findings_caused_by_the_vandals_entry_are_removed_with_it(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(VANDAL), false_twin(), {})
        contribute(session, by(WREN), two_lengths(), {"same-name": "the other one is made up"})
        assert not get_record(session, "half", KEY).clean
        answer = undone(session)
        assert get_record(session, "half", KEY).clean
    assert answer.reviewed == (("half", KEY),)


def test_findings_that_do_not_depend_on_the_vandals_entry_stay(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        contribute(session, by(PER), false_twin(), {})
        contribute(session, by(VANDAL), two_lengths(body_length=12.0).model_copy(update=OTHER), {})
        contribute(session, by(WREN), two_lengths(), {"same-name": "both are sold, says the leaflet"})
        answer = undone(session)
        assert not get_record(session, "half", KEY).clean
    assert answer.reviewed == ()
