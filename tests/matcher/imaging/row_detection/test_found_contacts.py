"""Rendered rows from seeds on which nothing was tuned: the figures that must hold, by difficulty."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pytest

from matcher.errors import ObservationError
from matcher.imaging.row_detection.detection import FoundRow, find_contacts
from matcher.imaging.row_detection.profile import profile_along
from tests.matcher.imaging.row_detection.camera_rows import camera_picture
from tests.matcher.imaging.row_detection.rendered_rows import Difficulty, Rendered, drawn_difficulty, easy, rendered
from tests.matcher.imaging.row_detection.simulated_profiles import shares

FAMILY = 20261125
"""Seed family of the figures; tuning used families 1 to 4, 31 and 41 to 43. Set after figures of this family were seen,
by others and without looking at its pictures: `DRIFT`, and what makes a count unsure (family 31).
``python -m tests.matcher.imaging.row_detection.figures 1000`` prints what comes of its first 1,000 pictures: right in
98.0 % (3 refused), pitch held in 94.8 %, all 17 wrong counts unsure, 74 % of the right ones sure."""

UNSEEN = 20261201
"""Seed family of a third figure, in a look of its own (`camera_rows`), fixed before any of its pictures was tried, and
tried once, when all was tuned: ``python -m tests.matcher.imaging.row_detection.figures 2000 camera`` printed right in
95.5 % (17 refused), pitch held in 92.9 %, all 74 wrong counts unsure, 62.9 % of the right ones sure. The aim was 98.5 %
right and none of the wrong ones sure: the first is missed by three in a hundred. Before that tuning the same pictures
gave 94.2 % right, and 4 of 91 wrong counts sure."""

IMAGES = 1000
HARSH_IMAGES = 120
UNSEEN_IMAGES = 300
PROFILES = 400


@dataclass(frozen=True, kw_only=True)
class Outcome:
    difficulty: Difficulty
    row: FoundRow | None
    look: tuple[str, ...] = ()

    @property
    def kinds(self) -> list[str]:
        return [*self.difficulty.kinds(), *self.look]

    @property
    def right(self) -> bool:
        return self.row is not None and self.row.count == self.difficulty.count

    @property
    def held(self) -> bool:
        return self.row is not None and abs(self.row.pitch_px - self.difficulty.pitch) <= self.row.pitch_u95


def found(picture: Rendered) -> FoundRow:
    profile = profile_along(picture.image, picture.line)
    return find_contacts(profile.values, step=profile.step, ahead=profile.ahead, behind=profile.behind)


def of(seed: int, **changes: object) -> tuple[Rendered, FoundRow]:
    picture = rendered(np.random.default_rng([FAMILY, 9, seed]), easy(**changes))
    return picture, found(picture)


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return [outcome_of(rendered(np.random.default_rng([FAMILY, number]))) for number in range(IMAGES)]


@pytest.fixture(scope="module")
def unseen_outcomes() -> list[Outcome]:
    return [outcome_of(camera_picture(UNSEEN, number)) for number in range(UNSEEN_IMAGES)]


@pytest.fixture(scope="module")
def harsh_outcomes() -> list[Outcome]:
    rngs = [np.random.default_rng([FAMILY, 1, number]) for number in range(HARSH_IMAGES)]
    return [outcome_of(rendered(rng, drawn_difficulty(rng, harsh=True))) for rng in rngs]


def outcome_of(picture: Rendered) -> Outcome:
    try:
        row = found(picture)
    except ObservationError:
        row = None
    return Outcome(difficulty=picture.difficulty, row=row, look=picture.look)


def by_difficulty(outcomes: list[Outcome]) -> str:
    seen = Counter(kind for outcome in outcomes for kind in outcome.kinds)
    wrong = Counter(kind for outcome in outcomes if not outcome.right for kind in outcome.kinds)
    return "\n".join(f"{kind}: {wrong[kind]} wrong of {number}" for kind, number in seen.most_common())


def test_the_count_is_right_in_97_of_100_pictures(outcomes: list[Outcome]) -> None:
    print(by_difficulty(outcomes))
    assert np.mean([outcome.right for outcome in outcomes]) >= 0.97


def test_the_pitch_lies_in_its_own_95_percent_interval_in_94_of_100_pictures(outcomes: list[Outcome]) -> None:
    # A refused picture has no interval; it counts as a wrong count above. Intervals must not be needlessly wide either.
    held = [outcome.held for outcome in outcomes if outcome.row is not None]
    print(f"pitch held in {np.mean(held):.3f}")
    assert 0.94 <= np.mean(held) < 0.98


def test_a_wrong_count_is_called_unsure_in_nine_of_ten(outcomes: list[Outcome]) -> None:
    check_unsure(outcomes)


def test_a_wrong_count_in_a_harsh_picture_is_called_unsure_in_nine_of_ten(harsh_outcomes: list[Outcome]) -> None:
    check_unsure(harsh_outcomes)


def check_unsure(outcomes: list[Outcome]) -> None:
    """Check the wrong counts among the answers; refused pictures are not among them."""
    wrong = [outcome.row for outcome in outcomes if outcome.row is not None and not outcome.right]
    print(f"{len(wrong)} wrong, sure of them: {sum(row.sure for row in wrong)}")
    assert len(wrong) >= 5
    assert sum(row.sure for row in wrong) <= 0.1 * len(wrong)


def test_nine_of_ten_harsh_pictures_are_counted_right(harsh_outcomes: list[Outcome]) -> None:
    print(by_difficulty(harsh_outcomes))
    assert np.mean([outcome.right for outcome in harsh_outcomes]) >= 0.88


def test_the_count_is_right_in_93_of_100_pictures_in_a_look_that_no_tuning_has_seen(
    unseen_outcomes: list[Outcome],
) -> None:
    print(by_difficulty(unseen_outcomes))
    assert np.mean([outcome.right for outcome in unseen_outcomes]) >= 0.93


def test_no_wrong_count_in_an_unseen_look_is_called_sure(unseen_outcomes: list[Outcome]) -> None:
    wrong = [outcome.row for outcome in unseen_outcomes if outcome.row is not None and not outcome.right]
    assert len(wrong) >= 5
    assert not any(row.sure for row in wrong)


def test_most_right_counts_are_called_sure(outcomes: list[Outcome]) -> None:
    right = [outcome.row.sure for outcome in outcomes if outcome.right and outcome.row is not None]
    assert np.mean(right) >= 0.7


def test_the_probability_of_the_count_is_calibrated(outcomes: list[Outcome]) -> None:
    rows = [(outcome.row.count_probability, outcome.right) for outcome in outcomes if outcome.row is not None]
    said, true = np.array(rows).T
    assert abs(said.mean() - true.mean()) < 0.05


def test_an_unsure_row_gives_a_reason_and_another_count_and_a_sure_row_gives_none(
    outcomes: list[Outcome],
) -> None:
    for outcome in outcomes:
        if outcome.row is not None:
            assert bool(outcome.row.reasons) is not outcome.row.sure
            if not outcome.row.sure:
                assert outcome.row.alternatives
                assert outcome.row.count not in dict(outcome.row.alternatives)


def test_contacts_and_empty_positions_together_make_the_count(outcomes: list[Outcome]) -> None:
    for row in (outcome.row for outcome in outcomes if outcome.row is not None):
        places = sorted([*(contact.index for contact in row.centres), *row.missing])
        assert places == list(range(row.count))


def test_the_pitch_lies_in_its_interval_in_95_of_100_simulated_profiles() -> None:
    # 10,000 take minutes: python -m tests.matcher.imaging.row_detection.simulated_profiles 10000. The bounds here are
    # 94-96 % and three standard deviations of a share of 400.
    share = shares(PROFILES, seed=FAMILY)
    assert 0.94 - 0.03 <= share.held <= 0.96 + 0.03
    assert share.right >= 0.99


def test_a_plain_row_is_found_to_a_twentieth_of_a_pixel() -> None:
    picture, row = of(1)
    assert (row.count, row.sure, row.dark, row.missing) == (12, True, False, ())
    true = picture.first + 20.0 * np.arange(12)
    # Contacts are placed to 0.4 % of the pitch (0.08 px).
    assert np.abs([contact.position for contact in row.centres] - true).max() < 0.3
    assert abs(row.pitch_px - 20.0) < 0.05
    assert all(contact.doubtful is None and 0 < contact.u < 0.3 for contact in row.centres)
    assert 0.3 < row.contrast <= 1.0


def test_dark_contacts_on_bright_plastic_are_counted() -> None:
    row = of(2, contrast=-0.4)[1]
    assert (row.count, row.dark) == (12, True)


def test_a_missing_contact_is_named_and_its_position_counted() -> None:
    row = of(3, missing=4)[1]
    assert (row.count, row.missing) == (12, (4,))
    assert 4 not in {contact.index for contact in row.centres}


def test_a_double_line_is_one_contact() -> None:
    row = of(4, double_p=0.4, width_p=0.14)[1]
    assert row.count == 12
    assert abs(row.pitch_px - 20.0) < 0.1


def test_blurred_double_lines_nearly_half_a_pitch_apart_are_not_counted_twice() -> None:
    rows = [of(40 + seed, double_p=0.43, width_p=0.15, blur=2.4, noise=0.1)[1] for seed in range(10)]
    assert [row.count for row in rows] == [12] * 10


def test_contacts_whose_tops_are_lost_in_white_glare_are_counted_but_unsure() -> None:
    rows = [of(40 + seed, glare=((0.0, 1.5, 0.6), (0.5, 1.5, 0.2)))[1] for seed in range(10)]
    assert [(row.count, row.sure) for row in rows] == [(12, False)] * 10


def test_wide_ends_are_not_counted_or_the_count_is_unsure() -> None:
    for seed in range(5):
        row = of(5 + seed, wide_ends=((2.2, 0.9), (2.2, 0.9)), margins_p=(3.0, 3.0))[1]
        assert row.count == 12 or not row.sure


def test_a_contact_half_under_dirt_at_the_end_makes_the_count_unsure() -> None:
    row = of(11, dirt=((11.1, 0.3, 0.35),), height_p=1.2)[1]
    assert not row.sure
    assert 12 in {row.count, *dict(row.alternatives)}
    assert any("last contact" in reason for reason in row.reasons)


def test_a_faint_contact_within_the_row_is_doubtful_with_a_reason() -> None:
    x = np.arange(300.0)
    heights = np.where(np.arange(12) == 5, 0.42, 1.0)
    values = 0.2 + 0.5 * (np.exp(-0.5 * ((x[:, None] - 40.0 - 20.0 * np.arange(12)) / 4.0) ** 2) @ heights)
    row = find_contacts(values + np.random.default_rng(1).normal(0, 0.004, len(x)))
    marked = {contact.index: contact.doubtful for contact in row.centres if contact.doubtful}
    assert row.count == 12
    assert "weak" in (marked[5] or "")


def test_a_line_from_centre_to_centre_counts_both_ends() -> None:
    row = of(12, margins_p=(0.0, 0.0))[1]
    assert row.count == 12


def test_contacts_beyond_the_start_of_the_line_are_not_counted() -> None:
    picture, whole = of(13)
    x0, y0, x1, y1 = picture.line
    cut = profile_along(picture.image, (x0 + 1.7 * 20.0 + 3 * 20.0 - 10.0, y0, x1, y1))
    row = find_contacts(cut.values, step=cut.step, ahead=cut.ahead, behind=cut.behind)
    assert (whole.count, row.count) == (12, 9)


def test_lengths_scale_with_the_step() -> None:
    picture, row = of(14)
    profile = profile_along(picture.image, picture.line)
    parts = {"ahead": profile.ahead, "behind": profile.behind}
    half = find_contacts(profile.values, step=0.5 * profile.step, **parts) if row.pitch_px > 8 else row
    assert half.pitch_px == pytest.approx(0.5 * row.pitch_px, rel=1e-3)
