"""The demo specimens name an existing half as their truth, cover the hard cases, and their readings follow from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from catalog.model.entries import Half, KindLaw
from catalog.model.series_laws import expand
from matcher.columns.columns import Dim
from matcher.columns.process_tolerance import process_interval
from matcher.features import FEATURES, Kind, Subject
from matcher.uncertainty.instruments import BUILT_IN
from matcher.vocabulary import MM_PER_UNIT, PIXEL
from seeds_demo.loader import Expected, Specimen, Variant, demo_specimens
from tests.seeds_demo.demo_world import value, world

SPECIMENS = demo_specimens()

COVERAGE = 3.5
"""A reading without a slip lies within this many standard uncertainties."""

SOLDERED = 0.08
"""A soldered half sits higher by up to this much, mm, as the feature table says. Common practice, no source."""

ROW_STRETCH = 0.001
"""The pitch of a whole row is off by at most this much, mm: the mould sets it. Common practice, no source."""

CONTACT_PLACE = 0.02
"""Two single contacts are off their positions by up to this much, mm, in addition. Common practice, no source."""

Observed = Mapping[str, Any]


def _by_name(specimen: Specimen) -> str:
    return specimen.name


each_specimen = pytest.mark.parametrize("specimen", SPECIMENS, ids=_by_name)
each_known = pytest.mark.parametrize("specimen", [s for s in SPECIMENS if not s.expected.absent], ids=_by_name)


def test_there_are_enough_specimens_with_unique_names() -> None:
    assert len(SPECIMENS) >= 16
    assert max(Counter(specimen.name for specimen in SPECIMENS).values()) == 1


@each_specimen
def test_a_story_is_one_line(specimen: Specimen) -> None:
    for text in (specimen.title, specimen.story, specimen.remark):
        assert text
        assert "\n" not in text


@each_specimen
def test_the_truth_is_listed_or_marked_as_unlisted(specimen: Specimen) -> None:
    expected = specimen.expected
    if expected.half is not None:
        assert expected.half in world().halves
    elif expected.variant is not None:
        assert _law_of(expected.variant).contact_counts
        assert expected.variant.contact_count not in _law_of(expected.variant).contact_counts


def test_a_truth_is_a_half_or_a_variant_or_absent() -> None:
    assert Expected().absent
    assert not Expected(half="a:b").absent
    assert not Expected(variant=Variant(series="a:b", half_kind="plug", contact_count=4)).absent
    assert all(specimen.expected.half is None or specimen.expected.variant is None for specimen in SPECIMENS)
    assert [specimen.name for specimen in SPECIMENS if specimen.expected.absent] == ["absent"]


def test_no_half_has_the_pitch_of_the_absent_specimen() -> None:
    (pitch,) = [o for s in SPECIMENS if s.expected.absent for o in s.observations if o["feature"] == "pitch"]
    read = sum(pitch["readings"]) / len(pitch["readings"]) / pitch["spans"]
    assert all(abs(half.dimensions["pitch"].value - read) > 0.03 for half in world().listed)


def test_tied_halves_agree_in_everything_that_can_be_measured() -> None:
    (tied,) = [specimen.expected for specimen in SPECIMENS if specimen.expected.tied]
    first = world().halves[tied.half or ""]
    for key in tied.tied:
        other = world().halves[key]
        assert {n: d.value for n, d in other.dimensions.items()} == {n: d.value for n, d in first.dimensions.items()}
        assert (other.counts, other.categories) == (first.counts, first.categories)


@each_specimen
def test_observations_use_the_words_of_the_feature_table(specimen: Specimen) -> None:
    for observed in specimen.observations:
        feature = FEATURES[observed["feature"]]
        assert observed.get("of", "this") in (("pair",) if feature.subject is Subject.PAIR else ("this", "other"))
        if feature.kind in (Kind.CATEGORY, Kind.LABELS):
            assert set(_several(observed["value"])) <= set(feature.values)
        elif feature.kind is Kind.DIMENSION:
            assert observed["unit"] in (*MM_PER_UNIT, PIXEL)
            assert "min" in observed or "max" in observed or observed["instrument"] in BUILT_IN
        elif feature.kind is Kind.FIT:
            assert observed["value"]["half"] in world().halves


def _several(given: str | list[str]) -> list[str]:
    return [given] if isinstance(given, str) else given


def test_the_hard_cases_occur() -> None:
    everything = [observed for specimen in SPECIMENS for observed in specimen.observations]
    features = {observed["feature"] for observed in everything}
    assert {"marking", "trial_fit", "stack_height", "land_span", "bank_count", "keying"} <= features
    assert {"other", "pair"} <= {observed.get("of") for observed in everything}
    assert {"in", PIXEL} <= {observed.get("unit") for observed in everything}
    assert any("px_per_mm" in observed for observed in everything)
    assert {"min", "max"} <= {bound for observed in everything for bound in observed if bound in ("min", "max")}
    assert any(len(observed.get("readings", ())) >= 5 for observed in everything)
    assert sum(bool(specimen.slips) for specimen in SPECIMENS) >= 4


def test_the_trial_fits_are_true() -> None:
    tried = 0
    for specimen in SPECIMENS:
        for observed in specimen.observations:
            if observed["feature"] == "trial_fit":
                tried += 1
                mates = world().mates(specimen.expected.half or "")
                assert (observed["value"]["half"] in mates) is observed["value"]["mates"]
    assert tried


@each_known
def test_counts_are_right_except_for_stated_slips(specimen: Specimen) -> None:
    truth = _truth(specimen)
    for index, observed in enumerate(specimen.observations):
        if FEATURES[observed["feature"]].kind is Kind.COUNT and "value" in observed and "of" not in observed:
            assert (observed["value"] != _count(truth, observed["feature"])) is (index in specimen.slips)


@each_known
def test_readings_are_possible_for_a_real_part_and_the_instrument_except_for_slips(specimen: Specimen) -> None:
    truth = _truth(specimen)
    for index, observed in enumerate(specimen.observations):
        if "of" not in observed and observed.get("instrument", "unscaled_photo") != "unscaled_photo":
            assert _possible(observed, truth) is (index not in specimen.slips), observed


@each_known
def test_bounds_are_true(specimen: Specimen) -> None:
    truth = _truth(specimen)
    for observed in specimen.observations:
        if FEATURES[observed["feature"]].kind is Kind.DIMENSION and observed.get("of") != "pair":
            low, high = _interval(truth, observed["feature"])
            assert observed.get("min", low) <= low
            assert observed.get("max", high) >= high


def test_readings_of_the_other_half_and_the_pair_fit_a_listed_mate() -> None:
    (specimen,) = [s for s in SPECIMENS if any(o.get("of") == "other" for o in s.observations)]
    key = specimen.expected.half or ""
    others = [o for o in specimen.observations if o.get("of") == "other" and "instrument" in o]
    (stack,) = [o["value"] for o in specimen.observations if o["feature"] == "stack_height"]
    matings = [m for m in world().matings if key in (m.half, m.other) and m.stack_height is not None]
    assert any(
        all(_possible(o, world().halves[m.other if m.half == key else m.half]) for o in others)
        and -0.25 < stack - (m.stack_height.value if m.stack_height else 0.0) < 0.45
        for m in matings
    )


def test_an_unscaled_photo_keeps_the_ratios_of_its_readings() -> None:
    (specimen,) = [s for s in SPECIMENS if any(o.get("instrument") == "unscaled_photo" for o in s.observations)]
    truth = world().halves[specimen.expected.half or ""]
    scales = [
        observed["value"] / observed.get("spans", 1) / (value(truth, observed["feature"]) or 0.0)
        for observed in specimen.observations
        if observed.get("instrument") == "unscaled_photo"
    ]
    assert max(scales) / min(scales) < 1.12  # planes 3 %, lands up to 0.4 mm of 4.6 mm larger


def test_readings_are_not_copies_of_the_drawing() -> None:
    exact = [
        observed["value"] == value(_truth(specimen), observed["feature"])
        for specimen in SPECIMENS
        if not specimen.expected.absent
        for observed in specimen.observations
        if "instrument" in observed and "value" in observed and "of" not in observed
    ]
    assert sum(exact) < 0.15 * len(exact)


def _truth(specimen: Specimen) -> Half:
    """The true half: listed, or made by its series' law."""
    variant = specimen.expected.variant
    if variant is None:
        return world().halves[specimen.expected.half or ""]
    series = next(series for series in world().series if series.key == variant.series)
    law = _law_of(variant).model_copy(update={"contact_counts": (variant.contact_count,)})
    made = expand(series.model_copy(update={"kinds": (law,), "stack": ()})).halves
    (height,) = [o for o in specimen.observations if o["feature"] == "height"]
    return next(half for half in made if _possible(height, half))


