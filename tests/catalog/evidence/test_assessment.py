"""The assessment that follows from all statements about an entry, and statements that are refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from catalog.contribute.submission import check_confirmation, check_dispute
from catalog.evidence.assessment import Assessment, Said, assess
from catalog.evidence.statements import Resolution, Sighting
from catalog.history.acts import OPERATOR
from catalog.model.entries import Half, Mating
from catalog.model.errors import EntryError, OwnEvidenceError, StaleError
from tests.catalog.evidence.evidence_examples import (
    AUTHOR,
    CITATION,
    IDA,
    MIA,
    PER,
    assessed,
    by_document,
    dispute,
    half,
    length,
    mating,
    measured,
    said,
    tried,
)
from tests.catalog.model.entry_examples import series

CITED = half(datasheet=CITATION)


def of(content: Half | Mating, *documents: Said, **changes: Any) -> Assessment:
    return assess(assessed(content, **changes), documents)


def by(author: str, *values: dict[str, Any], key: str | None = None, **changes: Any) -> Said:
    return said(measured(*values, **changes), author, key or f"c-{author}")


# Standing


def test_without_evidence_an_entry_is_reported_or_documented_by_its_own_citation() -> None:
    assert of(half()).standing == "reported"
    assert of(CITED).standing == "documented"
    assert of(CITED, clean=False).standing == "reported"


@pytest.mark.parametrize("missing", ["revision", "page"])
def test_a_citation_without_revision_or_page_does_not_document_an_entry(missing: str) -> None:
    cited = half(datasheet={name: text for name, text in CITATION.items() if name != missing})
    assert of(cited).standing == "reported"


def test_entries_without_documents_share_one_assessment() -> None:
    assert of(half()) is of(half(part_number="SK-30"))


def test_one_agreeing_measurement_confirms_a_documented_entry() -> None:
    found = of(CITED, by(IDA, length(6.52)))
    assert found.standing == "confirmed"
    assert found.confirmations[0].words == "agrees in body length"


def test_two_agreeing_measurements_confirm_an_entry_without_document() -> None:
    assert of(half(), by(IDA, length(6.52))).standing == "reported"
    assert of(half(), by(IDA, length(6.52)), by(PER, length(6.47))).standing == "confirmed"
    assert of(half(), by(IDA, length(6.52)), by(IDA, length(6.47), key="c-2")).standing == "reported"


def test_the_authors_own_measurement_does_not_confirm() -> None:
    assert of(CITED, by(AUTHOR, length(6.52))).standing == "documented"


def test_a_document_cited_by_another_person_documents_the_entry() -> None:
    found = of(half(), said(by_document(half()), IDA))
    assert found.standing == "documented"
    assert found.confirmations[0].words == "the document gives these figures"


def test_a_document_with_other_figures_neither_documents_nor_disputes() -> None:
    other = by_document(half(), stated={"body_length": {"value": 6.7}, "pitch": {"value": 0.5}})
    found = of(half(), said(other, IDA))
    assert found.standing == "reported"
    assert found.confirmations[0].words == "body length: the document gives 6.7 mm, the entry 6.5 mm"


def test_a_measurement_far_off_disputes_and_names_the_person_and_the_difference() -> None:
    found = of(CITED, by(IDA, length(6.52)), by(PER, length(7.5)))
    assert found.standing == "disputed"
    assert any(
        sentence.startswith(f"A measurement contradicts it: {PER}: body length: off by 1 mm") for sentence in found.why
    )


def test_a_measurement_a_little_off_neither_confirms_nor_disputes() -> None:
    found = of(CITED, by(IDA, length(6.63)))
    assert found.standing == "documented"
    assert not found.confirmations[0].agrees
    assert not found.confirmations[0].contradicts


def test_one_value_off_prevents_confirmation_by_the_others() -> None:
    pitch = {"feature": "pitch", "value": 5.0, "u": 0.02, "spans": 10}
    assert of(CITED, by(IDA, length(6.52), pitch)).standing == "confirmed"
    assert of(CITED, by(IDA, length(6.63), pitch)).standing == "documented"
    assert of(CITED, by(IDA, length(6.52), {"feature": "latch_style", "value": "screwed"})).standing == "documented"
    assert of(CITED, by(IDA, length(6.52), {"feature": "contact_count", "value": 22})).standing == "disputed"


def test_small_differences_of_several_together_dispute() -> None:
    entry = half(dimensions={"body_length": {"value": 6.5, "tolerance": 0.05}}, datasheet=CITATION)
    together = [by(person, length(6.585)) for person in (IDA, PER, MIA)]
    assert of(entry, together[0]).standing == "documented"
    found = of(entry, *together)
    assert found.standing == "disputed"
    assert any("3 people together: body length" in sentence for sentence in found.why)


@pytest.mark.parametrize(
    "values",
    [
        ({"feature": "tail_span", "value": 4.0, "u": 0.03},),
        (length(6.5, 0.2),),
        ({"feature": "height", "value": 0.3, "u": 0.03}, {"feature": "contact_count", "value": 20}),
    ],
    ids=["not stated", "too coarse", "far within a bound"],
)
def test_a_measurement_that_settles_nothing_confirms_nothing(
    values: tuple[dict[str, Any], ...],
) -> None:
    found = of(CITED, by(IDA, *values))
    assert found.standing == "documented"
    assert found.confirmations[0].words.startswith("settles nothing")


def test_evidence_about_earlier_figures_is_kept_but_does_not_count() -> None:
    documents = by(IDA, length(7.5)), by(PER, length(6.5), revision=2)
    found = of(CITED, *documents, revision=3, substance_revision=2)
    assert found.standing == "confirmed"
    assert [each.counts for each in found.confirmations] == [False, True]
    assert [each.contradicts for each in found.confirmations] == [True, False]
    assert "One confirmation speaks of earlier figures and does not count any more." in found.why
    assert found.estimates["body_length"].measured.people == 1


def test_evidence_still_counts_after_a_change_of_the_note() -> None:
    assert of(CITED, by(IDA, length(6.5)), revision=5, substance_revision=1).standing == "confirmed"


def test_withdrawn_evidence_does_not_count() -> None:
    off = by(IDA, length(7.5))
    assert of(CITED, replace(off, state="withdrawn")).standing == "documented"
    assert of(CITED, replace(by(IDA, length()), state="withdrawn")).estimates == {}


def test_withdrawn_and_merged_entries_are_withdrawn() -> None:
    assert of(CITED, by(IDA, length()), state="withdrawn").standing == "withdrawn"
    found = of(CITED, state="merged", successor="siskin-works:sk-20a")
    assert (found.standing, found.why) == ("withdrawn", ("It was merged into siskin-works:sk-20a; continue there.",))


# Disputes and sightings


def test_an_open_dispute_disputes_and_a_resolved_one_does_not() -> None:
    open_one = said(dispute(CITED), IDA, "d-1")
    found = of(CITED, open_one)
    assert (found.standing, [each.key for each in found.disputes]) == ("disputed", ["d-1"])
    resolved = dispute(CITED).resolved(Resolution(outcome="entry_stands", reason="tabs left out"), MIA)
    assert of(CITED, replace(open_one, statement=resolved, state="resolved")).standing == "documented"


def test_a_dispute_stays_open_although_the_figures_changed() -> None:
    assert of(CITED, said(dispute(CITED), IDA), revision=2, substance_revision=2).standing == "disputed"


def test_a_resolution_can_set_a_slip_aside() -> None:
    slip, agreeing = by(IDA, length(25.4 * 6.5), key="c-slip"), by(PER, length(6.5))
    assert of(CITED, slip, agreeing).standing == "disputed"
    resolution = Resolution(outcome="entry_stands", reason="inches", set_aside=("c-slip",))
    settled = said(dispute(CITED).resolved(resolution, MIA), IDA, "d-1", state="resolved")
    found = of(CITED, slip, agreeing, settled)
    assert found.standing == "confirmed"
    assert found.estimates["body_length"].measured.people == 1


def test_sightings_are_counted_and_change_no_standing() -> None:
    seen = said(Sighting(half=CITED.key, device="Reed 4 recorder"), IDA, "s-1")
    found = of(CITED, seen, replace(seen, key="s-2", author=PER), replace(seen, key="s-3", state="withdrawn"))
    assert (found.sightings, found.standing) == (2, "documented")


# Matings and series


def test_a_trial_fit_confirms_a_cited_mating_or_disputes_it() -> None:
    cited = mating(citation=CITATION)
    fits, not_so = (said(tried(cited, cited.other, result), IDA) for result in ("mates", "does_not_mate"))
    assert of(cited, fits).standing == "confirmed"
    assert of(cited, not_so).standing == "disputed"
    assert of(mating(), fits).standing == "reported"
    assert of(cited, replace(fits, author=AUTHOR)).standing == "documented"


def test_a_trial_fit_does_not_confirm_a_half() -> None:
    fit = said(tried(CITED, "siskin-works:sk-20p", "mates"), IDA)
    against = said(tried(CITED, "siskin-works:sk-20p", "does_not_mate"), IDA)
    assert of(CITED, fit).standing == of(CITED, against).standing == "documented"
    assert of(CITED, fit).confirmations[0].words == "mates with siskin-works:sk-20p; that does not measure the half"


def test_measuring_the_stack_height_confirms_a_mating() -> None:
    cited = mating(citation=CITATION)
    stack = measured({"feature": "stack_height", "value": 1.53, "u": 0.04}, content=cited)
    assert of(cited, said(stack, IDA)).standing == "confirmed"


def test_a_series_can_be_documented_but_not_confirmed() -> None:
    plain = series(datasheet=None)
    assert assess(assessed(plain), ()).standing == "reported"
    found = assess(assessed(plain), [said(by_document(plain), IDA), said(by_document(plain), PER, "c-2")])
    assert (found.standing, found.estimates, found.competing) == ("documented", {}, ())


# Estimates and documents


def test_the_matcher_gets_dimensions_that_measurements_determine_better() -> None:
    wide = half(dimensions={"body_length": {"value": 6.5, "tolerance": 0.5}, "pitch": {"value": 0.5}})
    found = of(wide, by(IDA, length(6.6), {"feature": "pitch", "value": 0.5, "u": 0.005}))
    assert set(found.estimates) == {"body_length", "pitch"}
    assert set(found.better) == {"body_length"}
    assert found.better["body_length"].value == pytest.approx(6.6)
    assert of(wide).better == {}


def test_people_are_named_in_the_spelling_they_used_first() -> None:
    found = of(half(), by(IDA, length(6.5)), by("ida-finch", length(6.4)))
    assert [part.person for part in found.estimates["body_length"].parts] == [IDA]


def competing_documents(*more: Said) -> Assessment:
    other = by_document(half(), citation=CITATION | {"revision": "C"}, stated={"body_length": {"value": 6.8}})
    return of(half(datasheet={"title": "SK leaflet", "revision": "A"}), said(other, IDA, "c-doc"), *more)


def test_documents_that_differ_are_kept_side_by_side_with_their_sources() -> None:
    (found,) = competing_documents().competing
    assert found.feature == "body_length"
    told = [(each.dimension.value, each.source and each.source.revision, each.said_by) for each in found.values]
    assert told == [(6.5, "A", AUTHOR), (6.8, "C", IDA)]
    assert [each.confirmation for each in found.values] == [None, "c-doc"]


def test_among_documents_that_differ_the_fully_cited_document_is_ranked() -> None:
    (found,) = competing_documents().competing
    assert found.ranked == 1
    assert found.explanation == (
        "6.8 mm of “SK leaflet” (C, 3) is ranked: its document is cited with revision and page."
    )


def test_among_documents_that_differ_the_document_that_fits_measurements_is_ranked() -> None:
    (found,) = competing_documents(by(PER, length(6.5)), by(MIA, length(6.51))).competing
    assert found.ranked == 0
    assert (
        found.explanation
        == "6.5 mm of “SK leaflet” (A) is ranked: of the documents' figures it fits what was measured."
    )


def test_among_equally_cited_documents_that_of_the_entry_is_ranked() -> None:
    other = by_document(CITED, stated={"body_length": {"value": 6.8}})
    (found,) = of(CITED, said(other, IDA)).competing
    assert found.ranked == 0
    assert "it came first" in found.explanation


def test_documents_with_the_same_figure_do_not_compete() -> None:
    same = by_document(
        CITED, stated={"body_length": {"value": 0.2559, "unit": "in"}, "height": {"value": 1.0, "bound": "max"}}
    )
    found = of(CITED, said(same, IDA))
    assert (found.competing, found.confirmations[0].agrees) == ((), True)


def test_a_maximum_and_a_nominal_value_are_different_figures() -> None:
    nominal = by_document(CITED, stated={"height": {"value": 1.0}})
    assert [each.feature for each in of(CITED, said(nominal, IDA)).competing] == ["height"]


# Refusals


def test_evidence_about_an_outdated_revision_is_refused_and_both_revisions_are_named() -> None:
    entry = assessed(half(), revision=4, substance_revision=3)
    check_confirmation(measured(length(), revision=3), entry, IDA)
    check_confirmation(measured(length(), revision=4), entry, IDA)
    for revision in (2, 5):
        with pytest.raises(StaleError, match="at revision 4 now") as caught:
            check_confirmation(measured(length(), revision=revision), entry, IDA)
        assert (caught.value.field, caught.value.value) == ("revision", revision)
        with pytest.raises(StaleError):
            check_dispute(dispute(half(), revision=revision), entry)


@pytest.mark.parametrize(
    ("author", "actor"),
    [(AUTHOR, AUTHOR), (AUTHOR, AUTHOR.upper()), (AUTHOR, "wren-olsen"), (OPERATOR, OPERATOR)],
    ids=["the author", "in capitals", "by the key", "whoever has the database, what was imported"],
)
def test_an_author_cannot_confirm_their_own_figures_by_measurement_or_trial_fit(author: str, actor: str) -> None:
    for statement, content in ((measured(length()), half()), (tried(mating(), mating().other, "mates"), mating())):
        with pytest.raises(OwnEvidenceError, match="nobody can confirm their own") as caught:
            check_confirmation(statement, assessed(content, author=author), actor)
        assert (caught.value.field, author in caught.value.message) == ("basis", True)
        check_confirmation(statement, assessed(content, author=author), IDA)


def test_an_author_may_cite_a_document_report_a_trial_fit_and_dispute_their_own_entry() -> None:
    check_confirmation(by_document(half()), assessed(half()), AUTHOR)
    check_confirmation(tried(half(), "siskin-works:sk-20p", "mates"), assessed(half()), AUTHOR)
    check_dispute(dispute(half()), assessed(half()))


def test_evidence_about_another_entry_is_refused() -> None:
    other = assessed(half(part_number="SK-30"))
    words = "this is about the half siskin-works:sk-20, not the half siskin-works:sk-30"
    with pytest.raises(EntryError, match=words):
        check_confirmation(measured(length()), other, IDA)
    with pytest.raises(EntryError, match=words):
        check_dispute(dispute(half()), other)


@pytest.mark.parametrize(("state", "successor"), [("withdrawn", None), ("merged", "siskin-works:sk-20a")])
def test_statements_about_a_withdrawn_or_merged_entry_are_refused(state: str, successor: str | None) -> None:
    gone = assessed(half(), state=state, successor=successor)
    with pytest.raises(EntryError, match=f"is {state}.*{successor or 'restored'}"):
        check_confirmation(measured(length()), gone, IDA)
    with pytest.raises(EntryError, match=f"is {state}"):
        check_dispute(dispute(half()), gone)


def test_a_trial_fit_about_a_mating_names_the_mating_or_one_of_its_halves() -> None:
    pair = mating()
    for mate in (pair.key, pair.half, pair.other):
        check_confirmation(tried(pair, mate, "mates"), assessed(pair), IDA)
    with pytest.raises(EntryError, match="is not a half of this mating"):
        check_confirmation(tried(pair, "siskin-works:sk-99", "mates"), assessed(pair), IDA)


def test_a_mating_keeps_the_key_it_was_listed_under() -> None:
    listed, corrected = mating(), mating(stack_height={"value": 1.6})
    entry = assessed(corrected, key=listed.key, revision=2, substance_revision=2)
    check_confirmation(tried(listed, listed.other, "mates", revision=2), entry, IDA)
