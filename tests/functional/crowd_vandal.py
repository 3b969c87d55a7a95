"""The vandal of the simulation: false halves and matings, spoilt entries, false evidence, withdrawals, merges."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from sqlalchemy.orm import Session

from catalog.contribute.contribution import revise_entry
from catalog.contribute.submission import confirm
from catalog.evidence.statements import Confirmation
from catalog.history.acts import Act
from catalog.history.pending import submit_merge, submit_withdrawal
from catalog.model.entries import Half, Mating, Series
from catalog.records.read import get_entry, get_record
from catalog.records.read_models import HalfRecord, SeriesRecord
from tests.functional.crowd_parts import Type
from tests.functional.crowd_people import mistaken, mistaken_laws
from tests.functional.crowd_world import Acknowledged, Deed, Doing, adding, disputing, sighting

VANDAL = "Cuckoo"
DEEDS: Mapping[str, int] = {
    "add a half": 12,
    "squat": 6,
    "spoil a half": 25,
    "spoil a series": 2,
    "confirm": 30,
    "contradict": 15,
    "dispute": 15,
    "sight": 10,
    "mate": 6,
    "fit": 6,
    "withdraw": 12,
    "merge": 8,
}
"""How often the vandal does each."""


class Vandal:
    """Draws the vandal's acts against real halves."""

    def __init__(
        self, types: Mapping[str, Type], series: Sequence[Series], singles: Sequence[Half], rng: np.random.Generator
    ) -> None:
        self._halves = [each.drawing for each in types.values()]
        self._series, self._singles, self._rng = series, singles, rng
        self._made = 0

    def deeds(self) -> list[Deed]:
        """All of the vandal's acts, in random order."""
        names = [name for name, times in DEEDS.items() for _ in range(times)]
        return [
            Deed(actor=VANDAL, what=str(name), doing=self._deed(str(name))) for name in self._rng.permutation(names)
        ]

    def _deed(self, name: str) -> Doing:
        half = self._any()
        doings: dict[str, Callable[[], Doing]] = {
            "add a half": self._false_half,
            "squat": lambda: adding(mistaken(self._singles[int(self._rng.integers(len(self._singles)))], self._rng)),
            "spoil a half": lambda: self._spoil(half.key),
            "spoil a series": self._spoil_series,
            "confirm": lambda: _agree(half.key),
            "contradict": lambda: _agree(half.key, times=1.3),
            "dispute": lambda: disputing("half", half.key, "this is all wrong"),
            "sight": lambda: sighting(half.key, "a toaster"),
            "mate": lambda: adding(Mating(half=half.key, other=self._any().key, basis="trial_fit")),
            "fit": lambda: self._misfit(half),
            "withdraw": lambda: _withdraw(half.key),
            "merge": lambda: self._merge(half.key),
        }
        return doings[name]()

    def _any(self) -> Half:
        return self._halves[int(self._rng.integers(len(self._halves)))]

    def _false_half(self) -> Doing:
        self._made += 1
        like = mistaken(self._any(), self._rng)
        return adding(like.model_copy(update={"part_number": f"{like.part_number}-V{self._made}"}))

    def _spoil(self, key: str) -> Doing:
        """Change the entry as it is at that time."""
        chance = int(self._rng.integers(1 << 30))

        def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
            spoilt = mistaken(standing_half(session, key), np.random.default_rng(chance))
            return revise_entry(session, act, key, spoilt, acknowledged)

        return do

    def _spoil_series(self) -> Doing:
        key = self._series[int(self._rng.integers(len(self._series)))].key
        chance = int(self._rng.integers(1 << 30))

        def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
            record = get_record(session, "series", key)
            if not isinstance(record, SeriesRecord):
                raise TypeError(f"{key} is no series")
            spoilt = mistaken_laws(record.series, np.random.default_rng(chance))
            return revise_entry(session, act, key, spoilt, acknowledged)

        return do

    def _misfit(self, half: Half) -> Doing:
        def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
            given = {"of": "half", "key": half.key, "revision": get_entry(session, "half", half.key).revision}
            fit = {"basis": "trial_fit", "mate": self._halves[0].key, "result": "does_not_mate"}
            return confirm(session, act, Confirmation.model_validate(given | fit), acknowledged)

        return do

    def _merge(self, key: str) -> Doing:
        into = self._any().key
        return lambda session, act, acknowledged: submit_merge(session, act, key, into)


def _withdraw(key: str) -> Doing:
    return lambda session, act, acknowledged: submit_withdrawal(session, act, "half", key)


def standing_half(session: Session, key: str) -> Half:
    """The current half."""
    record = get_record(session, "half", key)
    if not isinstance(record, HalfRecord):
        raise TypeError(f"{key} is no half")
    return record.half


def _agree(key: str, times: float = 1.0) -> Doing:
    """ "Measure" exactly what the entry states, or a multiple of it."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        record = get_record(session, "half", key)
        values = [
            {"feature": name, "value": round(dimension.value * times, 3), "u": 0.01}
            for name, dimension in standing_half(session, key).dimensions.items()
        ]
        given = {"of": "half", "key": key, "revision": record.revision, "basis": "measured", "values": values}
        return confirm(session, act, Confirmation.model_validate(given), acknowledged)

    return do
