"""Matings: heights against the stack, and what two halves must have in common to mate."""

from __future__ import annotations

from collections.abc import Iterator

from catalog.model.entries import Half, Mating
from catalog.review.dimensions import LEAST_SLACK, interval, pitch_of, sites, value
from catalog.review.findings import Code, Finding, Severity, mm
from matcher.columns.process_tolerance import process_interval

MISREGISTER_SHARE = 0.25
"""End contacts this share of a pitch apart no longer meet: common practice, no source."""


def mating_findings(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    """Findings about this pair."""
    yield from _kinds(mating, first, second)
    yield from _contacts(mating, first, second)
    yield from _pitches(mating, first, second)
    yield from _heights(mating, first, second)
    yield from _widths(mating, first, second)
    yield from _opening(first, second)


def _severity(mating: Mating) -> Severity:
    """Severity of faults that make mating impossible; only a warning if the mating was tried with both halves."""
    return "warning" if mating.basis == "trial_fit" else "severe"


def _pair(first: Half, second: Half) -> tuple[str, ...]:
    return tuple(dict.fromkeys((first.key, second.key)))


def _kinds(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    kinds = (first.half_kind, second.half_kind)
    if None in kinds or set(kinds) in ({"plug", "receptacle"}, {"hermaphroditic"}):
        return
    yield Finding(
        code=Code.LIKE_KINDS,
        severity=_severity(mating),
        field="other",
        value=second.half_kind,
        expected={"plug": "receptacle", "receptacle": "plug"}.get(str(kinds[0]), "hermaphroditic"),
        message=f"a {kinds[0]} ({first.part_number}) does not mate with a {kinds[1]} ({second.part_number})",
        remedy="Check the keys; a receptacle's housing surrounds the other half, whatever its maker calls it",
        others=_pair(first, second),
    )


def _contacts(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    """A blocked site has no counterpart; a listed contact map says which contacts meet."""
    if first.rows != second.rows:
        yield Finding(
            code=Code.UNLIKE_ROWS,
            severity=_severity(mating),
            field="other",
            value=float(second.rows),
            expected=float(first.rows),
            message=f"{first.part_number} has {first.rows} rows, {second.part_number} {second.rows}",
            remedy="Check the keys, and the rows of both halves at the mating face",
            others=_pair(first, second),
        )
    if sites(first) == sites(second) or first.contact_count == second.contact_count:
        return
    yield Finding(
        code=Code.UNLIKE_CONTACTS,
        severity="notice" if mating.correspondence == "listed" else _severity(mating),
        field="other",
        value=float(second.contact_count),
        expected=float(first.contact_count),
        message=f"{first.part_number} has {first.contact_count} contacts, {second.part_number} {second.contact_count}",
        remedy="Check the keys. If sites stay open on purpose, list in contact_map which contacts meet",
        others=_pair(first, second),
    )


def _pitches(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    one, other = pitch_of(first), pitch_of(second)
    if one is None or other is None:
        return
    gaps = min(first.contacts_per_row, second.contacts_per_row) - 1
    # Held in the middle, each end is off by half of what the rows differ in all.
    if abs(one - other) * gaps / 2 <= MISREGISTER_SHARE * min(one, other):
        return
    yield Finding(
        code=Code.UNLIKE_PITCH,
        severity=_severity(mating),
        field="other",
        value=other,
        expected=one,
        message=f"pitches {mm(one)} and {mm(other)}: over {gaps} gaps the rows differ by {mm(abs(one - other) * gaps)}",
        remedy="Check the keys and both pitches; such rows do not meet",
        others=_pair(first, second),
    )


def _heights(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    heights = [half for half in (first, second) if "height" in half.dimensions]
    if mating.stack_height is None or not heights:
        return
    stack, slack = process_interval("stack_height", mating.stack_height.dim, None)
    for half in {half.key: half for half in heights}.values():
        centre, width = interval(half, "height")
        bounded = half.dimensions["height"].bound != "nominal"
        if centre > stack + LEAST_SLACK + (width if bounded else 0.0):
            stated, height = mating.stack_height.value, half.dimensions["height"].value
            yield Finding(
                code=Code.HALF_ABOVE_STACK,
                severity="warning",
                field="stack_height",
                value=stated,
                expected=height,
                message=f"{half.part_number} alone is {mm(height)} high, more than the stack of {mm(stated)}",
                remedy="Stack height is measured board to board; check it, unless the mate enters through the board",
                others=(half.key,),
            )
    reach = sum(sum(interval(half, "height")) for half in heights)
    if len(heights) == 2 and reach < stack - slack:
        yield Finding(
            code=Code.NO_REACH,
            severity=_severity(mating),
            field="stack_height",
            value=mating.stack_height.value,
            expected=round(reach, 3),
            message=f"both halves together are at most {mm(reach)} high: they do not reach each other in this stack",
            remedy="Check the stack height and both heights. Is it a different height class?",
            others=_pair(first, second),
        )


def _widths(mating: Mating, first: Half, second: Half) -> Iterator[Finding]:
    if mating.mated_width is None:
        return
    mated, slack = process_interval("mated_width", mating.mated_width.dim, None)
    for half in {half.key: half for half in (first, second)}.values():
        name = "tail_span" if (value(half, "tail_span") or 0.0) > (value(half, "body_width") or 0.0) else "body_width"
        width = value(half, name)
        if width is not None and width > mated + slack:
            yield Finding(
                code=Code.MATED_WIDTH,
                severity="warning",
                field="mated_width",
                value=mating.mated_width.value,
                expected=width,
                message=f"{half.part_number} alone is {mm(width)} wide, more than the pair",
                remedy="Mated width is the largest extent across the rows, tails included",
                others=(half.key,),
            )


def _opening(first: Half, second: Half) -> Iterator[Finding]:
    """A vertical plug's body goes into the receptacle's opening; a right-angle plug's width lies along the board."""
    by_kind = {first.half_kind: first, second.half_kind: second}
    plug, receptacle = by_kind.get("plug"), by_kind.get("receptacle")
    if plug is None or receptacle is None:
        return
    upright = plug.categories.get("orientation") == ("vertical",)
    for body, opening in (("body_length", "opening_length"), ("body_width", "opening_width")):
        if (
            body not in plug.dimensions
            or opening not in receptacle.dimensions
            or (body == "body_width" and not upright)
        ):
            continue
        (inner, inner_slack), (outer, outer_slack) = interval(plug, body), interval(receptacle, opening)
        if inner - inner_slack > outer + outer_slack:
            yield Finding(
                code=Code.PLUG_ABOVE_OPENING,
                severity="warning",
                field="other",
                value=receptacle.dimensions[opening].value,
                expected=plug.dimensions[body].value,
                message=f"the plug's {body.replace('_', ' ')} {mm(plug.dimensions[body].value)} does not go into the "
                f"{opening.replace('_', ' ')} {mm(receptacle.dimensions[opening].value)}",
                remedy="Check both. If only the pins enter the opening, this is fine",
                others=_pair(first, second),
            )
