"""Read a folder of open footprint files into entries of the catalogue."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from catalog.footprints.conversion import half_and_body
from catalog.footprints.expressions import UnusableFootprint
from catalog.footprints.footprint_file import Footprint, read_footprint
from catalog.footprints.land_patterns import land_pattern
from catalog.footprints.lands import rows_run_along_y
from catalog.footprints.mating_proposals import kinds_by_letters, propose
from catalog.footprints.name_facts import name_facts
from catalog.model.entries import Half, Mating, Series, slug
from catalog.model.errors import FileError
from catalog.model.land_pattern import LandPattern
from catalog.model.part_number_patterns import RUN, group

SUFFIX = ".kicad_mod"


def import_folders(
    paths: Sequence[Path | str], progress: Callable[[int, int], None] | None = None, licence: str = ""
) -> FootprintImport:
    """Read the footprint files of several folders as one collection: series and matings may span folders.

    Parameters
    ----------
    paths: folders, trees of folders (such as ``*.pretty``), or single files; a file found twice is read once.
    licence: the terms of the files, kept with their land patterns.
    progress: called with (files done, files in all) after each file.

    Raises
    ------
    FileError: a folder cannot be read. A file that cannot be used is skipped and reported, never raised.
    """
    files = {file.absolute(): shown for path in paths for file, shown in _files(Path(path))}
    collection = _Collection(licence)
    for done, (file, shown) in enumerate(sorted(files.items()), start=1):
        collection.read(file, shown)
        if progress is not None:
            progress(done, len(files))
    collection.settle()
    named, series = group(kinds_by_letters(list(collection.halves.values())))
    matings = propose(named)
    mated = {key for mating in matings for key in (mating.half, mating.other)}
    report = FootprintReport(
        read=len(named) + len(collection.skipped),
        imported=len(named),
        series=len(series),
        matings=len(matings),
        without_mate=sum(half.key not in mated for half in named),
        doubtful=sum(any(d.doubt for d in half.dimensions.values()) for half in named),
        patterns=len(collection.patterns),
        skipped=tuple(collection.skipped),
    )
    return FootprintImport(entries=(*series, *named, *matings), patterns=tuple(collection.patterns), report=report)


class _Collection:
    """Halves read so far, skipped files, and footprints whose row direction is decided later by their siblings."""

    def __init__(self, licence: str) -> None:
        self._licence = licence
        self.patterns: list[LandPattern] = []
        self.halves: dict[str, Half] = {}
        self.skipped: list[Skipped] = []
        self._undecided: list[tuple[str, Footprint]] = []
        self._directions: dict[str, Counter[bool]] = defaultdict(Counter)

    def read(self, file: Path, shown: str) -> None:
        """Read one file, or record why it gives no half."""
        with self._noting(shown):
            footprint = read_footprint(file)
            along_y = rows_run_along_y(footprint, name_facts(footprint.name))
            if along_y is None:
                self._undecided.append((shown, footprint))
                return
            self._directions[RUN.sub("#", footprint.name)][along_y] += 1
            self._add(footprint, shown, along_y)

    def settle(self) -> None:
        """Give undecided footprints the direction of most footprints with the same form of name."""
        for shown, footprint in self._undecided:
            siblings = self._directions.get(RUN.sub("#", footprint.name))
            with self._noting(shown):
                self._add(footprint, shown, siblings.most_common(1)[0][0] if siblings else None)
        self._undecided.clear()
        self._spell_makers_alike()

    def _spell_makers_alike(self) -> None:
        """Use each maker's most frequent spelling: a catalogue refuses two spellings of one key."""
        spellings: dict[str, Counter[str]] = defaultdict(Counter)
        for half in self.halves.values():
            spellings[slug(half.maker)][half.maker] += 1
        for key, half in self.halves.items():
            maker = spellings[slug(half.maker)].most_common(1)[0][0]
            if maker != half.maker:
                self.halves[key] = half.model_copy(update={"maker": maker})

    def _add(self, footprint: Footprint, shown: str, along_y: bool | None) -> None:
        half, body = half_and_body(footprint, along_y=along_y)
        if half.key in self.halves:
            taken = self.halves[half.key].part_number
            raise UnusableFootprint("name already taken", f"the half {taken} has the same key")
        self.halves[half.key] = half
        pattern = land_pattern(footprint, half.key, body, shown, self._licence)
        if pattern is not None:
            self.patterns.append(pattern)

    @contextmanager
    def _noting(self, shown: str) -> Iterator[None]:
        """Record a file that cannot be used, with the reason."""
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


@dataclass(frozen=True, kw_only=True)
class Skipped:
    """A file that gave no half: its path below the folder, the reason (one of a few), and details."""

    file: str
    reason: str
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class FootprintReport:
    """Figures of one import; ``without_mate`` counts imported halves for which no mating could be proposed,
    ``patterns`` those whose lands are kept pad by pad."""

    read: int
    imported: int
    series: int
    matings: int
    without_mate: int
    doubtful: int
    patterns: int
    skipped: tuple[Skipped, ...]

    @property
    def skipped_by_reason(self) -> dict[str, int]:
        """How many files were skipped for each reason, most frequent first."""
        return dict(Counter(item.reason for item in self.skipped).most_common())


@dataclass(frozen=True, kw_only=True)
class FootprintImport:
    """Entries ready for the catalogue (series first, then halves, then matings), land patterns of the halves, and the
    report."""

    entries: tuple[Series | Half | Mating, ...]
    patterns: tuple[LandPattern, ...]
    report: FootprintReport
