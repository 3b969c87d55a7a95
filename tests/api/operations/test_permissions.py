"""The permission that each operation needs; routes, page forms and commands all ask the operation."""

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
"""The author of a change may stop it; stopping another person's change needs `maintain`, which the function checks."""

GIVING_EVIDENCE = {"confirm", "dispute", "resolve", "withdraw confirmation"}
"""The person who opened a dispute may resolve it; resolving another person's dispute needs `maintain`."""

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


def test_each_operation_needs_its_permission() -> None:
    expected = {name: permission for permission, names in TABLE.items() for name in names}
    assert {name: str(operation.permission) for name, operation in OPERATIONS.items()} == expected


def test_every_change_of_an_existing_record_names_the_state_it_was_made_from() -> None:
    tagged = {name for name, operation in OPERATIONS.items() if operation.needs_tag}
    assert tagged == {
        *("revise", "withdraw", "merge", "restore", "revert"),
        *("resolve", "withdraw confirmation", "withdraw sighting"),
        *("revise case", "accept", "withdraw case", "reopen case"),
    }
