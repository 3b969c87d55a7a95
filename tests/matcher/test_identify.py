"""Identification as a whole: probabilities, ties, verdicts, evidence that adds up, rechecks, explanations."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.em_fit import fit_absent
from matcher.columns.build import build_columns
from matcher.decision.evidence import ABSENT
from matcher.decision.posterior import posterior
from matcher.errors import UnknownHalfError
from matcher.identify import explain, identify
from matcher.likelihood.likelihood import likelihood
from matcher.observations import Of, Reduced, SharedError, SharedKind, TrialFit
from matcher.results import Verdict
from tests.matcher.invented import invented_absent, invented_columns, invented_rows
from tests.matcher.reference_model.whole import posterior as reference_posterior

COLUMNS = invented_columns(12)
TRUE = COLUMNS.keys.index("receptacle-4-30")
ZERO = SharedError(group="caliper", kind=SharedKind.ZERO, sd=0.0115)


def specimen(half: int = TRUE, shared: SharedError | None = None, **wrong: float) -> list[Reduced]:
    """Readings of a half, each off by 0.02 mm; ``wrong`` replaces some."""
    sizes = {n: float(COLUMNS.dimensions[n].stated[half]) + 0.02 for n in ("body_length", "body_width", "land_span")}
    sizes |= wrong
    spans = 7
    observed = [
        Reduced(index=0, feature="contact_count", count=int(COLUMNS.counts["contact_count"][half])),
        Reduced(index=1, feature="rows", count=int(COLUMNS.counts["rows"][half])),
        Reduced(
            index=2,
            feature="pitch",
            value=float(COLUMNS.dimensions["pitch"].stated[half]) + 0.001,
            u=0.02 / spans,
            total_u=0.02 / spans,
            spans=spans,
            shared=None if shared is None else replace(shared, coefficient=1 / spans),
        ),
    ]
    return observed + [
        Reduced(index=3 + i, feature=name, value=size, u=0.02, total_u=0.02, shared=shared)
        for i, (name, size) in enumerate(sizes.items())
    ]


STACK = Reduced(index=9, feature="stack_height", of=Of.PAIR, value=2.5, u=0.05, total_u=0.05)
OTHER = Reduced(index=10, feature="body_width", of=Of.OTHER, value=4.0, u=0.05, total_u=0.05)
CASES = {
    "a caliper each": specimen(),
    "one caliper's zero error": specimen(shared=ZERO),
    "with the pair and the other half": [*specimen(), STACK, OTHER],
    "one wrong length": specimen(body_length=30.0),
    "unlike any entry": specimen(body_length=40.0, body_width=15.0, land_span=22.0),
    "two fitting counts": [
        *specimen(),
        Reduced(index=11, feature="hold_down_count", count=4),
        Reduced(index=12, feature="power_contact_count", count=0),
    ],
    "a trial fit and a marking": [
        *specimen(),
        Reduced(index=13, feature="trial_fit", fit=TrialFit(half="plug-4-30", mates=True)),
        Reduced(index=14, feature="marking", text="RECEPTACLE-4"),
    ],
}


@pytest.mark.parametrize("case", CASES)
def test_evidence_adds_up_to_the_log_odds(case: str) -> None:
    answer = identify(COLUMNS, invented_absent(12), CASES[case], limit=6)
    assert answer.candidates
    for candidate in answer.candidates:
        assert sum(line.log_odds for line in candidate.evidence) == pytest.approx(candidate.log_odds, abs=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_log_odds_are_those_of_the_displayed_probabilities(case: str) -> None:
    answer = identify(COLUMNS, invented_absent(12), CASES[case], limit=len(COLUMNS))
    probability = {c.key: c.probability for c in answer.candidates} | {ABSENT: answer.probability_absent}
    for candidate in answer.candidates[:4]:
        odds = candidate.probability / probability[candidate.against]
        assert candidate.log_odds == pytest.approx(np.log(odds), abs=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_probabilities_of_geometries_and_absent_add_up_to_one(case: str) -> None:
    answer = identify(COLUMNS, invented_absent(12), CASES[case], limit=len(COLUMNS))
    total = sum(candidate.probability for candidate in answer.candidates) + answer.probability_absent
    assert total == pytest.approx(1.0, abs=1e-12)


def test_the_posterior_agrees_with_the_reference_model() -> None:
    observations = CASES["one caliper's zero error"]
    fast = posterior(COLUMNS, invented_absent(12), observations, 0.1)
    log_density = fast.log_absent - fast.log_prior_absent
    reference, absent = reference_posterior(COLUMNS, observations, 0.1, log_density + _log_evidence(fast))
    assert np.exp(fast.log_half) == pytest.approx(np.array(reference), abs=1e-9)
    assert fast.probability_absent == pytest.approx(absent, abs=1e-9)


def _log_evidence(result: object) -> float:
    """The normalising constant of a posterior: what was subtracted from every joint log-probability."""
    joint = result.log_prior + result.weighed.total  # type: ignore[attr-defined]
    return float((joint - result.log_half)[0])  # type: ignore[attr-defined]


def test_the_right_half_is_identified() -> None:
    answer = identify(COLUMNS, invented_absent(12), specimen())
    assert answer.verdict is Verdict.IDENTIFIED
    assert answer.candidates[0].key == COLUMNS.keys[TRUE]
    assert answer.candidates[0].mates[0].key == "plug-4-30"
    assert answer.credible_set.members == 1


def test_a_specimen_unlike_any_entry_gives_no_match() -> None:
    answer = identify(COLUMNS, invented_absent(12), CASES["unlike any entry"])
    assert answer.verdict is Verdict.NO_MATCH
    assert answer.probability_absent > 0.5


def test_one_wrong_length_is_named_for_rechecking_and_the_right_half_still_leads() -> None:
    answer = identify(COLUMNS, invented_absent(12), CASES["one wrong length"])
    assert answer.candidates[0].key == COLUMNS.keys[TRUE]
    assert answer.recheck[0].feature == "body_length"
    assert answer.recheck[0].likely_slip is not None


def test_inches_typed_as_millimetres_are_named() -> None:
    true = float(COLUMNS.dimensions["body_length"].stated[TRUE])
    answer = identify(COLUMNS, invented_absent(12), specimen(body_length=true / 25.4))
    line = next(line for line in answer.candidates[0].evidence if line.feature == "body_length")
    assert answer.candidates[0].key == COLUMNS.keys[TRUE]
    assert line.reading == "likely slip"
    assert line.slip == "inches typed as mm"


def test_halves_with_the_same_geometry_are_one_answer() -> None:
    rows, matings = invented_rows(12)
    twin = replace(rows[TRUE], key="twin", series="another series")
    columns = build_columns([*rows, twin], matings)
    answer = identify(columns, fit_absent(columns), specimen())
    assert {answer.candidates[0].key, *answer.candidates[0].same_geometry} == {"receptacle-4-30", "twin"}
    assert answer.candidates[0].probability > 0.9


def test_an_inferred_half_needs_ten_times_the_evidence() -> None:
    rows, matings = invented_rows(12)
    inferred = replace(rows[TRUE], key="inferred twin", inferred=True)
    columns = build_columns([*rows, inferred], matings)
    result = posterior(columns, fit_absent(columns), specimen(), 0.1)
    ratio = np.exp(result.log_half[TRUE] - result.log_half[len(rows)])
    assert ratio == pytest.approx(10.0, rel=0.05)


def test_prior_of_absent_zero_leaves_no_probability_for_it() -> None:
    assert identify(COLUMNS, invented_absent(12), specimen(), prior_absent=0.0).probability_absent == 0.0


def test_an_entry_with_wide_tolerances_does_not_lose_to_one_with_narrow_tolerances() -> None:
    rows, matings = invented_rows(12)
    lazy = replace(
        rows[TRUE],
        key="lazy",
        series="lazy",
        dimensions=rows[TRUE].dimensions
        | {"body_length": replace(rows[TRUE].dimensions["body_length"], tolerance=0.5)},
    )
    columns = build_columns([*rows, lazy], matings)
    result = posterior(columns, fit_absent(columns), specimen(), 0.1)
    assert result.log_half[len(rows)] == pytest.approx(result.log_half[TRUE], abs=1e-9)


def test_a_length_shorter_than_its_contacts_is_noted() -> None:
    answer = identify(COLUMNS, invented_absent(12), specimen(body_length=2.0))
    assert any("shorter than pitch" in note for note in answer.notes)


def test_a_single_reading_without_a_scale_gives_no_information_and_says_so() -> None:
    unscaled = SharedError(group="picture", kind=SharedKind.SCALE, sd=10.0, unscaled=True)
    alone = Reduced(index=0, feature="body_length", value=512.0, u=1.0, total_u=1.0, shared=unscaled)
    answer = identify(COLUMNS, invented_absent(12), [alone])
    assert any("cannot be used" in note for note in answer.notes)
    assert answer.probability_absent == pytest.approx(0.1, abs=0.05)


def test_any_half_can_be_explained() -> None:
    explanation = explain(COLUMNS, invented_absent(12), specimen(), "plug-2-20")
    assert explanation.candidate.key == "plug-2-20"
    assert explanation.candidate.rank > 1
    assert len(explanation.sentences) > 2
    total = sum(line.log_odds for line in explanation.candidate.evidence)
    assert total == pytest.approx(explanation.candidate.log_odds, abs=1e-9)


def test_an_unknown_half_cannot_be_explained() -> None:
    with pytest.raises(UnknownHalfError):
        explain(COLUMNS, invented_absent(12), specimen(), "nobody:knows")


def test_a_trial_fit_with_an_unknown_half_is_refused() -> None:
    fit = Reduced(index=0, feature="trial_fit", fit=TrialFit(half="nobody:knows", mates=True))
    with pytest.raises(UnknownHalfError):
        identify(COLUMNS, invented_absent(12), [fit])


def test_extremes_stay_finite() -> None:
    for value in (1e-3, 1e4):
        for u in (1e-7, 1e3):
            wild = Reduced(index=0, feature="body_length", value=value, u=u, total_u=u)
            answer = identify(COLUMNS, invented_absent(12), [wild])
            assert all(np.isfinite(candidate.log_odds) for candidate in answer.candidates)


def test_the_matcher_imports_neither_database_nor_web() -> None:
    code = (
        "import sys, matcher.identify, matcher.columns.build, matcher.absent.em_fit;"
        "bad = {'sqlalchemy', 'fastapi', 'starlette', 'pydantic', 'catalog', 'api'} & set(sys.modules);"
        "sys.exit(str(bad) if bad else 0)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, capture_output=True).returncode == 0


@pytest.mark.parametrize("case", CASES)
def test_leaving_out_a_reading_gives_the_result_of_the_others(case: str) -> None:
    observations = CASES[case]
    whole = likelihood(COLUMNS, observations)
    assert sum(len(part.readings) for part in whole.parts) >= 1
    for part in whole.parts:
        for place, reading in enumerate(part.readings):
            rest = likelihood(COLUMNS, [o for o in observations if o.index != reading.index])
            best = rest.total > rest.total.max() - 15
            assert whole.without(part, place).total[best] == pytest.approx(rest.total[best], abs=1e-9)
