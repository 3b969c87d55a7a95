"""Many people fill one catalogue: thirty honest people with calipers, three careless people, and a vandal.

Confirmed entries must be right, one call must undo all of the vandal's acts, and identification must then
answer as if the vandal had never come.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from catalog.db.database import Catalogue, open_catalogue
from catalog.history.undo import Undone, undo
from catalog.snapshot.snapshot import Snapshot, take_snapshot
from tests import catalogues
from tests.functional.crowd import CARELESS, HONEST, Plan, make_plan
from tests.functional.crowd_outcome import (
    answers,
    differences,
    journal_faults,
    listed,
    mistaken_as_stated,
    specimens,
    standings,
    unjournalled,
)
from tests.functional.crowd_vandal import DEEDS, VANDAL
from tests.functional.crowd_world import World, keeper, moment

SEED = 1
LEAST_HALVES = 200
WRONG_AT_MOST = 0.01
"""Share of the confirmed entries that may be wrong by more than their own 95 % interval."""

LEAST_CONFIRMED = 0.6
"""Share of the right entries that must be confirmed; otherwise confirming nothing would satisfy the rule above."""

REFUSED_AT_MOST = 5
"""Largest number of acts by others, of more than a thousand, that depend on entries only the vandal had listed."""


@dataclass(frozen=True, kw_only=True)
class Story:
    """The catalogue with the vandal's acts before the undo, after it, and a catalogue without the vandal."""

    plan: Plan
    world: World
    without: World
    before: Snapshot
    after: Snapshot
    never: Snapshot
    undone: Undone
    versions: tuple[int, int]


def _snapshot(catalogue: Catalogue) -> Snapshot:
    with catalogue.reading() as session:
        return take_snapshot(session)


def _undo(catalogue: Catalogue, plan: Plan) -> Undone:
    with catalogue.writing() as session:
        return undo(session, keeper(len(plan.deeds)), VANDAL, moment(0))


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    folder = tmp_path_factory.mktemp("crowd")
    plan = make_plan(SEED)
    urls = [catalogues.placed(folder / name, catalogues.empty()) for name in ("with.sqlite3", "without.sqlite3")]
    with open_catalogue(urls[0]) as catalogue, open_catalogue(urls[1]) as quiet:
        world, without = World(catalogue=catalogue), World(catalogue=quiet)
        world.live(plan.deeds)
        without.live((place, deed) for place, deed in world.taken if deed.actor != VANDAL)
        before, version = _snapshot(catalogue), catalogue.version()
        undone = _undo(catalogue, plan)
        yield Story(
            plan=plan,
            world=world,
            without=without,
            before=before,
            after=_snapshot(catalogue),
            never=_snapshot(quiet),
            undone=undone,
            versions=(version, catalogue.version()),
        )


def _count(world: World, what: str, outcome: str, actor: str = "") -> int:
    return sum(
        number
        for (who, did, came), number in world.tally.items()
        if who.startswith(actor) and did == what and came == outcome
    )


def test_the_crowd_has_the_required_size(story: Story) -> None:
    actors = {deed.actor for _, deed in story.world.taken}
    assert len([name for name in actors if name.startswith("Keeper")]) == HONEST
    assert len([name for name in actors if name.startswith("Hasty")]) == CARELESS
    assert len(list(listed(story.never))) >= LEAST_HALVES
    for what in DEEDS:
        assert _count(story.world, what, "taken", VANDAL), what


def test_a_share_of_the_entries_is_wrong_as_first_reported(story: Story) -> None:
    types = story.plan.parts.types
    wrong = [record for record in listed(story.never) if mistaken_as_stated(record, types.get(record.key))]
    assert len(wrong) >= 0.05 * len(list(listed(story.never)))


def test_the_machine_review_keeps_slips_of_careless_people_out(story: Story) -> None:
    assert _count(story.world, "measure", "ReviewRefusedError", "Hasty") >= 5


@pytest.mark.parametrize("which", ["after", "never"])
def test_confirmed_entries_are_right(story: Story, which: str) -> None:
    counted = standings(getattr(story, which), story.plan.parts.types)
    confirmed = counted["confirmed", "right"] + counted["confirmed", "wrong"]
    right = sum(number for (_, truth), number in counted.items() if truth == "right")
    assert counted["confirmed", "wrong"] <= WRONG_AT_MOST * confirmed, counted
    assert counted["confirmed", "right"] >= LEAST_CONFIRMED * right, counted


def test_a_vandal_is_undone_in_one_call_and_one_transaction(story: Story) -> None:
    before, after = story.versions
    assert after == before + 1
    assert len(story.undone.taken_back) > sum(DEEDS.values()) / 2
    assert len(set(story.undone.taken_back)) == len(story.undone.taken_back)


def test_the_vandals_changes_kept_are_those_that_others_revised_or_measured(story: Story) -> None:
    authors = {record.key: record.author for record in listed(story.after)}
    assert story.undone.kept
    for kept in story.undone.kept:
        assert kept.by
        assert VANDAL not in kept.by
        assert kept.record != "half" or authors[kept.key] != VANDAL, kept


def test_after_the_undo_every_entry_is_as_if_the_vandal_had_never_come(story: Story) -> None:
    assert differences(story.before, story.never)
    assert differences(story.after, story.never) == {}


def test_after_the_undo_identification_answers_as_if_the_vandal_had_never_come(story: Story) -> None:
    observed = specimens(story.plan.parts.types, SEED)
    spoilt, repaired, never = (answers(each, observed) for each in (story.before, story.after, story.never))
    assert repaired == never
    assert spoilt != never


def test_the_acts_of_others_are_possible_without_the_vandal(story: Story) -> None:
    """Except statements about halves that only the vandal had listed."""
    refused = {key: number for key, number in story.without.tally.items() if key[2] != "taken"}
    assert all(outcome == "NotFoundError" for _, _, outcome in refused)
    assert sum(refused.values()) <= REFUSED_AT_MOST


def test_a_second_undo_finds_nothing(story: Story) -> None:
    again = _undo(story.world.catalogue, story.plan)
    assert (again.taken_back, again.reviewed) == ((), ())
    assert story.world.catalogue.version() == story.versions[1]


def test_the_journal_is_complete_and_in_order(story: Story) -> None:
    with story.world.catalogue.reading() as session:
        assert journal_faults(session) == []
        assert unjournalled(session) == []
