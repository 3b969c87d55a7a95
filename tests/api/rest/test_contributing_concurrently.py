"""Many people change one entry at once: nothing is lost or done twice, and the journal is in order."""

from __future__ import annotations

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from threading import Barrier
from typing import Any

import pytest

from catalog.history.journal import JournalEntry
from catalog.model.entry_states import entry_state
from tests.api.rest.test_contributing import NEW
from tests.api.workshop import Workshop, workshop, written
from tests.catalog.history.changed_entries import HALF, IDA, PER, WREN, longer, rows

ROUNDS = 40
"""Number of rounds. A fault that occurs in one round of ten is found in 98.5 of 100 runs."""

THREADS = 8
ASKERS = (WREN, IDA, PER)
PLACE = f"/v1/halves/{HALF}"


@pytest.fixture
def shop(migrated_url: str) -> Iterator[Workshop]:
    """The workshop, once on each engine."""
    with workshop(migrated_url) as made:
        yield made


@pytest.fixture(scope="module")
def pool() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(THREADS) as made:
        yield made


def together(pool: ThreadPoolExecutor, ask: Any) -> list[Any]:
    """The results of requests by many threads that start at the same time."""
    start = Barrier(THREADS)

    def run(number: int) -> Any:
        start.wait(timeout=60)
        return ask(number)

    return list(pool.map(run, range(THREADS)))


def whole(found: list[JournalEntry]) -> None:
    """Check that revisions count from 1 without gaps, numbers and times ascend, and states follow one another."""
    assert [row.revision for row in found] == list(range(1, len(found) + 1))
    for earlier, later in pairwise(found):
        assert earlier.id < later.id
        assert earlier.at <= later.at
        assert earlier.new == later.old


def test_of_several_changes_from_one_state_one_succeeds_and_the_others_are_refused(
    shop: Workshop, pool: ThreadPoolExecutor
) -> None:
    won: list[float] = []
    for turn in range(ROUNDS):
        tag = shop.tag(PLACE)

        def change(number: int, turn: int = turn, tag: str = tag) -> tuple[int, float]:
            length = round(0.01 * (1 + turn % 10) + 0.001 * number, 3)
            body = {"entry": written(longer(by_mm=length))}
            answer = shop.ask("PUT", PLACE, ASKERS[number % 3], tag=tag, json=body)
            return answer.status_code, round(7.4 + length, 3)

        answers = together(pool, change)
        assert sorted(status for status, _ in answers) == [200] + [412] * (THREADS - 1)
        won += [length for status, length in answers if status == 200]
    with shop.catalogue.reading() as session:
        found = rows(session, "half", HALF)
    whole(found)
    lengths = [entry_state(row.new).content.dimensions["body_length"].value for row in found]  # type: ignore[union-attr]
    assert lengths[1:] == won
    assert len(won) == ROUNDS


def test_one_contribution_sent_by_many_threads_with_one_idempotency_key_is_added_once(
    shop: Workshop, pool: ThreadPoolExecutor
) -> None:
    for turn in range(ROUNDS):
        entry = NEW.model_copy(update={"part_number": f"SERIAL {turn:03}", "contact_count": 30 + 2 * turn})
        body = {"entry": written(entry)}

        def contribute(number: int, turn: int = turn, body: dict[str, Any] = body) -> tuple[int, str]:
            answer = shop.ask("POST", "/v1/halves", IDA, key=f"turn {turn}", json=body)
            return answer.status_code, json.dumps(answer.json(), sort_keys=True)

        answers = set(together(pool, contribute))
        assert len(answers) == 1, answers
        ((status, _),) = answers
        assert status == 201, answers
        with shop.catalogue.reading() as session:
            whole(rows(session, "half", entry.key))
            assert len(rows(session, "half", entry.key)) == 1
