"""Contributors: names, roles, suspension, and their entries in the journal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy.orm import Session

from catalog.accounts import contributors
from catalog.accounts.access import Role
from catalog.db.database import Catalogue, open_catalogue
from catalog.history import journal
from catalog.history.acts import Act, operators
from catalog.model.errors import DuplicateError, EntryError, NotFoundError

NAME = "Wren Ashby"
TOKEN = "oh_" + "k" * 43


@pytest.fixture
def local(sqlite_migrated_url: str) -> Iterator[Catalogue]:
    """An empty catalogue on one engine, for rules of form that do not depend on the engine."""
    with open_catalogue(sqlite_migrated_url) as opened:
        yield opened


def add(catalogue: Catalogue, name: str = NAME, role: Role = Role.CONTRIBUTOR) -> contributors.Contributor:
    with catalogue.writing() as session:
        return contributors.add(session, operators(), name, role)


def refused(catalogue: Catalogue, act: Callable[[Session], Any], error: type[Exception] = EntryError) -> Any:
    """The error with which an act is refused; checks that nothing has changed."""
    with catalogue.reading() as session:
        before = contributors.listed(session), journal.page(session)
    with pytest.raises(error) as caught, catalogue.writing() as session:
        act(session)
    with catalogue.reading() as session:
        assert (contributors.listed(session), journal.page(session)) == before
    return caught.value


def test_a_new_contributor_has_a_role_and_the_time_of_joining(catalogue: Catalogue) -> None:
    made = add(catalogue)
    assert (made.key, made.name, made.role, made.suspended_at) == ("wren-ashby", NAME, Role.CONTRIBUTOR, None)
    with catalogue.reading() as session:
        assert contributors.get(session, NAME) == contributors.get(session, "wren-ashby") == made
        assert contributors.listed(session) == (made,)


def test_a_catalogue_knows_whether_it_has_any_contributors(catalogue: Catalogue) -> None:
    with catalogue.reading() as session:
        assert contributors.nobody_yet(session)
    add(catalogue)
    with catalogue.reading() as session:
        assert not contributors.nobody_yet(session)


def test_contributors_are_listed_in_order_of_their_keys(catalogue: Catalogue) -> None:
    for name in ("Zoe", "adam", "Mira"):
        add(catalogue, name)
    with catalogue.reading() as session:
        assert [each.name for each in contributors.listed(session)] == ["adam", "Mira", "Zoe"]


@pytest.mark.parametrize(
    "name", [NAME, "WREN ASHBY", "wren-ashby", " Wren  Ashby ", "Ｗｒｅｎ Ashby", "Wren\u00a0Ashby"]
)
def test_a_name_that_looks_the_same_as_another_is_refused(local: Catalogue, name: str) -> None:
    add(local)
    error = refused(local, lambda session: contributors.add(session, operators(), name), DuplicateError)
    assert error.field == "name"
    assert "another name" in error.remedy


@pytest.mark.parametrize("name", ["operator", "Operator", "OPERATOR ", "Ｏperator", "anonymous", "Anonymous"])
def test_reserved_names_are_refused(local: Catalogue, name: str) -> None:
    assert "reserved" in refused(local, lambda session: contributors.add(session, operators(), name)).message


@pytest.mark.parametrize(
    "name",
    [
        "marsh/reed",
        "marsh\\reed",
        "",
        "   ",
        "x" * 81,
        "Wren\nAshby",
        "Wren\tAshby",
        "Wren\x00",
        "Wren\u202eybhsA",
        "Wren\u200bAshby",
        "Wren\ue000",
        "=Wren()",
        "+Wren",
        "-Wren",
        "@Wren",
        "<b>Wren</b>",
        "../Wren",
        "!!!",
        f"Wren {TOKEN}",
    ],
    ids=lambda name: ascii(name)[:30],
)
def test_a_name_that_misleads_or_breaks_something_is_refused(local: Catalogue, name: str) -> None:
    error = refused(local, lambda session: contributors.add(session, operators(), name))
    assert (error.field, bool(error.remedy)) == ("name", True)
    assert TOKEN not in str(error)
    assert TOKEN not in str(error.value)


@pytest.mark.parametrize("name", ["x", "x" * 80, "José Ñandú", "Ωmega", "鳥の会", "3 finches", "O'Wren (club) & co."])
def test_names_of_people_and_groups_are_accepted(local: Catalogue, name: str) -> None:
    assert add(local, name).name == name


def test_two_encodings_of_one_name_are_the_same_name(catalogue: Catalogue) -> None:
    assert add(catalogue, "Jose\u0301").name == "Jos\u00e9"


@pytest.mark.parametrize("role", [Role.READER, Role.OPERATOR])
def test_an_unknown_role_or_that_of_an_operator_cannot_be_given(local: Catalogue, role: Role) -> None:
    add(local)
    assert refused(local, lambda session: contributors.add(session, operators(), "Other", role)).field == "role"
    assert refused(local, lambda session: contributors.change_role(session, operators(), NAME, role)).field == "role"


def test_a_role_is_changed_and_repeating_it_changes_nothing(catalogue: Catalogue) -> None:
    add(catalogue)
    with catalogue.writing() as session:
        assert contributors.change_role(session, operators(), NAME, Role.MAINTAINER).role is Role.MAINTAINER
        contributors.change_role(session, operators(), NAME, Role.MAINTAINER)
        assert [row.action for row in journal.page(session)] == ["role_changed", "added"]


@pytest.mark.parametrize(
    "act",
    [
        lambda session: contributors.get(session, "Nobody"),
        lambda session: contributors.change_role(session, operators(), "Nobody", Role.MAINTAINER),
        lambda session: contributors.suspend(session, operators("because"), "Nobody"),
        lambda session: contributors.lift(session, operators(), "Nobody"),
    ],
)
def test_an_unknown_contributor_is_not_found(catalogue: Catalogue, act: Callable[[Session], Any]) -> None:
    assert "Nobody" in refused(catalogue, act, NotFoundError).message


def test_a_suspension_has_a_time_and_a_reason_and_can_be_lifted(catalogue: Catalogue) -> None:
    add(catalogue)
    with catalogue.writing() as session:
        suspended = contributors.suspend(session, Act(at="2026-11-25T10:00:00.000000Z", reason=" a slip "), NAME)
    assert (suspended.suspended_at, suspended.suspended_for) == ("2026-11-25T10:00:00.000000Z", "a slip")
    with catalogue.reading() as session:
        assert contributors.listed(session) == (suspended,)
    with catalogue.writing() as session:
        lifted = contributors.lift(session, operators(), NAME)
    assert (lifted.suspended_at, lifted.suspended_for) == (None, "")


def test_a_second_suspension_has_its_own_reason(catalogue: Catalogue) -> None:
    add(catalogue)
    with catalogue.writing() as session:
        contributors.suspend(session, operators("first"), NAME)
        contributors.lift(session, operators(), NAME)
        assert contributors.suspend(session, operators("second"), NAME).suspended_for == "second"


@pytest.mark.parametrize("reason", ["", "  ", "x" * 501, "two\nlines", "see\u202e", f"leaked: {TOKEN}"])
def test_a_suspension_needs_a_reason_in_one_plain_line(local: Catalogue, reason: str) -> None:
    add(local)
    error = refused(local, lambda session: contributors.suspend(session, operators(reason), NAME))
    assert error.field == "reason"


def test_suspending_twice_or_lifting_twice_is_refused(catalogue: Catalogue) -> None:
    add(catalogue)
    refused(catalogue, lambda session: contributors.lift(session, operators(), NAME))
    with catalogue.writing() as session:
        contributors.suspend(session, operators("a slip"), NAME)
    assert (
        "a slip" in refused(catalogue, lambda session: contributors.suspend(session, operators("again"), NAME)).message
    )


def test_the_journal_keeps_every_change_with_old_and_new_values_actor_and_reason(catalogue: Catalogue) -> None:
    add(catalogue)
    maintainer = Act(actor="Finch Marlow", at="2026-11-25T10:00:00.000000Z", reason="a slip", maintainer=True)
    with catalogue.writing() as session:
        contributors.change_role(session, operators("earned"), NAME, Role.MAINTAINER)
        contributors.suspend(session, maintainer, NAME)
        contributors.lift(session, operators("settled"), NAME)
    with catalogue.reading() as session:
        rows = journal.page(session, record="contributor", key="wren-ashby", after=0)
    assert [(row.revision, row.action, row.actor, row.reason) for row in rows] == [
        (1, "added", "operator", ""),
        (2, "role_changed", "operator", "earned"),
        (3, "suspended", "Finch Marlow", "a slip"),
        (4, "lifted", "operator", "settled"),
    ]
    assert rows[0].old is None
    assert [row.old for row in rows[1:]] == [row.new for row in rows[:-1]]
    assert rows[2].new == {"name": NAME, "role": "maintainer", "suspended_at": "2026-11-25T10:00:00.000000Z"}
