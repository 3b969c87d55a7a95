"""HTTP answers for errors."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from api.schemas.problems import Problem, field_problems
from api.service.logs import logger
from api.service.problem_types import PROBLEMS
from api.service.problems import ApiError, make_problem, problem_of
from api.service.settings import RETRY_AFTER_S
from catalog.model.errors import CatalogueError
from matcher.errors import ObservationError, ObservationErrors, UnknownHalfError

PROBLEM_JSON = "application/problem+json"

CHALLENGE = 'Bearer realm="otherhalf"'
"""The challenge of a 401 (RFC 6750, section 3)."""

SECURITY_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}
"""Headers of all answers that do not set their own."""

_log = logger()

_BY_STATUS = {400: "malformed-json", 404: "not-found", 405: "method-not-allowed", 413: "body-too-large"}


class NotModified(Exception):  # noqa: N818 - an answer, not a fault
    """The client's copy, with the tag ``etag``, is still current."""

    def __init__(self, etag: str) -> None:
        super().__init__(etag)
        self.etag = etag


def problem_response(problem: Problem, headers: Mapping[str, str] | None = None) -> Response:
    """An HTTP answer with a problem document."""
    sent = {**SECURITY_HEADERS, **(headers or {})}
    if problem.type == PROBLEMS["catalogue-locked"].uri:
        sent["Retry-After"] = str(RETRY_AFTER_S)
    if problem.status == 401:
        sent["WWW-Authenticate"] = CHALLENGE
    return Response(problem.model_dump_json(), status_code=problem.status, headers=sent, media_type=PROBLEM_JSON)


def problem_answer(request: Request, problem: Problem, headers: Mapping[str, str] | None = None) -> Response:
    """The answer for a problem: a document for programs, a page for people."""
    render: Callable[[Request, Problem], Response] | None = getattr(request.app.state, "problem_page", None)
    if render is None or not wants_page(request):
        return problem_response(problem, headers)
    page = render(request, problem)
    page.headers.update(headers or {})
    return page


def wants_page(request: Request) -> bool:
    """Whether a refusal is for a person looking at a page, not for a program."""
    return not request.url.path.startswith("/v1/") and "text/html" in request.headers.get("accept", "")


def documented(*names: str) -> dict[int | str, dict[str, Any]]:
    """The value of a route's ``responses=`` for the problems that it can answer with."""
    by_status: dict[int, list[str]] = {}
    for name in names:
        by_status.setdefault(PROBLEMS[name].status, []).append(name)
    return {
        status: {
            "description": "; ".join(f"{PROBLEMS[name].title} (`{PROBLEMS[name].uri}`)" for name in listed),
            "content": {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status, listed in by_status.items()
    }


def add_handlers(app: FastAPI) -> None:
    """Let the app answer every error with a problem document."""
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(NotModified, _not_modified)
    for kind in (ApiError, CatalogueError, ObservationError, ObservationErrors, UnknownHalfError):
        app.add_exception_handler(kind, _answered)
    app.add_exception_handler(Exception, _answered)


def _answered(request: Request, error: Exception) -> Response:
    return problem_answer(request, problem_of(error, request.url.path))


def _not_modified(request: Request, error: Exception) -> Response:
    return Response(status_code=304, headers={"ETag": error.etag} if isinstance(error, NotModified) else None)


def _http(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException) or error.status_code not in _BY_STATUS:
        _log.error("unexpected status at %s %s", request.method, request.url.path, exc_info=error)
        return _answered(request, error)
    detail = f"{request.method} {request.url.path}: {error.detail}"
    problem = make_problem(_BY_STATUS[error.status_code], detail, instance=request.url.path)
    return problem_answer(request, problem, error.headers)


def _invalid(request: Request, error: Exception) -> Response:
    errors = list(error.errors()) if isinstance(error, RequestValidationError) else []
    if any(each["type"] == "json_invalid" for each in errors):
        return problem_answer(request, _malformed(request, errors[0]))
    body = request.scope["route"].body_field
    fields = field_problems(errors) if body is None else field_problems(errors, body.field_info.annotation)
    return _answered(request, ApiError.of_fields(fields))


def _malformed(request: Request, error: Mapping[str, Any]) -> Problem:
    place, why = error["loc"][-1], error.get("ctx", {}).get("error", error["msg"])
    return make_problem("malformed-json", f"at character {place}: {why}", instance=request.url.path)
