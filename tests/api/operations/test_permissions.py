"""Which permission each act on the catalogue takes: routes, page forms and commands all ask the operation."""

from __future__ import annotations

from api.operations.table import OPERATIONS

CONTRIBUTING = {
    "add",
    "revise",
    "review",
    "withdraw",
    "merge",
    "restore",
    "revert",
    "sight",
    "withdraw sighting",
    "stop",
}
"""Who proposed a change may stop it; for others' it takes `maintain`, which the act itself asks for."""

GIVING_EVIDENCE = {"confirm", "dispute", "resolve", "withdraw confirmation"}
"""Whoever opened a dispute may resolve it; for others' it takes `maintain`."""

DISCUSSING = {"answer", "comment", "withdraw comment"}
SAVING_SPECIMENS = {"save case", "revise case", "accept", "withdraw case", "reopen case"}
MAINTAINING = {
    "hasten",
    "add contributor",
    "welcome contributor",
    "suspend",
    "lift suspension",
    "change role",
    "undo",
}
ON_TOKENS = {"make token", "hand out token", "revoke token"}

TABLE = {
    "contribute": CONTRIBUTING,
    "give_evidence": GIVING_EVIDENCE,
    "discuss": DISCUSSING,
    "save_specimen": SAVING_SPECIMENS,
    "maintain": MAINTAINING,
    "manage_own_tokens": ON_TOKENS,
}


def test_each_act_takes_the_permission_of_its_kind() -> None:
    expected = {name: permission for permission, names in TABLE.items() for name in names}
    assert {name: str(operation.permission) for name, operation in OPERATIONS.items()} == expected


def test_whatever_changes_something_that_stands_names_the_state_it_was_made_from() -> None:
    tagged = {name for name, operation in OPERATIONS.items() if operation.needs_tag}
    assert tagged == {
        *("revise", "withdraw", "merge", "restore", "revert"),
        *("resolve", "withdraw confirmation", "withdraw sighting"),
        *("revise case", "accept", "withdraw case", "reopen case"),
    }
