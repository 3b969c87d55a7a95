"""Impossible geometry: contradictions within one half, independent of its series."""

from __future__ import annotations

from collections.abc import Iterator

from catalog.model.entries import Half
from catalog.review.dimensions import LEAST_SLACK, contact_span, excess, interval, label, pitch_of, value
from catalog.review.findings import Code, Finding, Severity, mm
from matcher.features import FEATURES

LARGEST_ENDS = 25.0
"""Length of the body beyond the outermost contacts, both ends together, mm. 99.9 % of 5,582 real connectors have less
(tests/real_geometry)."""

BEYOND_RANGE = 2.0
"""A size this many times outside the feature's plausible range is a slip; less may be an unusual part."""

TAIL_CLEARANCE = 0.15
"""Drawings let lands end up to this far inside the tips of the tails, mm: the default tolerance of the tails."""


def impossible_geometry(half: Half) -> Iterator[Finding]:
    """Contradictions between the stated figures of this half."""
    for check in (
        _contacts_inside,
        _long_ends,
        _opening_inside,
        _overall,
        _tails,
        _lands,
        _rows,
        _pegs,
        _contact_width,
        _banks,
        _blocked,
        _range,
    ):
        yield from check(half)


def _contacts_inside(half: Half) -> Iterator[Finding]:
    span, pitch = contact_span(half), pitch_of(half)
    if span is None or pitch is None:
        return
    for name, feature in FEATURES.items():
        if not feature.encloses_contacts or name not in half.dimensions:
            continue
        centre, width = interval(half, name)
        slack = width if half.dimensions[name].bound != "nominal" else LEAST_SLACK
        if span > centre + slack:
            yield Finding(
                code=Code.CONTACTS_OUTSIDE,
                severity="severe",
                field=f"dimensions.{name}",
                value=half.dimensions[name].value,
                expected=round(span, 3),
                message=f"{half.contacts_per_row} contacts at {pitch:g} mm pitch span {mm(span)}, "
                f"the {label(name)} is {mm(half.dimensions[name].value)}",
                remedy="Check contacts per row, pitch and length; contact_count is for all rows, positions for one row",
            )


def _long_ends(half: Half) -> Iterator[Finding]:
    span, length = contact_span(half), value(half, "body_length")
    if span is None or length is None or length - span <= LARGEST_ENDS:
        return
    yield Finding(
        code=Code.LONG_ENDS,
        severity="warning",
        field="dimensions.body_length",
        value=length,
        expected=round(span + LARGEST_ENDS, 3),
        message=f"the body is {mm(length - span)} longer than its row of contacts ({mm(span)})",
        remedy="Check length, pitch and contacts per row; a gap between groups goes into bank_count and bank_gap",
    )


def _opening_inside(half: Half) -> Iterator[Finding]:
    for opening, body in (("opening_length", "body_length"), ("opening_width", "body_width")):
        inside, outside = value(half, opening), value(half, body)
        if inside is None or outside is None or inside < outside:
            continue
        over = excess(half, opening, body)
        yield Finding(
            code=Code.OPENING_OUTSIDE_BODY,
            severity="severe" if over is not None and over > 0 else "warning",
            field=f"dimensions.{opening}",
            value=inside,
            expected=outside,
            message=f"the {label(opening)} {mm(inside)} leaves no wall in a body of {mm(outside)}",
            remedy="Measure the opening wall to wall inside, the body over the plastic outside; are they swapped?",
        )


def _overall(half: Half) -> Iterator[Finding]:
    yield from _larger(
        half,
        "body_length",
        "overall_length",
        Code.OVERALL_BELOW_BODY,
        "The overall length includes everything, metal too. Are the two swapped?",
    )


def _tails(half: Half) -> Iterator[Finding]:
    """Only tails bent outwards on both sides must end outside the body."""
    if half.categories.get("tail_form") != ("gull_out",) or half.categories.get("orientation") != ("vertical",):
        return
    yield from _larger(
        half,
        "body_width",
        "tail_span",
        Code.TAILS_INSIDE_BODY,
        "Tails bent outwards end beyond the body: measure tip to tip, or correct the form of the tails",
    )


def _larger(
    half: Half, inner: str, outer: str, code: Code, remedy: str, *, clearance: float = 0.0
) -> Iterator[Finding]:
    """The outer length is not below the inner one; below by at most ``clearance``, mm, it is only a warning."""
    over = excess(half, inner, outer)
    if over is None or over <= 0:
        return
    yield Finding(
        code=code,
        severity="severe" if over > clearance else "warning",
        field=f"dimensions.{outer}",
        value=half.dimensions[outer].value,
        expected=half.dimensions[inner].value,
        message=f"the {label(outer)} {mm(half.dimensions[outer].value)} is below the {label(inner)} "
        f"{mm(half.dimensions[inner].value)}",
        remedy=remedy,
    )


def _lands(half: Half) -> Iterator[Finding]:
    yield from _larger(
        half,
        "tail_span",
        "land_span",
        Code.LANDS_INSIDE_TAILS,
        "Both are measured from outer edge to outer edge across the rows. Is one of them centre to centre?",
        clearance=TAIL_CLEARANCE,
    )


