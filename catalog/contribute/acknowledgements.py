"""Acknowledgements: a severe finding of the machine review needs a reason, which the journal keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from catalog.history.acts import Act
from catalog.model.errors import CatalogueError, EntryError
from catalog.review.findings import Code, Finding, severe
from matcher.vocabulary import closest, remedy_for

SHORTEST_REASON = 10
"""Fewest characters of a reason: "ok" explains nothing to later readers."""


class ReviewRefusedError(CatalogueError):
    """The machine review has a severe finding that was not acknowledged; ``findings`` are all its findings."""

    def __init__(self, findings: Sequence[Finding], unacknowledged: Sequence[Finding]) -> None:
        first = unacknowledged[0]
        super().__init__(
            first.message,
            field=first.field,
            value=first.value,
            remedy=f"{first.remedy}; if it is correct, acknowledge {first.code} with a reason",
        )
        self.findings = tuple(findings)
        self.unacknowledged = tuple(unacknowledged)


def acknowledge(act: Act, findings: Sequence[Finding], acknowledged: Mapping[str, str]) -> Act:
    """The act, with the reasons for severe findings added to its own; ``acknowledged`` gives them by code.

    Raises ReviewRefusedError for a severe finding without a reason, EntryError for an unknown code or too short a
    reason.
    """
    known = [code.value for code in Code]
    for code, reason in acknowledged.items():
        if code not in known:
            raise EntryError(
                f"the machine review has no finding {code!r}",
                field=f"acknowledge.{code}",
                value=code,
                remedy=remedy_for(known, closest(code, known)),
            )
        if len(reason.strip()) < SHORTEST_REASON:
            raise EntryError(
                f"the acknowledgement of {code} gives no reason",
                field=f"acknowledge.{code}",
                value=reason,
                remedy=f"Explain in at least {SHORTEST_REASON} characters why it is correct",
            )
    left = [finding for finding in severe(findings) if finding.code not in acknowledged]
    if left:
        raise ReviewRefusedError(findings, left)
    codes = dict.fromkeys(finding.code for finding in severe(findings))
    reasons = [act.reason, *(f"acknowledged {code}: {acknowledged[code]}" for code in codes)]
    return replace(act, reason="; ".join(filter(None, reasons)))
