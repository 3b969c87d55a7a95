"""Pending changes take effect when they are due, even if nobody sends a request."""

from __future__ import annotations

from api.service.logs import logger
from catalog.db.database import Catalogue
from catalog.history.pending import carry_out_due, due
from catalog.model.errors import CatalogueError
from catalog.model.timestamps import now

_log = logger()


def carry_out_now(catalogue: Catalogue) -> int:
    """Apply the changes that are due and return their number. If it fails, the next call tries again.

    Several processes may do this at once: a change is applied in a writing transaction, and is no longer due after it.
    """
    try:
        with catalogue.reading() as session:
            if not due(session, now()):
                return 0
        with catalogue.writing() as session:
            return len(carry_out_due(session, now()))
    except CatalogueError as error:
        _log.warning("due changes could not be carried out, and will be tried again: %s", error.message)
        return 0
