"""Changes of existing entries: revise entries and series' laws, withdraw, restore, merge, revert."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.journal import revision_of
from catalog.history.revision import rewrite, spelt
from catalog.model.entries import AnyEntry, Half, Mating, Series, differing
from catalog.model.entry_states import EntryState, Place, entry_state
from catalog.model.errors import DuplicateError, EntryError
from catalog.model.series_laws import Expansion, expand
from catalog.records.queries import mates_of
from catalog.records.read import contents, get_record, get_records
from catalog.records.read_models import AnyRecord, HalfRecord, MatingRecord, SeriesRecord, state_of


@dataclass(frozen=True, kw_only=True)
class Changed:
    """Result of a change: the entry's new revision, and for series the keys of changed and added members.

    ``left_over`` are members that the new laws no longer make: each stays listed until somebody withdraws it.
    ``by_hand`` are members that were corrected individually: they no longer follow the laws.
    """

    revision: int
    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    left_over: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()


def revise(session: Session, act: Act, key: str, entry: AnyEntry, *, clean: bool = False) -> Changed:
    """Replace the content of the entry with this key. A series' members follow its laws.

    Raises NotFoundError, and EntryError for another key (maker or part number), for an entry that does not stand, and
    for what a series' laws say of a half.
    """
    before = get_record(session, entry.record, key)
    _require_listed(before, key)
    _require_same_key(entry, key)
    _require_same_spelling(entry, spelt(session, entry))
    after = replace(state_of(before), content=entry, clean=clean, stated=True)
    if isinstance(entry, Series):
        return _revise_series(session, act, "revise", before, after)
    if isinstance(before, HalfRecord) and before.from_law and before.content != entry:
        # It no longer is what the laws make; from now on it is an entry of its own.
        after = replace(after, from_law=False)
    return Changed(revision=rewrite(session, act, "revise", after))


def _require_listed(before: AnyRecord, key: str) -> None:
    if before.state != "listed":
        successor = f"; {before.successor} took its place" if before.successor else ""
        raise EntryError(
            f"{key} was {before.state}{successor}",
            field="state",
            value=before.state,
            remedy="Restore it first"
            if before.successor is None
            else f"Change {before.successor}, or restore this first",
        )


def _require_same_key(entry: AnyEntry, key: str) -> None:
    if entry.key != key:
        raise EntryError(
            f"this is the content of {entry.key}, not of {key}",
            field={"half": "part_number", "series": "name", "mating": "half"}[entry.record],
            value=entry.key,
            remedy=_PERMANENT[entry.record],
        )


def _require_same_spelling(entry: AnyEntry, written: AnyEntry) -> None:
    for name in ("maker", "series"):
        given, known = getattr(entry, name, None), getattr(written, name, None)
        if given != known:
            raise DuplicateError(
                f"{given!r} is written {known!r} elsewhere", field=name, value=given, remedy=f"Write it {known!r}"
            )


_PERMANENT = {
    "half": "Keys are permanent: add the half under its right name, then merge the wrong one into it",
    "series": "Keys are permanent: add the series under its right name, then withdraw the wrong one",
    "mating": "Halves, basis and stack height name a mating: add the right one, then withdraw the wrong one",
}


def _revise_series(session: Session, act: Act, action: str, before: AnyRecord, after: EntryState) -> Changed:
    series, was = after.content, before.content
    if not isinstance(series, Series) or not isinstance(was, Series):
        raise TypeError("a series is revised by a series")
    made, earlier = expand(series), members(was)
    revision = rewrite(session, act, action, after)
    new: list[AnyEntry] = []
    changed: list[str] = []
    by_hand: list[str] = []
    standing = members_standing(session, series)
    for member in _all(made):
        stands = standing.get((member.record, member.key))
        if stands is None:
            new.append(member)
        elif _is_by_hand(stands, member, earlier):
            by_hand.append(member.key)
        else:
            _require_from_law(stands, member, earlier)
            followed = replace(state_of(stands), content=member, from_law=True, clean=after.clean)
            if rewrite(session, act, "follow", followed, before=stands) != stands.revision:
                changed.append(member.key)
    keys = [member.key for member in new]
    add(session, new, act, clean=keys if after.clean else (), from_law=keys)
    return Changed(
        revision=revision,
        changed=tuple(changed),
        added=tuple(keys),
        left_over=tuple(_let_go(session, act, earlier, made)),
        by_hand=tuple(by_hand),
    )


def members_standing(session: Session, series: Series) -> dict[Place, AnyRecord]:
    """The halves and matings of a series' laws that are in the catalogue, in any state."""
    made = expand(series)
    halves = get_records(session, "half", [half.key for half in made.halves])
    matings = get_records(session, "mating", [mating.key for mating in made.matings])
    return {("half", key): record for key, record in halves.items()} | {
        ("mating", key): record for key, record in matings.items()
    }


def members(series: Series) -> dict[Place, AnyEntry]:
    """The halves and matings that a series' laws make."""
    return {(member.record, member.key): member for member in _all(expand(series))}


def _all(made: Expansion) -> list[AnyEntry]:
    return [*made.halves, *made.matings]


