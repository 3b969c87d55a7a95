"""Two interpretations of a body in a footprint file: the housing that the importer finds, and the whole drawing.

The study's target figures were reached with the whole drawing of the fabrication layer, including contacts' legs and
hold-downs. Both interpretations are tried under separate names.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from catalog.footprints.footprint_file import Box, read_footprint
from catalog.footprints.lands import read_lands
from catalog.footprints.name_facts import name_facts
from catalog.model.entries import Half
from catalog.model.entry_parts import Dimension
from matcher.columns.columns import Dim, HalfRow


def rows_of(halves: Sequence[Half], low: float = 0.2, high: float = 2.54) -> list[HalfRow]:
    """The matcher's rows of the halves whose pitch lies in the range, mm."""
    return [
        row_of(half) for half in halves if "pitch" in half.dimensions and low <= half.dimensions["pitch"].value <= high
    ]


def row_of(half: Half) -> HalfRow:
    """The matcher's row of an imported half."""
    categories = {name: frozenset(values) for name, values in half.categories.items()}
    if half.half_kind is not None:
        categories["half_kind"] = frozenset({half.half_kind})
    return HalfRow(
        key=half.key,
        series=f"{half.maker}|{half.series}",
        dimensions={
            name: Dim(value=dim.value, tolerance=dim.tolerance, bound=dim.bound, extra_u=dim.extra_u)
            for name, dim in half.dimensions.items()
        },
        counts={**half.counts, "contact_count": half.contact_count, "rows": half.rows},
        categories=categories,
        texts=(half.part_number,),
    )


def as_drawn(halves: Sequence[Half], folders: Sequence[Path]) -> list[Half]:
    """The halves with the length and width of the whole fabrication layer instead of the housing's."""
    files = {file.stem: file for folder in folders for file in sorted(folder.glob("*.kicad_mod"))}
    return [_drawn(half, files[half.part_number]) for half in halves if half.part_number in files]


def _drawn(half: Half, file: Path) -> Half:
    footprint = read_footprint(file)
    whole = Box.around(stroke.box for stroke in footprint.outline)
    if read_lands(footprint, name_facts(half.part_number)).turned:
        whole = whole.turned()
    drawn = {"body_length": Dimension(value=whole.width), "body_width": Dimension(value=whole.height)}
    return half.model_copy(update={"dimensions": {**half.dimensions, **drawn}})
