"""Tokens: what is stored, how they are verified, when they end, and that no secret is ever shown again."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, MetaData, create_engine, select

from catalog.accounts import contributors, tokens
from catalog.accounts.access import ANYBODY, THE_OPERATOR, Role, Scope, State, Who
from catalog.accounts.token_format import MASK, is_token, masked
from catalog.db.database import Catalogue, open_catalogue
from catalog.db.tables import JournalTable, TokenTable
from catalog.history import journal
from catalog.history.acts import Act, operators
from catalog.model import timestamps
from catalog.model.errors import EntryError, ForbiddenError, NotFoundError, SuspendedError

NAME, KEEPER = "Wren Ashby", "Finch Marlow"
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)
IN_A_YEAR = NOW + timedelta(days=365)


def at(**later: float) -> str:
    return timestamps.written(NOW + timedelta(**later))


def by_operator() -> Act:
    return Act(at=at(), maintainer=True)


def _with_people(catalogue: Catalogue) -> Catalogue:
    with catalogue.writing() as session:
        contributors.add(session, by_operator(), NAME)
        contributors.add(session, by_operator(), KEEPER, Role.MAINTAINER)
    return catalogue


@pytest.fixture
def people(catalogue: Catalogue) -> Catalogue:
    """A catalogue with a contributor and a maintainer, once on each engine."""
    return _with_people(catalogue)


@pytest.fixture
def local(sqlite_migrated_url: str) -> Iterator[Catalogue]:
    """The same on one engine, for rules of form that do not depend on the engine."""
    with open_catalogue(sqlite_migrated_url) as opened:
        yield _with_people(opened)


def create(catalogue: Catalogue, name: str = NAME, **given: Any) -> tokens.Created:
    with catalogue.writing() as session:
        return tokens.create(session, by_operator(), name, **{"expires": IN_A_YEAR, **given})


def verify(catalogue: Catalogue, secret: str, **later: float) -> Who:
    with catalogue.reading() as session:
        return tokens.verify(session, secret, at(**later)).who


def test_a_token_has_its_prefix_and_256_bits(local: Catalogue) -> None:
    made = [create(local).secret for _ in range(20)]
    # 256 bits in base64url without padding (RFC 4648, section 5) are 43 characters.
    assert all(re.fullmatch(r"oh_[A-Za-z0-9_-]{43}", secret) and is_token(secret) for secret in made)
    assert len(set(made)) == 20


def test_only_the_sha256_and_the_start_of_a_token_are_stored(people: Catalogue) -> None:
    made = create(people, label="laptop")
    with people.reading() as session:
        row = session.execute(select(TokenTable)).scalar_one()
        assert row.digest == hashlib.sha256(made.secret.encode()).hexdigest()
        assert row.start == made.secret[:8]
        stored = " ".join(str(getattr(row, column.key)) for column in TokenTable.__table__.columns)
    assert made.secret not in stored
    assert made.secret[8:] not in stored


def test_sha256_is_the_published_function() -> None:
    # FIPS 180-4 example "abc", as given in NIST's SHA256 example values.
    assert tokens.digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_printing_a_token_does_not_show_its_secret(local: Catalogue) -> None:
    made = create(local)
    with local.reading() as session:
        listed = tokens.listed(session, at())
    assert made.secret not in repr(made)
    assert made.secret not in repr(listed)
    assert tokens.digest(made.secret) not in repr(listed)


def test_a_token_identifies_its_owner(people: Catalogue) -> None:
    made = create(people, KEEPER, scopes=[Scope.MAINTAIN])
    assert verify(people, made.secret) == Who(
        role=Role.MAINTAINER, name=KEEPER, scopes=frozenset((Scope.MAINTAIN,)), token=made.token.id
    )


def test_a_token_has_the_usual_scopes_by_default(people: Catalogue) -> None:
    assert verify(people, create(people).secret).scopes == {Scope.CONTRIBUTE, Scope.EVIDENCE}


@pytest.mark.parametrize("change", [str.upper, lambda secret: secret[:-1], lambda secret: f"{secret} ", lambda _: ""])
def test_a_token_with_any_change_is_unknown(local: Catalogue, change: Callable[[str], str]) -> None:
    who = verify(local, change(create(local).secret))
    assert (who.state, who.role, who.name, who.token) == (State.UNKNOWN, Role.READER, "", None)


@pytest.mark.parametrize("secret", ["oh_" + "k" * 43, "oh_", "x" * 100_000, "oh_" + "é" * 43, "' OR 1=1 --"])
def test_a_token_that_was_never_made_is_unknown(local: Catalogue, secret: str) -> None:
    create(local)
    assert verify(local, secret).state is State.UNKNOWN


def test_the_stored_digest_is_not_accepted_as_a_token(local: Catalogue) -> None:
    assert verify(local, tokens.digest(create(local).secret)).state is State.UNKNOWN


def test_a_token_ends_at_the_stated_time(people: Catalogue) -> None:
    secret = create(people, expires=NOW + timedelta(days=1)).secret
    assert verify(people, secret, hours=23.99).state is State.ACTIVE
    ended = verify(people, secret, days=1)
    assert ended.state is State.EXPIRED
    assert at(days=1) in ended.told


def test_a_revoked_token_is_refused_and_stays_revoked(people: Catalogue) -> None:
    made = create(people)
    with people.writing() as session:
        gone = tokens.revoke(session, Act(actor=KEEPER, at=at(hours=1)), made.token.id)
        again = tokens.revoke(session, Act(at=at(hours=2)), made.token.id)
    assert (gone.state, gone.revoked_by, gone.revoked_at) == (State.REVOKED, KEEPER, at(hours=1))
    assert again == gone
    assert verify(people, made.secret).state is State.REVOKED


def test_tokens_of_a_suspended_contributor_are_refused_until_the_suspension_is_lifted(people: Catalogue) -> None:
    secret = create(people).secret
    with people.writing() as session:
        contributors.suspend(session, operators("a slip"), NAME)
    who = verify(people, secret)
    assert who.state is State.SUSPENDED
    assert "a slip" in who.told
    with people.writing() as session:
        contributors.lift(session, operators(), NAME)
    assert verify(people, secret).state is State.ACTIVE


def test_a_contributor_is_checked_again_inside_the_writing_transaction(people: Catalogue) -> None:
    made = create(people, KEEPER, scopes=Scope)
    before = verify(people, made.secret)
    with people.writing() as session:
        assert tokens.as_they_stand(session, before, at()) == before
        contributors.suspend(session, operators("a slip"), KEEPER)
        assert tokens.as_they_stand(session, before, at()).state is State.SUSPENDED
        contributors.lift(session, operators(), KEEPER)
        contributors.change_role(session, operators(), KEEPER, Role.CONTRIBUTOR)
        with pytest.raises(ForbiddenError, match="no longer a maintainer"):
            tokens.as_they_stand(session, before, at())
        contributors.change_role(session, operators(), KEEPER, Role.MAINTAINER)
        tokens.revoke(session, by_operator(), made.token.id)
        assert tokens.as_they_stand(session, before, at()).state is State.REVOKED


@pytest.mark.parametrize("who", [ANYBODY, THE_OPERATOR])
def test_without_a_token_the_current_state_of_a_contributor_counts(local: Catalogue, who: Who) -> None:
    with local.reading() as session:
        assert tokens.as_they_stand(session, who, at()) == who


def test_the_reason_that_cannot_be_remedied_is_reported_first(people: Catalogue) -> None:
    made = create(people, expires=NOW + timedelta(days=1))
    with people.writing() as session:
        contributors.suspend(session, operators("a slip"), NAME)
    assert verify(people, made.secret, days=2).state is State.EXPIRED
    with people.writing() as session:
        tokens.revoke(session, by_operator(), made.token.id)
    assert verify(people, made.secret, days=2).state is State.REVOKED


def test_the_current_role_counts_when_a_token_is_used(people: Catalogue) -> None:
    secret = create(people, KEEPER, scopes=Scope).secret
    with people.writing() as session:
        contributors.change_role(session, operators(), KEEPER, Role.CONTRIBUTOR)
    assert verify(people, secret).role is Role.CONTRIBUTOR


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"scopes": []}, "scopes"),
        ({"scopes": [Scope.MAINTAIN]}, "scopes"),
        ({"label": "x" * 81}, "label"),
        ({"label": "two\nlines"}, "label"),
        ({"label": "oh_" + "k" * 43}, "label"),
        ({"expires": NOW}, "expires"),
        ({"expires": NOW - timedelta(days=1)}, "expires"),
        ({"expires": NOW + timedelta(days=731)}, "expires"),
        ({"name": KEEPER, "scopes": Scope, "expires": None}, "expires"),
    ],
)
def test_an_invalid_request_for_a_token_is_refused(local: Catalogue, given: dict[str, Any], field: str) -> None:
    with pytest.raises(EntryError) as caught:
        create(local, **given)
    assert (caught.value.field, bool(caught.value.remedy)) == (field, True)
    with local.reading() as session:
        assert tokens.listed(session, at()) == ()


def test_only_an_operator_makes_a_token_without_an_end(people: Catalogue) -> None:
    secret = create(people, expires=None).secret
    assert verify(people, secret, days=100_000).state is State.ACTIVE
    with pytest.raises(EntryError, match="needs an end date"), people.writing() as session:
        tokens.create(session, Act(actor=NAME, at=at()), NAME, expires=None)


def test_a_suspended_contributor_gets_no_token(people: Catalogue) -> None:
    with people.writing() as session:
        contributors.suspend(session, operators("a slip"), NAME)
    with pytest.raises(SuspendedError, match="a slip"):
        create(people)


def test_an_unknown_contributor_gets_no_token_and_has_none(people: Catalogue) -> None:
    with pytest.raises(NotFoundError):
        create(people, "Nobody")
    with pytest.raises(NotFoundError), people.reading() as session:
        tokens.listed(session, at(), "Nobody")
    with pytest.raises(NotFoundError), people.writing() as session:
        tokens.revoke(session, by_operator(), 99)


def test_tokens_are_listed_by_owner_and_in_order_of_creation(people: Catalogue) -> None:
    made = [create(people, name).token for name in (NAME, KEEPER, NAME)]
    with people.reading() as session:
        assert tokens.listed(session, at()) == tuple(made)
        assert tokens.listed(session, at(), NAME) == (made[0], made[2])


def test_the_last_use_is_recorded_at_most_once_an_hour(people: Catalogue) -> None:
    made = create(people)
    noted = []
    for minutes in (0, 1, 59, 60, 61, 119, 121):
        with people.reading() as session:
            verified = tokens.verify(session, made.secret, at(minutes=minutes))
        if verified.unnoted:
            with people.writing() as session:
                tokens.note_use(session, made.token.id, at(minutes=minutes))
            noted.append(minutes)
    assert noted == [0, 60, 121]


def test_two_simultaneous_uses_are_recorded_once(people: Catalogue) -> None:
    made = create(people)
    for minutes in (5, 6):
        with people.writing() as session:
            tokens.note_use(session, made.token.id, at(minutes=minutes))
    with people.reading() as session:
        assert tokens.get(session, made.token.id, at()).last_used_at == at(minutes=5)


def test_a_refused_use_is_not_recorded(people: Catalogue) -> None:
    made = create(people)
    with people.writing() as session:
        tokens.revoke(session, by_operator(), made.token.id)
    with people.reading() as session:
        assert not tokens.verify(session, made.secret, at(hours=5)).unnoted


def test_recording_a_use_does_not_change_the_version_of_the_catalogue(people: Catalogue) -> None:
    made = create(people)
    before = people.version()
    with people.writing() as session:
        tokens.note_use(session, made.token.id, at())
    assert people.version() == before


def test_the_journal_records_whose_token_was_made_or_revoked_but_nothing_of_its_secret(people: Catalogue) -> None:
    made = create(people, label="laptop")
    with people.writing() as session:
        tokens.revoke(session, Act(actor=KEEPER, at=at(hours=1)), made.token.id)
    with people.reading() as session:
        assert journal.page(session, record="token", after=0) == []
        rows = journal.page(session, record="token", after=0, private=True)
        everything = str([row.__dict__ for row in session.execute(select(JournalTable)).scalars()])
    assert [(row.action, row.actor, row.of, row.about, row.new) for row in rows] == [
        ("created", "operator", "contributor", "wren-ashby", {"state": "created"}),
        ("revoked", KEEPER, "contributor", "wren-ashby", {"state": "revoked"}),
    ]
    for secret in (made.secret, made.secret[3:], tokens.digest(made.secret), made.token.start, "laptop"):
        assert secret not in everything


def test_no_table_holds_a_secret(sqlite_migrated_url: str) -> None:
    with open_catalogue(sqlite_migrated_url) as catalogue:
        with catalogue.writing() as session:
            contributors.add(session, operators(), NAME)
            secret = tokens.create(session, operators(), NAME, expires=None).secret
        assert secret[9:] not in _everything(create_engine(sqlite_migrated_url))


def _everything(engine: Engine) -> str:
    """Every row of every table, as text."""
    tables = MetaData()
    tables.reflect(engine)
    with engine.connect() as connection:
        rows = [row for table in tables.tables.values() for row in connection.execute(select(table))]
    engine.dispose()
    return str(rows)


TOKEN = "oh_" + "aZ0_-" * 8 + "xyz"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (TOKEN, MASK),
        (f"Authorization: Bearer {TOKEN}", f"Authorization: Bearer {MASK}"),
        (f"/v1/halves?token={TOKEN}&x=1", f"/v1/halves?token={MASK}&x=1"),
        (f"{TOKEN},{TOKEN}", f"{MASK},{MASK}"),
        (TOKEN[:30], MASK),
        (TOKEN[:8], TOKEN[:8]),
        ("nothing secret", "nothing secret"),
    ],
)
def test_a_token_is_masked_anywhere_in_a_text(text: str, shown: str) -> None:
    assert masked(text) == shown
