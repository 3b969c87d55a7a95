"""A small invented catalogue as the matcher's rows: plugs and receptacles of a few series."""

from __future__ import annotations

from functools import cache

import numpy as np

from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow, MatingRow

COUNTS = (10, 12, 16, 20, 24, 30, 34, 40, 50, 60)


def invented_rows(series: int, seed: int = 0) -> tuple[list[HalfRow], list[MatingRow]]:
    """Rows of ``series`` series of plugs and receptacles, and their matings."""
    draw = np.random.default_rng(seed)
    rows: list[HalfRow] = []
    matings: list[MatingRow] = []
    for number in range(series):
        pitch = float(draw.choice([0.35, 0.4, 0.5, 0.635, 0.8, 1.0, 1.27, 2.0]))
        in_rows = int(draw.choice([1, 2, 2, 4]))
        allowance, width = draw.uniform(1.5, 6.0), draw.uniform(1.5, 7.0)
        for kind, more in (("plug", 0.0), ("receptacle", 0.8)):
            for contacts in COUNTS:
                positions = -(-contacts // in_rows)
                rows.append(
                    HalfRow(
                        key=f"{kind}-{number}-{contacts}",
                        series=f"series {number}",
                        dimensions={
                            "pitch": Dim(value=pitch),
                            "body_length": Dim(value=pitch * (positions - 1) + allowance + more),
                            "body_width": Dim(value=width + more, tolerance=0.1),
                            "land_span": Dim(value=width + more + 0.9, tolerance=0.1),
                            "height": Dim(value=0.8 + width / 4),
                        },
                        counts={"contact_count": contacts, "rows": in_rows, "hold_down_count": 4},
                        categories={"half_kind": frozenset({kind}), "mounting": frozenset({"surface_mount"})},
                        texts=(f"{kind}-{number}-{contacts}",),
                    )
                )
            if kind == "receptacle":
                matings += [
                    MatingRow(
                        half=f"plug-{number}-{contacts}",
                        other=f"receptacle-{number}-{contacts}",
                        dimensions={"stack_height": Dim(value=1.2 + width / 3)},
                    )
                    for contacts in COUNTS
                ]
    return rows, matings


def invented_columns(series: int, seed: int = 0) -> Columns:
    """Columns of `invented_rows`."""
    return build_columns(*invented_rows(series, seed))


@cache
def invented_absent(series: int) -> AbsentModel:
    """The density of absent that is fitted to `invented_columns`: once, and only in a process that asks for it."""
    return fit_absent(invented_columns(series))
