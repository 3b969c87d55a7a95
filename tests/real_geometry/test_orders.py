"""Halves of one geometry that take different mates: all mates are named, and the order is not called settled."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from api.identification.required_mate import required_mate
from catalog.footprints.mating_proposals import propose
from catalog.model.entries import Half, Mating
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, MatingRow
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES
from matcher.identify import identify
from matcher.likelihood.categories import STATED
from matcher.observations import Reduced
from matcher.results import Reason
from tests.real_geometry.conftest import RealFootprints
from tests.real_geometry.simulated.outlines import rows_of

CALIPER_U = 0.02
FINE_PITCH = 0.8


@pytest.fixture(scope="module")
def listed(real_footprints: RealFootprints) -> tuple[Columns, AbsentModel]:
    """The whole import, with the matings that it infers from sizes."""
    entries = real_footprints.imported.entries
    rows = rows_of([entry for entry in entries if isinstance(entry, Half)], 0.0, 1e9)
    matings = [
        MatingRow(half=entry.half, other=entry.other, dimensions={}) for entry in entries if isinstance(entry, Mating)
    ]
    columns = build_columns(rows, matings)
    return columns, fit_absent(columns)


def tied_groups(columns: Columns) -> Iterator[dict[int, frozenset[int]]]:
    """For each group of halves of one geometry that take different mates: the mates' geometries by half."""
    taken: dict[int, set[int]] = {}
    for half, other in zip(columns.matings.half.tolist(), columns.matings.other.tolist(), strict=True):
        taken.setdefault(half, set()).add(int(columns.geometry[other]))
    groups: dict[int, dict[int, frozenset[int]]] = {}
    for half, geometry in enumerate(columns.geometry.tolist()):
        groups.setdefault(geometry, {})[half] = frozenset(taken.get(half, ()))
    yield from (group for group in groups.values() if len(set(group.values())) > 1)


def everything_seen(columns: Columns, half: int) -> Iterator[Reduced]:
    """All that the half's entry states, read exactly."""
    for index, name in enumerate((*COUNTS, *DIMENSIONS, *CATEGORIES)):
        if name in COUNTS and columns.counts[name][half] >= 0:
            yield Reduced(index=index, feature=name, count=int(columns.counts[name][half]))
        if name in DIMENSIONS and not np.isnan(columns.dimensions[name].stated[half]):
            size = float(columns.dimensions[name].centre[half])
            yield Reduced(index=index, feature=name, value=size, u=CALIPER_U, total_u=CALIPER_U)
        if name in CATEGORIES and columns.categories[name][half].max() > STATED:
            value = list(FEATURES[name].values)[int(columns.categories[name][half].argmax())]
            yield Reduced(index=index, feature=name, values=frozenset({value}))


@pytest.mark.real_geometry
def test_where_tied_halves_take_different_mates_all_are_named_and_the_order_is_not_settled(
    listed: tuple[Columns, AbsentModel],
) -> None:
    columns, absent = listed
    groups = list(tied_groups(columns))
    assert len(groups) >= 5
    for group in groups:
        half = next(iter(group))
        found = identify(columns, absent, list(everything_seen(columns, half)), limit=3)
        named = [each for each in found.candidates if columns.position(each.key) in group]
        assert len(named) == 1
        with_mates = {columns.keys[member] for member, mates in group.items() if mates}
        assert {mate.half for mate in named[0].mates} == with_mates
        if found.candidates[0] is named[0]:
            assert not found.advice.settled
            assert found.advice.reason in (Reason.MATES_DIFFER, Reason.KEEP_MEASURING)


def test_each_fine_pitch_half_without_a_mate_says_what_its_mate_must_be(real_halves: tuple[Half, ...]) -> None:
    """Whoever holds one of these finds no mate; they learn its figures, and what of all the import has them."""
    snapshot = SimpleNamespace(halves={half.key: _record(half) for half in real_halves})
    mated = {key for each in propose(real_halves) for key in (each.half, each.other)}
    fine = [half for half in real_halves if half.rows == 2 and half.key not in mated and _pitch(half) <= FINE_PITCH]
    assert len(fine) > 100
    named = 0
    for half in fine:
        found = required_mate(cast(Snapshot, snapshot), _record(half))
        told = {each.feature: each for each in found.requirements}
        assert {"half_kind", "contact_count", "rows", "pitch"} <= told.keys()
        for could in found.could_fit:
            other = snapshot.halves[could.half.id].half
            places = other.contact_count + len(other.blocked)
            assert (places, other.rows) == (told["contact_count"].value, told["rows"].value)
            assert told["pitch"].least - 1e-9 <= other.dimensions["pitch"].value <= told["pitch"].most + 1e-9
            assert half.half_kind is None or other.half_kind in (None, told["half_kind"].value)
        named += bool(found.could_fit)
    assert named > len(fine) / 2, "for most of them the import has something to try"


def _pitch(half: Half) -> float:
    return half.dimensions["pitch"].value if "pitch" in half.dimensions else np.inf


def _record(half: Half) -> HalfRecord:
    return HalfRecord(
        key=half.key, origin="listed", half=half, series_key=half.series_key, revision=1, standing="reported"
    )
