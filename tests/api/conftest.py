"""A server for the demo catalogue in this process, with a real database file."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
import typer.main
import typer.testing
from fastapi import FastAPI
from sqlalchemy.orm import Session
from starlette.testclient import TestClient

from api.service.settings import Settings
from catalog.db.database import open_catalogue, read_version
from catalog.snapshot import snapshot as snapshots
from catalog.snapshot.snapshot import Build, Snapshot, SnapshotSource
from tests import catalogues
from tests.api.workshop import app_for


@pytest.fixture(scope="session")
def demo_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a database with the demo catalogue; tests only read it."""
    return catalogues.placed(tmp_path_factory.mktemp("demo") / "demo.sqlite3", catalogues.demo())


@pytest.fixture(scope="session", autouse=True)
def _demo_is_read_once(demo_url: str) -> Iterator[None]:
    """A command or app that opens the demo's database again gets the snapshot computed by the first."""
    built: dict[int, Build] = {}
    build = snapshots.build

    def remembered(session: Session, before: Build | None) -> Build:
        if before is not None or str(session.get_bind().engine.url) != demo_url:
            return build(session, before)
        version = read_version(session)
        if version not in built:
            built[version] = build(session, None)
        return built[version]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(snapshots, "build", remembered)
        yield


@pytest.fixture(scope="session", autouse=True)
def _commands_are_made_once() -> Iterator[None]:
    """typer's runner makes all commands of the program anew for each that it runs, which takes longer than most do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.testing, "_get_command", cache(typer.main.get_command))
        yield


@pytest.fixture(scope="session")
def snapshot(demo_url: str) -> Snapshot:
    """The demo catalogue as the matcher sees it."""
    with open_catalogue(demo_url) as catalogue:
        return SnapshotSource(catalogue).current()


@pytest.fixture(scope="session")
def app(demo_url: str) -> FastAPI:
    """The app over the demo catalogue."""
    return app_for(Settings(database_url=demo_url))


@pytest.fixture(scope="session")
def server(app: FastAPI) -> Iterator[TestClient]:
    """A client of the running app."""
    with TestClient(app) as client:
        yield client


@pytest.fixture
def empty_url(tmp_path: Path) -> str:
    """Address of an empty catalogue."""
    return catalogues.placed(tmp_path / "empty.sqlite3", catalogues.empty())
