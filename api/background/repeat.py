"""A task that the server repeats while it runs."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager


@asynccontextmanager
async def repeating(step: Callable[[], int], every_s: float) -> AsyncIterator[None]:
    """Repeat a step in a thread until the block ends.

    ``step`` returns how much it did: after nothing, the next one begins ``every_s`` seconds later, otherwise after as
    long a pause as the step took, so that requests have most of the machine. Every worker process repeats the step by
    itself, so it must be safe beside the same step of another process.
    """
    ending = asyncio.Event()
    task = asyncio.create_task(_repeat(step, every_s, ending))
    try:
        yield
    finally:
        ending.set()
        await task


async def _repeat(step: Callable[[], int], every_s: float, ending: asyncio.Event) -> None:
    while not ending.is_set():
        began = time.monotonic()
        done = await asyncio.to_thread(step)
        pause = time.monotonic() - began if done else every_s
        try:
            await asyncio.wait_for(ending.wait(), pause)
        except TimeoutError:
            continue
