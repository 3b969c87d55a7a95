"""Databases for tests on both engines, and the rule that a complete run skips nothing."""

from __future__ import annotations

import gc
import getpass
import os
import shutil
import subprocess
import uuid
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.pool import NullPool

# The processes of a run use all processors already; threads of NumPy's would only wait for them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from catalog.db.database import Catalogue, open_catalogue
from tests import catalogues

# Imports and collection make a million objects that stay; looking for garbage among them takes a third of the time.
gc.disable()

REQUIRE_ALL = os.environ.get("OTHERHALF_REQUIRE_ALL") == "1"
SERVER_FOLDERS = Path("/usr/lib/postgresql")
UNPRIVILEGED = "postgres"


def pytest_collection_finish() -> None:
    """Look for cycles of garbage again, but more rarely, and never among what imports and collection have made.

    A search goes through all objects that live, which takes more time than many a test.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000)
    gc.enable()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """With OTHERHALF_REQUIRE_ALL=1, a skipped test fails and shows why it was skipped."""
    report = yield
    _refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """The same for modules that skip as a whole."""
    report = yield
    _refuse_skip(report)
    return report


def _refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    if REQUIRE_ALL and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        report.outcome = "failed"
        report.longrepr = f"OTHERHALF_REQUIRE_ALL=1 allows no skips, but: {reason}"


@pytest.fixture(scope="session")
def postgresql_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """Address of a PostgreSQL server: OTHERHALF_TEST_POSTGRESQL, or one started for this session."""
    pytest.importorskip("psycopg", reason="no PostgreSQL driver: pip install '.[postgresql]'")
    given = os.environ.get("OTHERHALF_TEST_POSTGRESQL")
    if given:
        yield make_url(given).set(drivername="postgresql+psycopg")
        return
    programs = sorted(SERVER_FOLDERS.glob("*/bin/initdb"))
    if not programs:
        pytest.skip("no PostgreSQL: set OTHERHALF_TEST_POSTGRESQL to a server's address, or install the server")
    user = UNPRIVILEGED if os.geteuid() == 0 else getpass.getuser()
    # A socket's path is limited to about 100 characters; pytest's own folders can be longer.
    folder = Path("/tmp") / f"otherhalf-{uuid.uuid4().hex[:12]}"
    folder.mkdir(mode=0o700)
    try:
        shutil.chown(folder, user)
        yield from _own_server(programs[-1].parent, folder, user)
    finally:
        shutil.rmtree(folder)


def _own_server(programs: Path, folder: Path, user: str) -> Iterator[URL]:
    def run(*command: str) -> None:
        as_user = user if os.geteuid() == 0 else None
        subprocess.run(command, check=True, capture_output=True, user=as_user, cwd=folder, timeout=60)

    data = str(folder / "data")
    run(str(programs / "initdb"), "-D", data, "-A", "trust", "-U", user, "-E", "UTF8", "--no-sync")
    # No network and no waiting for the disk: the data are not needed after the tests.
    options = f"-c listen_addresses='' -c fsync=off -c max_connections=60 -k {folder}"
    control = str(programs / "pg_ctl")
    run(control, "-D", data, "-w", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield URL.create("postgresql+psycopg", username=user, database="postgres", query={"host": str(folder)})
    finally:
        run(control, "-D", data, "-w", "-m", "immediate", "stop")


@contextmanager
def _database(server: URL) -> Iterator[URL]:
    """A new database on the server, dropped afterwards."""
    name = f"otherhalf_test_{uuid.uuid4().hex[:12]}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        yield server.set(database=name)
        with engine.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    finally:
        engine.dispose()


@pytest.fixture
def postgresql_url(postgresql_server: URL) -> Iterator[str]:
    """Address of a new, empty database on a PostgreSQL server."""
    with _database(postgresql_server) as url:
        yield url.render_as_string(hide_password=False)


@pytest.fixture(scope="session")
def _postgresql_catalogue(postgresql_server: URL) -> Iterator[tuple[str, Callable[[], None]]]:
    """Address of a database with the catalogue's tables, and a function that empties it.

    Emptying takes a tenth of the time of a copy from a template.
    """
    with _database(postgresql_server) as url:
        address = url.render_as_string(hide_password=False)
        open_catalogue(address).close()
        engine = create_engine(url, poolclass=NullPool)
        inspector = inspect(engine)
        tables = [name for name, _ in inspector.get_sorted_table_and_fkc_names() if name]
        with engine.connect() as connection:
            sequences = connection.scalars(text("SELECT sequencename FROM pg_sequences")).all()
            (state,) = connection.execute(text("SELECT * FROM catalogue_state")).mappings()

        def empty() -> None:
            with engine.begin() as connection:
                # Connections left open could hold locks, so they are closed by force.
                others = "datname = current_database() AND pid <> pg_backend_pid()"
                connection.execute(text(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}"))
                for name in reversed(tables):
                    if name != "alembic_version":
                        connection.execute(text(f"DELETE FROM {name}"))
                for name in sequences:
                    connection.execute(text(f"ALTER SEQUENCE {name} RESTART"))
                values = ", ".join(f":{column}" for column in state)
                connection.execute(text(f"INSERT INTO catalogue_state ({', '.join(state)}) VALUES ({values})"), state)

        yield address, empty


@pytest.fixture
def postgresql_migrated_url(_postgresql_catalogue: tuple[str, Callable[[], None]]) -> Iterator[str]:
    """Address of a PostgreSQL database with the catalogue's tables, all empty."""
    address, empty = _postgresql_catalogue
    yield address
    empty()


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """Address of a SQLite file that does not exist yet."""
    return f"sqlite:///{tmp_path / 'catalogue.sqlite3'}"


@pytest.fixture
def sqlite_migrated_url(tmp_path: Path) -> str:
    """Address of a SQLite file with the catalogue's tables, all empty."""
    return catalogues.placed(tmp_path / "catalogue.sqlite3", catalogues.empty())


ENGINES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]


@pytest.fixture(params=ENGINES)
def database_url(request: pytest.FixtureRequest) -> str:
    """Address of an empty database; the test runs once on each engine."""
    url: str = request.getfixturevalue(f"{request.param}_url")
    return url


@pytest.fixture(params=ENGINES)
def migrated_url(request: pytest.FixtureRequest) -> str:
    """Address of a database with the catalogue's tables, all empty; the test runs once on each engine."""
    url: str = request.getfixturevalue(f"{request.param}_migrated_url")
    return url


@pytest.fixture
def catalogue(migrated_url: str) -> Iterator[Catalogue]:
    """An empty catalogue; the test runs once on each engine."""
    with open_catalogue(migrated_url) as opened:
        yield opened