def _law_of(variant: Variant) -> KindLaw:
    (series,) = [series for series in world().series if series.key == variant.series]
    return next(law for law in series.kinds if law.half_kind == variant.half_kind)


def _count(half: Half, feature: str) -> int | None:
    return {"contact_count": half.contact_count, "rows": half.rows}.get(feature, half.counts.get(feature))


def _interval(half: Half, feature: str) -> tuple[float, float]:
    """The interval of a dimension of real parts, mm."""
    given = half.dimensions[feature]
    dim = Dim(value=given.value, tolerance=given.tolerance, bound=given.bound)
    centre, half_width = process_interval(feature, dim, half.dimensions["pitch"].value)
    return centre - half_width, centre + half_width


def _possible(observed: Observed, half: Half) -> bool:
    """Whether every reading lies within the process, the instrument and, of a soldered half, the solder."""
    low, high = _interval(half, observed["feature"])
    spans = observed.get("spans", 1)
    if observed["feature"] == "pitch":
        pitch = half.dimensions["pitch"].value * spans
        off = CONTACT_PLACE + ROW_STRETCH * spans
        low, high = pitch - off, pitch + off
    soldered = SOLDERED if observed["feature"] == "height" else 0.0
    return all(
        low - _reach(observed, low) <= reading <= high + soldered + _reach(observed, high)
        for reading in _readings_mm(observed)
    )


def _readings_mm(observed: Observed) -> Iterator[float]:
    mm = 1 / observed["px_per_mm"] if observed["unit"] == PIXEL else MM_PER_UNIT[observed["unit"]]
    for reading in observed.get("readings", (observed.get("value"),)):
        yield reading * mm


def _reach(observed: Observed, size: float) -> float:
    """The largest error of the instrument at a size, mm."""
    instrument = BUILT_IN[observed["instrument"]]
    relative = COVERAGE * (instrument.scale_rel + instrument.other_plane_rel) * size
    return instrument.limit_mm + instrument.step_mm + COVERAGE * instrument.feel_mm + relative
