"""Advice: the order of measurements, two that help only together, and when to stop."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow, MatingRow
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.posterior import posterior
from matcher.observations import Observation, Of, Reduced
from matcher.results import Advice, Reason
from matcher.uncertainty.reduce import reduce
from tests.matcher.invented import invented_columns


def row(key: str, kind: str, **sizes: float) -> HalfRow:
    return HalfRow(
        key=key,
        series=f"series of {key}",
        dimensions={"pitch": Dim(value=0.5), **{name: Dim(value=value) for name, value in sizes.items()}},
        counts={"contact_count": 20, "rows": 2},
        categories={"half_kind": frozenset({kind})},
        texts=(),
    )


def only_together() -> Columns:
    """Four plugs of two lengths and two widths. Long-and-wide and short-and-narrow mate with one receptacle, the others
    with another: neither size alone says anything about the receptacle. The height says a little."""
    plugs = [
        row("long wide", "plug", body_length=12.0, body_width=7.0, height=1.00),
        row("short narrow", "plug", body_length=10.0, body_width=5.0, height=1.00),
        row("long narrow", "plug", body_length=12.0, body_width=5.0, height=1.06),
        row("short wide", "plug", body_length=10.0, body_width=7.0, height=1.06),
    ]
    receptacles = [
        row("first", "receptacle", body_length=14.0, body_width=9.0, height=2.0),
        row("second", "receptacle", body_length=14.5, body_width=9.5, height=2.0),
    ]
    mates = {"long wide": "first", "short narrow": "first", "long narrow": "second", "short wide": "second"}
    matings = [MatingRow(half=plug, other=other, dimensions={}) for plug, other in mates.items()]
    return build_columns([*plugs, *receptacles], matings)


def advice_on(
    columns: Columns, observations: list[Observation], prior_absent: float = 0.02, **options: object
) -> Advice:
    model = fit_absent(columns)
    readings = reduce(observations) if observations else ()
    return advise(posterior(columns, model, readings, prior_absent), **options)  # type: ignore[arg-type]


KNOWN = [
    Observation(feature="half_kind", value="plug"),
    Observation(feature="contact_count", value=20),
    Observation(feature="rows", value=2),
]


def test_two_features_that_help_only_together_are_asked_for_and_settle_the_order() -> None:
    columns, observed = only_together(), list(KNOWN)
    sizes = {"body_length": 12.0, "body_width": 5.0, "height": 1.06}
    first = advice_on(columns, observed)
    assert {each.feature for each in first.measurements[:2]} == {"body_length", "body_width"}
    asked = first.measurements[0]
    assert asked.together_with == first.measurements[1].feature
    assert asked.together_bits is not None
    assert asked.together_bits > 2 * asked.bits
    for _ in range(2):
        advice = advice_on(columns, observed)
        assert not advice.settled
        feature = advice.measurements[0].feature
        observed.append(Observation(feature=feature, value=sizes[feature]))
    assert advice_on(columns, observed).reason is Reason.ORDER_SETTLED


def test_halves_with_the_same_mate_need_not_be_told_apart() -> None:
    plugs = [row(f"plug {i}", "plug", body_length=10.0 + i, body_width=5.0) for i in range(3)]
    mate = row("mate", "receptacle", body_length=20.0, body_width=9.0)
    matings = [MatingRow(half=plug.key, other="mate", dimensions={}) for plug in plugs]
    columns = build_columns([*plugs, mate], matings)
    advice = advice_on(columns, [*KNOWN, Observation(feature="body_width", value=5.0)])
    assert advice.reason is Reason.ORDER_SETTLED
    alone = build_columns([*plugs, mate], [])
    assert advice_on(alone, [*KNOWN, Observation(feature="body_width", value=5.0)]).reason is Reason.KEEP_MEASURING


def test_advice_says_that_twins_cannot_be_told_apart_with_the_instruments_at_hand() -> None:
    twins = [
        row("a", "plug", body_length=10.0, body_width=5.0, row_spacing=1.0),
        row("b", "plug", body_length=10.0, body_width=5.0, row_spacing=1.5),
    ]
    columns = build_columns(twins, [])
    observed = [*KNOWN, Observation(feature="body_length", value=10.0), Observation(feature="body_width", value=5.0)]
    blind = advice_on(columns, observed, at_hand=("micrometer",))
    assert blind.reason is Reason.NOTHING_TELLS
    seeing = advice_on(columns, observed, at_hand=("micrometer", "microscope"))
    assert not seeing.settled
    assert seeing.measurements[0].feature == "row_spacing"
    assert seeing.measurements[0].instrument == "microscope"
    assert {each.key: each.value for each in seeing.measurements[0].predicted} == {"a": 1.0, "b": 1.5}


def test_the_resolution_asked_for_follows_from_the_distance_between_candidates() -> None:
    limits: dict[float, float | None] = {}
    for apart in (0.3, 1.0, 3.0):
        pair = [
            row("a", "plug", body_length=10.0, body_width=5.0),
            row("b", "plug", body_length=10.0 + apart, body_width=5.0),
        ]
        advice = advice_on(build_columns(pair, []), list(KNOWN))
        limits[apart] = next(m for m in advice.measurements if m.feature == "body_length").measure_to_within_mm
    assert limits[3.0] is None  # half a millimetre is enough
    assert limits[0.3] is not None
    assert limits[1.0] is None or limits[1.0] > limits[0.3]
    assert limits[0.3] <= 0.1


def test_a_specimen_unlike_any_entry_is_settled_as_absent() -> None:
    columns = invented_columns(6)
    strange = {"pitch": 3.1, "body_length": 91.0, "body_width": 17.0, "height": 9.0, "land_span": 31.0}
    observed = [Observation(feature=name, value=value) for name, value in strange.items()]
    advice = advice_on(columns, [*observed, Observation(feature="contact_count", value=33)], prior_absent=0.1)
    assert advice.reason is Reason.ABSENT_SETTLED


def test_without_observations_the_advice_covers_the_whole_catalogue() -> None:
    columns = invented_columns(6)
    advice = advice_on(columns, [], prior_absent=0.1)
    assert not advice.settled
    assert advice.open_bits == pytest.approx(0.9 * np.log2(len(set(columns.geometry))) + 0.469, abs=0.25)
    assert advice.measurements[0].bits > 2.0
    assert all(not each.again for each in advice.measurements)


def test_features_the_person_excluded_are_not_asked_for() -> None:
    columns = invented_columns(6)
    advice = advice_on(columns, [], features=("rows", "height"))
    assert {each.feature for each in advice.measurements} <= {"rows", "height"}


def test_without_instruments_only_counts_and_categories_are_asked_for() -> None:
    advice = advice_on(invented_columns(6), [], at_hand=())
    assert advice.measurements
    assert all(each.instrument is None for each in advice.measurements)


def test_the_pitch_is_asked_for_over_all_gaps_of_a_row() -> None:
    pair = [row("a", "plug"), HalfRow(**{**vars(row("b", "plug")), "dimensions": {"pitch": Dim(value=0.52)}})]
    advice = advice_on(build_columns(pair, []), list(KNOWN))
    pitch = next(each for each in advice.measurements if each.feature == "pitch")
    assert pitch.spans == 9


def follow(columns: Columns, true: int, sizes: Mapping[str, float]) -> int:
    """Readings taken as advised until the order is settled."""
    taken: list[Observation] = []
    while not (advice := advice_on(columns, taken, prior_absent=0.05)).settled and advice.measurements:
        name = advice.measurements[0].feature
        value = sizes[name] if name in sizes else int(columns.counts[name][true])
        taken.append(Observation(feature=name, value=value))
    return len(taken)


def test_following_the_advice_comes_to_an_end() -> None:
    columns = invented_columns(5)
    names = ("pitch", "body_length", "body_width", "land_span", "height")
    for true in (0, 31, 77):
        sizes = {name: float(columns.dimensions[name].stated[true]) for name in names}
        assert 2 <= follow(columns, true, sizes) <= 8


def test_a_reading_that_is_probably_a_slip_is_worth_repeating() -> None:
    columns = build_columns(
        [
            row("a", "plug", body_length=10.0, body_width=5.0),
            row("b", "plug", body_length=14.0, body_width=5.6),
        ],
        [],
    )
    slip = [Reduced(index=0, feature="body_length", value=10.0, u=0.03, total_u=0.03)]
    slip.append(Reduced(index=1, feature="body_width", value=5.6, u=0.03, total_u=0.03))
    model = fit_absent(columns)
    advice = advise(posterior(columns, model, slip, 0.02))
    again = [each for each in advice.measurements if each.again]
    assert {each.feature for each in again} == {"body_length", "body_width"}
    assert again[0].bits > 0.1


def stacked() -> Columns:
    """Two plugs that no caliper tells apart, with stacking heights of 1.5 and 2.0 mm."""
    plugs = [row(f"plug {i}", "plug", body_length=10.0, body_width=5.0, height=1.0 + 0.03 * i) for i in range(2)]
    mates = [row(f"mate {i}", "receptacle", body_length=12.0 + i, body_width=7.0 + i) for i in range(2)]
    matings = [
        MatingRow(half=f"plug {i}", other=f"mate {i}", dimensions={"stack_height": Dim(value=1.5 + 0.5 * i)})
        for i in range(2)
    ]
    return build_columns([*plugs, *mates], matings)


def test_the_mated_pair_is_asked_for_only_when_it_is_at_hand() -> None:
    alone = [*KNOWN, Observation(feature="body_length", value=10.0), Observation(feature="body_width", value=5.0)]
    assert all(each.feature != "stack_height" for each in advice_on(stacked(), alone).measurements)
    at_hand = Observation(feature="contact_count", value=20, of=Of.OTHER)
    advised = advice_on(stacked(), [*alone, at_hand]).measurements
    assert advised[0].feature == "stack_height"
    assert advised[0].bits > 0.8
    assert {each.key: each.value for each in advised[0].predicted} == {"plug 0": 1.5, "plug 1": 2.0}
