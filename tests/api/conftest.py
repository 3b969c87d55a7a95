"""A server over the demo catalogue, in this process, with a real database file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from api.app import create_app
from api.service.settings import Settings
from catalog.db.database import open_catalogue
from catalog.snapshot.snapshot import Snapshot, SnapshotSource
from seeds_demo.loader import load_demo


@pytest.fixture(scope="session")
def demo_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a database that holds the demo catalogue; tests only read it."""
    url = f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.sqlite3'}"
    with open_catalogue(url) as catalogue:
        load_demo(catalogue)
    return url


@pytest.fixture(scope="session")
def snapshot(demo_url: str) -> Snapshot:
    """The demo catalogue as the matcher sees it."""
    with open_catalogue(demo_url) as catalogue:
        return SnapshotSource(catalogue).current()


@pytest.fixture(scope="session")
def app(demo_url: str) -> FastAPI:
    """The app over the demo catalogue."""
    return create_app(Settings(database_url=demo_url))


@pytest.fixture(scope="session")
def server(app: FastAPI) -> Iterator[TestClient]:
    """A client of the running app."""
    with TestClient(app) as client:
        yield client


@pytest.fixture
def empty_url(tmp_path: Path) -> str:
    """Address of a database that holds nothing yet."""
    return f"sqlite:///{tmp_path / 'empty.sqlite3'}"
