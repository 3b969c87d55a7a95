"""Read a folder of open footprint files into entries of the catalogue."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
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
    """Read every `.kicad_mod` file below a folder (or one such file); see `import_folders`."""
    return import_folders([path], progress)


def import_folders(paths: Sequence[Path | str], progress: Callable[[int, int], None] | None = None) -> FootprintImport:
    """Read the footprint files of several folders as one collection: series and matings may reach across folders.

    Parameters
    ----------
    paths: folders, trees of folders (such as ``*.pretty``), or single files; a file found twice is read once.
    progress: called with (files done, files in all) after each file.

    Raises
    ------
    FileError: a folder cannot be read. A file that cannot be used is skipped and reported, never raised.
    """
    files = {file: shown for path in paths for file, shown in _files(Path(path))}
    halves: dict[str, Half] = {}
    skipped: list[Skipped] = []
    for done, (file, shown) in enumerate(sorted(files.items()), start=1):
        outcome = _read(file, shown, halves)
        if isinstance(outcome, Skipped):
            skipped.append(outcome)
        else:
            halves[outcome.key] = outcome
        if progress is not None:
            progress(done, len(files))
    named, series = group(kinds_by_letters(list(halves.values())))
    return assemble(series, named, propose(named), skipped)


def _read(file: Path, shown: str, known: Mapping[str, Half]) -> Half | Skipped:
    """The half of one file, or why it gives none."""
    try:
        half = half_of(read_footprint(file))
    except UnusableFootprint as unusable:
        return Skipped(file=shown, reason=unusable.reason, detail=unusable.detail)
    except ValidationError as invalid:
        first = invalid.errors(include_url=False, include_input=False)[0]
        detail = f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
        return Skipped(file=shown, reason="contradicts itself", detail=detail)
    if half.key in known:
        taken = known[half.key].part_number
        return Skipped(file=shown, reason="name already taken", detail=f"the half {taken} has the same key")
    return half


def _files(root: Path) -> Iterator[tuple[Path, str]]:
    """Footprint files below ``root`` and how to name them; links to folders are not followed. Raises FileError."""
    if root.is_file():
        yield root, root.name
        return

    def refuse(error: OSError) -> None:
        raise FileError(
            f"the folder cannot be read ({error.strerror})",
            path=str(error.filename or root),
            remedy="Give a folder that holds .kicad_mod files, or one such file.",
        ) from error

    for folder, _folders, names in os.walk(root, onerror=refuse):
        for name in names:
            if name.endswith(SUFFIX):
                file = Path(folder) / name
                yield file, str(Path(root.name) / file.relative_to(root))
