"""One state of the whole catalogue as the matcher and the search use it, rebuilt only when the catalogue moved."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from sqlalchemy.orm import Session

from catalog.database import Catalogue, read_version
from catalog.entries import Dimension
from catalog.loading import load_halves, load_matings, load_series
from catalog.records import HalfRecord, MatingRecord, SeriesRecord, present_standing
from catalog.search import SearchIndex
from catalog.variants import inferred_halves
from matcher import columns as matcher_columns
from matcher.absent import AbsentModel
from matcher.absent_fit import fit_absent
from matcher.building import build_columns
from matcher.columns import Columns, Dim, HalfRow


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """The catalogue at one version.

    ``halves`` are in the order of ``columns``: the listed by key, then the inferred variants. ``matings`` are in the
    order in which ``columns.matings`` was built, so a mating's number there (below their count) is its place here.
    """

    version: int
    halves: Mapping[str, HalfRecord]
    matings: tuple[MatingRecord, ...]
    columns: Columns
    absent: AbsentModel
    search: SearchIndex


class SnapshotSource:
    """Hands out the current snapshot; safe to share between threads, one build at a time."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._building = threading.Lock()
        self._latest: Snapshot | None = None

    def current(self) -> Snapshot:
        """The snapshot of the catalogue's present version."""
        latest = self._latest
        if latest is not None and latest.version == self._catalogue.version():
            return latest
        with self._building:
            # Whoever waited here may find that another thread has built it meanwhile.
            if self._latest is None or self._latest.version != self._catalogue.version():
                with self._catalogue.reading() as session:
                    self._latest = take_snapshot(session)
            return self._latest


def take_snapshot(session: Session) -> Snapshot:
    """Read everything, add the variants that nobody listed, and build columns, absent model and search."""
    listed = load_halves(session)
    series = load_series(session)
    matings = tuple(load_matings(session))
    halves = [*listed, *_inferred(listed, series)]
    columns = build_columns([half_row(record) for record in halves], [mating_row(record) for record in matings])
    return Snapshot(
        version=read_version(session),
        halves=MappingProxyType({record.key: record for record in halves}),
        matings=matings,
        columns=columns,
        absent=fit_absent(columns),
        search=SearchIndex([*series, *listed]),
    )


def _inferred(listed: Sequence[HalfRecord], series: Sequence[SeriesRecord]) -> list[HalfRecord]:
    """The variants that nobody listed; `inferred_halves` gives them no key of a listed half."""
    found = inferred_halves([record.half for record in listed], [record.series for record in series if record.stated])
    return [
        HalfRecord(
            key=each.half.key,
            origin="inferred",
            standing=present_standing(),
            revision=0,
            half=each.half,
            series_key=each.half.series_key,
            inferred_by=each.basis,
            siblings=each.siblings,
        )
        for each in found
    ]


def half_row(record: HalfRecord) -> HalfRow:
    """The matcher's row of a half."""
    half = record.half
    categories = {name: frozenset(values) for name, values in half.categories.items()}
    if half.half_kind is not None:
        categories["half_kind"] = frozenset({half.half_kind})
    return HalfRow(
        key=record.key,
        series=record.series_key,
        dimensions=_dims(half.dimensions),
        counts={**half.counts, "contact_count": half.contact_count, "rows": half.rows},
        categories=categories,
        texts=(*half.markings, half.part_number, *half.order_codes, *half.aliases),
        inferred=record.origin == "inferred",
    )


def mating_row(record: MatingRecord) -> matcher_columns.MatingRow:
    """The matcher's row of a mating."""
    mating = record.mating
    return matcher_columns.MatingRow(half=mating.half, other=mating.other, dimensions=_dims(mating.dimensions))


def _dims(dimensions: Mapping[str, Dimension]) -> dict[str, Dim]:
    return {
        name: Dim(value=each.value, tolerance=each.tolerance, bound=each.bound, extra_u=each.extra_u)
        for name, each in dimensions.items()
    }
