"""Operations over HTTP: what a route says of the operation it carries out, and how the answer is sent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Header, Request
from starlette.responses import JSONResponse, Response

from api.operations.operation import B, Nothing, Operation, R
from api.operations.transaction import Outcome, Writing
from api.service.access import Needs, WhoDep
from api.service.dependencies import ServicesDep, require_json
from api.service.etags import quoted, tags_in
from api.service.responses import documented

REPLAYED = "Idempotency-Replayed"
"""Header of an answer that is an earlier one's, since the request was sent again."""

IdempotencyKey = Annotated[
    str | None,
    Header(description="A key of this request's own, such as a UUID: sent again, the request acts once."),
]
IfMatch = Annotated[str | None, Header(description="The ETag of what the change was made from.")]


@dataclass(frozen=True, kw_only=True)
class CarriesOut(Needs):
    """The dependency that holds a route to its operation's permission."""

    operation: Operation[Any, Any]


def answering(operation: Operation[Any, Any]) -> dict[str, Any]:
    """What the operation of a route says about it: status, answer, refusals and permission, for the router."""
    waits: dict[int | str, dict[str, Any]] = {
        202: {"model": operation.result, "description": "It waits; `pending` says until when."}
    }
    needed = [Depends(CarriesOut(permission=operation.permission, operation=operation))]
    return {
        "status_code": operation.status,
        "response_model": operation.result,
        "responses": (waits if operation.may_wait else {}) | documented(*operation.problems),
        "dependencies": needed if operation.body is Nothing else [*needed, Depends(require_json)],
    }


@dataclass(frozen=True, kw_only=True)
class HttpWriting(Writing):
    """A request that changes something."""

    def once(self, operation: Operation[B, R], body: B, *, record: str = "", key: str = "") -> Response:
        """Carry the operation out and answer with what it returns; a repeated request is answered alike."""
        return _response(self.carry_out(operation, body, record=record, key=key))


def _response(outcome: Outcome[Any]) -> Response:
    headers = {"Cache-Control": "no-store"}
    if outcome.answer.get("etag"):
        headers["ETag"] = quoted(outcome.answer["etag"])
    if outcome.replayed:
        headers[REPLAYED] = "true"
    return JSONResponse(outcome.answer, status_code=outcome.status, headers=headers)


def _writing(
    request: Request,
    services: ServicesDep,
    who: WhoDep,
    idempotency_key: IdempotencyKey = None,
    if_match: IfMatch = None,
) -> HttpWriting:
    return HttpWriting(
        catalogue=services.catalogue,
        source=services.source,
        who=who,
        place=f"{request.method} {request.url.path}",
        key=idempotency_key,
        tags=tags_in(if_match),
        delay=request.app.state.delay,
    )


WritingDep = Annotated[HttpWriting, Depends(_writing)]
"""The request as something to carry out once."""
