"""The demo catalogue is large and varied enough, physically possible, and can be loaded into a database."""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import combinations

import pytest

from catalog.db.database import Catalogue
from catalog.history.addition import add
from catalog.model.entries import Half, Series
from catalog.model.errors import DuplicateError
from catalog.records.queries import get_half
from matcher.features import CATEGORIES
from seeds_demo.loader import load_demo
from tests.seeds_demo.demo_physics import faults_of_half, faults_of_mating
from tests.seeds_demo.demo_world import value, world

CHIFFEREL_PLUG = "wrenstubble:chifferel-p60-05"
CHIFFEREL_RECEPTACLE = "wrenstubble:chifferel-r60-a"


def test_the_demo_has_enough_series_makers_and_halves() -> None:
    assert len(world().series) >= 36
    assert len({series.maker for series in world().series}) >= 9
    assert len(world().halves) > 2000


def test_part_numbers_are_unique() -> None:
    assert [key for key, times in Counter(half.key for half in world().listed).items() if times > 1] == []


def test_pitches_rows_and_stack_heights_cover_the_usual_range() -> None:
    pitches = {half.dimensions["pitch"].value for half in world().listed}
    stacks = {mating.stack_height.value for mating in world().matings if mating.stack_height}
    assert (min(pitches), max(pitches)) == (0.30, 2.54)
    assert {1, 2, 3, 4} <= {half.rows for half in world().listed}
    assert (min(stacks), max(stacks)) == (0.6, 20.0)


def test_every_half_can_be_made() -> None:
    faults = {(half.key, fault) for half in world().listed for fault in faults_of_half(half)}
    assert faults == set()


def test_every_mating_can_be_mated() -> None:
    halves = world().halves
    faults = {
        (m.half, m.other, fault)
        for m in world().matings
        for fault in faults_of_mating(m, halves[m.half], halves[m.other])
    }
    assert faults == set()


@pytest.mark.parametrize(
    ("key", "feature", "wrong", "fault"),
    [
        (CHIFFEREL_PLUG, "body_length", 20.0, "the body is shorter than its row of contacts"),
        (CHIFFEREL_PLUG, "overall_length", 20.0, "the hold-downs do not stand out of the body"),
        (CHIFFEREL_PLUG, "hold_down_land_span", 20.0, "the hold-downs stand over their lands"),
        (CHIFFEREL_PLUG, "peg_hole_span", 40.0, "the pegs are outside the body"),
        (CHIFFEREL_PLUG, "tail_span", 4.0, "the tails end inside the body"),
        (CHIFFEREL_PLUG, "land_span", 5.0, "the tails stand over their lands"),
        (CHIFFEREL_PLUG, "row_spacing", 5.0, "row_spacing is as wide as what encloses it"),
        (CHIFFEREL_PLUG, "contact_width", 0.9, "neighbouring contacts touch"),
        (CHIFFEREL_PLUG, "land_width", 0.9, "neighbouring lands touch"),
        (CHIFFEREL_PLUG, "land_length", 3.0, "the lands of two rows do not span what they are said to"),
        (CHIFFEREL_RECEPTACLE, "opening_width", 5.9, "opening_width leaves no wall"),
        (CHIFFEREL_PLUG, "opening_width", 4.0, "a plug has no opening_width"),
    ],
)
def test_a_half_that_cannot_be_made_is_recognised(key: str, feature: str, wrong: float, fault: str) -> None:
    assert fault in set(faults_of_half(_changed(world().halves[key], feature, wrong)))


@pytest.mark.parametrize(
    ("feature", "wrong", "fault"),
    [
        ("height", 5.2, "a half is taller than the stack"),
        ("height", 0.5, "the halves do not reach each other"),
        ("pitch", 0.79, "the pitches differ"),
        ("body_width", 5.5, "the plug has -0.56 mm of play in the opening_width"),
        ("body_width", 4.0, "the plug has 0.94 mm of play in the opening_width"),
    ],
)
def test_a_pair_that_cannot_be_mated_is_recognised(feature: str, wrong: float, fault: str) -> None:
    plug, receptacle = world().halves[CHIFFEREL_PLUG], world().halves[CHIFFEREL_RECEPTACLE]
    mating = next(m for m in world().matings if (m.half, m.other) == (plug.key, receptacle.key))
    assert fault in set(faults_of_mating(mating, _changed(plug, feature, wrong), receptacle))


def test_two_plugs_are_not_a_pair() -> None:
    plug = world().halves[CHIFFEREL_PLUG]
    mating = next(m for m in world().matings if m.half == plug.key)
    assert "a plug does not mate with a plug" in set(faults_of_mating(mating, plug, plug))


def _changed(half: Half, feature: str, wrong: float) -> Half:
    other = half.dimensions["pitch"].model_copy(update={"value": wrong})
    return half.model_copy(update={"dimensions": {**half.dimensions, feature: other}})


def test_every_half_has_the_fields_of_a_drawing() -> None:
    for half in world().listed:
        assert {"pitch", "body_length", "body_width", "height"} <= set(half.dimensions), half.key
        assert set(half.categories) | {"half_kind"} == set(CATEGORIES), half.key
        assert half.order_codes, half.key
        assert half.datasheet is not None, half.key
        assert half.mating_cycles is not None, half.key
        assert half.ratings is not None, half.key
        assert half.lifecycle != "unknown", half.key


def test_every_half_has_a_listed_mate() -> None:
    mated = {key for mating in world().matings for key in (mating.half, mating.other)}
    assert [half.key for half in world().listed if half.key not in mated] == []


