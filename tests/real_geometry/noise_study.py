"""How stated probabilities hold under noises of other kinds: `python -m tests.real_geometry.study --noise NAME`.

Nine specimens of listed halves come with each one of a half that the catalogue does not have: its series and all
halves with the same answers are taken out for it. That is what the prior of absent says, 0.1; so whatever is stated
should happen as often. The calibration error is that of the first answer among listed halves, given that the half is
listed, as in the main study. Here the event is that the first answer is the specimen's own geometry.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TypeVar

import numpy as np

from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Bools, Columns, Floats, HalfRow
from matcher.decision.posterior import PRIOR_ABSENT, posterior
from matcher.decision.verdict import verdict_of
from matcher.results import Verdict
from matcher.uncertainty.reduce import reduce
from tests.real_geometry.simulated.absence import without
from tests.real_geometry.simulated.calibration import BINS, RESAMPLES, Share, calibration_error, calibration_floor
from tests.real_geometry.simulated.noises import FEATURE_SETS, NOISES, Noise, with_heights
from tests.real_geometry.simulated.simulation import LAND_SIZES, with_process_tolerance

PROCESSES = 2
CHUNK = 50
LISTED_FOR_EACH_ABSENT = round((1 - PRIOR_ABSENT) / PRIOR_ABSENT)
SURE = 0.99
EVERYTHING = FEATURE_SETS["all"]


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """A catalogue of a study, with the density of absent fitted to it; ``rows`` are the true halves."""

    rows: Sequence[HalfRow]
    columns: Columns
    absent: AbsentModel

    @classmethod
    def of(cls, rows: Sequence[HalfRow], truth: Sequence[HalfRow]) -> Catalogue:
        """The catalogue that lists ``rows``; ``truth`` may know more of them."""
        columns = build_columns(rows, [])
        return cls(rows=truth, columns=columns, absent=fit_absent(columns))


def catalogues(
    rows: Sequence[HalfRow], noise: Noise, sets: Iterable[str] = tuple(FEATURE_SETS)
) -> Mapping[str, Catalogue]:
    """The catalogue for each of the feature sets: heights and sizes of single lands are listed where they are
    observed, else it is the main study's.

    Where lands are those of found boards their span has no stated tolerance.
    """
    truth = with_heights(rows)
    lands = noise.found_lands is None
    plain = Catalogue.of([with_process_tolerance(row, lands=lands) for row in rows], truth)
    high = Catalogue.of([with_process_tolerance(row, lands=lands) for row in truth], truth)
    full = Catalogue.of([with_process_tolerance(row, lands=lands, land_sizes=True) for row in truth], truth)
    return {
        name: full if {*LAND_SIZES} <= {*FEATURE_SETS[name]} else high if "height" in FEATURE_SETS[name] else plain
        for name in sets
    }


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One answer; the fields are those of `Answers`."""

    listed: bool
    right: bool
    first: float
    absent: float
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class Answers:
    """Answers about specimens: one position each.

    ``listed``: whether the specimen's half is in the catalogue; ``right``: whether the first answer is its geometry;
    ``first`` and ``absent``: the probabilities stated of the first answer and of absent; then what the verdict is.
    """

    listed: Bools
    right: Bools
    first: Floats
    absent: Floats
    identified: Bools
    no_match: Bools

    @classmethod
    def of(cls, answers: Sequence[Answer]) -> Answers:
        """Single answers put together."""
        verdicts = np.array([answer.verdict for answer in answers])
        return cls(
            listed=np.array([answer.listed for answer in answers]),
            right=np.array([answer.right for answer in answers]),
            first=np.array([answer.first for answer in answers]),
            absent=np.array([answer.absent for answer in answers]),
            identified=verdicts == Verdict.IDENTIFIED,
            no_match=verdicts == Verdict.NO_MATCH,
        )

    @property
    def given_listed(self) -> Floats:
        """Stated probability of the first answer given that the half is listed."""
        return np.minimum(self.first / np.maximum(1 - self.absent, 1e-300), 1.0)

    def calibration(self) -> tuple[float, float]:
        """Calibration error among listed halves, and its floor."""
        stated = self.given_listed[self.listed]
        return calibration_error(stated, self.right[self.listed]), calibration_floor(stated)

    def share(self, among: Bools) -> float:
        """Share of the listed halves that are ``among``."""
        return float(among[self.listed].mean())

    def wrong(self, among: Bools) -> Share:
        """Wrong first answers among these, and 1 − their probability."""
        return Share.of(~self.right[among], 1 - self.first[among])

    def wrong_of_listed(self, among: Bools) -> Share:
        """The same for listed halves only, given that they are listed."""
        among = among & self.listed
        return Share.of(~self.right[among], 1 - self.given_listed[among])

    @property
    def sure(self) -> Bools:
        """Identified at 99 % or more."""
        return self.identified & (self.first >= SURE)

    def refused(self) -> Share:
        """Listed halves called "no match", as a share of all listed halves, and how many those answers admit."""
        among = self.no_match
        return Share.of(self.listed[among], 1 - self.absent[among], out_of=int(self.listed.sum()))

    def doubt(self) -> float:
        """Median P(absent) of listed halves."""
        return float(np.median(self.absent[self.listed]))


Specimen = tuple[int, int, bool]
"""Its number, its half, and whether that is listed."""


