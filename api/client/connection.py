"""The client's connection with a server: requests, answers, refusals, pages, and safe repetition of changes."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator, Mapping
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote

import httpx2
from pydantic import BaseModel, ValidationError

from api.schemas.history import LISTED_AT
from api.schemas.problems import Problem

TIMEOUT_S = 30.0
"""Seconds to wait for an answer; the first one after a change of a large catalogue takes longest."""

LONGEST_PAUSE_S = 10.0
"""Longest pause, in seconds, before a change is sent again to a busy server, even if it asks for a longer one."""

R = TypeVar("R", bound=BaseModel)


class ProblemError(Exception):
    """The server answered with a problem; ``problem`` is its document."""

    def __init__(self, problem: Problem) -> None:
        lines = [f"{problem.title}: {problem.detail}"]
        lines += [f"{error.field}: {error.message}. {error.remedy}" for error in problem.errors]
        super().__init__("\n".join(lines))
        self.problem = problem


class Connection:
    """A connection with one server. Use it as a context manager, or call `close`.

    ``base_url`` is the server's address; ``token`` is needed for changes only. ``http`` replaces the HTTP client, for
    tests or other transports; the caller then closes it. Calls raise `ProblemError` if the server refuses the request,
    and httpx2's errors if it cannot be reached.
    """

    def __init__(
        self,
        base_url: str = "",
        *,
        token: str | None = None,
        timeout_s: float = TIMEOUT_S,
        http: httpx2.Client | None = None,
    ) -> None:
        self._own = http is None
        self._headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self._http = http if http is not None else httpx2.Client(base_url=base_url, timeout=timeout_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections that this client opened."""
        if self._own:
            self._http.close()

    def _ask(
        self, kind: type[R], method: str, path: str, query: Mapping[str, object] | None = None, body: Any = None
    ) -> R:
        params = {name: str(value) for name, value in (query or {}).items() if value is not None}
        return self._read(kind, self._send(method, path, params=params, json=body))

    def _pages(self, kind: type[Any], path: str, filters: Mapping[str, object], page_size: int | None) -> Iterator[Any]:
        """The items of a list, read page by page as needed; ``kind`` is the type of its pages."""
        cursor: str | None = None
        while True:
            page = self._ask(kind, "GET", path, {**filters, "limit": page_size, "cursor": cursor})
            yield from page.items
            cursor = page.next
            if cursor is None:
                return

    def _write(self, kind: type[R], method: str, path: str, body: Mapping[str, Any], tag: str | None = None) -> R:
        """Send a change with its own idempotency key. If the connection breaks or the server is busy it is sent once
        more, which is safe."""
        headers = {"Idempotency-Key": uuid.uuid4().hex, **({} if tag is None else {"If-Match": tag})}
        try:
            response = self._send(method, path, json=body, headers=headers)
        except httpx2.TransportError:
            response = self._send(method, path, json=body, headers=headers)
        else:
            if response.status_code == httpx2.codes.SERVICE_UNAVAILABLE:
                time.sleep(_pause(response))
                response = self._send(method, path, json=body, headers=headers)
        return self._read(kind, response)

    def _send(
        self, method: str, path: str, *, headers: Mapping[str, str] | None = None, **sent: Any
    ) -> httpx2.Response:
        return self._http.request(method, path, headers={**self._headers, **(headers or {})}, **sent)

    def _read(self, kind: type[R], response: httpx2.Response) -> R:
        if response.is_success:
            return kind.model_validate_json(response.content)
        raise _refusal(response)


def address(*parts: str) -> str:
    """An address of the interface, with its parts quoted."""
    return "/v1/" + "/".join(quote(part, safe="") for part in parts)


def at(record: str, *parts: str) -> str:
    """The address of a kind of entry or, with a key, of one entry. Raises ValueError for an unknown kind."""
    if record not in LISTED_AT:
        raise ValueError(f"{record!r} is not a kind of entry; known: {', '.join(LISTED_AT)}")
    return address(LISTED_AT[record], *parts)


def _pause(response: httpx2.Response) -> float:
    asked = response.headers.get("Retry-After", "0")
    return min(float(asked), LONGEST_PAUSE_S) if asked.isdecimal() else LONGEST_PAUSE_S


def _refusal(response: httpx2.Response) -> Exception:
    try:
        return ProblemError(Problem.model_validate_json(response.content))
    except ValidationError:
        # A proxy on the way has answered.
        return httpx2.HTTPStatusError(
            f"{response.status_code} from {response.url}", request=response.request, response=response
        )
