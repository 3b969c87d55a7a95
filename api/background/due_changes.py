"""Pending changes take effect when they are due, even if nobody sends a request."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from api.service.logs import logger
from catalog.db.database import Catalogue
from catalog.history.pending import carry_out_due, due
from catalog.model.errors import CatalogueError
from catalog.model.timestamps import now

_log = logger()


@asynccontextmanager
async def carrying_out(catalogue: Catalogue, every_s: float) -> AsyncIterator[None]:
    """Look for due changes every so many seconds while the server runs, and end with it.

    Every worker process looks by itself. This is safe: looking only reads, and a change is carried out in a writing
    transaction, after which it is no longer due.
    """
    ending = asyncio.Event()
    task = asyncio.create_task(_keep_looking(catalogue, every_s, ending))
    try:
        yield
    finally:
        ending.set()
        await task


async def _keep_looking(catalogue: Catalogue, every_s: float, ending: asyncio.Event) -> None:
    while not ending.is_set():
        await asyncio.to_thread(carry_out_now, catalogue)
        try:
            await asyncio.wait_for(ending.wait(), every_s)
        except TimeoutError:
            continue


def carry_out_now(catalogue: Catalogue) -> int:
    """Carry out what is due; returns how many changes were decided. What fails now is tried again later."""
    try:
        with catalogue.reading() as session:
            if not due(session, now()):
                return 0
        with catalogue.writing() as session:
            return len(carry_out_due(session, now()))
    except CatalogueError as error:
        _log.warning("due changes could not be carried out, and will be tried again: %s", error.message)
        return 0
