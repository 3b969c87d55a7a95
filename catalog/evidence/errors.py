"""Why evidence is refused, beyond its form."""

from __future__ import annotations

from catalog.model import errors


class StaleEvidenceError(errors.StaleError):
    """The evidence speaks of figures that changed since: ``seen`` is the revision it names, ``current`` the present."""

    def __init__(self, seen: int, current: int) -> None:
        super().__init__(
            f"the entry changed since revision {seen}; it is at revision {current} now",
            field="revision",
            value=seen,
            remedy="Look at the entry as it is now, and confirm or dispute that",
        )
        self.seen = seen
        self.current = current


class OwnEvidenceError(errors.OwnEvidenceError):
    """Somebody would confirm their own figures by measuring or fitting. ``author`` gave the figures in force."""

    def __init__(self, author: str, basis: str) -> None:
        super().__init__(
            f"the figures in force are {author}'s own, and nobody confirms their own by measuring or fitting",
            field="basis",
            value=basis,
            remedy="Ask somebody else to measure a part of theirs, or correct the figures themselves",
        )
        self.author = author
