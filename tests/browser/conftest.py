"""A real server over the demo catalogue, and Debian's Chromium."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import uvicorn

from api.app import create_app
from api.settings import Settings
from catalog.database import open_catalogue
from seeds_demo.loader import load_demo

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = Path("/usr/bin/chromium")

FLAGS = ["--no-sandbox", "--disable-gpu"]
"""A container's root has no sandbox to run Chromium in, and no graphics card."""

STARTED_WITHIN_S = 20.0


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs a browser."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests; each opens pages of its own."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright: pip install '.[tests]'")
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a running server over the demo catalogue, on a free port; tests of one session share it."""
    url = f"sqlite:///{tmp_path_factory.mktemp('browser') / 'demo.sqlite3'}"
    with open_catalogue(url) as catalogue:
        load_demo(catalogue)
    yield from serve(url)


def serve(database_url: str) -> Iterator[str]:
    """Run the app in a thread until the test is over."""
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
