"""The simulated catalogue: all acts carried out in order of time, and once more without the vandal's.

Every act uses the catalogue's own functions; refused acts have no effect. The world without the vandal
gets the acts of everyone else that were accepted in the world with them, with the same figures and times.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import Any

from pydantic import ValidationError
from sqlalchemy.orm import Session

from catalog.contribute.contribution import contribute, revise_entry
from catalog.contribute.submission import confirm, dispute, sight
from catalog.db.database import Catalogue
from catalog.evidence.statements import Confirmation, Dispute, Sighting
from catalog.history.acts import Act
from catalog.history.pending import carry_out_due
from catalog.model.entries import AnyEntry
from catalog.model.errors import CatalogueError, DuplicateError
from catalog.model.timestamps import written
from catalog.records.read import get_entry
from catalog.review.findings import Code

BEGIN = datetime(2031, 3, 1, tzinfo=UTC)
MINUTES = 20
"""Time between two acts: 72 acts are a day, so that pending changes take effect while others continue."""

LATE = timedelta(days=10)
"""Time after all acts: pending changes have taken effect or lapsed when the maintainer acts."""

REASON = "read twice in the source, it is so"
ALL_CODES: Mapping[str, str] = {code.value: REASON for code in Code}
"""An acknowledgement of every finding of the machine review."""

Acknowledged = Mapping[str, str]
Doing = Callable[[Session, Act, Acknowledged], object]


@dataclass(frozen=True, kw_only=True)
class Deed:
    """One act of a person: ``what`` for the tally, ``doing`` carries it out, ``again`` where the review objected
    and the person checked the source. ``stubborn``: findings are acknowledged at once."""

    actor: str
    what: str
    doing: Doing
    again: Doing | None = None
    stubborn: bool = True


@dataclass(kw_only=True)
class World:
    """A catalogue and its history."""

    catalogue: Catalogue
    taken: list[tuple[int, Deed]] = field(default_factory=list)
    tally: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    def live(self, deeds: Iterable[tuple[int, Deed]]) -> None:
        """Carry out the acts in order of time, with one transaction per day and one savepoint per act."""
        for day, todays in groupby(deeds, key=lambda each: each[0] * MINUTES // (24 * 60)):
            with self.catalogue.writing() as session:
                for place, deed in todays:
                    self._do(session, place, deed)
                carry_out_due(session, written(BEGIN + timedelta(days=day + 1)))

    def _do(self, session: Session, place: int, deed: Deed) -> None:
        for doing, acknowledged in ((deed.doing, ALL_CODES if deed.stubborn else {}), (deed.again, ALL_CODES)):
            if doing is not None and self._is_taken(session, moment(place), deed, doing, acknowledged):
                # Repeated, it is accepted whatever the machine review finds.
                self.taken.append((place, Deed(actor=deed.actor, what=deed.what, doing=doing)))
                return

    def _is_taken(self, session: Session, at: str, deed: Deed, doing: Doing, acknowledged: Acknowledged) -> bool:
        try:
            with session.begin_nested():
                doing(session, Act(actor=deed.actor, at=at), acknowledged)
        except (CatalogueError, ValidationError) as error:
            self.tally[deed.actor, deed.what, type(error).__name__] += 1
            return False
        self.tally[deed.actor, deed.what, "taken"] += 1
        return True


def moment(place: int) -> str:
    """The time of the act at a place in the order."""
    return written(BEGIN + timedelta(minutes=MINUTES * place))


def adding(entry: AnyEntry) -> Doing:
    """Contribute an entry; if another person was faster with other content, correct that entry."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        try:
            with session.begin_nested():
                return contribute(session, act, entry, acknowledged)
        except DuplicateError:
            return revise_entry(session, act, entry.key, entry, acknowledged)

    return do


def measuring(key: str, values: list[dict[str, Any]]) -> Doing:
    """Confirm a half in its current state by measuring."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        revision = get_entry(session, "half", key).revision
        given = {"of": "half", "key": key, "revision": revision, "basis": "measured", "values": values}
        return confirm(session, act, Confirmation.model_validate(given), acknowledged)

    return do


def disputing(record: str, key: str, reason: str) -> Doing:
    """Dispute an entry in its current state."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        given = {"of": record, "key": key, "revision": get_entry(session, record, key).revision, "reason": reason}
        return dispute(session, act, Dispute.model_validate(given))

    return do


def sighting(key: str, device: str) -> Doing:
    """Report where a half was found."""
    return lambda session, act, acknowledged: sight(session, act, Sighting(half=key, device=device))


def keeper(place: int) -> Act:
    """The maintainer's act after all others, when all pending changes have taken effect."""
    return Act(actor="Maintainer", at=written(BEGIN + LATE + timedelta(minutes=MINUTES * place)), maintainer=True)