def specimens(halves: int, queries: int) -> list[Specimen]:
    """``queries`` specimens of listed halves, the main study's own, and one absent for each nine of them."""
    listed = np.random.default_rng(7).choice(np.arange(halves), size=queries)
    absent = np.random.default_rng(8).choice(np.arange(halves), size=queries // LISTED_FOR_EACH_ABSENT)
    both = [*((int(half), True) for half in listed), *((int(half), False) for half in absent)]
    return [(number, half, is_listed) for number, (half, is_listed) in enumerate(both)]


def answers_to(
    catalogue: Mapping[str, Catalogue], noise: Noise, chosen: Sequence[Specimen]
) -> tuple[list[dict[str, Answer]], float]:
    """An answer to each specimen by each feature set, and how long they took, CPU s."""
    started = time.process_time()
    found = [
        {name: _answer(listed, noise, specimen, FEATURE_SETS[name]) for name, listed in catalogue.items()}
        for specimen in chosen
    ]
    return found, time.process_time() - started


def _answer(catalogue: Catalogue, noise: Noise, specimen: Specimen, features: Sequence[str]) -> Answer:
    number, half, listed = specimen
    columns, absent = catalogue.columns, catalogue.absent
    if not listed:
        columns, absent = without(columns, absent, half, EVERYTHING)
    observed = [each for each in noise.specimen(catalogue.rows[half], number) if each.feature in features]
    result = posterior(columns, absent, reduce(observed), PRIOR_ABSENT)
    first = int(result.order[0])
    return Answer(
        listed=listed,
        right=listed and first == int(columns.geometry[half]),
        first=min(float(np.exp(result.log_geometry[first])), 1.0),
        absent=result.probability_absent,
        verdict=verdict_of(result),
    )


def tried(
    rows: Sequence[HalfRow], noise: Noise, queries: int, sets: Sequence[str] = tuple(FEATURE_SETS)
) -> tuple[dict[str, Answers], float]:
    """Answers by feature set under a noise, and CPU seconds for 1,000 specimens; a bar shows how far it is."""
    catalogue, chosen = catalogues(rows, noise, sets), specimens(len(rows), queries)
    tasks = [(catalogue, noise.name, chosen[start : start + CHUNK]) for start in range(0, len(chosen), CHUNK)]
    found, seconds = list[dict[str, Answer]](), 0.0
    with get_context("fork").Pool(PROCESSES) as pool:
        for answers, took in bar(pool.imap(_task, tasks), len(tasks), noise.name):
            found += answers
            seconds += took
    by_set = {name: Answers.of([answer[name] for answer in found]) for name in catalogue}
    return by_set, seconds / len(chosen) * 1000


def _task(task: tuple[Mapping[str, Catalogue], str, Sequence[Specimen]]) -> tuple[list[dict[str, Answer]], float]:
    catalogue, name, chosen = task
    return answers_to(catalogue, NOISES[name], chosen)


Item = TypeVar("Item")


def bar(items: Iterable[Item], number: int, label: str) -> Iterator[Item]:
    """The items, with a bar on a terminal's standard error."""
    for done, item in enumerate(items, start=1):
        if sys.stderr.isatty():
            print(f"\r{label:16} [{'#' * (40 * done // number):40}] {done}/{number}", end="", file=sys.stderr)
        yield item
    if sys.stderr.isatty():
        print(file=sys.stderr)


LEGEND = f"""\
right     right geometry first, of listed halves       cal.err   over {BINS} equal-count bins; floor: {RESAMPLES} draws
ident.    listed halves identified                     >=99      identified at {SURE:.0%} or more
wrong     first answer wrong, % of those identified    says      1 - probability, % on average; 2se: 2 standard errors
listed    the same of listed halves alone, given that they are listed
no match  listed halves called so, % of all listed     says      how many those answers admit
absent    median P(absent) of listed halves, %         !         happened more often than stated and two errors"""

HEADER = (
    f"{'':15}{'right':>7}{'cal.err':>9}{'floor':>7}{'ident.':>8}{'wrong':>7}{'says':>6}{'2se':>6}"
    f"{'listed':>9}{'says':>6}{'2se':>6}{'>=99':>9}{'wrong':>7}{'says':>6}{'2se':>6}"
    f"{'no match':>10}{'says':>6}{'2se':>6}{'absent':>9}"
)


def report_noise(rows: Sequence[HalfRow], noise: Noise, queries: int, sets: Sequence[str]) -> None:
    """Print the noise's table: one line for each of the feature sets."""
    by_set, seconds = tried(rows, noise, queries, sets)
    listed = int(next(iter(by_set.values())).listed.sum())
    print(f"\n{noise.name} (seed {noise.seed}): {noise.says}")
    print(f"{listed} specimens of listed halves, {listed // LISTED_FOR_EACH_ABSENT} absent; ", end="")
    print(f"{seconds:.0f} CPU s for 1,000 specimens")
    print(HEADER)
    for name, answers in by_set.items():
        print(f"{name:15}{_line(answers)}", flush=True)


def _line(answers: Answers) -> str:
    error, floor = answers.calibration()
    right, identified, sure = (100 * answers.share(each) for each in (answers.right, answers.identified, answers.sure))
    return (
        f"{right:7.1f}{error:9.4f}{floor:7.4f}{identified:8.1f}"
        f"{_percent(answers.wrong(answers.identified), 7)}{_percent(answers.wrong_of_listed(answers.identified), 8)}"
        f"{sure:8.1f}{_percent(answers.wrong(answers.sure), 7)}"
        f"{_percent(answers.refused(), 9)}{100 * answers.doubt():8.2f}"
    )


def _percent(share: Share, width: int) -> str:
    mark = " " if share.holds else "!"
    return f"{100 * share.happened:{width}.2f}{100 * share.stated:6.2f}{100 * share.two_errors:6.2f}{mark}"
