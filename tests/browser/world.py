"""The server that the browser visits: the demo catalogue, two contributors, a maintainer, and hostile entries."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from urllib.parse import quote

import httpx2
import uvicorn

from api.app import create_app
from api.service.settings import Settings
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Role, Scope
from catalog.db.database import open_catalogue
from catalog.history.acts import operators
from catalog.model.timestamps import read

IDA, PER, JAY, MIA = "Ida Finch", "Per Crake", "Jay Rook", "Mia Dunn"
PEOPLE = {IDA: Role.CONTRIBUTOR, PER: Role.CONTRIBUTOR, JAY: Role.CONTRIBUTOR, MIA: Role.MAINTAINER}
"""The work of Jay is undone."""

HOSTILE_NAME = "Nest<img src=nest onerror=ran(4)>"

STARTED_WITHIN_S, PATIENCE_S = 60.0, 120.0
"""Allows for a busy machine; the first answer waits for what is computed once."""


@dataclass(frozen=True, kw_only=True)
class World:
    """The server's address, everyone's token, and the keys of the hostile entries."""

    address: str
    tokens: dict[str, str]
    keys: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, who: str | None = None, **sent: Any) -> httpx2.Response:
        """Send a request to the JSON interface; raises if it is refused."""
        headers = {"Authorization": f"Bearer {self.tokens[who]}"} if who else {}
        if path.endswith("/withdraw"):  # made from the current state
            headers["If-Match"] = self.tag(path.rsplit("/", 1)[0])
        answer = httpx2.request(method, f"{self.address}{path}", headers=headers, timeout=PATIENCE_S, **sent)
        if answer.status_code >= 400:
            raise RuntimeError(f"{method} {path}: {answer.text}")
        return answer

    def tag(self, path: str) -> str:
        """The ETag of a record."""
        return str(httpx2.get(f"{self.address}{path}", timeout=PATIENCE_S).headers["etag"])


def fill(url: str) -> dict[str, str]:
    """Add the people to the demo catalogue; returns their tokens by name."""
    with open_catalogue(url) as catalogue, catalogue.writing() as session:
        made: dict[str, str] = {}
        contributors.add(session, operators("a test"), HOSTILE_NAME, Role.CONTRIBUTOR)
        for name, role in PEOPLE.items():
            act = operators("a test")
            contributors.add(session, act, name, role)
            scopes = [scope for scope in Scope if role is Role.MAINTAINER or scope is not Scope.MAINTAIN]
            ends = read(act.at, field="at") + timedelta(days=1)
            made[name] = tokens.create(session, act, name, scopes=scopes, expires=ends).secret
        return made


@contextmanager
def serve(database_url: str) -> Iterator[str]:
    """Run the app in a thread; returns its address."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(create_app(Settings(database_url=database_url)), log_level="warning", lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    until = time.monotonic() + STARTED_WITHIN_S
    while not server.started:
        if time.monotonic() > until or not thread.is_alive():
            raise RuntimeError("the server did not start")
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        listening.close()


def half_address(key: str, action: str = "") -> str:
    """The address of a half's page, or of one of its forms."""
    return f"/halves/{quote(key, safe=':~')}{action}"
