"""Real footprints for the tests of this folder, read at run time from an installed package; nothing of them is kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from catalog.footprints import FootprintImport, import_folders
from catalog.model.entries import Half, Series

FOOTPRINTS = Path("/usr/share/kicad/footprints")
"""Where Debian's package of open footprints (6.0.11) puts its files."""


@pytest.fixture(scope="session")
def real_import() -> FootprintImport:
    """All connector folders of the package, imported once; skips where the package is not installed."""
    folders = sorted(FOOTPRINTS.glob("Connector*.pretty"))
    if not folders:
        pytest.skip(f"no footprint folders in {FOOTPRINTS}; install Debian's kicad-footprints")
    return import_folders(folders)


@pytest.fixture(scope="session")
def real_halves(real_import: FootprintImport) -> tuple[Half, ...]:
    """The halves of the import, in the order of their files."""
    return tuple(entry for entry in real_import.entries if isinstance(entry, Half))


@pytest.fixture(scope="session")
def real_series(real_import: FootprintImport) -> tuple[Series, ...]:
    """The series of the import."""
    return tuple(entry for entry in real_import.entries if isinstance(entry, Series))
