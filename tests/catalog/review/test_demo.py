"""The demo catalogue is correct: the review raises no false alarm in it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from functools import cache

import pytest

from catalog.model.entries import Half
from catalog.review import Code, Finding, among, review
from catalog.review.names import known_as, stem
from tests.seeds_demo.demo_world import world

EVERY = 7
"""Every seventh half is compared with all others; seven has no common factor with the sizes of the series."""


@cache
def _indexed() -> tuple[dict[object, list[Half]], dict[object, list[Half]], dict[object, list[Half]]]:
    by_series: dict[object, list[Half]] = defaultdict(list)
    by_contacts: dict[object, list[Half]] = defaultdict(list)
    by_name: dict[object, list[Half]] = defaultdict(list)
    for half in world().halves.values():
        by_series[half.series_key].append(half)
        by_contacts[half.contact_count, half.rows].append(half)
        for name in known_as(half):
            by_name[stem(name)].append(half)
    return by_series, by_contacts, by_name


def _near(half: Half) -> Iterable[Half]:
    by_series, by_contacts, by_name = _indexed()
    named = (other for name in known_as(half) for other in by_name[stem(name)])
    near = (*by_series[half.series_key], *by_contacts[half.contact_count, half.rows], *named)
    return {other.key: other for other in near}.values()


@cache
def _of_halves(*, with_laws: bool) -> tuple[Finding, ...]:
    stated = {series.key: series for series in world().series if series.kinds} if with_laws else {}
    some = list(world().halves.values())[::EVERY]
    return tuple(each for half in some for each in review(half, among(half, _near(half), stated.get(half.series_key))))


def _above_notice(findings: Iterable[Finding]) -> Counter[tuple[str, str]]:
    return Counter((each.code.value, each.field) for each in findings if each.severity != "notice")


@pytest.mark.parametrize("with_laws", [True, False], ids=["stated laws", "fitted to siblings"])
def test_the_review_questions_no_half_of_the_demo(*, with_laws: bool) -> None:
    assert _above_notice(_of_halves(with_laws=with_laws)) == Counter()


def test_the_review_questions_no_mating_of_the_demo() -> None:
    halves = world().halves
    found = (f for m in world().matings for f in review(m, among(m, (halves[m.half], halves[m.other]))))
    assert _above_notice(found) == Counter()


def test_the_review_questions_no_series_of_the_demo() -> None:
    found = (f for series in world().series for f in review(series, among(series, ())))
    assert _above_notice(found) == Counter()


def test_the_clones_that_do_mate_are_noticed_by_their_sizes() -> None:
    clones = [f for f in _of_halves(with_laws=True) if f.code is Code.SAME_GEOMETRY]
    assert {key.split(":")[0] for finding in clones for key in finding.others} >= {"mistlethorpe", "dunnocksward"}
    assert {finding.severity for finding in clones} == {"notice"}
