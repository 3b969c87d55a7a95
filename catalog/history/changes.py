"""Changes of existing entries: revise, withdraw, restore, merge, revert."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.journal import revision_of
from catalog.history.revision import rewrite, spelt
from catalog.model.entries import AnyEntry, Half, Mating, Series, differing
from catalog.model.entry_states import EntryState, Place, entry_state
from catalog.model.errors import DuplicateError, EntryError
from catalog.model.series_laws import expand
from catalog.records.queries import mates_of
from catalog.records.read import contents, get_record, records_at
from catalog.records.read_models import AnyRecord, HalfRecord, MatingRecord, SeriesRecord, state_of


@dataclass(frozen=True, kw_only=True)
class Changed:
    """Result of a change: the entry's new revision, and for a series the keys of its changed and added members.

    The new laws no longer make the members in ``left_over``; they stay listed until they are withdrawn. Members in
    ``by_hand`` were corrected individually and no longer follow the laws.
    """

    revision: int
    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    left_over: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()


def revise(session: Session, act: Act, key: str, entry: AnyEntry, *, clean: bool = False) -> Changed:
    """Replace the content of the entry with this key. The members of a series follow its laws.

    Raises NotFoundError, EntryError for an entry that is not listed, for a change of its key and for laws that cannot
    be carried out, and DuplicateError for another spelling of maker or series and for laws that contradict a listed
    entry.
    """
    before = get_record(session, entry.record, key)
    _require_listed(before, key)
    _require_same_key(entry, key)
    _require_same_spelling(entry, spelt(session, entry))
    after = replace(state_of(before), content=entry, clean=clean, stated=True)
    if isinstance(entry, Series):
        return _revise_series(session, act, "revise", before, after)
    if isinstance(before, HalfRecord) and before.from_law and before.content != entry:
        # It no longer follows the laws.
        after = replace(after, from_law=False)
    return Changed(revision=rewrite(session, act, "revise", after))


def _require_listed(before: AnyRecord, key: str) -> None:
    if before.state != "listed":
        successor = f" into {before.successor}" if before.successor else ""
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
            f"this content has the key {entry.key}, not {key}",
            field={"half": "part_number", "series": "name", "mating": "half"}[entry.record],
            value=entry.key,
            remedy=_PERMANENT[entry.record],
        )


def _require_same_spelling(entry: AnyEntry, written: AnyEntry) -> None:
    for name in ("maker", "series"):
        given, known = getattr(entry, name, None), getattr(written, name, None)
        if given != known:
            raise DuplicateError(
                f"{given!r} is spelt {known!r} elsewhere", field=name, value=given, remedy=f"Write {known!r}"
            )


_PERMANENT = {
    "half": "Keys are permanent: add the half under its correct name, then merge the wrong one into it",
    "series": "Keys are permanent: add the series under its correct name, then withdraw the wrong one",
    "mating": "Halves, basis and stack height identify a mating: add the correct one, then withdraw the wrong one",
}


def _revise_series(session: Session, act: Act, action: str, before: AnyRecord, after: EntryState) -> Changed:
    series, was = after.content, before.content
    if not isinstance(series, Series) or not isinstance(was, Series):
        raise TypeError("a series can only be revised by a series")
    made, earlier = members(series), members(was)
    revision = rewrite(session, act, action, after)
    new: list[AnyEntry] = []
    changed: list[str] = []
    by_hand: list[str] = []
    listed = records_at(session, made)
    for place, member in made.items():
        record = listed.get(place)
        if record is None:
            new.append(member)
        elif place in earlier and not state_of(record).from_law and differing(record.content, member):
            by_hand.append(member.key)
        else:
            if place not in earlier:
                _require_same_content(record, member)
            followed = replace(state_of(record), content=member, from_law=True, clean=after.clean)
            if rewrite(session, act, "follow", followed, before=record) != record.revision:
                changed.append(member.key)
    keys = [member.key for member in new]
    add(session, new, act, clean=keys if after.clean else (), from_law=keys)
    return Changed(
        revision=revision,
        changed=tuple(changed),
        added=tuple(keys),
        left_over=tuple(_release(session, act, earlier.keys() - made.keys())),
        by_hand=tuple(by_hand),
    )


def members(series: Series) -> dict[Place, AnyEntry]:
    """The halves and matings that the laws of a series make."""
    return {(member.record, member.key): member for member in expand(series).members}


def _require_same_content(record: AnyRecord, member: AnyEntry) -> None:
    """Refuse a new law that would overwrite an entry which was listed individually with other content."""
    if differing(record.content, member):
        raise DuplicateError(
            f"{member.record} {member.key} was listed individually, with other content",
            field="kinds" if isinstance(member, Half) else "stack",
            value=member.key,
            remedy="Correct the law, or revise that entry first so that both agree",
        )


def _release(session: Session, act: Act, places: Collection[Place]) -> list[str]:
    """Mark entries that the laws no longer make as entries of their own; returns their keys."""
    left = []
    for place, record in records_at(session, places).items():
        state = state_of(record)
        if state.from_law:
            rewrite(session, act, "let go", replace(state, from_law=False), before=record)
            left.append(place[1])
    return sorted(left)


def withdraw(session: Session, act: Act, record: str, key: str) -> int:
    """Withdraw an entry: it is no longer listed, but it can still be read. Returns its revision.

    Raises NotFoundError, and EntryError for an entry that is not listed.
    """
    before = get_record(session, record, key)
    _require_listed(before, key)
    return rewrite(session, act, "withdraw", replace(state_of(before), state="withdrawn"))


def restore(session: Session, act: Act, record: str, key: str) -> int:
    """List a withdrawn or merged entry again. Returns its revision.

    Raises NotFoundError, and EntryError for an entry that is listed.
    """
    before = get_record(session, record, key)
    if before.state == "listed":
        raise EntryError(f"{key} is listed", field="state", value=before.state, remedy="There is nothing to restore")
    return rewrite(session, act, "restore", replace(state_of(before), state="listed", successor=None))


def merge(session: Session, act: Act, key: str, successor: str) -> int:
    """Merge a half into another half, its successor, which gets its matings. Returns the merged half's revision.

    Raises NotFoundError, and EntryError if one of them is not listed or both are the same.
    """
    before, into = get_record(session, "half", key), get_record(session, "half", successor)
    _require_listed(before, key)
    _require_listed(into, successor)
    if key == successor:
        raise EntryError("a half cannot be merged into itself", field="into", value=key, remedy="Name the other half")
    add(session, _matings_for(session, key, successor), act)
    return rewrite(session, act, "merge", replace(state_of(before), state="merged", successor=successor))


def _matings_for(session: Session, key: str, successor: str) -> list[Mating]:
    """The half's matings, moved to its successor, without those that the successor would have with itself, and those
    that it already has or had before they were withdrawn."""
    found = []
    for record, _ in mates_of(session, key):
        names = {"half": record.mating.half, "other": record.mating.other}
        moved = record.mating.model_copy(
            update={name: successor if half == key else half for name, half in names.items()}
        )
        if moved.half != moved.other or record.mating.half == record.mating.other:
            found.append(moved)
    known = contents(session, "mating", [mating.key for mating in found])
    return [mating for mating in found if mating.key not in known]


def revert(session: Session, act: Act, record: str, key: str, revision: int) -> Changed:
    """Restore the content of an earlier revision, as a new revision; the members of a series follow.

    Raises NotFoundError, EntryError for a revision in which the entry was not listed, and what `revise` raises.
    """
    earlier, before = listed_revision(session, record, key, revision), get_record(session, record, key)
    if isinstance(before, SeriesRecord):
        return _revise_series(session, act, "revert", before, earlier)
    after = replace(earlier, from_law=earlier.from_law and _is_of_law(session, before, earlier.content))
    return Changed(revision=rewrite(session, act, "revert", after))


def listed_revision(session: Session, record: str, key: str, revision: int) -> EntryState:
    """The state of an entry in a revision. Raises NotFoundError, and EntryError if it was not listed then."""
    earlier = entry_state(revision_of(session, record, key, revision).new)
    if earlier.state != "listed":
        raise EntryError(
            f"{key} was {earlier.state} in revision {revision}",
            field="revision",
            value=revision,
            remedy="Choose a revision in which it was listed; to remove an entry from the lists, withdraw or merge it",
        )
    return earlier


def _is_of_law(session: Session, record: HalfRecord | MatingRecord, entry: AnyEntry) -> bool:
    """Whether the present laws of the entry's series make exactly this content."""
    half = record if isinstance(record, HalfRecord) else get_record(session, "half", record.mating.half)
    if not isinstance(half, HalfRecord):
        raise TypeError(f"{record.content.key} belongs to no half")
    series = get_record(session, "series", half.series_key)
    if not isinstance(series, SeriesRecord) or not series.stated or series.state != "listed":
        return False
    member = members(series.series).get((entry.record, entry.key))
    return member is not None and not differing(member, entry)
