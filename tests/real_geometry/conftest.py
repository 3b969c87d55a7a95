"""Real footprints for the tests of this folder, read at run time from an installed package; none is stored."""

from __future__ import annotations

import fcntl
import gc
import os
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from catalog.footprints import FootprintImport, folder_import, import_folders
from catalog.model.entries import Half, Series
from tests.real_geometry.simulated import outlines

FOOTPRINTS = Path("/usr/share/kicad/footprints")
"""Where Debian's package of open footprints (6.0.11) puts its files."""


READ_FIRST = Path(__file__).parent / "test_footprint_import.py"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One process reads the footprints at the start of a run while the others run other tests, so none waits."""
    items.sort(key=lambda item: item.path != READ_FIRST)


@dataclass(frozen=True, kw_only=True)
class RealFootprints:
    """All connector folders of the package as imported, and the halves with everything drawn taken as outline."""

    imported: FootprintImport
    drawn: list[Half]

    @classmethod
    def read(cls, folders: list[Path]) -> RealFootprints:
        """Read each file once for both. What is read has no cycles; looking for them takes a third of the time."""
        gc.disable()
        try:
            return cls._read(folders)
        finally:
            gc.enable()

    @classmethod
    def _read(cls, folders: list[Path]) -> RealFootprints:
        with pytest.MonkeyPatch.context() as patch:
            once = cache(folder_import.read_footprint)
            patch.setattr(folder_import, "read_footprint", once)
            patch.setattr(outlines, "read_footprint", once)
            imported = import_folders(folders)
            halves = [entry for entry in imported.entries if isinstance(entry, Half)]
            return cls(imported=imported, drawn=outlines.as_drawn(halves, folders))


@pytest.fixture(scope="session")
def real_footprints(tmp_path_factory: pytest.TempPathFactory) -> RealFootprints:
    """Read once for all processes of a run, which takes some ten seconds; skips where the package is not installed."""
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    if not folders:
        pytest.skip(f"no footprint folders in {FOOTPRINTS}; install Debian's kicad-footprints")
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return RealFootprints.read(folders)
    return _shared(tmp_path_factory.getbasetemp().parent / "real_footprints", lambda: RealFootprints.read(folders))


def _shared(path: Path, make: Callable[[], RealFootprints]) -> RealFootprints:
    """What the first process that asks has made; the others wait for it."""
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            made = make()
            path.write_bytes(pickle.dumps(made))
            return made
        found: RealFootprints = pickle.loads(path.read_bytes())
        return found


@pytest.fixture(scope="session")
def real_import(real_footprints: RealFootprints) -> FootprintImport:
    """All connector folders of the package, imported once."""
    return real_footprints.imported


@pytest.fixture(scope="session")
def real_halves(real_import: FootprintImport) -> tuple[Half, ...]:
    """The halves of the import, in the order of their files."""
    return tuple(entry for entry in real_import.entries if isinstance(entry, Half))


@pytest.fixture(scope="session")
def real_series(real_import: FootprintImport) -> tuple[Series, ...]:
    """The series of the import."""
    return tuple(entry for entry in real_import.entries if isinstance(entry, Series))
