"""Middleware for all requests: a limit on bodies, HEAD, and security headers."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.service.problems import make_problem
from api.service.responses import SECURITY_HEADERS, problem_response


class SecurityHeaders:
    """Sets `SECURITY_HEADERS` unless an answer has its own."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, with_headers)


class HeadAsGet:
    """Answers HEAD as GET without the body."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, without_body)


class BodyLimit:
    """Refuses bodies that are larger than ``max_bytes``, by their declared length or while they are read.

    ``at`` gives single addresses their own limit.
    """

    def __init__(self, app: ASGIApp, max_bytes: int, at: Mapping[str, int] = MappingProxyType({})) -> None:
        self.app = app
        self.max_bytes = max_bytes
        self.at = at

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most = self.at.get(scope["path"], self.max_bytes)
        declared = Headers(scope=scope).get("content-length", "")
        if declared.isdecimal() and int(declared) > most:
            problem = make_problem("body-too-large", _larger_than(most), instance=scope["path"])
            response = problem_response(problem, {"Connection": "close"})
            await response(scope, receive, send)
            return
        await self.app(scope, _counted(receive, most), send)


def _counted(receive: Receive, most: int) -> Receive:
    total = 0

    async def counted() -> Message:
        nonlocal total
        message = await receive()
        total += len(message.get("body", b""))
        if total > most:
            # An HTTPException, since the framework reports any other exception here as a malformed body.
            raise HTTPException(413, _larger_than(most))
        return message

    return counted


def _larger_than(most: int) -> str:
    return f"the body is larger than {most} bytes"
