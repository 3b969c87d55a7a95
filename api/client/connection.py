"""How the client speaks with a server: requests, answers, refusals, pages, and changes that are sent again unharmed."""

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
"""Seconds that a busy server is given before a change is sent again, whatever it asks for."""

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

    ``base_url`` is the server's address, ``token`` what changes are made with; reading needs none. ``http`` replaces
    the HTTP client, for tests or own transports; it is then the caller's to close. Calls raise `ProblemError` for what
    the server refuses, and httpx2's errors where it cannot be reached.
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
        """The items of a list, page by page as they are needed; ``kind`` is its page."""
        cursor: str | None = None
        while True:
            page = self._ask(kind, "GET", path, {**filters, "limit": page_size, "cursor": cursor})
            yield from page.items
            cursor = page.next
            if cursor is None:
                return

    def _write(self, kind: type[R], method: str, path: str, body: Mapping[str, Any], tag: str | None = None) -> R:
        """Send a change under a key of its own, so that it is sent again, once and without harm, where the connection
        broke or the server was busy."""
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
    """An address of the interface, its parts quoted."""
    return "/v1/" + "/".join(quote(part, safe="") for part in parts)


def at(record: str, *parts: str) -> str:
    """The address of entries of a kind, or with a key of one of them. Raises ValueError for what is no kind."""
    if record not in LISTED_AT:
        raise ValueError(f"no entry is a {record!r}; known: {', '.join(LISTED_AT)}")
    return address(LISTED_AT[record], *parts)


def _pause(response: httpx2.Response) -> float:
    asked = response.headers.get("Retry-After", "0")
    return min(float(asked), LONGEST_PAUSE_S) if asked.isdecimal() else LONGEST_PAUSE_S


def _refusal(response: httpx2.Response) -> Exception:
    try:
        return ProblemError(Problem.model_validate_json(response.content))
    except ValidationError:
        # Something between here and the server answered in its own words.
        return httpx2.HTTPStatusError(
            f"{response.status_code} from {response.url}", request=response.request, response=response
        )
