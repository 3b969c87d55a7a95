"""The routes that change the catalogue, made from the operations."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from inspect import Parameter, Signature
from typing import Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel
from starlette.responses import JSONResponse, Response

from api.operations.operation import Nothing, Operation, Route
from api.operations.requests import WritingDep
from api.operations.transaction import Outcome, Writing
from api.service.access import Needs
from api.service.dependencies import require_json
from api.service.etags import quoted
from api.service.responses import documented

REPLAYED = "Idempotency-Replayed"
"""Header of a repeated answer: the same request was sent before."""

_IN_PATH = re.compile(r"{(\w+)}")
_NO_BODY = Nothing()


@dataclass(frozen=True, kw_only=True)
class CarriesOut(Needs):
    """The dependency that checks the permission of a route's operation."""

    operation: Operation[Any, Any]


def add_writes(router: APIRouter, operations: Iterable[Operation[Any, Any]]) -> None:
    """Add the routes of operations to a router, with their description for OpenAPI."""
    for operation in operations:
        summary, _, description = inspect.cleandoc(operation.run.__doc__ or "").partition("\n\n")
        for route in operation.routes:
            method, path = route.at.split()
            router.add_api_route(
                path,
                _endpoint(operation, route),
                methods=[method],
                name=route.name,
                summary=route.summary or summary.removesuffix("."),
                description=route.description or description,
                status_code=operation.status,
                response_model=operation.result,
                responses=_answers(operation),
                dependencies=_needed(operation),
            )


def _answers(operation: Operation[Any, Any]) -> dict[int | str, dict[str, Any]]:
    waits: dict[int | str, dict[str, Any]] = {
        202: {"model": operation.result, "description": "The change is pending; `pending` says until when."}
    }
    return (waits if operation.may_wait else {}) | documented(*operation.problems)


def _needed(operation: Operation[Any, Any]) -> list[Any]:
    needed = [Depends(CarriesOut(permission=operation.permission, operation=operation))]
    return needed if operation.body is Nothing else [*needed, Depends(require_json)]


def _endpoint(operation: Operation[Any, Any], route: Route) -> Callable[..., Response]:
    """The endpoint of an operation. Its signature tells the framework what to read from a request."""
    names = _IN_PATH.findall(route.at)

    def endpoint(writing: Writing, body: BaseModel = _NO_BODY, **in_path: str) -> Response:
        key, *fields = [in_path[name] for name in names] or [""]
        sent = operation.body(**dict(body), **dict(zip(names[1:], fields, strict=True))) if fields else body
        return _response(writing.carry_out(operation, sent, record=route.record, key=key))

    body = {} if operation.body is Nothing else {"body": route.body or operation.body}
    taken = {**dict.fromkeys(names, str), **body, "writing": WritingDep}
    parameters = [Parameter(name, Parameter.KEYWORD_ONLY, annotation=kind) for name, kind in taken.items()]
    endpoint.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    return endpoint


def _response(outcome: Outcome[Any]) -> Response:
    headers = {"Cache-Control": "no-store"}
    if outcome.answer.get("etag"):
        headers["ETag"] = quoted(outcome.answer["etag"])
    if outcome.replayed:
        headers[REPLAYED] = "true"
    return JSONResponse(outcome.answer, status_code=outcome.status, headers=headers)
