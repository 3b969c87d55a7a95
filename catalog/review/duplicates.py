"""Near-duplicates: the same part under another name, by its dimensions or by its part numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rapidfuzz.distance import OSA

from catalog.model.entries import Half, slug
from catalog.model.text_fields import comparable
from catalog.review.dimensions import agree_on_categories, pitch_of, value
from catalog.review.findings import Code, Finding, Severity
from catalog.review.names import one_slip_apart, share_name, stem
from catalog.review.neighbours import Neighbours, alike
from matcher.features import ESSENTIAL, FEATURES

SAME_SHARE = 0.5
"""Two sources of one part differ by less than this share of the process tolerance, which is rounding. Recommended lands
vary more: they may differ by all of it."""

LEAST_IN_COMMON = 3
"""Dimensions that both must state, pitch included, before equal geometry is reported."""

SHOWN = 3
"""Most names in a message; ``others`` holds all."""


def duplicates(half: Half, around: Neighbours) -> Iterator[Finding]:
    """Findings about listed halves that may be the same part."""
    named = {other.key for other in around.namesakes if _same_name(half, other)}
    yield from _names(half, [other for other in around.namesakes if other.key in named])
    similar = [other for other in around.namesakes if other.key not in named and _similar(half, other)]
    yield from _similar_names(half, similar)
    told = named | {other.key for other in similar}
    yield from _geometry(
        half, [other for other in around.alike if other.key not in told and same_geometry(half, other)]
    )


def same_geometry(half: Half, other: Half) -> bool:
    """Whether two halves cannot be distinguished by what both state, and both state enough."""
    shared = half.dimensions.keys() & other.dimensions.keys()
    enough = set(ESSENTIAL) <= shared and len(shared) >= LEAST_IN_COMMON
    return enough and alike(half, other) and not contradict(half, other)


def contradict(half: Half, other: Half) -> bool:
    """Whether something that both state shows that they are two parts."""
    kinds = {half.half_kind, other.half_kind} - {None}
    return (
        (half.rows, half.contact_count) != (other.rows, other.contact_count)
        or len(kinds) > 1
        or any(half.counts[name] != other.counts[name] for name in half.counts.keys() & other.counts.keys())
        or not agree_on_categories(half.categories, other.categories)
        or any(_differ(half, other, name) for name in half.dimensions.keys() & other.dimensions.keys())
    )


def _differ(half: Half, other: Half, name: str) -> bool:
    own, theirs = half.dimensions[name], other.dimensions[name]
    process = FEATURES[name].process
    share = 1.0 if process.recommended else SAME_SHARE
    allowed = share * process.half_width(own.value, pitch_of(half))
    if own.bound != theirs.bound:
        allowed *= 2.0  # a maximum stands a tolerance above what another source calls nominal
    return abs(own.value - theirs.value) > allowed


def _same_maker(half: Half, other: Half) -> bool:
    return slug(half.maker) == slug(other.maker)


def _same_name(half: Half, other: Half) -> bool:
    """Equal apart from signs and case, or also apart from packing words if nothing shows that they are two parts."""
    return share_name(half, other, comparable) or (not contradict(half, other) and share_name(half, other, stem))


def _similar(half: Half, other: Half) -> bool:
    names = comparable(half.part_number), comparable(other.part_number)
    return _same_maker(half, other) and one_slip_apart(*names) and not contradict(half, other)


def _names(half: Half, others: Sequence[Half]) -> Iterator[Finding]:
    """A maker uses one part number for one part; if the geometries contradict, one of the entries is wrong."""
    own = [other for other in others if _same_maker(half, other)]
    agreeing = [other for other in own if not contradict(half, other)]
    unlike = [other for other in own if contradict(half, other)]
    foreign = [other for other in others if not _same_maker(half, other)]
    add = "Add the order code or alias to the existing entry instead of a new one"
    yield from _finding(half, agreeing, Code.SAME_NAME, "severe", "already listed in another spelling:", add)
    differ = "One part number has two geometries: correct the wrong one"
    yield from _finding(
        half, unlike, Code.SAME_NAME, "warning", "listed with a different contact count or other sizes:", differ
    )
    maker = "Check the maker. If it is a second source, keep both and add the mating or an alias"
    yield from _finding(half, foreign, Code.SAME_NAME, "warning", "another maker has this part number:", maker)


def _similar_names(half: Half, others: Sequence[Half]) -> Iterator[Finding]:
    remedy = "Compare the part numbers character by character. If they are two parts, say in the note how they differ"
    words = "one character away from a part of the same size:"
    yield from _finding(half, others, Code.SIMILAR_NAME, _severity(half, others), words, remedy)


def _geometry(half: Half, others: Sequence[Half]) -> Iterator[Finding]:
    own = [other for other in others if _same_maker(half, other)]
    foreign = [other for other in others if not _same_maker(half, other)]
    remedy = "If it is the same part under another name, add that name as an alias; if not, state how they differ"
    yield from _finding(
        half, own, Code.SAME_GEOMETRY, _severity(half, own), "cannot be distinguished from", remedy, "dimensions"
    )
    clone = "A second source can be identical. If they mate with the same halves, add the mating"
    yield from _finding(half, foreign, Code.SAME_GEOMETRY, "notice", "has the same sizes as", clone, "dimensions")


def _severity(half: Half, others: Iterable[Half]) -> Severity:
    """A maker's low and tall halves differ in height only, so without heights it is just a notice."""
    known = value(half, "height") is not None and any(value(other, "height") is not None for other in others)
    return "warning" if known else "notice"


def _finding(
    half: Half,
    others: Sequence[Half],
    code: Code,
    severity: Severity,
    words: str,
    remedy: str,
    field: str = "part_number",
) -> Iterator[Finding]:
    if not others:
        return
    nearest = sorted(others, key=lambda other: (_distance(half, other), other.key))
    names = ", ".join(f"{other.maker} {other.part_number}" for other in nearest[:SHOWN])
    more = f" and {len(nearest) - SHOWN} more" if len(nearest) > SHOWN else ""
    yield Finding(
        code=code,
        severity=severity,
        field=field,
        value=half.part_number,
        expected=nearest[0].part_number,
        message=f"{half.part_number}: {words} {names}{more}",
        remedy=remedy,
        others=tuple(other.key for other in nearest),
    )


def _distance(half: Half, other: Half) -> int:
    return int(OSA.distance(comparable(half.part_number), comparable(other.part_number)))
