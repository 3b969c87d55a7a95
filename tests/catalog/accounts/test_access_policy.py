"""Who may do what: one sentence per row, every role and state, and the table in DEVELOPERS.md."""

from __future__ import annotations

import itertools
from dataclasses import replace
from enum import StrEnum
from pathlib import Path

import pytest

from catalog.accounts.access import (
    ANYBODY,
    POLICY,
    THE_OPERATOR,
    About,
    Permission,
    Refusal,
    Role,
    Scope,
    State,
    Who,
    act_of,
    allowed,
    permission_to_revoke,
    require,
)
from catalog.model.errors import ForbiddenError, SuspendedError, UnauthorisedError

DEVELOPERS = Path(__file__).parents[3] / "DEVELOPERS.md"
HEADING = "## Who may do what"
ALL_SCOPES = frozenset(Scope)


class Reason(StrEnum):
    """The reason for a refusal, recognised by words that occur in no other refusal."""

    NO_TOKEN = "this needs a token"
    UNKNOWN = "this token is not known here"
    EXPIRED = "this token has expired"
    REVOKED = "this token was revoked"
    SUSPENDED = "this contributor is suspended"
    ROLE = " may not do this ("
    SCOPE = "this token lacks the scope"
    NOT_OWN_TOKEN = "this is another contributor's token"
    MORE_SCOPES = "more scopes than it has itself"
    ONESELF = "nobody can change their own role or suspension"


P, R = Permission, Reason


def reason_of(refusal: Refusal) -> Reason:
    (found,) = (reason for reason in Reason if reason.value in refusal.message)
    return found


CONTRIBUTOR = Who(role=Role.CONTRIBUTOR, name="Wren Ashby", scopes=ALL_SCOPES, token=1)
MAINTAINER = Who(role=Role.MAINTAINER, name="Finch Marlow", scopes=ALL_SCOPES, token=2)
WHO = {Role.READER: ANYBODY, Role.CONTRIBUTOR: CONTRIBUTOR, Role.MAINTAINER: MAINTAINER, Role.OPERATOR: THE_OPERATOR}


def without(who: Who, *scopes: Scope) -> Who:
    return replace(who, scopes=who.scopes - set(scopes))


def reason(who: Who, permission: Permission, about: About | None = None) -> Reason | None:
    refusal = allowed(who, permission) if about is None else allowed(who, permission, about)
    return None if refusal is None else reason_of(refusal)


ROWS = [
    ("Anybody reads", ANYBODY, P.READ, None),
    ("Without a token nobody contributes", ANYBODY, P.CONTRIBUTE, R.NO_TOKEN),
    ("Without a token nobody gives evidence", ANYBODY, P.GIVE_EVIDENCE, R.NO_TOKEN),
    ("Without a token nobody joins a discussion", ANYBODY, P.DISCUSS, R.NO_TOKEN),
    ("Without a token nobody saves a specimen", ANYBODY, P.SAVE_SPECIMEN, R.NO_TOKEN),
    ("Without a token nobody makes tokens", ANYBODY, P.MANAGE_OWN_TOKENS, R.NO_TOKEN),
    ("Without a token nobody maintains", ANYBODY, P.MAINTAIN, R.NO_TOKEN),
    ("A contributor reads", CONTRIBUTOR, P.READ, None),
    ("A contributor contributes", CONTRIBUTOR, P.CONTRIBUTE, None),
    ("A contributor gives evidence", CONTRIBUTOR, P.GIVE_EVIDENCE, None),
    ("A contributor joins discussions", CONTRIBUTOR, P.DISCUSS, None),
    ("A contributor saves specimens", CONTRIBUTOR, P.SAVE_SPECIMEN, None),
    ("A contributor manages tokens of their own", CONTRIBUTOR, P.MANAGE_OWN_TOKENS, None),
    ("A contributor does not maintain, whatever the token's scopes", CONTRIBUTOR, P.MAINTAIN, R.ROLE),
    ("A maintainer reads", MAINTAINER, P.READ, None),
    ("A maintainer contributes as others do", MAINTAINER, P.CONTRIBUTE, None),
    ("A maintainer gives evidence as others do", MAINTAINER, P.GIVE_EVIDENCE, None),
    ("A maintainer joins discussions", MAINTAINER, P.DISCUSS, None),
    ("A maintainer saves specimens", MAINTAINER, P.SAVE_SPECIMEN, None),
    ("A maintainer manages tokens of their own", MAINTAINER, P.MANAGE_OWN_TOKENS, None),
    ("A maintainer maintains", MAINTAINER, P.MAINTAIN, None),
    ("Whoever holds the database reads", THE_OPERATOR, P.READ, None),
    ("Whoever holds the database contributes", THE_OPERATOR, P.CONTRIBUTE, None),
    ("Whoever holds the database gives evidence", THE_OPERATOR, P.GIVE_EVIDENCE, None),
    ("Whoever holds the database joins discussions", THE_OPERATOR, P.DISCUSS, None),
    ("Whoever holds the database saves specimens", THE_OPERATOR, P.SAVE_SPECIMEN, None),
    ("Whoever holds the database makes tokens", THE_OPERATOR, P.MANAGE_OWN_TOKENS, None),
    ("Whoever holds the database maintains", THE_OPERATOR, P.MAINTAIN, None),
    ("Without its scope a token adds nothing", without(CONTRIBUTOR, Scope.CONTRIBUTE), P.CONTRIBUTE, R.SCOPE),
    ("Without its scope a token saves no specimen", without(CONTRIBUTOR, Scope.CONTRIBUTE), P.SAVE_SPECIMEN, R.SCOPE),
    ("Without its scope a token confirms nothing", without(CONTRIBUTOR, Scope.EVIDENCE), P.GIVE_EVIDENCE, R.SCOPE),
    ("Without its scope a token comments nothing", without(CONTRIBUTOR, Scope.EVIDENCE), P.DISCUSS, R.SCOPE),
    ("Without its scope a token makes no token", without(CONTRIBUTOR, Scope.ACCOUNT), P.MANAGE_OWN_TOKENS, R.SCOPE),
    ("Without its scope a maintainer's token is none", without(MAINTAINER, Scope.MAINTAIN), P.MAINTAIN, R.SCOPE),
    ("A token without any scope still reads", without(CONTRIBUTOR, *Scope), P.READ, None),
]  # fmt: skip


