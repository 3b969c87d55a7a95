"""The journal is append-only, ordered, complete, and written in the transaction of the change."""

from __future__ import annotations

from itertools import pairwise

import pytest

from catalog.db.database import Catalogue
from catalog.history.changes import revise, withdraw
from catalog.history.documents import add_document, get_document, revise_document
from catalog.history.journal import LARGEST_PAGE, page, revision_of
from catalog.history.preconditions import require_unchanged, tag_of
from catalog.model.entry_states import entry_state
from catalog.model.errors import NotFoundError, PreconditionError, StaleError
from tests.catalog.evidence.evidence_examples import measured
from tests.catalog.history.changed_entries import HALF, IDA, MEMBER, PER, SERIES, WREN, by, confirm, fill, longer, rows
from tests.catalog.model.entry_examples import half


def test_every_added_entry_has_a_first_row(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        found = page(session, after=0, limit=LARGEST_PAGE)
    assert {row.record for row in found} == {"series", "half", "mating"}
    assert {(row.action, row.revision, row.old, row.actor) for row in found} == {("add", 1, None, WREN)}
    assert len({(row.record, row.key) for row in found}) == len(found)


def test_pages_in_either_direction_give_every_row_once(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        whole = page(session, after=0, limit=LARGEST_PAGE)
        forward, backward, after, before = [], [], 0, None
        while part := page(session, after=after, limit=3):
            forward += part
            after = part[-1].id
        while part := page(session, before=before, limit=3):
            backward += part
            before = part[-1].id
    assert forward == whole
    assert backward == whole[::-1]
    assert all(earlier.id < later.id for earlier, later in pairwise(whole))


def test_a_page_since_a_time_includes_the_row_of_that_time(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        revise(session, by(IDA), HALF, longer(by_mm=0.1))
        revise(session, by(IDA), HALF, longer(by_mm=0.2))
        first, second, third = rows(session, "half", HALF)
        assert first.at < second.at < third.at
        assert page(session, after=0, since=second.at, record="half", key=HALF) == [second, third]
        assert page(session, after=0, since=third.at, record="half", key=HALF) == [third]


@pytest.mark.parametrize("limit", [0, LARGEST_PAGE + 1])
def test_the_size_of_a_page_is_limited(catalogue: Catalogue, limit: int) -> None:
    with catalogue.reading() as session, pytest.raises(ValueError, match="limit"):
        page(session, limit=limit)


def test_a_failed_change_leaves_no_row_and_does_not_change_the_version(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
    version = catalogue.version()
    with pytest.raises(RuntimeError), catalogue.writing() as session:  # noqa: PT012 - both belong to one transaction
        revise(session, by(IDA), HALF, longer())
        raise RuntimeError("the power failed")
    with catalogue.reading() as session:
        assert len(rows(session, "half", HALF)) == 1
    assert catalogue.version() == version


def test_every_change_raises_the_version_once(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
    version = catalogue.version()
    with catalogue.writing() as session:
        revise(session, by(IDA), HALF, longer())
        withdraw(session, by(IDA), "half", HALF)
    assert catalogue.version() == version + 1


def test_a_state_is_written_and_read_back_completely(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        withdraw(session, by(IDA), "half", MEMBER)
    with catalogue.reading() as session:
        last = entry_state(revision_of(session, "half", MEMBER, 2).new)
        first = entry_state(revision_of(session, "half", MEMBER, 1).new)
    assert (last.state, last.from_law, first.state, first.content) == ("withdrawn", True, "listed", last.content)


def test_documents_have_revisions_like_entries(catalogue: Catalogue) -> None:
    said = measured({"feature": "body_length", "value": 7.4, "u": 0.01}, content=half())
    with catalogue.writing() as session:
        fill(session)
        made = add_document(session, by(IDA), "confirmation", said, of="half", about=HALF)
        revise_document(session, by(IDA, "a slip"), made, "withdraw", state="withdrawn")
        stands = get_document(session, "confirmation", made.key)
        found = rows(session, "confirmation", made.key)
        of_half = page(session, record="half", key=HALF)
    assert (stands.state, stands.revision, stands.author) == ("withdrawn", 2, IDA)
    assert [(row.action, row.revision) for row in found] == [("add", 1), ("withdraw", 2)]
    assert found[1].old == found[0].new
    assert [row.record for row in of_half] == ["confirmation", "confirmation", "half"]


def test_private_rows_stay_private_whether_a_document_was_or_becomes_public(catalogue: Catalogue) -> None:
    said = measured({"feature": "body_length", "value": 7.4, "u": 0.01}, content=half())
    with catalogue.writing() as session:
        made = add_document(session, by(IDA), "specimen", said, private=True)
        revise_document(session, by(IDA), made, "publish", private=False)
        assert page(session) == []
        assert len(page(session, private=True)) == 2


def test_the_etag_changes_with_every_change_and_every_statement(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        tags = [tag_of(session, "half", HALF)]
        revise(session, by(IDA), HALF, longer())
        tags.append(tag_of(session, "half", HALF))
        confirm(session, longer(), PER, revision=2)
        tags.append(tag_of(session, "half", HALF))
        revise(session, by(IDA), MEMBER, longer(half(maker="Dunnock & Sons", series="DN40", part_number="DN40PA-010")))
        assert tag_of(session, "half", HALF) == tags[-1]
    assert len(set(tags)) == 3
    assert [tag.partition("-")[0] for tag in tags] == ["1", "2", "2"]


def test_the_etag_of_a_series_changes_with_its_members(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        before = tag_of(session, "series", SERIES)
        withdraw(session, by(IDA), "half", MEMBER)
        assert tag_of(session, "series", SERIES) != before


def test_a_change_without_a_state_or_from_an_old_state_is_refused(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        fill(session)
        old = tag_of(session, "half", HALF)
        require_unchanged(session, "half", HALF, old)
        revise(session, by(IDA), HALF, longer())
        with pytest.raises(StaleError, match="another person changed it"):
            require_unchanged(session, "half", HALF, old)
        current = tag_of(session, "half", HALF)
        confirm(session, longer(), PER, revision=2)
        with pytest.raises(StaleError, match="another person said something about it"):
            require_unchanged(session, "half", HALF, current)
        with pytest.raises(PreconditionError):
            require_unchanged(session, "half", HALF, None)
        with pytest.raises(NotFoundError):
            tag_of(session, "half", "no:such")
        with pytest.raises(NotFoundError):
            tag_of(session, "confirmation", "none")