def _is_by_hand(stands: AnyRecord, member: AnyEntry, earlier: Mapping[Place, AnyEntry]) -> bool:
    """Whether a member of the old and the new laws was corrected individually: the correction is kept."""
    was_member = (member.record, member.key) in earlier
    return was_member and not state_of(stands).from_law and bool(differing(stands.content, member))


def _require_from_law(stands: AnyRecord, member: AnyEntry, earlier: Mapping[Place, AnyEntry]) -> None:
    """Refuse to overwrite by a law an entry that was listed individually with other content."""
    own = (member.record, member.key) not in earlier
    if own and differing(stands.content, member):
        raise DuplicateError(
            f"{member.record} {member.key} stands in the catalogue by itself, with other content",
            field="kinds" if isinstance(member, Half) else "stack",
            value=member.key,
            remedy="Correct the law, or revise that entry first so that both say the same",
        )


def _let_go(session: Session, act: Act, earlier: Mapping[Place, AnyEntry], made: Expansion) -> list[str]:
    kept = {(member.record, member.key) for member in _all(made)}
    left = []
    for record, key in earlier.keys() - kept:
        standing = state_of(get_record(session, record, key))
        if standing.from_law:
            rewrite(session, act, "let go", replace(standing, from_law=False))
            left.append(key)
    return sorted(left)


def withdraw(session: Session, act: Act, record: str, key: str) -> int:
    """Withdraw an entry: it is no longer listed but stays readable. Returns its revision; raises NotFoundError."""
    before = get_record(session, record, key)
    _require_listed(before, key)
    return rewrite(session, act, "withdraw", replace(state_of(before), state="withdrawn"))


def restore(session: Session, act: Act, record: str, key: str) -> int:
    """List a withdrawn or merged entry again. Returns its revision.

    Raises NotFoundError, and EntryError for an entry that stands.
    """
    before = get_record(session, record, key)
    if before.state == "listed":
        raise EntryError(
            f"{key} is on the lists", field="state", value=before.state, remedy="There is nothing to restore"
        )
    return rewrite(session, act, "restore", replace(state_of(before), state="listed", successor=None))


def merge(session: Session, act: Act, key: str, successor: str) -> int:
    """Merge a half into another half, which takes over its matings. Returns the merged half's revision.

    Raises NotFoundError, and EntryError for a half merged into itself and for a successor that does not stand.
    """
    before, into = get_record(session, "half", key), get_record(session, "half", successor)
    _require_listed(before, key)
    _require_listed(into, successor)
    if key == successor:
        raise EntryError("a half cannot take its own place", field="into", value=key, remedy="Name the other half")
    add(session, _handed_on(session, key, successor), act)
    return rewrite(session, act, "merge", replace(state_of(before), state="merged", successor=successor))


def _handed_on(session: Session, key: str, successor: str) -> list[Mating]:
    """The half's matings as its successor's, without those that it would have with itself, that stand already, or that
    stood and were withdrawn."""
    found = []
    for record, _ in mates_of(session, key):
        names = {"half": record.mating.half, "other": record.mating.other}
        moved = record.mating.model_copy(
            update={name: successor if half == key else half for name, half in names.items()}
        )
        if moved.half != moved.other or record.mating.half == record.mating.other:
            found.append(moved)
    stood_ever = contents(session, "mating", [mating.key for mating in found])
    return [mating for mating in found if mating.key not in stood_ever]


def revert(session: Session, act: Act, record: str, key: str, revision: int) -> Changed:
    """Restore an earlier revision's content, as a new revision; a series' members follow.

    Raises NotFoundError, EntryError for a revision that took the entry off the lists, and what `revise` raises.
    """
    earlier, before = listed_revision(session, record, key, revision), get_record(session, record, key)
    if isinstance(before, SeriesRecord):
        return _revise_series(session, act, "revert", before, earlier)
    after = replace(earlier, from_law=earlier.from_law and _is_of_law(session, before, earlier.content))
    return Changed(revision=rewrite(session, act, "revert", after))


def listed_revision(session: Session, record: str, key: str, revision: int) -> EntryState:
    """An entry as a revision had it. Raises NotFoundError, EntryError for one in which it was off the lists."""
    earlier = entry_state(revision_of(session, record, key, revision).new)
    if earlier.state != "listed":
        raise EntryError(
            f"in revision {revision} {key} was {earlier.state}",
            field="revision",
            value=revision,
            remedy="Go back to a revision that stood; to take the entry off the lists, withdraw or merge it",
        )
    return earlier


def _is_of_law(session: Session, record: HalfRecord | MatingRecord, entry: AnyEntry) -> bool:
    """Whether the present laws of the entry's series make it as it is."""
    half = record if isinstance(record, HalfRecord) else get_record(session, "half", record.mating.half)
    if not isinstance(half, HalfRecord):
        raise TypeError(f"{record.content.key} hangs under no half")
    series = get_record(session, "series", half.series_key)
    if not isinstance(series, SeriesRecord) or not series.stated or series.state != "listed":
        return False
    member = members(series.series).get((entry.record, entry.key))
    return member is not None and not differing(member, entry)
