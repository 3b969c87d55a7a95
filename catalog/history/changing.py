"""Changing what stands: revising entries and series' laws, withdrawing, restoring, merging, going back."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from catalog.adding import add
from catalog.entries import AnyEntry, Half, Mating, Series
from catalog.errors import DuplicateError, EntryError, NotFoundError
from catalog.history.acts import Act
from catalog.history.journal import revision_of
from catalog.history.rewriting import AnyRecord, get_record, rewrite, stood_of
from catalog.history.states import Stood, stood
from catalog.reading import mates_of
from catalog.records import HalfRecord
from catalog.series_laws import Expansion, expand


@dataclass(frozen=True, kw_only=True)
class Changed:
    """What a change did: the entry's new revision, and for series the keys of members it changed and added.

    ``left_over`` are members that the new laws no longer make: they stay listed, one by one, until somebody withdraws
    them.
    """

    revision: int
    changed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    left_over: tuple[str, ...] = ()


def revise(session: Session, act: Act, key: str, entry: AnyEntry, *, clean: bool = False) -> Changed:
    """Give the entry of this key new content. A series' members follow its laws.

    Raises NotFoundError, and EntryError for another key (maker or part number), for an entry that does not stand, and
    for what a series' laws say of a half.
    """
    before = get_record(session, entry.record, key)
    _require_listed(before, key)
    _require_same_key(entry, key)
    after = replace(stood_of(before), content=entry, clean=clean, stated=True)
    if isinstance(entry, Series):
        return _revise_series(session, act, before, after)
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
            remedy="Restore it first, or change its successor",
        )


def _require_same_key(entry: AnyEntry, key: str) -> None:
    if entry.key != key:
        raise EntryError(
            f"this is the content of {entry.key}, not of {key}",
            field={"half": "part_number", "series": "name", "mating": "half"}[entry.record],
            value=entry.key,
            remedy="Keys are permanent: add the entry under its right name, then merge the wrong one into it",
        )


def _revise_series(session: Session, act: Act, before: AnyRecord, after: Stood) -> Changed:
    series, was = after.content, before.content
    if not isinstance(series, Series) or not isinstance(was, Series):
        raise TypeError("a series is revised by a series")
    made, earlier = expand(series), _members(was)
    revision = rewrite(session, act, "revise", after)
    new: list[AnyEntry] = []
    changed: list[str] = []
    for member in _all(made):
        try:
            standing = get_record(session, member.record, member.key)
        except NotFoundError:
            new.append(member)
            continue
        _require_from_law(standing, member, earlier)
        followed = replace(stood_of(standing), content=member, from_law=True, clean=after.clean)
        if rewrite(session, act, "follow", followed) != standing.revision:
            changed.append(member.key)
    keys = [member.key for member in new]
    add(session, new, act, clean=keys if after.clean else (), from_law=keys)
    left = _let_go(session, act, earlier, made)
    return Changed(revision=revision, changed=tuple(changed), added=tuple(keys), left_over=tuple(left))


def _members(series: Series) -> dict[tuple[str, str], AnyEntry]:
    return {(member.record, member.key): member for member in _all(expand(series))}


def _all(made: Expansion) -> list[AnyEntry]:
    return [*made.halves, *made.matings]


def _require_from_law(standing: AnyRecord, member: AnyEntry, earlier: dict[tuple[str, str], AnyEntry]) -> None:
    """What was listed by itself, with other content, is not overwritten by a law."""
    own = (member.record, member.key) not in earlier or not stood_of(standing).from_law
    if own and standing.content != member:
        raise DuplicateError(
            f"{member.record} {member.key} stands in the catalogue by itself, with other content",
            field="kinds" if isinstance(member, Half) else "stack",
            value=member.key,
            remedy="Correct the law, or revise that entry first so that both say the same",
        )


def _let_go(session: Session, act: Act, earlier: dict[tuple[str, str], AnyEntry], made: Expansion) -> list[str]:
    kept = {(member.record, member.key) for member in _all(made)}
    left = []
    for record, key in earlier.keys() - kept:
        standing = stood_of(get_record(session, record, key))
        if standing.from_law:
            rewrite(session, act, "let go", replace(standing, from_law=False))
            left.append(key)
    return sorted(left)


def withdraw(session: Session, act: Act, record: str, key: str) -> int:
    """Take an entry off the catalogue's lists; it stays readable. Returns its revision; raises NotFoundError."""
    before = get_record(session, record, key)
    _require_listed(before, key)
    return rewrite(session, act, "withdraw", replace(stood_of(before), state="withdrawn"))


def restore(session: Session, act: Act, record: str, key: str) -> int:
    """Put an entry that was withdrawn or merged back on the lists. Returns its revision; raises NotFoundError."""
    before = get_record(session, record, key)
    return rewrite(session, act, "restore", replace(stood_of(before), state="listed", successor=None))


def merge(session: Session, act: Act, key: str, successor: str) -> int:
    """Let another half take a half's place; its matings go over to the successor. Returns its revision.

    Raises NotFoundError, and EntryError for a half merged into itself and for a successor that does not stand.
    """
    before, into = get_record(session, "half", key), get_record(session, "half", successor)
    _require_listed(before, key)
    _require_listed(into, successor)
    if key == successor:
        raise EntryError("a half cannot take its own place", field="into", value=key, remedy="Name the other half")
    add(session, _handed_on(session, key, successor), act)
    return rewrite(session, act, "merge", replace(stood_of(before), state="merged", successor=successor))


def _handed_on(session: Session, key: str, successor: str) -> list[Mating]:
    """The half's matings as its successor's, without those that it has already or would have with itself."""
    had = {record.mating.key for record, _ in mates_of(session, successor)}
    found = []
    for record, _ in mates_of(session, key):
        names = {"half": record.mating.half, "other": record.mating.other}
        moved = record.mating.model_copy(
            update={name: successor if half == key else half for name, half in names.items()}
        )
        if moved.key not in had and (moved.half != moved.other or record.mating.half == record.mating.other):
            found.append(moved)
    return found


def revert(session: Session, act: Act, record: str, key: str, revision: int) -> int:
    """Make an earlier revision's content and state the present ones, as a new revision. Raises NotFoundError."""
    earlier = stood(revision_of(session, record, key, revision).new)
    get_record(session, record, key)
    return rewrite(session, act, "revert", earlier)
