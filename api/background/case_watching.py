"""Rank open cases again when the catalogue has changed, while the server runs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from api.operations.case_ranking import Ranked, rank_again
from api.service.logs import logger
from catalog.cases.retrieval import next_behind
from catalog.db.database import Catalogue
from catalog.model.errors import CatalogueError
from catalog.snapshot.snapshot import SnapshotSource
from matcher.columns.columns import Columns

_log = logger()


@dataclass(kw_only=True)
class Watch:
    """Ranks cases again, one at a time, and does nothing while the catalogue stays the same.

    ``seen`` is the version seen last. ``ranked`` are the halves, as columns of the matcher, with which all open cases
    were ranked: most changes of a catalogue (comments, evidence that agrees, new cases) do not change them.
    """

    catalogue: Catalogue
    source: SnapshotSource
    seen: int | None = None
    ranked: Columns | None = None
    ranking: Columns | None = None
    round: Iterator[Ranked] | None = None

    def step(self) -> bool:
        """Rank one case; returns whether there may be more. After a database error the next round tries again, and
        after any other error the next change of the catalogue does."""
        try:
            return self._step()
        except CatalogueError as error:
            _log.warning("open cases could not be ranked again, and will be later: %s", error.message)
            self.seen = None
        except Exception:  # noqa: BLE001 - any error is logged, and the watch goes on
            _log.exception("open cases could not be ranked again")
        self.round = None
        return False

    def _step(self) -> bool:
        if self.round is None and not self._begin():
            return False
        if self.round is not None and next(self.round, None) is not None:
            return True
        self.round, self.ranked = None, self.ranking
        return False

    def _begin(self) -> bool:
        """Whether there is a case to rank again."""
        version = self.catalogue.version()
        if version == self.seen:
            return False
        self.seen = version
        with self.catalogue.reading() as session:
            if next_behind(session, version) is None:
                return False
        snapshot = self.source.current()
        same = snapshot.columns is self.ranked
        self.ranking, self.round = snapshot.columns, rank_again(self.catalogue, snapshot, rewritten_only=same)
        return True
