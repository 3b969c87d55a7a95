"""What an import did: told in full, file by file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from catalog.model.entries import Half, Mating, Series


@dataclass(frozen=True, kw_only=True)
class Skipped:
    """One file that gave no half: its path below the folder, the reason (one of a few), and what exactly was found."""

    file: str
    reason: str
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class FootprintReport:
    """Figures of one import; ``without_mate`` counts imported halves for which no mating could be proposed."""

    read: int
    imported: int
    series: int
    matings: int
    without_mate: int
    doubtful: int
    skipped: tuple[Skipped, ...]

    @property
    def skipped_by_reason(self) -> dict[str, int]:
        """How many files were skipped for each reason, most frequent first."""
        return dict(Counter(item.reason for item in self.skipped).most_common())


@dataclass(frozen=True, kw_only=True)
class FootprintImport:
    """Entries ready for the catalogue (series first, then halves, then matings) and the report."""

    entries: tuple[Series | Half | Mating, ...]
    report: FootprintReport


def assemble(
    series: Sequence[Series], halves: Sequence[Half], matings: Sequence[Mating], skipped: Sequence[Skipped]
) -> FootprintImport:
    """Put entries and report together."""
    mated = {key for mating in matings for key in (mating.half, mating.other)}
    return FootprintImport(
        entries=(*series, *halves, *matings),
        report=FootprintReport(
            read=len(halves) + len(skipped),
            imported=len(halves),
            series=len(series),
            matings=len(matings),
            without_mate=sum(half.key not in mated for half in halves),
            doubtful=sum(any(d.doubt for d in half.dimensions.values()) for half in halves),
            skipped=tuple(skipped),
        ),
    )
