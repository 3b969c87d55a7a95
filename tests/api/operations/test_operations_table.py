"""Every change of the catalogue is one operation of the table, whether a route, page or command asks for it."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import iter_route_contexts
from starlette.routing import BaseRoute

import api
from api.operations import cases, entries, evidence, pending_changes, people
from api.operations.operation import Operation, Task
from api.operations.table import OPERATIONS
from api.rest.writes import CarriesOut
from api.service.access import SAFE_METHODS
from api.service.problem_types import PROBLEMS
from catalog.accounts.access import POLICY, Role
from tests.api.computing import COMPUTING

SUBJECTS = (entries, pending_changes, evidence, cases, people)

NO_OPERATION = {
    "api/operations/transaction.py": "carries operations out",
    "api/operations/case_ranking.py": "renews answers without any request",
    "api/background/due_changes.py": "carries out what is due",
    "api/service/access.py": "notes that a token was used",
    "api/web/people/account.py": "signs in and out",
    "api/command_line/commands/catalogue.py": "takes whole files in, and upgrades the tables",
    "api/command_line/commands/drawing.py": "takes a table in, as an import does",
}
"""Modules that write for a reason other than a person's act."""


def operations_in(dependant: Dependant) -> Iterator[Operation[Any, Any]]:
    """The operations named in a tree of dependencies."""
    if isinstance(dependant.call, CarriesOut):
        yield dependant.call.operation
    for inner in dependant.dependencies:
        yield from operations_in(inner)


def by_route(routes: Sequence[BaseRoute]) -> dict[tuple[str, str], list[Operation[Any, Any]]]:
    """The operation of each unsafe address of the JSON interface."""
    found = {}
    for route in iter_route_contexts(routes):
        dependant = getattr(route, "dependant", None)
        for method in (route.methods or set()) - SAFE_METHODS:
            if route.path is not None and route.path.startswith("/v1/") and dependant is not None:
                found[method, route.path] = list(operations_in(dependant))
    return found


def sources() -> Iterator[tuple[str, ast.Module]]:
    """Every module of the package."""
    folder = Path(api.__file__).parent
    for path in sorted(folder.rglob("*.py")):
        yield path.relative_to(folder.parent).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def test_every_operation_is_in_the_table_under_a_unique_name() -> None:
    described = [each for subject in SUBJECTS for each in vars(subject).values() if isinstance(each, Operation)]
    assert len(OPERATIONS) == len(described)
    assert {id(each) for each in OPERATIONS.values()} == {id(each) for each in described}
    assert all(name == operation.name for name, operation in OPERATIONS.items())


@pytest.mark.parametrize("operation", OPERATIONS.values(), ids=OPERATIONS)
def test_an_operation_has_a_documented_function_with_its_body_and_result_types(
    operation: Operation[Any, Any],
) -> None:
    taken, given = _types(operation.run)
    (_, asked), prepared = _arguments(operation.prepare), get_type_hints(operation.prepare)["return"]
    assert inspect.getdoc(operation.run)
    assert given is operation.result
    if operation.prepare is Operation.prepare:
        assert taken is operation.body
    else:
        assert (asked, prepared) == (operation.body, taken)


def _types(run: Any) -> tuple[Any, Any]:
    task, body = _arguments(run)
    assert task is Task
    return body, get_type_hints(run)["return"]


def _arguments(function: Any) -> tuple[Any, Any]:
    hints = get_type_hints(function)
    first, second = (hints[name] for name in inspect.signature(function).parameters)
    return first, second


@pytest.mark.parametrize("operation", OPERATIONS.values(), ids=OPERATIONS)
def test_no_operation_is_open_to_readers_and_all_refusals_are_known(operation: Operation[Any, Any]) -> None:
    assert Role.READER not in POLICY[operation.permission].roles
    assert set(operation.problems) <= set(PROBLEMS)
    assert set(operation.told_once) <= set(operation.result.model_fields)
    assert "pending" in operation.result.model_fields or not operation.may_wait


def test_every_unsafe_route_carries_out_one_operation_of_the_table(app: FastAPI) -> None:
    found = by_route(app.routes)
    assert {path for (_, path), named in found.items() if not named} == COMPUTING
    for address, named in found.items():
        assert len(named) <= 1, address
        assert all(OPERATIONS[each.name] is each for each in named), address


def test_status_answer_and_refusals_of_a_route_are_those_of_its_operation(app: FastAPI) -> None:
    paths = app.openapi()["paths"]
    for (method, path), named in by_route(app.routes).items():
        for operation in named:
            answers = paths[path][method.lower()]["responses"]
            assert str(operation.status) in answers, path
            documented = " ".join(str(each["description"]) for each in answers.values())
            assert all(f"/problems/{name}" in documented for name in operation.problems), path


def test_only_the_transaction_of_an_operation_writes_for_a_person() -> None:
    writing = {
        name
        for name, module in sources()
        for node in ast.walk(module)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "writing"
    }
    assert writing == set(NO_OPERATION)


def test_the_unsafe_routes_are_exactly_those_named_by_operations(app: FastAPI) -> None:
    served = {address: named[0].name for address, named in by_route(app.routes).items() if named}
    named = [
        ((method, f"/v1{path}"), operation.name)
        for operation in OPERATIONS.values()
        for method, path in (route.at.split() for route in operation.routes)
    ]
    assert len(dict(named)) == len(named)
    assert served == dict(named)


@pytest.mark.parametrize("operation", OPERATIONS.values(), ids=OPERATIONS)
def test_every_route_is_described_and_names_the_record_whose_state_it_needs(
    operation: Operation[Any, Any], app: FastAPI
) -> None:
    for route in operation.routes:
        method, path = route.at.split()
        described = app.openapi()["paths"][f"/v1{path}"][method.lower()]
        assert described["summary"]
        assert described["description"]
        assert described["operationId"].startswith(route.name)
        sent = route.body or operation.body
        assert issubclass(sent, operation.body) or issubclass(operation.body, sent)
        assert route.record or not operation.needs_tag


def test_every_operation_is_used_by_a_route_a_page_or_a_command() -> None:
    used = {
        node.id
        for name, module in sources()
        if name.startswith(("api/web/", "api/command_line/"))
        for node in ast.walk(module)
        if isinstance(node, ast.Name)
    }
    for subject in SUBJECTS:
        names = {name for name, each in vars(subject).items() if isinstance(each, Operation) and not each.routes}
        assert names <= used, names - used
