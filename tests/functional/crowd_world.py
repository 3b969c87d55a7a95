"""The simulated catalogue: acts in the order of time, done for real, and done again without the vandal's.

Every act is done by the catalogue's own functions. What the machine refuses stays out. The world without the vandal
gets the same acts of everybody else that were taken in the world with them, with the same figures, at the same times.
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
"""Between two acts: 72 of them are a day, so that what waits takes effect while others go on."""

LATE = timedelta(days=10)
"""After all deeds: whatever waits has taken effect, or lapsed, when the maintainer comes."""

REASON = "read twice in the source, it is so"
ALL_CODES: Mapping[str, str] = {code.value: REASON for code in Code}
"""An acknowledgement of whatever the machine review may find."""

Acknowledged = Mapping[str, str]
Doing = Callable[[Session, Act, Acknowledged], object]


@dataclass(frozen=True, kw_only=True)
class Deed:
    """One thing that somebody does: ``what`` for the tally, ``doing`` does it, ``again`` where the machine had doubts
    and the person looked at the source once more. ``stubborn``: doubts are acknowledged at once."""

    actor: str
    what: str
    doing: Doing
    again: Doing | None = None
    stubborn: bool = True


@dataclass(kw_only=True)
class World:
    """A catalogue and what happened in it."""

    catalogue: Catalogue
    taken: list[tuple[int, Deed]] = field(default_factory=list)
    tally: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    def live(self, deeds: Iterable[tuple[int, Deed]]) -> None:
        """Do the deeds, each at its place in time; one transaction a day, one savepoint a deed."""
        for day, todays in groupby(deeds, key=lambda each: each[0] * MINUTES // (24 * 60)):
            with self.catalogue.writing() as session:
                for place, deed in todays:
                    self._do(session, place, deed)
                carry_out_due(session, written(BEGIN + timedelta(days=day + 1)))

    def _do(self, session: Session, place: int, deed: Deed) -> None:
        for doing, acknowledged in ((deed.doing, ALL_CODES if deed.stubborn else {}), (deed.again, ALL_CODES)):
            if doing is not None and self._is_taken(session, moment(place), deed, doing, acknowledged):
                # Done again, it is taken for sure, whatever the machine then thinks of it.
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
    """When the act at a place happens."""
    return written(BEGIN + timedelta(minutes=MINUTES * place))


def adding(entry: AnyEntry) -> Doing:
    """Contribute an entry; where somebody was quicker with other content, correct that."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        try:
            with session.begin_nested():
                return contribute(session, act, entry, acknowledged)
        except DuplicateError:
            return revise_entry(session, act, entry.key, entry, acknowledged)

    return do


def measuring(key: str, values: list[dict[str, Any]]) -> Doing:
    """Confirm a half, as it stands at the time, by measuring."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        revision = get_entry(session, "half", key).revision
        given = {"of": "half", "key": key, "revision": revision, "basis": "measured", "values": values}
        return confirm(session, act, Confirmation.model_validate(given), acknowledged)

    return do


def disputing(record: str, key: str, reason: str) -> Doing:
    """Dispute an entry as it stands at the time."""

    def do(session: Session, act: Act, acknowledged: Acknowledged) -> object:
        given = {"of": record, "key": key, "revision": get_entry(session, record, key).revision, "reason": reason}
        return dispute(session, act, Dispute.model_validate(given))

    return do


def sighting(key: str, device: str) -> Doing:
    """Note where a half was found."""
    return lambda session, act, acknowledged: sight(session, act, Sighting(half=key, device=device))


def keeper(place: int) -> Act:
    """The maintainer's act after all that happened, when everything that waited has taken effect."""
    return Act(actor="Maintainer", at=written(BEGIN + LATE + timedelta(minutes=MINUTES * place)), maintainer=True)
