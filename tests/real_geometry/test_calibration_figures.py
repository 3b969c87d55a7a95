"""The figures that the studies print, on values worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.results import Verdict
from tests.matcher.invented import invented_rows
from tests.real_geometry.noise_study import Answer, Answers, specimens
from tests.real_geometry.simulated.absence import GONE, RULES, Ratios, batches, put_together, without
from tests.real_geometry.simulated.calibration import Share, calibration_error, calibration_floor
from tests.real_geometry.simulated.noises import NOISES


def test_the_calibration_error_is_the_mean_gap_of_equal_count_bins() -> None:
    """Bins {0.2, 0.4} and {0.6, 1.0}: |0.5 − 0.3| and |1 − 0.8|, half the answers each."""
    stated, happened = np.array([0.6, 0.2, 1.0, 0.4]), np.array([True, False, True, True])
    assert calibration_error(stated, happened, bins=2) == pytest.approx(0.2)


def test_gaps_within_a_bin_cancel_and_between_bins_do_not() -> None:
    stated, happened = np.array([0.2, 0.8]), np.array([True, False])
    assert calibration_error(stated, happened, bins=1) == pytest.approx(0.0)
    assert calibration_error(stated, happened, bins=2) == pytest.approx(0.8)


def test_an_answer_of_weight_three_counts_as_three_answers() -> None:
    stated, happened = np.array([0.1, 0.5, 0.9]), np.array([False, True, True])
    weighed = calibration_error(stated, happened, np.array([3.0, 1.0, 2.0]), bins=2)
    repeated = calibration_error(np.repeat(stated, [3, 1, 2]), np.repeat(happened, [3, 1, 2]), bins=2)
    assert weighed == pytest.approx(repeated)
    assert weighed == pytest.approx(0.5 * 0.1 + 0.5 * abs(1.0 - (0.5 + 1.8) / 3))


def test_the_floor_of_one_answer_is_its_mean_distance_from_the_outcome() -> None:
    """p (1 − p) + (1 − p) p = 0.42 at 0.3; 4,000 draws know it to 0.003."""
    assert calibration_floor(np.array([0.3]), resamples=4000) == pytest.approx(0.42, abs=0.012)


def test_the_floor_falls_with_the_square_root_of_the_answers() -> None:
    """One bin of n answers at one half: √(2 / π) × 0.5 / √n."""
    floor = calibration_floor(np.full(400, 0.5), bins=1, resamples=2000)
    assert floor == pytest.approx(np.sqrt(2 / np.pi) * 0.5 / 20, rel=0.06)


def test_certain_answers_have_no_floor() -> None:
    assert calibration_floor(np.array([0.0, 1.0, 1.0])) == 0.0


def test_a_share_holds_up_to_two_standard_errors_of_what_was_stated() -> None:
    """Four answers at 0.5: √(4 × 0.25) / 4 = 0.25 is one standard error."""
    stated = np.full(4, 0.5)
    found = Share.of(np.array([True, True, True, False]), stated)
    assert (found.happened, found.stated, found.two_errors) == (0.75, 0.5, 0.5)
    assert found.holds
    assert not Share.of(np.full(100, True), np.full(100, 0.5)).holds
    assert not Share.of(np.array([True]), np.array([0.0])).holds


def test_a_share_of_no_answers_is_zero_and_holds() -> None:
    nothing = Share.of(np.zeros(0, dtype=np.bool_), np.zeros(0))
    assert (nothing.happened, nothing.stated, nothing.two_errors, nothing.holds) == (0.0, 0.0, 0.0, True)


def _answer(verdict: Verdict, first: float, absent: float, *, listed: bool = True, right: bool = True) -> Answer:
    return Answer(listed=listed, right=right, first=first, absent=absent, verdict=verdict)


def test_answers_are_counted_by_verdict() -> None:
    """Identified: right, wrong, absent (wrong too); no match: one listed, one absent; a shortlist."""
    answers = Answers.of(
        [
            _answer(Verdict.IDENTIFIED, 0.995, 0.004),
            _answer(Verdict.IDENTIFIED, 0.9, 0.1, right=False),
            _answer(Verdict.IDENTIFIED, 0.92, 0.06, listed=False, right=False),
            _answer(Verdict.NO_MATCH, 0.2, 0.7, right=False),
            _answer(Verdict.NO_MATCH, 0.1, 0.9, listed=False, right=False),
            _answer(Verdict.SHORTLIST, 0.6, 0.2),
        ]
    )
    wrong = answers.wrong(answers.identified)
    assert wrong.happened == pytest.approx(2 / 3)
    assert wrong.stated == pytest.approx((0.005 + 0.1 + 0.08) / 3)
    assert answers.wrong_of_listed(answers.identified).stated == pytest.approx((1 - 0.995 / 0.996) / 2)
    assert answers.share(answers.identified) == pytest.approx(2 / 4)
    assert answers.share(answers.sure) == pytest.approx(1 / 4)
    refused = answers.refused()
    assert (refused.happened, refused.stated) == pytest.approx((1 / 4, (0.3 + 0.1) / 4))
    assert refused.two_errors == pytest.approx(2 * np.sqrt(0.21 + 0.09) / 4)
    assert answers.doubt() == pytest.approx((0.1 + 0.2) / 2)


def test_one_specimen_in_ten_is_absent_and_the_others_are_those_of_the_main_study() -> None:
    chosen = specimens(50, 90)
    assert [listed for _, _, listed in chosen] == [True] * 90 + [False] * 10
    assert [half for _, half, listed in chosen if listed] == np.random.default_rng(7).choice(50, size=90).tolist()
    assert [number for number, _, _ in chosen] == list(range(100))


def test_the_mean_ratio_is_bootstrapped_over_series() -> None:
    """Series of ratios 1 and 3, two specimens each: means are 1, 2 or 3 with probabilities 1/4, 1/2, 1/4."""
    result = Ratios(absent=np.log([1.0, 1.0, 3.0, 3.0]), present=np.log([9.0]), series=np.array([4, 4, 8, 8]))
    assert result.mean_ratio() == pytest.approx((2.0, 1.0, 3.0))
    alike = Ratios(absent=np.log([1.0, 3.0, 1.0, 3.0]), present=np.log([9.0]), series=np.array([4, 4, 8, 8]))
    assert alike.mean_ratio() == pytest.approx((2.0, 2.0, 2.0))


def test_ratios_give_shares_auroc_and_doubt() -> None:
    """Of six pairs (absent, present) five have the larger ratio present. At prior 0.1: P(absent) = 1 / (1 + 9 L)."""
    result = Ratios(absent=np.log([0.1, 1.0, 20.0]), present=np.log([11.0, 100.0]), series=np.arange(3))
    assert result.share_from(10) == pytest.approx(1 / 3)
    assert result.share_from(100) == 0.0
    assert result.auroc() == pytest.approx(5 / 6)
    assert result.doubt(0.1) == pytest.approx((1 / 100 + 1 / 901) / 2)


def test_absent_is_calibrated_where_its_ratios_are_true() -> None:
    """L = 1/9 for nine of ten absent and one of ten listed specimens: at a prior of one half that says 0.9, rightly."""
    absent, present = np.repeat([1 / 9, 9.0], [9, 1]), np.repeat([1 / 9, 9.0], [1, 9])
    result = Ratios(absent=np.log(absent), present=np.log(present), series=np.arange(10))
    error, floor = result.calibration(0.5)
    assert error == pytest.approx(0.0, abs=1e-12)
    assert floor > 0.0
    assert result.calibration_error(0.5) == pytest.approx(0.0, abs=1e-12)


def test_equal_probabilities_share_a_bin_in_any_order() -> None:
    stated, happened = np.full(6, 0.5), np.array([True, True, True, False, False, False])
    assert calibration_error(stated, happened, bins=3) == pytest.approx(0.0)


def test_batches_are_put_together_in_order() -> None:
    one, two = (Ratios(absent=np.array([x]), present=np.array([x]), series=np.array([int(x)])) for x in (1.0, 2.0))
    joined = put_together([{("all", "series"): one}, {("all", "series"): two}])["all", "series"]
    assert joined.absent.tolist() == [1.0, 2.0]
    assert joined.series.tolist() == [1, 2]


def test_the_rules_leave_out_a_series_or_its_twins_in_other_series_too() -> None:
    """A series and a copy of it: each half has one twin in the copy, until that twin's height is another."""
    rows, _ = invented_rows(1)
    tried = rows[0]
    copies = [replace(row, key=f"copy of {row.key}", series="copy") for row in rows]
    columns = build_columns([*rows, *copies], [])
    model = fit_absent(columns)
    left = {rule: without(columns, model, 0, features)[0].prior_weight for rule, features in RULES.items()}
    assert (left["series"] == GONE).tolist() == [True] * len(rows) + [False] * len(rows)
    assert (left["and twins"] == GONE).tolist() == [True] * (len(rows) + 1) + [False] * (len(rows) - 1)
    other = replace(tried.dimensions["height"], value=tried.dimensions["height"].value + 0.2)
    copies[0] = replace(copies[0], dimensions={**tried.dimensions, "height": other})
    taller = build_columns([*rows, *copies], [])
    assert not np.any(without(taller, model, 0, RULES["and twins"])[0].prior_weight[len(rows) :] == GONE)


def test_every_series_is_held_out_in_one_batch() -> None:
    rows, _ = invented_rows(4)
    parts = batches(rows, build_columns(rows, []), specimens=8)
    assert sorted(int(number) for part in parts for number in part.series) == [0, 1, 2, 3]
    found = put_together(part.ratios(NOISES["standing"]) for part in parts)
    assert {rule for _, rule in found} == set(RULES)
    assert all(len(result.absent) == len(result.present) == 8 for result in found.values())
