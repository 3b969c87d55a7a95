"""Comparing halves: two to four, overlaid on one datum, and whether an instrument can tell them apart."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from starlette.testclient import TestClient

from api.identification.telling_apart import Reading, apart, share_right
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.model.entries import Half
from catalog.records.read_models import HalfRecord
from catalog.snapshot.snapshot import Snapshot
from matcher.likelihood.error_model.part_deviation import PartDeviation
from matcher.uncertainty.instruments import BUILT_IN
from tests.api.web.page_reading import HTML, Page, check_form
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import WREN
from tests.catalog.model.entry_examples import half


@pytest.fixture
def shop(empty_url: str) -> Iterator[Workshop]:
    """A workshop for this file."""
    with workshop(empty_url) as made:
        yield made


def seen(server: TestClient, *keys: str, status: int = 200, **parameters: str) -> Page:
    """The page of these halves."""
    answer = server.get("/compare", params={"half": list(keys), **parameters}, headers=HTML)
    assert answer.status_code == status, answer.text
    return check_form(answer.text)


def some(snapshot: Snapshot, number: int) -> list[str]:
    """Keys of listed halves."""
    return [record.key for record in snapshot.halves.values() if record.origin == "listed"][:number]


def of_length(number: str, length: float, **dimensions: object) -> Half:
    """A half that differs only in its length."""
    stated = {"pitch": {"value": 0.5, "tolerance": 0.02}, "body_length": {"value": length, "tolerance": 0.05}}
    return half(
        part_number=number,
        contact_count=20,
        positions=10,
        row_contacts=[],
        blocked=[],
        order_codes=[],
        aliases=[],
        dimensions=stated | dimensions,
    )


def record_of(entry: Half) -> HalfRecord:
    """The current record of a half."""
    return HalfRecord(key=entry.key, origin="listed", revision=1, half=entry, series_key=entry.series_key)


def compared(shop: Workshop, *halves: Half, **parameters: str) -> Page:
    """The page for halves that are added first."""
    with shop.catalogue.writing() as session:
        add(session, halves, Act(actor=WREN))
    return seen(shop.server, *(each.key for each in halves), **parameters)


@pytest.mark.parametrize("number", [2, 3, 4])
def test_two_to_four_halves_are_overlaid(server: TestClient, snapshot: Snapshot, number: int) -> None:
    page = seen(server, *some(snapshot, number))
    assert 'class="drawing overlay top"' in page.html
    assert f'class="layer layer-{number}"' in page.html
    assert f'class="layer layer-{number + 1}"' not in page.html


def test_one_half_is_refused_with_the_most_similar_halves(server: TestClient, snapshot: Snapshot) -> None:
    (key,) = some(snapshot, 1)
    page = seen(server, key, status=422)
    assert "One half alone cannot be compared" in page.text
    assert page.values("half")[0] == key
    assert len(page.values("half")) > 1


def test_five_halves_are_refused_and_all_stay_selectable(server: TestClient, snapshot: Snapshot) -> None:
    keys = some(snapshot, 5)
    page = seen(server, *keys, status=422)
    assert "5 halves are too many" in page.text
    assert page.values("half") == keys


def test_an_empty_selection_is_refused_with_a_link_to_the_catalogue(server: TestClient) -> None:
    assert "/catalogue" in seen(server, status=422).links()


def test_a_repeated_half_is_shown_once(server: TestClient, snapshot: Snapshot) -> None:
    (key,) = some(snapshot, 1)
    seen(server, key, key, status=422)


def test_an_unknown_key_is_reported_and_left_out(server: TestClient, snapshot: Snapshot) -> None:
    page = seen(server, *some(snapshot, 2), "no<body>:such")
    assert "No half has the key no<body>:such" in page.text
    assert "<body>:" not in page.html


def test_an_inferred_half_can_be_compared(server: TestClient, snapshot: Snapshot) -> None:
    key = next(record.key for record in snapshot.halves.values() if record.origin == "inferred")
    seen(server, key, *some(snapshot, 1))


def test_an_unknown_instrument_is_replaced_by_the_caliper(server: TestClient, snapshot: Snapshot) -> None:
    assert "With a digital caliper, loose part" in seen(server, *some(snapshot, 2), instrument="divining rod").text


def test_a_large_difference_is_shown_with_the_feature_to_measure(shop: Workshop) -> None:
    page = compared(shop, of_length("SK-A", 6.0), of_length("SK-B", 6.6))
    assert "Measure the body length: it tells the two apart with a digital caliper, loose part" in page.text
    assert "0.60 mm apart; 100 of 100 readings" in page.text


def test_a_rule_cannot_distinguish_halves_that_a_micrometer_can(shop: Workshop) -> None:
    pair = (of_length("SK-A", 6.0), of_length("SK-B", 6.15))
    fine = compared(shop, *pair, instrument="micrometer")
    coarse = seen(shop.server, *(each.key for each in pair), instrument="steel_rule")
    assert "tells the two apart with a outside micrometer" not in coarse.text
    assert 'class="told sure"' in fine.html
    assert 'class="told sure"' not in coarse.html
    assert "No single dimension tells the two apart" in coarse.text


def test_equal_halves_cannot_be_told_apart(shop: Workshop) -> None:
    page = compared(shop, of_length("SK-A", 6.0), of_length("SK-B", 6.0))
    assert "measuring cannot tell these halves apart" in page.text
    assert 'class="differs"' not in page.html


def test_other_instruments_are_named_where_the_chosen_one_cannot_measure(shop: Workshop) -> None:
    pair = (
        of_length("SK-A", 6.0, contact_width={"value": 0.2}),
        of_length("SK-B", 6.0, contact_width={"value": 0.3}),
    )
    page = compared(shop, *pair)
    assert "not with a digital caliper, loose part: take a microscope with calibrated scale" in page.text


def test_counting_is_advised_where_counts_differ(shop: Workshop) -> None:
    more = of_length("SK-B", 6.0).model_copy(update={"contact_count": 18, "positions": 9})
    assert "Count the contacts: that tells all of them apart." in compared(shop, of_length("SK-A", 6.0), more).text


def test_hostile_names_appear_as_text(shop: Workshop) -> None:
    name = "</svg><script>alert(1)</script>"
    page = compared(shop, of_length(name, 6.0), of_length("SK-B", 6.5))
    assert "<script>alert" not in page.html


def reading(centre: float, half_width: float, u: float) -> Reading:
    """The distribution of readings."""
    nothing = np.zeros(1)
    return Reading(
        centre=centre, deviation=PartDeviation(half_width=np.array([half_width]), broad=nothing, share=nothing), u=u
    )


def test_the_share_is_one_without_overlap_and_one_half_for_equal_distributions() -> None:
    assert share_right(reading(1.0, 0.05, 0.01), reading(9.0, 0.05, 0.01)) == 1.0
    assert share_right(reading(1.0, 0.05, 0.01), reading(1.0, 0.05, 0.01)) == pytest.approx(0.5, abs=1e-6)


def test_the_share_of_two_normals_follows_their_distance() -> None:
    """Φ(d/2σ) for two normal densities a distance d apart (equal variances, equal priors: textbook, from memory)."""
    for distance in (0.01, 0.02, 0.05):
        expected = 0.5 * (1 + math.erf(distance / 2 / 0.01 / math.sqrt(2)))
        found = share_right(reading(5.0, 1e-9, 0.01), reading(5.0 + distance, 1e-9, 0.01))
        assert found == pytest.approx(expected, abs=1e-4)


def test_the_share_of_two_rectangles_follows_their_overlap() -> None:
    """Rectangles ± t that overlap by a part o of their width: 1 − o/2."""
    found = share_right(reading(5.0, 0.1, 1e-6), reading(5.05, 0.1, 1e-6))
    assert found == pytest.approx(1 - 0.75 / 2, abs=1e-3)


def test_the_share_agrees_with_simulated_readings() -> None:
    """10⁵ readings of each half: standard error of the share below 0.0016."""
    one, other = reading(6.0, 0.1, 0.03), reading(6.12, 0.1, 0.03)
    random = np.random.default_rng(20261125)
    right = 0
    for own, wrong in ((one, other), (other, one)):
        taken = own.centre + random.uniform(-0.1, 0.1, 100_000) + random.normal(0.0, 0.03, 100_000)
        right += int(np.sum(np.abs(taken - own.centre) < np.abs(taken - wrong.centre)))
    assert share_right(one, other) == pytest.approx(right / 200_000, abs=0.005)


def test_lands_that_an_entry_only_recommends_are_told_apart_less_surely() -> None:
    """Sizes 1 mm apart: one board in five reaches 0.65 mm from the middle, so two densities of 0.2/1.3 overlap
    over 0.3 mm: 1 − ½·0.3·0.2/1.3."""
    shares = []
    for tolerance in ({}, {"tolerance": 0.25}):
        lands = [{"land_span": {"value": size, **tolerance}} for size in (5.0, 6.0)]
        pair = [record_of(of_length(name, 6.0, **each)) for name, each in zip(("SK-A", "SK-B"), lands, strict=True)]
        (found,) = [each for each in apart(pair, BUILT_IN["microscope"]) if each.feature == "land_span"]
        shares.append(found.pairs[0].share)
    assert shares == [pytest.approx(1 - 0.3 * 0.1 / 1.3, abs=0.002), pytest.approx(1.0, abs=1e-6)]


def test_a_pitch_is_judged_over_all_gaps() -> None:
    """0.50 and 0.51 mm: not distinguishable over one gap, mostly over nine, since the tolerance does not accumulate."""
    pair = [
        record_of(of_length("SK-A", 6.0)),
        record_of(of_length("SK-B", 6.0, pitch={"value": 0.51, "tolerance": 0.02})),
    ]
    (pitch,) = [each for each in apart(pair, BUILT_IN["microscope"]) if each.feature == "pitch"]
    assert pitch.spans == 9
    assert pitch.pairs[0].mark == "mostly"
    single = share_right(reading(0.50, 0.02, 0.01), reading(0.51, 0.02, 0.01))
    assert single < 0.7


def test_a_measured_dimension_replaces_the_stated_one() -> None:
    known = {"body_length": {"value": 6.3, "tolerance": 0.05, "u": 0.01, "people": 2, "explanation": "measured"}}
    one = record_of(of_length("SK-A", 6.0))
    other = HalfRecord.model_validate({**one.model_dump(), "key": "other", "better_known": known})
    (length,) = [each for each in apart([one, other], BUILT_IN["caliper"]) if each.feature == "body_length"]
    assert length.pairs[0].difference == pytest.approx(0.3)
