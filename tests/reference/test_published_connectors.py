"""Connectors defined by a published specification are identified from rounded measurements.

Each row names its specification. "P" was read in the publisher's own text, "S" in a secondary transcription, "M" is
from memory. span = (positions − 1) × pitch is arithmetic on published numbers.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Dim, HalfRow, MatingRow
from matcher.identify import identify
from matcher.observations import Observation, Of, Reduced
from matcher.uncertainty.reduce import reduce

SOURCES: Mapping[str, str] = {
    "96boards-low-speed-1": "96Boards CE v2.0 (P): 40 contacts, 2 × 20, 2.00 mm, height 4.5, outline 43.0 × 6.5",
    "96boards-low-speed-2": "96Boards CE v2.0 (P): 14 contacts, 2 × 7, 2.00 mm, height 4.5, outline 18.0 × 6.5",
    "96boards-high-speed": "96Boards CE v2.0 (P; rows M): 60 contacts, 2 × 30, 0.80 mm, first to last 23.2",
    "vita-57.1-high": "ANSI/VITA 57.1 (S): 400 contacts, 10 × 40, 1.27 mm",
    "vita-57.1-low": "ANSI/VITA 57.1 (S): 160 contacts, 4 of the same 10 rows, 1.27 mm, same housing",
    "ieee-1386": "IEEE 1386 (S): 64 contacts, 2 × 32, 1.00 mm",
    "picmg-com0": "PICMG COM.0 (S): 220 contacts, 2 × 110, 0.50 mm",
    "pc104-p1": "PC/104 (S): 64 contacts, 2 × 32, 2.54 mm",
    "pc104-p2": "PC/104 (S): 40 contacts, 2 × 20, 2.54 mm",
    "pc104-plus": "PC/104-Plus (S): 120 contacts, 4 × 30, 2.00 mm",
    "iec-60603-b2": "IEC 60603-2 type B/2 (S): 32 contacts, 2 × 16, 2.54 mm, right angle, holes 48.26, body 53.9",
    "iec-60603-64": "IEC 60603-2 (S): 64 contacts, 2 × 32, 2.54 mm, right angle, holes 88.90, overall 93.90",
}


def row(key: str, contacts: int, rows: int, orientation: str = "vertical", **sizes: float) -> HalfRow:
    """A published half; ``sizes`` in mm."""
    return HalfRow(
        key=key,
        series=key,
        dimensions={name: Dim(value=size) for name, size in sizes.items()},
        counts={"contact_count": contacts, "rows": rows},
        categories={"orientation": frozenset({orientation})},
        texts=(key,),
    )


ROWS = (
    row("96boards-low-speed-1", 40, 2, pitch=2.0, height=4.5, body_length=43.0, body_width=6.5),
    row("96boards-low-speed-2", 14, 2, pitch=2.0, height=4.5, body_length=18.0, body_width=6.5),
    row("96boards-high-speed", 60, 2, pitch=0.8),
    row("vita-57.1-high", 400, 10, pitch=1.27, row_spacing=1.27),
    row("vita-57.1-low", 160, 10, pitch=1.27, row_spacing=1.27),
    row("ieee-1386", 64, 2, pitch=1.0),
    row("picmg-com0", 220, 2, pitch=0.5),
    row("pc104-p1", 64, 2, pitch=2.54),
    row("pc104-p2", 40, 2, pitch=2.54),
    row("pc104-plus", 120, 4, pitch=2.0, row_spacing=2.0),
    row("iec-60603-b2", 32, 2, "right_angle", pitch=2.54, body_length=53.9, peg_hole_span=48.26),
    row("iec-60603-64", 64, 2, "right_angle", pitch=2.54, overall_length=93.9, peg_hole_span=88.9),
    row("mate of 96boards-low-speed-1", 40, 2, pitch=2.0),
    row("mate of picmg-com0", 220, 2, pitch=0.5),
)
STACKS = {
    # 96Boards CE v2.0 says 8.0 mm (P), boards to v1.0 use 7 mm (P); PICMG COM.0: 5 or 8 mm (S).
    ("96boards-low-speed-1", "mate of 96boards-low-speed-1"): (8.0, 7.0),
    ("picmg-com0", "mate of picmg-com0"): (5.0, 8.0),
}
MATINGS = tuple(
    MatingRow(half=half, other=other, dimensions={"stack_height": Dim(value=stack)})
    for (half, other), stacks in STACKS.items()
    for stack in stacks
)
COLUMNS = build_columns(ROWS, MATINGS)
MODEL = fit_absent(COLUMNS)


def rounded(published: HalfRow) -> tuple[Reduced, ...]:
    """Caliper readings: pitch over all gaps of a row, everything to 0.1 mm."""
    counts = published.counts
    vita_rows = 4 if published.key == "vita-57.1-low" else counts["rows"]
    gaps = counts["contact_count"] // vita_rows - 1
    observations = [
        Observation(feature="contact_count", value=counts["contact_count"]),
        Observation(feature="pitch", value=round(published.dimensions["pitch"].value * gaps, 1), spans=gaps),
        Observation(feature="orientation", value=next(iter(published.categories["orientation"]))),
    ]
    observations += [
        Observation(feature=name, value=round(dim.value, 1))
        for name, dim in published.dimensions.items()
        if name not in ("pitch", "row_spacing")
    ]
    return reduce(observations)


@pytest.mark.parametrize("key", SOURCES)
def test_a_published_connector_is_ranked_first_from_rounded_measurements(key: str) -> None:
    published = next(each for each in ROWS if each.key == key)
    first = identify(COLUMNS, MODEL, rounded(published)).candidates[0]
    assert key in {first.key, *first.same_geometry} or first.key == f"mate of {key}"


def test_two_arrays_in_one_housing_are_distinguished_only_by_count() -> None:
    size = [Observation(feature="pitch", value=49.5, spans=39)]
    without = {c.key: c.probability for c in identify(COLUMNS, MODEL, reduce(size), limit=20).candidates}
    assert without["vita-57.1-high"] == pytest.approx(without["vita-57.1-low"], rel=1e-6)
    counted = reduce([*size, Observation(feature="contact_count", value=160)])
    answer = identify(COLUMNS, MODEL, counted)
    assert answer.candidates[0].key == "vita-57.1-low"
    assert answer.candidates[0].probability > 50 * next(
        c.probability for c in answer.candidates if c.key == "vita-57.1-high"
    )


@pytest.mark.parametrize(("pair", "stack"), [(pair, stack) for pair, stacks in STACKS.items() for stack in stacks])
def test_both_stack_heights_of_a_specification_are_listed_as_matings(pair: tuple[str, str], stack: float) -> None:
    published = next(each for each in ROWS if each.key == pair[0])
    seen = Reduced(index=20, feature="stack_height", of=Of.PAIR, value=stack, u=0.05, total_u=0.05)
    answer = identify(COLUMNS, MODEL, [*rounded(published), seen])
    first = next(c for c in answer.candidates if c.key == pair[0])
    stacks = COLUMNS.matings.dimensions["stack_height"].stated
    own = [mate for mate in first.mates if mate.half == pair[0]]
    assert {float(stacks[mate.mating]) for mate in own} == set(STACKS[pair])
    assert [float(stacks[mate.mating]) for mate in own if mate.fits_observed] == [stack]
