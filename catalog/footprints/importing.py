"""Read a folder of open footprint files into entries of the catalogue."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

from pydantic import ValidationError

from catalog.entries import Half
from catalog.errors import FileError
from catalog.footprints.grouping import group
from catalog.footprints.halves import half_of
from catalog.footprints.matings import kinds_by_letters, propose
from catalog.footprints.parsing import UnusableFootprint, read_footprint
from catalog.footprints.report import FootprintImport, Skipped, assemble

SUFFIX = ".kicad_mod"


def import_folder(path: Path | str, progress: Callable[[int, int], None] | None = None) -> FootprintImport:
    """Read every `.kicad_mod` file below a folder (or one such file).

    Parameters
    ----------
    path: folder, tree of folders (such as ``*.pretty``), or a single file.
    progress: called with (files done, files in all) after each file.

    Raises
    ------
    FileError: the folder cannot be read. A file that cannot be used is skipped and reported, never raised.
    """
    root = Path(path)
    files = sorted(_files(root))
    halves: dict[str, Half] = {}
    skipped: list[Skipped] = []
    for done, file in enumerate(files, start=1):
        name = str(file.relative_to(root)) if file != root else file.name
        try:
            half = half_of(read_footprint(file))
            if half.key in halves:
                raise UnusableFootprint("name already taken", f"{halves[half.key].part_number} has the same key")
            halves[half.key] = half
        except UnusableFootprint as unusable:
            skipped.append(Skipped(file=name, reason=unusable.reason, detail=unusable.detail))
        except ValidationError as invalid:
            first = invalid.errors(include_url=False, include_input=False)[0]
            detail = f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
            skipped.append(Skipped(file=name, reason="contradicts itself", detail=detail))
        if progress is not None:
            progress(done, len(files))
    named, series = group(kinds_by_letters(list(halves.values())))
    return assemble(series, named, propose(named), skipped)


def _files(root: Path) -> Iterator[Path]:
    """Footprint files below ``root``; links are not followed into folders. Raises FileError if it cannot be listed."""
    if root.is_file():
        yield root
        return

    def refuse(error: OSError) -> None:
        raise FileError(
            f"the folder cannot be read ({error.strerror})",
            path=str(error.filename or root),
            remedy="Give a folder that holds .kicad_mod files, or one such file.",
        ) from error

    for folder, _folders, names in os.walk(root, onerror=refuse):
        yield from (Path(folder) / name for name in names if name.endswith(SUFFIX))
