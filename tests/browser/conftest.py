"""A real server with the demo catalogue, the people who use it, and Debian's Chromium, which must report no errors."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests import catalogues
from tests.browser.hostile import add_hostile
from tests.browser.visits import NewPage, Visits
from tests.browser.world import IDA, MIA, PER, World, fill, serve

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = Path("/usr/bin/chromium")

FLAGS = ["--no-sandbox", "--disable-gpu"]
"""Chromium has no sandbox for the root of a container, and a container has no graphics card."""

WARMING = {"observations": [{"feature": "contact_count", "value": 24}]}
"""Requested first: what is computed once for a catalogue does not count as a page's time."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs a browser."""
    here = f"{Path(__file__).parent}{os.sep}"
    for item in items:
        if str(item.path).startswith(here):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests; each test opens its own pages."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright: pip install '.[browser]'")
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def world(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """A running server with the demo catalogue and people's additions, shared by the tests of one process."""
    del browser  # without a browser, no server is started either
    url = catalogues.placed(tmp_path_factory.mktemp("browser") / "demo.sqlite3", catalogues.demo())
    with ExitStack() as stack:
        tokens = fill(url)
        world = World(address=stack.enter_context(serve(url)), tokens=tokens)
        world.keys.update(add_hostile(world, IDA, PER, MIA))
        world.ask("POST", "/v1/identify", json=WARMING)
        yield world


@pytest.fixture(scope="session")
def site(world: World) -> str:
    """Address of the running server."""
    return world.address


@pytest.fixture(scope="session")
def visits(browser: Browser, world: World) -> Visits:
    """Opens pages for the people."""
    return Visits(browser=browser, world=world)


@pytest.fixture
def new_page(visits: Visits) -> Iterator[NewPage]:
    """Opens pages for a test and checks at the end that no page had an error."""
    with opening(visits) as opened:
        yield opened


@contextmanager
def opening(visits: Visits) -> Iterator[NewPage]:
    """The same for a fixture with a wider scope."""
    opened = NewPage(visits=visits)
    yield opened
    troubles = opened.end()
    assert not troubles, "\n".join(troubles)
