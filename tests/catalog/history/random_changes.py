"""Random changes of every kind, for tests of rules that hold after any change."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress

from sqlalchemy import select
from sqlalchemy.orm import Session

from catalog.db.database import Catalogue
from catalog.db.tables import SeriesTable
from catalog.evidence.statements import Sighting
from catalog.history.acts import operators
from catalog.history.addition import add
from catalog.history.changes import merge, restore, revise, withdraw
from catalog.history.documents import add_document
from catalog.history.journal import page
from catalog.history.undo import undo
from catalog.model.entries import Half, Mating, Series
from catalog.model.entry_parts import Dimension
from catalog.model.errors import DuplicateError, EntryError
from catalog.records.read import load_halves, load_matings, load_series
from tests.catalog.history.changed_entries import IDA, WREN, by, fill, longer, wider_laws
from tests.catalog.model.entry_examples import series


def plain_half(maker: str, name: str, positions: int, pitch: float) -> Half:
    return Half(
        maker=maker,
        series=name,
        part_number=f"{name}-{2 * positions:02}",
        half_kind="plug",
        rows=2,
        contact_count=2 * positions,
        dimensions={
            "pitch": Dimension(value=pitch),
            "body_length": Dimension(value=round(pitch * positions + 2, 3)),
            "body_width": Dimension(value=round(4 * pitch + 1, 3), tolerance=0.1),
        },
        categories={"mounting": ("surface_mount",)},
    )


def a_catalogue(session: Session) -> None:
    """A series with stated laws, and nine with listed halves only: enough to fit laws and the density of absent."""
    fill(session)
    for number in range(9):
        name, pitch = f"TW{number}", 0.4 + 0.05 * number
        add(session, [plain_half("Twite", name, size, pitch) for size in (5, 6, 8, 10, 15)], by(WREN))


class RandomChanges:
    """Random changes of every kind; a change that conflicts with the catalogue is refused and leaves no trace."""

    def __init__(self, catalogue: Catalogue, seed: int, *, undoing: bool = False) -> None:
        self._catalogue = catalogue
        self._more = [self.respell, self.undo] if undoing else []
        self._draw = random.Random(seed)
        self._gone: list[tuple[str, str]] = []
        self.carried_out: list[str] = []

    def one(self) -> None:
        """One change in one transaction."""
        kinds: list[Callable[[Session], None]] = [
            self.add_half,
            self.add_mating,
            self.lengthen,
            self.move_to_another_series,
            self.rename_part,
            self.withdraw,
            self.restore,
            self.merge,
            self.other_laws,
            self.describe_series,
            self.say_something,
            *self._more,
        ]
        chosen = self._draw.choice(kinds)
        with suppress(EntryError, DuplicateError), self._catalogue.writing() as session:
            chosen(session)
            self.carried_out.append(chosen.__name__)

    def _half(self, session: Session) -> Half:
        return self._draw.choice(load_halves(session)).half

    def add_half(self, session: Session) -> None:
        name = f"TW{self._draw.randint(0, 11)}"
        add(session, [plain_half("Twite", name, self._draw.randint(3, 30), 0.5)], by(WREN))

    def add_mating(self, session: Session) -> None:
        one, other = self._half(session), self._half(session)
        stack = Dimension(value=self._draw.randint(10, 30) / 10)
        add(session, [Mating(half=one.key, other=other.key, stack_height=stack, basis="trial_fit")], by(WREN))

    def lengthen(self, session: Session) -> None:
        chosen = self._half(session)
        revise(session, by(WREN), chosen.key, longer(chosen, self._draw.choice([0.01, 0.5])))

    def move_to_another_series(self, session: Session) -> None:
        chosen = self._half(session)
        moved = chosen.model_copy(update={"series": f"TW{self._draw.randint(0, 8)}"})
        revise(session, by(WREN), chosen.key, moved)

    def rename_part(self, session: Session) -> None:
        chosen = self._half(session)
        revise(session, by(WREN), chosen.key, chosen.model_copy(update={"aliases": ("tail feather",), "note": "seen"}))

    def withdraw(self, session: Session) -> None:
        lists: list[list[tuple[str, str]]] = [
            [("half", record.key) for record in load_halves(session)],
            [("mating", record.id) for record in load_matings(session)],
            [("series", record.key) for record in load_series(session)],
        ]
        record, key = self._draw.choice(self._draw.choice([each for each in lists if each]))
        withdraw(session, by(WREN), record, key)
        self._gone.append((record, key))

    def restore(self, session: Session) -> None:
        if self._gone:
            restore(session, by(WREN), *self._gone.pop(self._draw.randrange(len(self._gone))))

    def merge(self, session: Session) -> None:
        chosen = self._half(session).key
        merge(session, by(WREN), chosen, self._half(session).key)
        self._gone.append(("half", chosen))

    def other_laws(self, session: Session) -> None:
        entry = self._draw.choice([series(), wider_laws()])
        revise(session, by(WREN), entry.key, entry)

    def describe_series(self, session: Session) -> None:
        described = Series(maker="Twite", name=f"TW{self._draw.randint(0, 8)}", aliases=("finch",))
        add(session, [described], by(WREN))

    def say_something(self, session: Session) -> None:
        about = self._half(session).key
        said = Sighting.model_validate({"half": about, "device": "field recorder"})
        add_document(session, by(WREN), "sighting", said, of="half", about=about)

    def respell(self, session: Session) -> None:
        name = self._draw.choice(["TW3", "tw3", "Tw3"])
        chosen = session.execute(select(SeriesTable.state).where(SeriesTable.key == "twite:tw3")).scalar_one_or_none()
        if chosen is not None:
            revise(session, by(IDA), "twite:tw3", Series(maker="Twite", name=name, note=name))

    def undo(self, session: Session) -> None:
        since = page(session, limit=10)[-1].at
        undo(session, operators(), self._draw.choice([WREN, IDA]), since)
