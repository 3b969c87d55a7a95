"""The machine review of one entry: every check in turn."""

from __future__ import annotations

from collections.abc import Iterator

from catalog.model.entries import Half, Mating, Series
from catalog.review.around import Surroundings
from catalog.review.duplicates import duplicates
from catalog.review.expected import expectations
from catalog.review.findings import RANK, Finding
from catalog.review.geometry import impossible_geometry
from catalog.review.laws import off_laws
from catalog.review.of_series import series_findings
from catalog.review.slips import out_of_proportion
from catalog.review.stacks import mating_findings
from catalog.review.tolerances import tolerances_of_half, tolerances_of_mating


def review(entry: Half | Series | Mating, around: Surroundings) -> tuple[Finding, ...]:
    """What a first reader would ask about this entry, the severe first.

    A series is expanded, its halves and matings are reviewed, and their findings are grouped by law. Raises EntryError
    for laws that cannot be carried out.
    """
    if isinstance(entry, Series):
        found = series_findings(entry, around, half_findings)
    elif isinstance(entry, Half):
        found = half_findings(entry, around)
    else:
        found = _mating(entry, around)
    return tuple(sorted(found, key=lambda finding: -RANK[finding.severity]))


def half_findings(half: Half, around: Surroundings) -> Iterator[Finding]:
    """Everything about one half, in the order of the checks."""
    law = expectations(half, around)
    yield from impossible_geometry(half)
    yield from off_laws(half, law)
    yield from out_of_proportion(half, frozenset(law))
    yield from duplicates(half, around)
    yield from tolerances_of_half(half)


def _mating(mating: Mating, around: Surroundings) -> Iterator[Finding]:
    """A half that is not known is refused elsewhere; here the pair is then not judged."""
    first, second = around.mates.get(mating.half), around.mates.get(mating.other)
    if first is not None and second is not None:
        yield from mating_findings(mating, first, second)
    yield from tolerances_of_mating(mating)
