"""Stored cases: who sees one, what the journal and an export show of it, and when its answer has changed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import NoReturn

import pytest
from pydantic import ValidationError
from sqlalchemy.orm import Session

from catalog.cases import lifecycle
from catalog.cases.answer_history import renew_answer
from catalog.cases.retrieval import (
    Seer,
    case_now,
    comments_of,
    get_case,
    get_revision,
    next_behind,
    own_cases,
    public_cases,
    was_public,
)
from catalog.cases.specimens import LONGEST_JSON, MOST_COMMENTS, SOLVED, Comment, Specimen
from catalog.db.database import Catalogue, open_catalogue
from catalog.exchange.replay import import_whole
from catalog.exchange.whole import write_whole
from catalog.history.acts import Act
from catalog.history.journal import page
from catalog.history.undo import undo
from catalog.model.errors import EntryError, ForbiddenError, NotFoundError
from tests import catalogues
from tests.catalog.cases.case_examples import NONE, specimen, summary
from tests.catalog.history.changed_entries import IDA, PER, WREN, by, since_ever

ANYBODY, AUTHOR, ANOTHER = Seer(), Seer(name=IDA), Seer(name=PER)
KEEPER = Seer(name="Mia Dunn", maintainer=True)
A, B = "a:1", "b:2"


def saved(session: Session, *, private: bool = True, act: Act | None = None) -> str:
    return lifecycle.save(session, act or by(IDA), specimen(), NONE, private=private).key


def revised(session: Session, key: str, *, private: bool, **changes: object) -> None:
    case = lifecycle.own_case(session, by(IDA), key)
    lifecycle.revise(session, by(IDA), case, specimen(**changes), summary(A), (), private=private)


def said(session: Session, key: str, who: str, text: str = "look at the keys", half: str | None = None) -> str:
    case = get_case(session, key, Seer(name=who))
    comment = Comment(specimen=key, text=text, half=half)
    return lifecycle.comment(session, by(who), case, comment, None).key


def sees(session: Session, key: str, *seers: Seer) -> list[bool]:
    found = []
    for seer in seers:
        try:
            get_case(session, key, seer)
        except NotFoundError:
            found.append(False)
        else:
            found.append(True)
    return found


def test_a_private_case_is_visible_only_to_those_who_know_its_key(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session)
        assert sees(session, key, ANYBODY, AUTHOR, ANOTHER, KEEPER) == [True] * 4
        assert sees(session, key[:-1], ANYBODY, AUTHOR, KEEPER) == [False] * 3
        assert public_cases(session, limit=10) == []
        assert page(session) == []
        assert [case.document.key for case in own_cases(session, IDA)] == [key]


def test_a_case_made_private_again_is_visible_to_its_author_and_maintainers(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session, private=False)
        revised(session, key, private=True)
        assert was_public(session, key)
        assert sees(session, key, ANYBODY, AUTHOR, ANOTHER, KEEPER) == [False, True, False, True]
        assert public_cases(session, limit=10) == []
        told = [row for row in page(session) if row.record == "specimen"]
        assert [row.action for row in told] == ["add"]


def test_the_private_history_stays_private_when_a_case_becomes_public(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session)
        revised(session, key, private=True, title="the address of my hut")
        said(session, key, PER, "seen at your hut")
        revised(session, key, private=False)
        said(session, key, PER, "in public")
        assert [case.document.key for case in public_cases(session, limit=10)] == [key]
        for revision in (1, 2):
            for seer in (ANYBODY, ANOTHER):
                with pytest.raises(NotFoundError):
                    get_revision(session, key, revision, seer)
            assert get_revision(session, key, revision, AUTHOR).new["private"]
        assert get_revision(session, key, 3, ANYBODY).new["content"]["title"] == specimen().title
        document = get_case(session, key, ANYBODY).document
        texts = [
            [each.content["text"] for each in comments_of(session, document, seer)]
            for seer in (ANYBODY, Seer(name=WREN), ANOTHER, AUTHOR, KEEPER)
        ]
        assert texts == [["in public"]] * 2 + [["seen at your hut", "in public"]] * 3
        assert "hut" not in str(page(session))
        shown = [row.action for row in page(session) if row.record == "specimen"]
        assert shown == ["publish"]


def test_only_the_author_revises_and_only_an_open_case(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session)
        with pytest.raises(ForbiddenError):
            lifecycle.own_case(session, by(PER), key)
        with pytest.raises(ForbiddenError):
            lifecycle.own_case(session, by("Mia Dunn", maintainer=True), key)
        lifecycle.withdraw(session, by(IDA), lifecycle.own_case(session, by(IDA), key))
        with pytest.raises(EntryError, match="withdrawn"):
            revised(session, key, private=True)
        with pytest.raises(EntryError, match="withdrawn"):
            said(session, key, PER)
        with pytest.raises(EntryError, match="already"):
            lifecycle.withdraw(session, by(IDA), lifecycle.own_case(session, by(IDA), key))
        with pytest.raises(ForbiddenError, match="maintainer"):
            lifecycle.reopen(session, by(IDA), lifecycle.own_case(session, by(IDA), key))


def test_the_number_of_comments_on_a_case_is_limited(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    assert MOST_COMMENTS >= 100
    monkeypatch.setattr(lifecycle, "MOST_COMMENTS", 2)
    with catalogue.writing() as session:
        key = saved(session)
        said(session, key, PER)
        said(session, key, IDA)
        with pytest.raises(EntryError, match="cannot take more"):
            said(session, key, WREN)


@pytest.mark.parametrize(
    "changes",
    [
        {"title": "two\nlines"},
        {"title": "turned\u202eround"},
        {"note": "nul\x00"},
        {"observations": []},
        {"observations": [{"feature": "marking", "value": "T\u200b2"}]},
        {"pictures": [{"name": "a\x1b[31m"}]},
        {"instruments": {"caliper\u202e": {"feel_mm": 1.0}}},
        {"observations": [{"feature": "marking", "value": "x" * LONGEST_JSON}]},
        {"solution": {"half": A}},
        {"photo": "iVBOR"},
    ],
    ids=lambda each: next(iter(each)),
)
def test_a_specimen_with_invisible_or_too_much_text_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        specimen(**changes)


def test_cases_last_answered_for_another_version_or_revision_are_found(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key, other = saved(session), saved(session, private=False)
        assert next_behind(session, 1) is None
        assert next_behind(session, None) is None
        first = next_behind(session, 2)
        assert first is not None
        second = next_behind(session, 2, first.document.id)
        assert second is not None
        assert [first.document.key, second.document.key] == [key, other]
        case = lifecycle.own_case(session, by(IDA), key)
        lifecycle.accept(
            session, by(IDA), case, lifecycle.Choice(half="x:inferred", listed=False, confirm=False), _unasked
        )
        lifecycle.reopen(session, by(IDA), lifecycle.own_case(session, by(IDA), key))
        reopened = next_behind(session, None)
        assert reopened is not None
        assert reopened.document.key == key


def _unasked() -> NoReturn:
    raise AssertionError("no evidence was asked for")


def test_an_unchanged_answer_is_not_recorded_but_becomes_the_last_answer(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session, private=False)
    before = catalogue.version()
    with catalogue.writing() as session:
        rows = page(session)
        assert renew_answer(session, case_now(session, key), NONE.model_copy(update={"catalogue_version": 7})) == ()
        assert page(session) == rows
        case = case_now(session, key)
        assert (case.answer.now.catalogue_version, case.changed_since, case.document.revision) == (7, None, 1)
    assert catalogue.version() == before


def test_a_changed_answer_is_recorded_with_the_previous_one(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session, private=False)
        stale = case_now(session, key)
        assert renew_answer(session, stale, summary(A, catalogue_version=7))
        case = case_now(session, key)
        assert case.document.revision == 1
        assert case.answer.before == NONE
        assert case.changed_since is not None
        since = public_cases(session, changed_since=case.changed_since, limit=9)
        assert [each.document.key for each in since] == [key]
        assert public_cases(session, changed_since="2999-01-01", limit=9) == []
        row = page(session)[0]
        assert (row.record, row.about, row.actor, row.action) == ("case_answer", key, "operator", "rank")
        assert renew_answer(session, case, summary(B, catalogue_version=6)) == (), "an older version is no news"
        revised(session, key, private=False)
        assert case_now(session, key).changed_since is None
        assert renew_answer(session, stale, summary(B, catalogue_version=9)) == (), "the case was changed meanwhile"


def test_the_answer_of_a_private_case_is_as_private_as_the_case(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session)
        assert renew_answer(session, case_now(session, key), summary(A, catalogue_version=7))
        assert page(session) == []
        assert public_cases(session, changed_since=since_ever(), limit=9) == []


def test_an_undo_removes_the_cases_of_the_contributor_from_the_list(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        public, kept = saved(session, private=False), saved(session, private=False, act=by(PER))
        undo(session, by("Mia Dunn", maintainer=True), IDA, since_ever())
        assert [case.document.key for case in public_cases(session, limit=9)] == [kept]
        assert case_now(session, public).document.state == "withdrawn"


def test_a_publication_contains_no_private_cases_and_can_be_merged_elsewhere(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    with catalogue.writing() as session:
        private = saved(session)
        key = saved(session)
        revised(session, key, private=True, title="the address of my hut")
        said(session, key, PER, "seen at your hut")
        revised(session, key, private=False)
        said(session, key, PER, "in public")
        renew_answer(session, case_now(session, key), summary(A, probability=0.61, catalogue_version=7))
        renew_answer(session, case_now(session, key), summary(B, catalogue_version=8))
        renew_answer(session, case_now(session, key), summary(A, catalogue_version=9))
        stream = io.StringIO()
        write_whole(session, stream)
        everything = io.StringIO()
        write_whole(session, everything, private=True)
    assert private not in stream.getvalue()
    assert "hut" not in stream.getvalue()
    for number, text in enumerate((stream.getvalue(), everything.getvalue())):
        path = tmp_path / f"whole{number}.jsonl"
        path.write_text(text, encoding="utf-8")
        with open_catalogue(catalogues.placed(tmp_path / f"other{number}.sqlite3", catalogues.empty())) as other:
            with other.writing() as session:
                import_whole(session, path)
            with other.reading() as session:
                (case,) = public_cases(session, limit=9)
                assert (case.document.key, case.answer.now.keys) == (key, {A})
                assert sees(session, private, ANYBODY) == [bool(number)]


def test_a_solution_is_kept_with_the_case(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        key = saved(session)
        case = lifecycle.own_case(session, by(IDA), key)
        choice = lifecycle.Choice(half="x:inferred", listed=False, confirm=False, reason="it mated")
        document = lifecycle.accept(session, by(IDA), case, choice, _unasked)
        solution = Specimen.model_validate(document.content).solution
        assert solution is not None
        assert (document.state, solution.half, solution.reason) == (SOLVED, "x:inferred", "it mated")
        with pytest.raises(EntryError, match="solved"):
            lifecycle.accept(session, by(IDA), case_now(session, key), choice, _unasked)