@pytest.mark.parametrize(("who", "permission", "expected"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_who_may_do_what(who: Who, permission: Permission, expected: Reason | None) -> None:
    assert reason(who, permission) is expected


def test_the_rows_cover_every_role_with_every_permission_and_every_missing_scope() -> None:
    named = {(who.role, permission) for _, who, permission, _ in ROWS}
    assert named == set(itertools.product(Role, Permission))
    lacking = {permission for _, _, permission, expected in ROWS if expected is Reason.SCOPE}
    assert lacking == {permission for permission, rule in POLICY.items() if rule.scope is not None}


STATES = [
    ("An unknown token only reads", State.UNKNOWN, Reason.UNKNOWN, UnauthorisedError),
    ("A token that has ended only reads", State.EXPIRED, Reason.EXPIRED, UnauthorisedError),
    ("A revoked token only reads", State.REVOKED, Reason.REVOKED, UnauthorisedError),
    ("A suspended contributor only reads", State.SUSPENDED, Reason.SUSPENDED, SuspendedError),
]


@pytest.mark.parametrize("permission", Permission)
@pytest.mark.parametrize("role", [Role.CONTRIBUTOR, Role.MAINTAINER])
@pytest.mark.parametrize(("state", "expected", "error"), [row[1:] for row in STATES], ids=[row[0] for row in STATES])
def test_with_an_invalid_token_people_can_only_read(
    state: State, expected: Reason, error: type[Exception], role: Role, permission: Permission
) -> None:
    who = replace(WHO[role], state=state, told="on a Monday")
    if permission is Permission.READ:
        assert allowed(who, permission) is None
        return
    refusal = allowed(who, permission)
    assert refusal is not None
    assert (reason_of(refusal), type(refusal.error())) == (expected, error)
    assert "on a Monday" in refusal.message
    assert refusal.remedy


def test_every_state_but_active_is_in_the_table() -> None:
    assert {row[1] for row in STATES} == set(State) - {State.ACTIVE}


WRENS_TOKEN, FINCHS_TOKEN = About(owner="Wren Ashby"), About(owner="Finch Marlow")
NEW_OF_WREN, FOR_EVIDENCE = About(owner="Wren Ashby", scopes=ALL_SCOPES), About(scopes=frozenset((Scope.EVIDENCE,)))
WREN, FINCH = About(person="Wren Ashby"), About(person="Finch Marlow")
NARROW = without(CONTRIBUTOR, Scope.EVIDENCE)

ABOUT = [
    ("A contributor's own token is theirs", CONTRIBUTOR, P.MANAGE_OWN_TOKENS, WRENS_TOKEN, None),
    ("Another's token is not", CONTRIBUTOR, P.MANAGE_OWN_TOKENS, FINCHS_TOKEN, R.NOT_OWN_TOKEN),
    ("A maintainer makes no token in another's name", MAINTAINER, P.MANAGE_OWN_TOKENS, WRENS_TOKEN, R.NOT_OWN_TOKEN),
    ("Whoever holds the database hands tokens out", THE_OPERATOR, P.MANAGE_OWN_TOKENS, NEW_OF_WREN, None),
    ("A token makes one of its own scopes", CONTRIBUTOR, P.MANAGE_OWN_TOKENS, NEW_OF_WREN, None),
    ("A token makes none that is good for more than itself", NARROW, P.MANAGE_OWN_TOKENS, FOR_EVIDENCE, R.MORE_SCOPES),
    ("A maintainer suspends another", MAINTAINER, P.MAINTAIN, WREN, None),
    ("Nobody changes their own role or suspension", MAINTAINER, P.MAINTAIN, FINCH, R.ONESELF),
    ("The role is asked before the conditions", CONTRIBUTOR, P.MAINTAIN, WREN, R.ROLE),
]  # fmt: skip


@pytest.mark.parametrize(
    ("who", "permission", "about", "expected"), [row[1:] for row in ABOUT], ids=[row[0] for row in ABOUT]
)
def test_the_object_of_a_permission_counts(
    who: Who, permission: Permission, about: About, expected: Reason | None
) -> None:
    assert reason(who, permission, about) is expected


def test_every_condition_of_the_policy_refuses_in_some_row() -> None:
    refusing = {expected for *_, expected in ABOUT if expected is not None} - {Reason.ROLE}
    assert len(refusing) == sum(len(rule.conditions) for rule in POLICY.values())


@pytest.mark.parametrize(
    ("who", "error"),
    [
        (ANYBODY, UnauthorisedError),
        (replace(CONTRIBUTOR, state=State.SUSPENDED), SuspendedError),
        (without(CONTRIBUTOR, Scope.EVIDENCE), ForbiddenError),
    ],
)
def test_a_refusal_is_raised_as_its_own_error(who: Who, error: type[Exception]) -> None:
    with pytest.raises(error):
        require(who, Permission.GIVE_EVIDENCE)


def test_an_allowed_act_raises_no_error() -> None:
    require(CONTRIBUTOR, Permission.GIVE_EVIDENCE)


def test_owners_revoke_their_own_tokens_and_maintainers_those_of_others() -> None:
    assert permission_to_revoke(CONTRIBUTOR, CONTRIBUTOR.name) is Permission.MANAGE_OWN_TOKENS
    assert reason(CONTRIBUTOR, permission_to_revoke(CONTRIBUTOR, MAINTAINER.name)) is Reason.ROLE
    assert reason(MAINTAINER, permission_to_revoke(MAINTAINER, CONTRIBUTOR.name)) is None


@pytest.mark.parametrize(
    ("who", "maintainer"),
    [
        (CONTRIBUTOR, False),
        (MAINTAINER, True),
        (without(MAINTAINER, Scope.MAINTAIN), False),
        (THE_OPERATOR, True),
    ],
)
def test_a_maintainers_act_needs_both_the_role_and_the_scope(who: Who, maintainer: bool) -> None:
    act = act_of(who, reason="because")
    assert (act.actor, act.maintainer, act.reason) == (who.name, maintainer, "because")


@pytest.mark.parametrize("who", [ANYBODY, replace(MAINTAINER, state=State.REVOKED)])
def test_every_act_needs_a_known_contributor(who: Who) -> None:
    with pytest.raises(UnauthorisedError):
        act_of(who)


def test_a_refusal_names_what_is_missing_and_the_remedy() -> None:
    without = replace(WHO[Role.CONTRIBUTOR], scopes=frozenset({Scope.CONTRIBUTE}))
    with pytest.raises(ForbiddenError) as by_scope:
        require(without, Permission.GIVE_EVIDENCE)
    assert (by_scope.value.value, by_scope.value.remedy) == ("evidence", "Use a token that has it")
    with pytest.raises(ForbiddenError) as by_role:
        require(WHO[Role.CONTRIBUTOR], Permission.MAINTAIN)
    assert (by_role.value.value, by_role.value.remedy) == ("contributor", "Ask a maintainer or operator")


def test_any_token_is_enough_where_a_permission_needs_no_scope(monkeypatch: pytest.MonkeyPatch) -> None:
    without_scope = {P.DISCUSS: replace(POLICY[P.DISCUSS], scope=None)}
    monkeypatch.setattr("catalog.accounts.access.POLICY", without_scope)
    assert allowed(without(CONTRIBUTOR, *Scope), P.DISCUSS) is None
    assert reason(ANYBODY, P.DISCUSS) is R.NO_TOKEN


def test_the_documentation_contains_the_policy() -> None:
    section = DEVELOPERS.read_text(encoding="utf-8").split(HEADING)[1].split("\n## ")[0]
    written = [
        tuple(cell.strip() for cell in line.strip("|").split("|"))
        for line in section.splitlines()
        if line.startswith("|")
    ]
    assert written[0] == ("permission", "covers", *Role, "token's scope", "only")
    assert written[2:] == [_row(permission) for permission in Permission]


def _row(permission: Permission) -> tuple[str, ...]:
    """The row of a permission in the documentation; the roles come from `allowed`."""
    rule = POLICY[permission]
    may = ("yes" if allowed(WHO[role], permission) is None else "–" for role in Role)
    conditions = ", ".join(f"`{condition.__name__}`" for condition in rule.conditions)
    return f"`{permission}`", rule.covers, *may, f"`{rule.scope}`" if rule.scope else "none needed", conditions or "–"
