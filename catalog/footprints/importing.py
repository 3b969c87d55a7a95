"""Read a folder of open footprint files into entries of the catalogue."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from pydantic import ValidationError

from catalog.footprints.halves import half_of
from catalog.footprints.lands import rows_run_along_y
from catalog.footprints.matings import kinds_by_letters, propose
from catalog.footprints.naming import name_facts
from catalog.footprints.parsing import Footprint, UnusableFootprint, read_footprint
from catalog.footprints.report import FootprintImport, Skipped, assemble
from catalog.model.entries import Half, slug
from catalog.model.errors import FileError
from catalog.model.part_number_patterns import RUN, group

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
    files = {file.absolute(): shown for path in paths for file, shown in _files(Path(path))}
    collection = _Collection()
    for done, (file, shown) in enumerate(sorted(files.items()), start=1):
        collection.read(file, shown)
        if progress is not None:
            progress(done, len(files))
    collection.settle()
    named, series = group(kinds_by_letters(list(collection.halves.values())))
    return assemble(series, named, propose(named), collection.skipped)


class _Collection:
    """Halves read so far, files skipped, and footprints whose rows may run either way until siblings tell."""

    def __init__(self) -> None:
        self.halves: dict[str, Half] = {}
        self.skipped: list[Skipped] = []
        self._undecided: list[tuple[str, Footprint]] = []
        self._directions: dict[str, Counter[bool]] = defaultdict(Counter)

    def read(self, file: Path, shown: str) -> None:
        """Take one file in, or note why it gives no half."""
        with self._noting(shown):
            footprint = read_footprint(file)
            along_y = rows_run_along_y(footprint, name_facts(footprint.name))
            if along_y is None:
                self._undecided.append((shown, footprint))
                return
            self._directions[RUN.sub("#", footprint.name)][along_y] += 1
            self._add(half_of(footprint, along_y=along_y))

    def settle(self) -> None:
        """Turn undecided footprints as most footprints with names of the same form are drawn."""
        for shown, footprint in self._undecided:
            siblings = self._directions.get(RUN.sub("#", footprint.name))
            with self._noting(shown):
                self._add(half_of(footprint, along_y=siblings.most_common(1)[0][0] if siblings else None))
        self._undecided.clear()
        self._spell_makers_alike()

    def _spell_makers_alike(self) -> None:
        """One maker is written in one way, the commonest: a catalogue refuses two spellings of one key."""
        spellings: dict[str, Counter[str]] = defaultdict(Counter)
        for half in self.halves.values():
            spellings[slug(half.maker)][half.maker] += 1
        for key, half in self.halves.items():
            maker = spellings[slug(half.maker)].most_common(1)[0][0]
            if maker != half.maker:
                self.halves[key] = half.model_copy(update={"maker": maker})

    def _add(self, half: Half) -> None:
        if half.key in self.halves:
            taken = self.halves[half.key].part_number
            raise UnusableFootprint("name already taken", f"the half {taken} has the same key")
        self.halves[half.key] = half

    @contextmanager
    def _noting(self, shown: str) -> Iterator[None]:
        """Note a file that cannot be used, with its reason."""
        try:
            yield
        except UnusableFootprint as unusable:
            self.skipped.append(Skipped(file=shown, reason=unusable.reason, detail=unusable.detail))
        except ValidationError as invalid:
            first = invalid.errors(include_url=False, include_input=False)[0]
            detail = f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
            self.skipped.append(Skipped(file=shown, reason="contradicts itself", detail=detail))


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