def test_drawings_have_all_kinds_of_values() -> None:
    dimensions = [dimension for half in world().listed for dimension in half.dimensions.values()]
    assert {dimension.bound for dimension in dimensions} == {"nominal", "max", "min", "reference"}
    tolerances = {dimension.tolerance for dimension in dimensions}
    assert {None, 0.3, 0.08} <= tolerances


def test_contact_counts_have_gaps() -> None:
    laws = [law for series in world().series for law in series.kinds]
    with_gaps = [law for law in laws if _missing_sizes(law.contact_counts, law.rows)]
    assert len(with_gaps) >= 0.9 * len(laws)


def _missing_sizes(counts: tuple[int, ...], rows: int) -> bool:
    return set(range(min(counts), max(counts), rows)) > set(counts) - {max(counts)}


def test_all_kinds_of_construction_occur() -> None:
    halves = world().listed
    orientations = {v for half in halves for v in half.categories["orientation"]}
    assert orientations == {"vertical", "right_angle", "coplanar"}
    assert "ball_array" in {v for half in halves for v in half.categories["mounting"]}
    assert any(half.half_kind == "hermaphroditic" for half in halves)
    assert any(half.counts.get("power_contact_count", 0) > 0 for half in halves)
    assert any(half.counts.get("bank_count", 1) > 1 and "bank_gap" in half.dimensions for half in halves)
    assert any(half.blocked for half in halves)
    assert any(len(set(half.row_contacts)) > 1 for half in halves)
    assert any(half.markings for half in halves)


def test_all_three_forms_of_stack_laws_occur() -> None:
    forms = {_stack_form(series) for series in world().series if series.kinds}
    assert {"one", "plug heights", "matrix with gaps"} <= forms


def _stack_form(series: Series) -> str:
    classes = {kind.half_kind: len(kind.classes) for kind in series.kinds}
    plugs, receptacles = classes.get("plug", 0), classes.get("receptacle", 0)
    if (plugs, receptacles) == (1, 1):
        return "one"
    if receptacles == 1:
        return "plug heights"
    return "matrix with gaps" if len(series.stack) < plugs * receptacles else "matrix"


def test_some_halves_mate_across_makers_and_some_with_rows_swapped() -> None:
    crossing = [m for m in world().matings if m.half.split(":")[0] != m.other.split(":")[0]]
    assert {m.basis for m in crossing} == {"other_maker", "trial_fit"}
    assert "rows_swapped" in {m.correspondence for m in crossing if m.basis == "trial_fit"}
    assert {"identity", "reversed", "rows_swapped", "listed", "unknown"} == {m.correspondence for m in world().matings}


def test_clones_of_other_makers_differ_a_little_and_do_not_mate() -> None:
    """Same pitch, count and stack height; bodies differ by 0.05 to 0.2 mm; another form of hold-down; no mating."""
    plugs: dict[tuple[float, int, float], dict[str, Half]] = defaultdict(dict)
    for mating in world().matings:
        plug = world().halves[mating.half]
        if plug.half_kind == "plug" and mating.stack_height is not None:
            same = plug.dimensions["pitch"].value, plug.contact_count, mating.stack_height.value
            plugs[same][plug.key] = plug
    clones = {
        tuple(sorted((a.series, b.series)))
        for group in plugs.values()
        for a, b in combinations(group.values(), 2)
        if a.maker != b.maker and _near_clones(a, b) and not _mate_across(a, b)
    }
    assert len(clones) >= 5, clones


def _near_clones(a: Half, b: Half) -> bool:
    apart = abs(a.dimensions["body_width"].value - b.dimensions["body_width"].value)
    return 0.049 < apart < 0.201 and a.categories["hold_down_form"] != b.categories["hold_down_form"]


def _mate_across(a: Half, b: Half) -> bool:
    return any(world().halves[key].series == b.series for key in world().mates(a.key))


def test_some_series_differ_in_one_dimension_only() -> None:
    assert _differing("whinbrake:larkrel-p30", "whinbrake:curlewick-p30") == {"height"}
    assert _differing("whinbrake:larkrel-r30", "whinbrake:curlewick-r30") == {"height"}


def _differing(first: str, second: str) -> set[str]:
    a, b = world().halves[first], world().halves[second]
    assert (a.categories, a.counts) == (b.categories, b.counts)
    return {name for name in {*a.dimensions, *b.dimensions} if value(a, name) != value(b, name)}


def test_loading_the_demo_twice_changes_nothing(catalogue: Catalogue) -> None:
    first, second = load_demo(catalogue), load_demo(catalogue)
    with catalogue.reading() as session:
        assert get_half(session, CHIFFEREL_PLUG).half == world().halves[CHIFFEREL_PLUG]
    assert first.added == {"series": len(world().series), "half": len(world().halves), "mating": len(world().matings)}
    assert second.unchanged == first.added


def test_a_catalogue_with_other_content_is_left_unchanged(catalogue: Catalogue) -> None:
    with catalogue.writing() as session:
        add(session, [_changed(world().halves[CHIFFEREL_PLUG], "height", 3.1)])
    version = catalogue.version()
    with pytest.raises(DuplicateError):
        load_demo(catalogue)
    assert catalogue.version() == version


def test_most_series_state_their_numbering_in_every_scheme_and_some_do_not() -> None:
    stated = {series.key: {kind.numbering for kind in series.kinds} for series in world().series}
    unstated = [key for key, numberings in stated.items() if None in numberings]
    assert 4 <= len(unstated) <= len(stated) / 3
    schemes = Counter(each.scheme for numberings in stated.values() for each in numberings if each is not None)
    assert min(schemes[name] for name in ("row_by_row", "zigzag", "around")) >= 8
    assert {half.numbering.blocked for half in world().listed if half.numbering and half.blocked} == {
        "skipped",
        "counted",
    }
