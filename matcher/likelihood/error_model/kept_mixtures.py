"""Explanations of readings, kept for the catalogue they were made for: one identification after the other asks for the
same ones."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import Lock
from weakref import WeakKeyDictionary

from matcher.columns.columns import Columns
from matcher.likelihood.error_model.gross_errors import Mixture

MOST_KEPT = 64_000_000
"""Most bytes kept for one catalogue: the usual dimensions of 6,000 halves take half of that. A choice."""


class _Kept:
    """The mixtures of one catalogue; the one that was made first goes first."""

    def __init__(self) -> None:
        self._mixtures: dict[Hashable, Mixture] = {}
        self._bytes = 0

    def get(self, what: Hashable, make: Callable[[], Mixture]) -> Mixture:
        found = self._mixtures.get(what)
        if found is not None:
            return found
        made = make()
        with _LOCK:
            if what not in self._mixtures and made.nbytes <= MOST_KEPT:
                self._mixtures[what] = made
                self._bytes += made.nbytes
            while self._bytes > MOST_KEPT:
                self._bytes -= self._mixtures.pop(next(iter(self._mixtures))).nbytes
        return made


_LOCK = Lock()
_OF_CATALOGUE: WeakKeyDictionary[Columns, _Kept] = WeakKeyDictionary()


def kept(columns: Columns, what: Hashable, make: Callable[[], Mixture]) -> Mixture:
    """The mixture of these columns that is called ``what``, made if it is not kept."""
    with _LOCK:
        of_catalogue = _OF_CATALOGUE.setdefault(columns, _Kept())
    return of_catalogue.get(what, make)
