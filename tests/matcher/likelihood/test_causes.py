"""Slips that act on several observations together: they add up, and leaving one observation out knows of them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from matcher.absent.density import UnderAbsent
from matcher.absent.model import unfitted_model
from matcher.decision.likely_slips import hints
from matcher.decision.posterior import posterior
from matcher.likelihood.causes import causes
from matcher.likelihood.likelihood import Likelihood, likelihood
from matcher.observations import Observation, Reduced
from matcher.uncertainty.reduce import reduce
from tests.matcher.invented import invented_columns

POWER = 2
INVENTED = invented_columns(9)
COLUMNS = replace(
    INVENTED, counts={**INVENTED.counts, "power_contact_count": np.full(len(INVENTED), POWER, dtype=np.int64)}
)
"""Every half with two power contacts."""

TRUE = COLUMNS.keys.index("receptacle-2-30")
ROWS = int(COLUMNS.counts["rows"][TRUE])
IN_ROW = 30 // ROWS
U = 0.03


def size(name: str) -> float:
    """The size of the true half as stated, mm."""
    return float(COLUMNS.dimensions[name].stated[TRUE])


def seen(**values: float) -> list[Reduced]:
    """Observations of the true half; some values are others than its own."""
    counts = [
        Reduced(index=0, feature="contact_count", count=int(values.get("contact_count", 30))),
        Reduced(index=1, feature="rows", count=int(values.get("rows", ROWS))),
    ]
    lengths = [
        Reduced(index=index, feature=name, value=values.get(name, size(name)), u=U, total_u=U)
        for index, name in enumerate(("pitch", "body_length", "body_width", "land_span", "height"), start=2)
    ]
    power = [Reduced(index=7, feature="power_contact_count", count=int(values["power"]))] if "power" in values else []
    return [*counts, *lengths, *power]


CASES = {
    "sides swapped": seen(body_length=size("body_width"), body_width=size("body_length")),
    "counts swapped": seen(contact_count=ROWS, rows=30),
    "one row": seen(contact_count=IN_ROW, rows=1),
    "gaps not given": seen(pitch=size("pitch") * (IN_ROW - 1)),
    "two in inches": seen(body_length=size("body_length") / 25.4, body_width=size("body_width") / 25.4),
    "power contacts taken for contacts": seen(contact_count=30 + POWER, power=0),
    "swapped, and one row": seen(
        body_length=size("body_width"), body_width=size("body_length"), contact_count=IN_ROW, rows=1
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_cause_brings_the_right_half_back_and_its_probability_is_that_of_the_mixture(case: str) -> None:
    result = posterior(COLUMNS, unfitted_model(COLUMNS), CASES[case])
    assert int(np.argmax(result.log_half)) == TRUE
    assert math.fsum(probability for _, probability, _ in result.ways) == pytest.approx(1.0, abs=1e-4)
    _, best, answer = max(result.ways, key=lambda way: way[1])
    assert best > 0.4
    assert int(np.argmax(answer.log_half)) == TRUE


@pytest.mark.parametrize("case", CASES)
def test_shares_of_a_mixed_part_add_up_for_halves_and_for_absent(case: str) -> None:
    weighed = likelihood(COLUMNS, CASES[case]).with_causes()
    everyone = np.arange(len(COLUMNS))
    whole = sum(part.shares(everyone).sum(axis=0) for part in weighed.parts)
    assert whole == pytest.approx(weighed.total, abs=1e-9)
    under_absent = UnderAbsent(model=unfitted_model(COLUMNS), weighed=weighed)
    assert len(under_absent.shares) == len(weighed.parts)
    assert under_absent.shares.sum() == pytest.approx(under_absent.log_density, abs=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_leaving_out_one_observation_leaves_the_causes_of_the_others(case: str) -> None:
    weighed = likelihood(COLUMNS, CASES[case]).with_causes()
    absent = UnderAbsent(model=unfitted_model(COLUMNS), weighed=weighed)
    for part in weighed.parts:
        for place, dropped in enumerate(part.readings):
            found = weighed.without(part, place)
            expected = _without_causes_of(CASES[case], dropped.index)
            assert found.total == pytest.approx(expected.total, abs=1e-9)
            density = replace(absent, weighed=expected).log_density
            assert absent.log_density_without(found, part, place) == pytest.approx(density, abs=1e-9)


def _without_causes_of(observations: list[Reduced], index: int) -> Likelihood:
    """The others, with the causes that all observations suggest but for those that need the one left out."""
    others = [each for each in observations if each.index != index]
    kept = {cause.kind for cause in causes(observations) if index not in cause.indices | cause.told_by}
    assert {cause.kind for cause in causes(others)} == kept
    return likelihood(COLUMNS, others).with_causes()


def test_a_likely_cause_is_the_slip_of_every_observation_that_it_touches() -> None:
    weighed = likelihood(COLUMNS, CASES["sides swapped"]).with_causes()
    (compared,) = weighed.against([TRUE])
    slips = {index for index, each in compared.items() if each.slip is not None and "each other's place" in each.slip}
    assert slips == {3, 4}


def test_numbers_that_suggest_nothing_cost_nothing() -> None:
    weighed = likelihood(COLUMNS, seen())
    assert weighed.with_causes() is weighed


def over_the_row(contacts: int, gaps: int) -> tuple[Reduced, ...]:
    """A pitch over so many gaps beside counts, as reduced."""
    return reduce(
        [
            Observation(feature="contact_count", value=contacts),
            Observation(feature="rows", value=ROWS),
            Observation(feature="pitch", value=size("pitch") * (IN_ROW - 1), spans=gaps),
        ]
    )


def test_only_a_pitch_over_all_gaps_of_the_counted_row_knows_of_the_count() -> None:
    assert over_the_row(30, IN_ROW - 1)[2].counted == (IN_ROW, ROWS)
    assert over_the_row(30, IN_ROW - 2)[2].counted is None
    assert over_the_row(30 + ROWS, IN_ROW)[2].counted == (IN_ROW + 1, ROWS)


def test_who_counts_a_contact_too_many_in_every_row_mostly_takes_its_gap_from_that_count() -> None:
    """The second error follows the first in 8 cases of 10: under the true half the reading is nearly as probable as if
    the count were right, under the others as before."""
    wrong = over_the_row(30 + ROWS, IN_ROW)
    apart = [replace(each, counted=None) for each in wrong]
    gain = likelihood(COLUMNS, wrong).total - likelihood(COLUMNS, apart).total
    right = likelihood(COLUMNS, over_the_row(30, IN_ROW - 1)[2:]).total[TRUE]
    followed = likelihood(COLUMNS, wrong[2:]).total[TRUE]
    # the reading was divided by one gap more, so that its density is that much higher
    assert followed - right == pytest.approx(math.log(0.8 * IN_ROW / (IN_ROW - 1)), abs=0.08)
    assert gain[TRUE] > 2.0
    others = COLUMNS.counts["contact_count"] != 30
    neighbours = np.abs(COLUMNS.counts["contact_count"] - (30 + ROWS)) == ROWS
    assert gain[others & ~neighbours] == pytest.approx(0.0, abs=1e-9)


def test_without_the_count_its_gaps_count_as_given() -> None:
    wrong = over_the_row(30 + ROWS, IN_ROW)
    weighed = likelihood(COLUMNS, wrong)
    (part,) = [part for part in weighed.parts if part.readings[0].feature == "contact_count"]
    left = [replace(each, counted=None) for each in wrong[1:]]
    assert weighed.without(part, 0).total == pytest.approx(likelihood(COLUMNS, left).total, abs=1e-9)


def test_heights_that_were_corrected_differently_keep_their_own_explanations() -> None:
    over_board, loose = (
        Reduced(index=index, feature="height", value=2.0, u=U, total_u=U, corrected=corrected)
        for index, corrected in enumerate((0.05, 0.0))
    )
    both = likelihood(COLUMNS, [over_board, loose]).total
    assert both == pytest.approx(likelihood(COLUMNS, [over_board]).total + likelihood(COLUMNS, [loose]).total)


def test_the_hint_says_how_contacts_and_power_contacts_may_be_split() -> None:
    given = CASES["power contacts taken for contacts"]
    hint = hints(posterior(COLUMNS, unfitted_model(COLUMNS), given), given)[0]
    assert hint.kind == "power_split_otherwise"
    assert hint.message == (
        f"Contacts and power contacts may be split otherwise: 30 contacts and {POWER} power contacts."
    )


@pytest.mark.parametrize(("contacts", "power"), [(1, 0), (2, 0), (3, 9), (60, 2)])
def test_any_split_of_contacts_and_power_contacts_keeps_their_total_and_leaves_a_contact(
    contacts: int, power: int
) -> None:
    given = [
        Reduced(index=0, feature="contact_count", count=contacts),
        Reduced(index=1, feature="power_contact_count", count=power),
    ]
    splits = [tuple(each.count or 0 for each in cause.corrected) for cause in causes(given)]
    assert all(sum(split) == contacts + power and split[0] >= 1 for split in splits)
    assert len(set(splits)) == len(splits) == min(contacts - 1, 4) + min(power, 4)
    assert (contacts, power) not in splits
