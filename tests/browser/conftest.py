"""A real server over the demo catalogue, the people who use it, and Debian's Chromium that must not complain."""

from __future__ import annotations

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
"""A container's root has no sandbox to run Chromium in, and no graphics card."""

WARMING = {"observations": [{"feature": "contact_count", "value": 24}]}
"""Asked first: what is worked out once for a catalogue is no part of any page's time."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs a browser."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests; each opens pages of its own."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright: pip install '.[browser]'")
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def world(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """A running server over the demo catalogue and what people added to it; the tests of one process share it."""
    del browser  # where there is none, nothing is served either
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
    """How pages are opened, by whom."""
    return Visits(browser=browser, world=world)


@pytest.fixture
def new_page(visits: Visits) -> Iterator[NewPage]:
    """Opens pages for a test; in the end nothing may have gone wrong in any."""
    with opening(visits) as opened:
        yield opened


@contextmanager
def opening(visits: Visits) -> Iterator[NewPage]:
    """The same for a fixture of wider scope."""
    opened = NewPage(visits=visits)
    yield opened
    troubles = opened.end()
    assert not troubles, "\n".join(troubles)
