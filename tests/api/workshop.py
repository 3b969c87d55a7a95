"""A server with its own small catalogue, and the people of the bird-song recorders' workshop who use it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from httpx2 import Response
from starlette.routing import BaseRoute
from starlette.testclient import TestClient

from api.app import create_app
from api.service.settings import Settings
from catalog.accounts import contributors, tokens
from catalog.accounts.access import Role, usable_scopes
from catalog.db.database import Catalogue, open_catalogue
from catalog.history.acts import operators
from catalog.history.pending import DELAY
from catalog.model.entry_parts import Entry
from catalog.model.timestamps import read
from tests import catalogues
from tests.catalog.history.changed_entries import IDA, PER, WREN, fill

KEEPER = "Mia Dunn"
PEOPLE = {WREN: Role.CONTRIBUTOR, IDA: Role.CONTRIBUTOR, PER: Role.CONTRIBUTOR, KEEPER: Role.MAINTAINER}


def written(entry: Entry, **changes: Any) -> dict[str, Any]:
    """An entry as JSON for a request."""
    return entry.model_dump(mode="json", exclude_defaults=True) | changes


@dataclass(frozen=True)
class Workshop:
    """The server, its catalogue, and a token of each of the people."""

    server: TestClient
    catalogue: Catalogue
    tokens: dict[str, str]

    def ask(
        self, method: str, path: str, who: str | None = None, *, key: str = "", tag: str = "", **sent: Any
    ) -> Response:
        """Send a person's request, with an Idempotency-Key and an If-Match where given."""
        headers = {"Authorization": f"Bearer {self.tokens[who]}"} if who else {}
        headers |= {"Idempotency-Key": key} if key else {}
        headers |= {"If-Match": tag} if tag else {}
        return self.server.request(method, path, headers=headers, **sent)

    def tag(self, path: str) -> str:
        """The ETag of a record."""
        return str(self.server.get(path).headers["etag"])

    def change(self, method: str, path: str, who: str, **body: Any) -> Response:
        """Send a change made from the current state."""
        action = path.rsplit("/", 1)
        at = path if method == "PUT" else action[0]
        return self.ask(method, path, who, tag=self.tag(at), json=body)


def stock(catalogue: Catalogue) -> dict[str, str]:
    """Let Wren fill the catalogue and add the people; returns a token for each person."""
    made = {}
    with catalogue.writing() as session:
        act = operators("a test")
        for name, role in PEOPLE.items():
            contributors.add(session, act, name, role)
            scopes = usable_scopes(role)
            ends = read(act.at, field="at") + timedelta(days=1)
            made[name] = tokens.create(session, act, name, scopes=scopes, expires=ends).secret
        fill(session)
    return made


@cache
def _stocked() -> tuple[bytes, dict[str, str]]:
    """The file of a filled catalogue, with the tokens."""
    made: dict[str, str] = {}
    content = catalogues.made(lambda catalogue: made.update(stock(catalogue)), start=catalogues.empty())
    return content, made


@cache
def _routes() -> Sequence[BaseRoute]:
    """The routes of an app. FastAPI makes their handlers at its first requests, which takes longer than most tests."""
    return tuple(create_app().routes)


def app_for(settings: Settings) -> FastAPI:
    """The app for these settings, on which no route depends: all apps made here share theirs, with the handlers."""
    app = create_app(settings)
    app.router.routes[:] = _routes()
    return app


@contextmanager
def workshop(url: str, delay: timedelta = DELAY, looked_every_s: float = 3600.0) -> Iterator[Workshop]:
    """The app with a catalogue filled by Wren; due changes are not looked for unless requested."""
    if url.startswith("sqlite:///"):
        content, made = _stocked()
        catalogues.placed(Path(url.removeprefix("sqlite:///")), content)
    else:
        with open_catalogue(url) as empty:
            made = stock(empty)
    app = app_for(Settings(database_url=url, pending_delay=delay, looked_every_s=looked_every_s))
    with TestClient(app) as server:
        yield Workshop(server, app.state.services.catalogue, dict(made))