def _rows(half: Half) -> Iterator[Finding]:
    if half.rows < 2:
        return
    # Rows of lands may be other in number than rows of contacts, two of them at least.
    for name, outside, gaps in (("row_spacing", "body_width", half.rows - 1), ("land_row_spacing", "land_span", 1)):
        over = excess(half, name, outside, times=gaps)
        if over is None or over + LEAST_SLACK < 0:
            continue
        span = half.dimensions[name].value * gaps
        yield Finding(
            code=Code.ROWS_OUTSIDE,
            severity="severe" if over > 0 or outside == "body_width" else "warning",
            field=f"dimensions.{name}",
            value=half.dimensions[name].value,
            expected=half.dimensions[outside].value,
            message=f"{gaps + 1} rows span {mm(span)} centre to centre, "
            f"the {label(outside)} is only {mm(half.dimensions[outside].value)}",
            remedy="Row spacing is centre line to centre line of neighbouring rows; check it and the width",
        )


def _pegs(half: Half) -> Iterator[Finding]:
    """Screw holes in wings may lie beyond the measured plastic, but not beyond the overall length."""
    surely = "overall_length" in half.dimensions
    outer = "overall_length" if surely else "body_length"
    over = excess(half, "peg_hole_span", outer)
    if over is None or over <= 0:
        return
    yield Finding(
        code=Code.PEGS_OUTSIDE,
        severity="severe" if surely else "warning",
        field="dimensions.peg_hole_span",
        value=value(half, "peg_hole_span"),
        expected=value(half, outer),
        message=f"the peg holes are {mm(half.dimensions['peg_hole_span'].value)} apart, "
        f"beyond the {label(outer)} {mm(half.dimensions[outer].value)}",
        remedy="Peg holes are centre to centre along the rows; for screw wings give the overall length as well",
    )


def _contact_width(half: Half) -> Iterator[Finding]:
    width, pitch = value(half, "contact_width"), pitch_of(half)
    if width is None or pitch is None or width < pitch:
        return
    yield Finding(
        code=Code.CONTACTS_TOUCH,
        severity="severe",
        field="dimensions.contact_width",
        value=width,
        expected=pitch,
        message=f"contacts {mm(width)} wide touch at {mm(pitch)} pitch",
        remedy="Contact width is the metal of one signal contact; is it the pitch, or a power contact?",
    )


def _banks(half: Half) -> Iterator[Finding]:
    gap, pitch, banks = value(half, "bank_gap"), pitch_of(half), half.counts.get("bank_count")
    if banks is not None and banks > half.contacts_per_row:
        yield _bank_finding(
            "counts.bank_count",
            "severe",
            float(banks),
            float(half.contacts_per_row),
            f"{banks} groups cannot be made of {half.contacts_per_row} contacts per row",
        )
    if gap is not None and pitch is not None and gap <= pitch:
        message = f"the gap between groups, {mm(gap)}, is no wider than the pitch, {mm(pitch)}"
        yield _bank_finding("dimensions.bank_gap", "severe", gap, pitch, message)
    if gap is not None and banks == 1:
        yield _bank_finding("counts.bank_count", "warning", 1.0, 2.0, "a gap is given, but only one group of contacts")


def _bank_finding(field: str, severity: Severity, value: float, expected: float, message: str) -> Finding:
    return Finding(
        code=Code.BANKS,
        severity=severity,
        field=field,
        value=value,
        expected=expected,
        message=message,
        remedy="The gap is last contact centre of one group to the first of the next; count groups along one row",
    )


def _blocked(half: Half) -> Iterator[Finding]:
    positions = half.contacts_per_row
    outside = [site for site in half.blocked if site.row > half.rows or site.position > positions]
    if outside:
        message = f"the blocked site row {outside[0].row}, position {outside[0].position} is outside"
    elif half.contact_count + len(half.blocked) > half.rows * positions:
        message = f"{half.contact_count} contacts and {len(half.blocked)} blocked sites are more than there is room for"
    else:
        return
    yield Finding(
        code=Code.BLOCKED_SITES,
        severity="severe",
        field="blocked",
        value=f"{len(half.blocked)} sites",
        message=f"{message}: {half.rows} rows of {positions} positions",
        remedy="contact_count does not include blocked sites, positions does; rows and positions count from 1",
    )


def _range(half: Half) -> Iterator[Finding]:
    for name, dimension in half.dimensions.items():
        feature, size = FEATURES[name], dimension.value
        if feature.low <= size <= feature.high:
            continue
        far = not feature.low / BEYOND_RANGE <= size <= feature.high * BEYOND_RANGE
        yield Finding(
            code=Code.IMPLAUSIBLE_SIZE,
            severity="severe" if far else "warning",
            field=f"dimensions.{name}",
            value=size,
            expected=feature.low if size < feature.low else feature.high,
            message=f"a {feature.label} of {mm(size)} is unusual; usual are {mm(feature.low)} to {mm(feature.high)}",
            remedy="Check the unit and the decimal point; give inches as inches, with unit 'in'",
        )
