"""A finding of the machine review: one fault of one field, its severity, and the remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

Severity = Literal["notice", "warning", "severe"]
"""``severe`` must be acknowledged with a reason before the entry is saved; ``notice`` leaves an entry clean."""

RANK: dict[Severity, int] = {"notice": 0, "warning": 1, "severe": 2}


class Code(StrEnum):
    """Every kind of finding, by subject."""

    CONTACTS_OUTSIDE = "contacts-outside"
    LONG_ENDS = "long-ends"
    OPENING_OUTSIDE_BODY = "opening-outside-body"
    OVERALL_BELOW_BODY = "overall-below-body"
    TAILS_INSIDE_BODY = "tails-inside-body"
    LANDS_INSIDE_TAILS = "lands-inside-tails"
    ROWS_OUTSIDE = "rows-outside"
    PEGS_OUTSIDE = "pegs-outside"
    CONTACTS_TOUCH = "contacts-touch"
    BANKS = "banks"
    BLOCKED_SITES = "blocked-sites"
    IMPLAUSIBLE_SIZE = "implausible-size"
    OFF_LAW = "off-law"
    OTHER_SIZE = "other-size"
    UNITS_SLIP = "units-slip"
    FACTOR_SLIP = "factor-slip"
    SWAPPED_FIGURES = "swapped-figures"
    LAW_SLOPE = "law-slope"
    SAME_GEOMETRY = "same-geometry"
    SAME_NAME = "same-name"
    SIMILAR_NAME = "similar-name"
    NO_TOLERANCE = "no-tolerance"
    WIDE_TOLERANCE = "wide-tolerance"
    HALF_ABOVE_STACK = "half-above-stack"
    NO_REACH = "no-reach"
    UNLIKE_CONTACTS = "unlike-contacts"
    UNLIKE_ROWS = "unlike-rows"
    UNLIKE_PITCH = "unlike-pitch"
    LIKE_KINDS = "like-kinds"
    PLUG_ABOVE_OPENING = "plug-above-opening"
    MATED_WIDTH = "mated-width"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding.

    ``field`` is the path within the entry, as in errors. ``value`` is the stated value and ``expected`` what it is
    compared with or what is suggested instead (mm for lengths); ``others`` are keys of other entries concerned. In a
    series one finding stands for ``concerns`` of its halves or matings and shows the worst.
    """

    code: Code
    severity: Severity
    field: str
    message: str
    remedy: str
    value: float | str | None = None
    expected: float | str | None = None
    others: tuple[str, ...] = ()
    concerns: int = 1


def is_clean(findings: Iterable[Finding]) -> bool:
    """Whether there is nothing worse than a notice."""
    return all(finding.severity == "notice" for finding in findings)


def severe(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that need an acknowledgement."""
    return tuple(finding for finding in findings if finding.severity == "severe")


def mm(length: float) -> str:
    """A length as messages show it, to a micrometre."""
    return f"{round(length, 3):g} mm"
