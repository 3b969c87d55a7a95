"""Predicted outcomes, and their information against a plain Monte Carlo estimate that uses the ranking itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Dim, HalfRow
from matcher.decision.next_measurement.absent_outlook import AbsentOutlook
from matcher.decision.next_measurement.outcome_model import Expected, Prediction, predict
from matcher.decision.next_measurement.repeated import predict_again, sizes_after
from matcher.decision.next_measurement.shortlist import leaders
from matcher.decision.next_measurement.tools import Tool
from matcher.decision.posterior import Posterior, posterior
from matcher.features import FEATURES, Kind, Subject
from matcher.likelihood.kinds import evidence_of
from matcher.observations import Reduced
from matcher.uncertainty.instruments import BUILT_IN
from tests.matcher.invented import invented_columns

U = 0.03
TOOL = Tool(instrument=BUILT_IN["caliper"], own_u=U, scale_rel=0.0)


def reading(feature: str, value: float, u: float = U, index: int = 0) -> Reduced:
    return Reduced(index=index, feature=feature, value=value, u=u, total_u=u)


def three_halves(tolerance: float = 0.06) -> Columns:
    """Lengths 10.0, 10.1 and 12; widths 4.0, 4.3 and 4.0; lands 1 mm wider, without a tolerance; otherwise equal."""
    sizes = [(10.0, 4.0), (10.1, 4.3), (12.0, 4.0)]
    rows = [
        HalfRow(
            key=f"half {i}",
            series=f"series {i}",
            dimensions={
                "pitch": Dim(value=0.5, tolerance=0.01),
                "body_length": Dim(value=length, tolerance=tolerance),
                "body_width": Dim(value=width, tolerance=tolerance),
                "land_span": Dim(value=width + 1.0),
            },
            counts={"contact_count": 20, "rows": 2},
            categories={"half_kind": frozenset({"plug"})},
            texts=(),
        )
        for i, (length, width) in enumerate(sizes)
    ]
    return build_columns(rows, [])


def situation(columns: Columns, readings: list[Reduced], prior_absent: float = 0.0) -> tuple[Posterior, AbsentOutlook]:
    model = fit_absent(columns)
    result = posterior(columns, model, readings, prior_absent)
    return result, AbsentOutlook.of(result)


def predicted(columns: Columns, readings: list[Reduced], feature: str, prior_absent: float = 0.0) -> Prediction:
    result, outlook = situation(columns, readings, prior_absent)
    found = predict(leaders(result), FEATURES[feature], TOOL, outlook)
    assert found is not None
    return found


def entropy_of(result: Posterior) -> float:
    probability = np.append(np.exp(result.log_geometry), result.probability_absent)
    probability = probability[probability > 0]
    return float(-(probability * np.log2(probability)).sum())


def simulated_bits(columns: Columns, before: list[Reduced], feature: str, draws: int) -> tuple[float, float]:
    """Mean fall of the posterior's entropy over readings drawn from the ranking's posterior, and its standard error:
    no code of the advice is used."""
    draw, model = np.random.default_rng(5), fit_absent(columns)
    now = posterior(columns, model, before, 0.0)
    probability = np.exp(now.log_half)
    column, falls = columns.dimensions[feature], []
    for half in draw.choice(len(columns), size=draws, p=probability / probability.sum()):
        within = column.broad[half] if column.broad[half] > 0 and draw.random() < 0.2 else column.half_width[half]
        size = column.centre[half] + draw.uniform(-1, 1) * within + draw.normal() * U
        after = posterior(columns, model, [*before, reading(feature, float(size), index=len(before))], 0.0)
        falls.append(entropy_of(now) - entropy_of(after))
    return float(np.mean(falls)), float(np.std(falls) / np.sqrt(draws))


@pytest.mark.parametrize("feature", ["body_length", "body_width", "land_span"])
def test_the_information_is_the_mean_fall_of_the_rankings_entropy(feature: str) -> None:
    columns = three_halves()
    mean, error = simulated_bits(columns, [], feature, 800)
    # A gross error is equally likely for every listed half and gives no information; the drawn readings have none.
    right = 1.0 - FEATURES[feature].gross_share
    assert predicted(columns, [], feature).bits == pytest.approx(right * mean, abs=3.5 * error + 0.02)


def test_after_a_reading_only_the_remaining_information_counts() -> None:
    columns = three_halves()
    before = [reading("body_width", 4.0)]
    mean, error = simulated_bits(columns, before, "body_length", 800)
    right = 1.0 - FEATURES["body_length"].gross_share
    assert predicted(columns, before, "body_length").bits == pytest.approx(right * mean, abs=3.5 * error + 0.02)


def test_the_outcomes_of_every_answer_add_up_to_one() -> None:
    columns = invented_columns(6)
    result, outlook = situation(columns, [reading("pitch", 0.5)], 0.1)
    seen = [f for f in FEATURES.values() if f.subject is Subject.HALF and f.kind not in (Kind.TEXT, Kind.FIT)]
    for feature in seen:
        found = predict(leaders(result), feature, TOOL, outlook)
        if found is not None:
            rows = found.outcomes.rows()
            assert np.allclose(rows.sum(axis=1), 1.0, atol=1e-9)
            assert rows.min() >= -1e-12
            assert found.prior.sum() == pytest.approx(1.0)


def test_merging_equal_predictions_changes_the_information_by_less_than_2_percent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    columns = invented_columns(12)
    merged = {name: predicted(columns, [], name).bits for name in ("body_length", "pitch", "contact_count", "height")}
    monkeypatch.setattr("matcher.decision.next_measurement.outcome_model.MERGED_FROM", 10_000)
    for name, bits in merged.items():
        assert bits == pytest.approx(predicted(columns, [], name).bits, rel=0.02)


def test_a_finer_reading_never_gives_less_information() -> None:
    columns = three_halves()
    result, outlook = situation(columns, [], 0.1)
    bits = [
        found.bits
        for u in (0.2, 0.1, 0.05, 0.02, 0.01)
        if (found := predict(leaders(result), FEATURES["body_length"], replace(TOOL, own_u=u), outlook))
    ]
    assert len(bits) == 5
    assert bits == sorted(bits)


def test_a_feature_that_no_entry_states_is_not_asked_for() -> None:
    result, outlook = situation(three_halves(), [])
    assert predict(leaders(result), FEATURES["height"], TOOL, outlook) is None


def test_a_length_is_not_asked_for_without_an_instrument_for_it() -> None:
    result, outlook = situation(three_halves(), [])
    assert predict(leaders(result), FEATURES["body_length"], None, outlook) is None


def again(columns: Columns, first: Reduced) -> Prediction:
    result, outlook = situation(columns, [first])
    found = predict_again(leaders(result), evidence_of(first, columns), TOOL, outlook)
    assert found is not None
    return found


def test_a_reading_that_fits_is_hardly_worth_repeating_with_the_same_instrument() -> None:
    columns = three_halves()
    first = reading("body_length", 12.0)
    assert again(columns, first).bits < 0.1 * predicted(columns, [], "body_length").bits


def test_a_coarse_reading_is_worth_repeating_with_a_finer_instrument() -> None:
    columns = three_halves(tolerance=0.02)
    coarse = reading("body_length", 10.05, u=0.2)
    assert again(columns, coarse).bits > 0.4


def test_a_second_reading_scatters_around_the_size_of_the_part_not_over_the_whole_tolerance() -> None:
    # A part at the upper end of its tolerance, read finely: the second reading will lie there too.
    columns = three_halves(tolerance=0.3)
    first = reading("body_length", 12.28, u=0.005)
    found = again(columns, first)
    row = found.outcomes.rows()[0]
    assert row.max() > 0.05  # spread over the whole ± 0.3 mm, no single step would reach that
    assert np.count_nonzero(row > 1e-3) < 60


@pytest.mark.parametrize("off", [0.1, 0.42, 0.6, -0.3])
def test_after_a_first_reading_lands_are_as_large_as_those_that_may_read_so(off: float) -> None:
    """By simulation: lands are drawn, and weighted by how probable the first reading is of them."""
    columns, draw = three_halves(), np.random.default_rng(8)
    expected = Expected.of(columns, FEATURES["land_span"], np.arange(3))
    found = sizes_after(reading("land_span", 5.0 + off, u=0.1), expected)
    share, mean, sd = (np.array(each)[:, 0] for each in zip(*found, strict=True))
    true = 5.2 + draw.uniform(-1, 1, 400_000) * np.where(draw.random(400_000) < 0.2, 0.65, 0.25)
    weight = np.exp(-0.5 * ((true - 5.0 - off) / 0.1) ** 2)
    simulated = float(np.average(true, weights=weight))
    assert share @ mean == pytest.approx(simulated, abs=0.003)
    variance = share @ (sd**2 + mean**2) - (share @ mean) ** 2
    assert variance == pytest.approx(float(np.average((true - simulated) ** 2, weights=weight)), rel=0.03)


def test_a_repeated_count_is_mostly_the_same() -> None:
    columns = invented_columns(4)
    counted = Reduced(index=0, feature="contact_count", count=24)
    result, outlook = situation(columns, [counted])
    found = predict_again(leaders(result), evidence_of(counted, columns), None, outlook)
    assert found is not None
    assert found.numbers is not None
    place = int(np.flatnonzero(found.numbers == 24)[0])
    assert found.outcomes.rows()[:, place].min() > 0.49


def test_a_bound_is_not_asked_for_again() -> None:
    columns = three_halves()
    bound = Reduced(index=0, feature="body_length", at_least=9.0, u=U, total_u=U)
    result, outlook = situation(columns, [bound])
    assert predict_again(leaders(result), evidence_of(bound, columns), TOOL, outlook) is None
