"""Hints: correction, wording and effect for each mistake; no hint where nothing is wrong or nothing can be known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Dim
from matcher.decision.likely_slips import Hint, hints
from matcher.decision.posterior import posterior
from matcher.observations import UNSCALED_SD, Of, Reduced, SharedError, SharedKind
from matcher.results import Verdict
from tests.matcher.invented import invented_absent, invented_columns, invented_rows

ROWS, MATINGS = invented_rows(12)
ROWS = [
    replace(
        row,
        dimensions=row.dimensions
        | {
            "overall_length": Dim(value=row.dimensions["body_length"].value + 1.2),
            "tail_span": Dim(value=row.dimensions["body_width"].value + 0.5),
        },
        counts={**row.counts, "power_contact_count": 3},
    )
    for row in ROWS
]
COLUMNS = build_columns(ROWS, MATINGS)
TRUE = COLUMNS.keys.index("receptacle-2-30")
PITCH = float(COLUMNS.dimensions["pitch"].stated[TRUE])
IN_ROWS = int(COLUMNS.counts["rows"][TRUE])
SPANS, U = 7, 0.02
DIMENSIONS = ("body_length", "body_width", "land_span", "height")


@cache
def model() -> AbsentModel:
    """Fitted by the first test that asks, not by every process that collects."""
    return fit_absent(COLUMNS)


def size(name: str) -> float:
    """The size that the catalogue states for the true half."""
    return float(COLUMNS.dimensions[name].stated[TRUE])


def specimen(scale: float = 1.0, shared: SharedError | None = None) -> dict[str, Reduced]:
    """Readings of the true half by feature, without mistakes and each a little off."""
    given = [
        Reduced(index=0, feature="contact_count", count=30),
        Reduced(index=1, feature="rows", count=IN_ROWS),
        Reduced(index=2, feature="half_kind", values=frozenset({"receptacle"})),
        Reduced(index=3, feature="pitch", value=PITCH * scale, u=U / SPANS * scale, spans=SPANS, shared=shared),
    ]
    for index, name in enumerate(DIMENSIONS, start=4):
        given.append(Reduced(index=index, feature=name, value=(size(name) + 0.02) * scale, u=U * scale, shared=shared))
    return {o.feature: replace(o, total_u=o.u) for o in given}


def found(observations: Sequence[Reduced], prior_absent: float = 0.1) -> tuple[Hint, ...]:
    """Hints for the observations."""
    result = posterior(COLUMNS, model(), observations, prior_absent)
    return hints(result, observations)


def hints_with(name: str, /, **wrong: object) -> tuple[Hint, ...]:
    """Hints when one observation is replaced."""
    given = specimen()
    given[name] = replace(given[name], **wrong)  # type: ignore[arg-type]
    return found(list(given.values()))


STACK = float(COLUMNS.matings.dimensions["stack_height"].stated[COLUMNS.matings.half == TRUE][0])
MISTAKES: dict[str, tuple[str, dict[str, object], dict[str, object], str]] = {
    "inches": ("body_length", {"value": size("body_length") / 25.4}, {"unit": "in"}, "in inches"),
    "mils": ("body_length", {"value": size("body_length") / 0.0254}, {"unit": "mil"}, "in mils"),
    "unit_mixed_up": ("body_width", {"value": size("body_width") * 1000.0}, {"unit": "um"}, "another one (um)"),
    "contacts_for_gaps": ("pitch", {"value": PITCH * 7 / 8, "spans": 8}, {"spans": 7}, "7 gaps between"),
    "gap_missed": ("pitch", {"value": PITCH * 7 / 6, "spans": 6}, {"spans": 7}, "over 7 gaps"),
    "twice_the_pitch": ("pitch", {"value": PITCH * 2}, {"value": PITCH}, "every second contact"),
    "half_the_pitch": ("pitch", {"value": PITCH / 2}, {"value": PITCH}, "contacts of two rows"),
    "overall_length_for_body_length": (
        "body_length",
        {"value": size("overall_length")},
        {"feature": "overall_length"},
        "over the hold-downs",
    ),
    "body_length_for_overall_length": (
        "body_length",
        {"feature": "overall_length"},
        {"feature": "body_length"},
        "leave the hold-downs out",
    ),
    "tail_span_for_body_width": (
        "body_width",
        {"value": size("tail_span")},
        {"feature": "tail_span"},
        "over the tails",
    ),
    "receptacle_for_plug": ("half_kind", {"values": frozenset({"plug"})}, {"value": "receptacle"}, "be a receptacle"),
    "hold_downs_counted": ("contact_count", {"count": 34}, {"value": 30}, "hold-downs may be counted in"),
    "power_contacts_counted": ("contact_count", {"count": 33}, {"value": 30}, "power contacts may be counted in"),
    "one_row_only": ("contact_count", {"count": 30 // IN_ROWS}, {"value": 30}, "one row only"),
    "board_thickness": (
        "height",
        {"value": size("height") + 1.0},
        {"min": size("height") + 1.0 - 2.4, "max": size("height") + 0.6},
        "board's thickness",
    ),
    "stack_height_for_height": (
        "height",
        {"value": STACK},
        {"feature": "stack_height", "of": "pair"},
        "of the mated pair",
    ),
    "rows_swapped": ("rows", {"count": 30 // IN_ROWS}, {"value": IN_ROWS}, "contacts of one row"),
    "miscounted": ("contact_count", {"count": 30 + IN_ROWS}, {"value": 30}, "miscounted"),
}


@pytest.mark.parametrize("kind", MISTAKES)
def test_a_mistake_is_named_with_its_correction(kind: str) -> None:
    feature, wrong, corrected, words = MISTAKES[kind]
    given = hints_with(feature, **wrong)
    hint = next((hint for hint in given[:2] if hint.kind == kind), None)
    assert hint is not None, [hint.kind for hint in given]
    assert words in hint.message
    assert hint.corrected == pytest.approx(corrected)
    assert hint.index == specimen()[feature].index
    assert hint.indices == (hint.index,)


def test_a_height_that_is_really_the_stacking_height_is_named() -> None:
    stack = Reduced(index=9, feature="stack_height", of=Of.PAIR, value=size("height"), u=U, total_u=U)
    (hint, *_) = found([*specimen().values(), stack])
    assert hint.kind == "height_for_stack_height"
    assert hint.of is Of.PAIR
    assert hint.corrected == {"feature": "height", "of": "this"}


def test_inches_of_the_other_half_are_named() -> None:
    mate = COLUMNS.keys.index("plug-2-30")
    width = float(COLUMNS.dimensions["body_width"].stated[mate]) / 25.4
    other = Reduced(index=9, feature="body_width", of=Of.OTHER, value=width, u=U, total_u=U)
    (hint, *_) = found([*specimen().values(), other])
    assert hint.kind == "inches"
    assert "of the other half" in hint.message


@pytest.mark.parametrize(("factor", "unit"), [(25.4, "inches"), (0.0254, "mils")])
def test_every_length_in_one_unit_is_one_hint(factor: float, unit: str) -> None:
    given = [o if o.value is None else replace(o, value=o.value / factor) for o in specimen().values()]
    (hint, *_) = found(given)
    assert hint.kind == f"everything_in_{unit}"
    assert hint.index is None
    assert hint.indices == (3, 4, 5, 6, 7)
    assert hint.message == f"All lengths may be in {unit}, typed as mm."
    assert hint.first == COLUMNS.keys[TRUE]


def test_tails_are_recognised_by_the_land_pattern_where_no_span_over_them_is_stated() -> None:
    columns, given = invented_columns(12), specimen()
    over = float(columns.dimensions["land_span"].stated[TRUE]) - 0.6
    given["body_width"] = replace(given["body_width"], value=over)
    observations = list(given.values())
    assert over > size("body_width") + 0.25
    (hint, *_) = hints(posterior(columns, invented_absent(12), observations), observations)
    assert hint.kind == "tail_span_for_body_width"


def test_hold_downs_are_recognised_by_the_housing_where_no_overall_length_is_stated() -> None:
    columns, given = invented_columns(12), specimen()
    given["body_length"] = replace(given["body_length"], value=size("body_length") + 2.13)
    observations = list(given.values())
    named = [hint.kind for hint in hints(posterior(columns, invented_absent(12), observations), observations)]
    assert "overall_length_for_body_length" in named


def test_a_half_without_hold_downs_has_no_length_over_them() -> None:
    rows, matings = invented_rows(12)
    bare = [replace(row, counts={**row.counts, "hold_down_count": 0}) for row in rows]
    columns = build_columns(bare, matings)
    given = specimen()
    given["body_length"] = replace(given["body_length"], value=size("body_length") + 2.13)
    observations = list(given.values())
    named = [hint.kind for hint in hints(posterior(columns, fit_absent(columns), observations), observations)]
    assert "overall_length_for_body_length" not in named


def test_a_hint_says_what_it_would_change() -> None:
    hint = hints_with("contact_count", count=34)[0]
    assert hint.first == COLUMNS.keys[TRUE]
    assert hint.first_probability > 0.9
    assert hint.verdict is Verdict.IDENTIFIED
    assert COLUMNS.keys[TRUE] in hint.change
    assert f"{hint.first_probability:.2f}" in hint.change
    assert "identified" in hint.change


def test_the_answer_in_a_hint_is_that_of_the_corrected_observations() -> None:
    given = specimen()
    counted = replace(given["contact_count"], count=34)
    hint = found([counted, *(o for name, o in given.items() if name != "contact_count")])[0]
    answer = posterior(COLUMNS, model(), list(given.values()))
    first = np.exp(answer.log_geometry[answer.order[0]])
    assert hint.kind == "hold_downs_counted"
    assert hint.first_probability == pytest.approx(float(first), abs=1e-9)
    assert hint.probability_absent == pytest.approx(answer.probability_absent, abs=1e-9)


def test_the_answer_of_a_unit_hint_keeps_the_shared_zero_error() -> None:
    zero = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.0115)
    given = specimen(shared=zero)
    typed = replace(given["body_length"], value=given["body_length"].number / 25.4)
    hint = found([typed if o.feature == "body_length" else o for o in given.values()])[0]
    answer = posterior(COLUMNS, model(), list(given.values()))
    assert hint.kind == "inches"
    assert hint.first_probability == pytest.approx(float(np.exp(answer.log_geometry[answer.order[0]])), abs=1e-3)


def test_a_pitch_wrong_by_a_factor_is_found_in_a_picture_without_scale() -> None:
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    given = specimen(scale=80.0, shared=picture)
    given["pitch"] = replace(given["pitch"], value=given["pitch"].number * 2)
    (hint, *_) = found(list(given.values()))
    assert hint.kind == "twice_the_pitch"
    assert "px" in hint.message


@pytest.mark.parametrize(("kind", "spans"), [("contacts_for_gaps", 15), ("gap_missed", 13)])
def test_one_gap_miscounted_among_many_is_found_in_a_picture_without_scale(kind: str, spans: int) -> None:
    """7 % of the pitch: less than the tolerance of one gap, but far more than that of fourteen."""
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    given = specimen(scale=80.0, shared=picture)
    wrong = PITCH * 80.0 * 14 / spans
    given["pitch"] = replace(given["pitch"], value=wrong, spans=spans, u=U * 80.0 / spans, total_u=U * 80.0 / spans)
    hint = found(list(given.values()))[0]
    assert (hint.kind, hint.corrected["spans"]) == (kind, 14)


def test_a_miscounted_gap_cannot_be_found_in_a_picture_of_the_pitch_alone() -> None:
    """One length fits with some scale."""
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    given = specimen(scale=80.0, shared=picture)
    wrong = replace(given["pitch"], value=PITCH * 80.0 * 14 / 15, spans=15)
    others = [o for o in given.values() if o.feature not in (*DIMENSIONS, "pitch")]
    assert not {hint.kind for hint in found([*others, wrong])} & {"contacts_for_gaps", "gap_missed"}


def test_units_are_never_blamed_in_a_picture_without_scale() -> None:
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    given = specimen(scale=80.0, shared=picture)
    given["body_length"] = replace(given["body_length"], value=given["body_length"].number / 25.4)
    kinds = {hint.kind for hint in found(list(given.values()))}
    assert not kinds & {"inches", "mils", "unit_mixed_up", "everything_in_inches", "everything_in_mils"}


def test_a_specimen_without_mistakes_gets_no_hint() -> None:
    assert found(list(specimen().values())) == ()


def test_a_specimen_without_mistakes_gets_no_hint_where_absent_is_ruled_out() -> None:
    assert found(list(specimen().values()), prior_absent=0.0) == ()


def test_a_mistake_is_named_where_absent_is_ruled_out() -> None:
    given = specimen()
    given["contact_count"] = replace(given["contact_count"], count=34)
    assert found(list(given.values()), prior_absent=0.0)[0].kind == "hold_downs_counted"


def test_a_picture_without_mistakes_gets_no_hint_whatever_its_scale() -> None:
    picture = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)
    assert found(list(specimen(scale=80.0, shared=picture).values())) == ()


def test_a_fitting_stack_gets_no_hint() -> None:
    stack = Reduced(index=9, feature="stack_height", of=Of.PAIR, value=STACK, u=U, total_u=U)
    assert found([*specimen().values(), stack]) == ()


def test_a_single_reading_gets_no_hint() -> None:
    assert found([specimen()["body_length"]]) == ()


def test_a_specimen_unlike_any_entry_gets_no_hint_that_is_certain_of_a_half() -> None:
    given = specimen()
    for name, wrong in (("body_length", 41.3), ("body_width", 15.7), ("land_span", 22.9), ("height", 11.1)):
        given[name] = replace(given[name], value=wrong)
    assert all(hint.probability_absent > 0.5 for hint in found(list(given.values())))


def test_bounds_and_sets_of_values_are_not_blamed() -> None:
    given = specimen()
    bound = Reduced(index=4, feature="body_length", at_least=size("body_length") + 3.0, u=U, total_u=U)
    either = Reduced(index=2, feature="half_kind", values=frozenset({"plug", "hermaphroditic"}))
    rest = [o for name, o in given.items() if name not in ("body_length", "half_kind")]
    assert not {2, 4} & {hint.index for hint in found([*rest, bound, either])}


def test_hints_are_sorted_by_probability_and_each_mistake_appears_once() -> None:
    given = hints_with("contact_count", count=30 + IN_ROWS)
    probabilities = [hint.probability for hint in given]
    assert probabilities == sorted(probabilities, reverse=True)
    assert sum(probabilities) <= 1.0 + 1e-9
    assert len({(hint.kind, hint.indices) for hint in given}) == len(given)


def test_only_hints_above_the_threshold_are_shown() -> None:
    given = specimen()
    given["contact_count"] = replace(given["contact_count"], count=34)
    observations = list(given.values())
    result = posterior(COLUMNS, model(), observations)
    assert hints(result, observations, shown_from=1.0) == ()
    assert all(hint.probability >= 0.5 for hint in hints(result, observations, shown_from=0.5))
