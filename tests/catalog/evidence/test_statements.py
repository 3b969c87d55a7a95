"""What people may give as evidence and in which form, and the wording of refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from catalog.evidence.statements import Answer, Confirmation, Dispute, Resolution, Sighting
from catalog.evidence.values import MeasuredValue, Value
from matcher.observations import Observation
from matcher.uncertainty.reduce import measure_readings
from tests.catalog.evidence.evidence_examples import (
    CITATION,
    by_document,
    dispute,
    half,
    length,
    mating,
    measured,
    tried,
)
from tests.catalog.model.entry_examples import series

VALUE: TypeAdapter[Any] = TypeAdapter(Value)


def value(**given: Any) -> Any:
    return VALUE.validate_python(given)


def refused(match: str, **given: Any) -> None:
    with pytest.raises(ValidationError, match=match):
        value(**given)


# Measured values


def test_a_value_with_its_standard_uncertainty_is_kept_unchanged() -> None:
    kept = value(feature="body_length", value=6.52, u=0.03)
    assert (kept.value, kept.u, kept.given, kept.given_u, kept.unit) == (6.52, 0.03, 6.52, 0.03, "mm")


@pytest.mark.parametrize("unit", ["in", "inch", '"'])
def test_a_value_in_inches_becomes_mm_and_the_original_figures_are_kept(unit: str) -> None:
    kept = value(feature="body_length", value=0.25, u=0.001, unit=unit)
    assert (kept.value, kept.u) == pytest.approx((6.35, 0.0254))  # the inch is 25.4 mm by definition
    assert (kept.given, kept.given_u, kept.unit) == (0.25, 0.001, "in")


@pytest.mark.parametrize(("k", "u"), [(None, 0.03), (2.0, 0.03), (3.0, 0.02)])
def test_an_expanded_uncertainty_is_divided_by_k_which_is_2_by_default(k: float | None, u: float) -> None:
    kept = value(feature="body_length", value=6.52, expanded_u=0.06, k=k)
    assert (kept.u, kept.expanded_u, kept.k) == (pytest.approx(u), 0.06, k)


def test_a_limit_is_the_half_width_of_a_rectangle() -> None:
    assert value(feature="body_length", value=6.52, plus_minus=0.05).u == pytest.approx(0.05 / math.sqrt(3))


def test_readings_with_an_instrument_are_reduced_like_an_observation() -> None:
    kept = value(feature="pitch", readings=[4.41, 4.40, 4.42], spans=11, instrument="caliper")
    observed = Observation(feature="pitch", readings=(4.41, 4.40, 4.42), spans=11, instrument="caliper")
    (expected,) = measure_readings([observed]).measured
    assert (kept.value, kept.u) == pytest.approx((expected.value, expected.u), rel=1e-8)
    assert (kept.readings, kept.spans, kept.instrument) == ((4.41, 4.40, 4.42), 11, "caliper")


FORMS = (
    {"feature": "body_length", "value": 6.52, "u": 0.03},
    {"feature": "body_length", "value": 0.2567, "u": 0.001, "unit": "in"},
    {"feature": "body_length", "value": 6.52, "expanded_u": 0.06, "k": 2.5},
    {"feature": "body_length", "value": 6520, "plus_minus": 50, "unit": "um"},
    {"feature": "pitch", "readings": [4.41, 4.40, 4.42], "spans": 11, "instrument": "caliper"},
    {"feature": "pitch", "value": 173.6, "spans": 11, "unit": "mil", "instrument": "microscope"},
    {"feature": "contact_count", "value": 24},
    {"feature": "latch_style", "value": ["click_felt", "none_visible"]},
    {"feature": "keying", "value": "none"},
)


@pytest.mark.parametrize("given", FORMS, ids=[str(number) for number in range(len(FORMS))])
def test_the_stored_form_can_be_read_again_unchanged(given: dict[str, Any]) -> None:
    kept = value(**given)
    assert VALUE.validate_python(kept.model_dump(mode="json")) == kept
    assert VALUE.validate_python(kept.model_dump(mode="json", exclude_defaults=True)) == kept
    assert VALUE.validate_json(kept.model_dump_json()) == kept


def test_a_stored_value_that_differs_from_its_original_figures_is_refused() -> None:
    refused("0.25 in is not 6.5 mm", feature="body_length", value=6.5, u=0.03, unit="in", given=0.25)
    refused("4.41 mm over 11 gaps is not 0.5 mm", feature="pitch", value=0.5, u=0.01, spans=11, readings=[4.41])


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({}, "say how well it was measured"),
        ({"u": 0}, "no reading is without error"),
        ({"u": -0.1}, "no reading is without error"),
        ({"u": math.nan}, "not a finite number"),
        ({"u": 7.0}, "as large as the reading itself"),
        ({"u": 0.1, "plus_minus": 0.1}, "given twice"),
        ({"u": 0.1, "expanded_u": 0.1}, "given twice"),
        ({"u": 0.1, "k": 2}, "k belongs to expanded_u"),
        ({"expanded_u": 0.1, "k": 0.5}, "coverage factor from 1 to 10"),
        ({"expanded_u": "wide"}, "expanded_u is a number"),
        ({"u": 0.1, "value": None}, "body length has no value"),
        ({"u": 0.1, "value": "6.5 mm"}, "not a finite number"),
        ({"u": 0.1, "value": True}, "not a finite number"),
        ({"u": 0.1, "value": math.inf}, "not a finite number"),
        ({"u": 0.1, "value": -6.5}, "a length must be above 0"),
        ({"u": 0.1, "value": 6.5e6}, "cannot be a body length"),
        ({"u": 0.1, "unit": "furlong"}, "unit 'furlong' is not known"),
        ({"u": 0.1, "unit": 5}, "unit is given by name"),
        ({"instrument": ["caliper"]}, "instrument is given by name"),
        ({"u": {}}, "not a finite number"),
        ({"u": 0.1, "value": 10**400}, "not a finite number"),
        ({"u": 0.1, "unit": "px"}, "picture without a scale"),
        ({"instrument": "unscaled_photo"}, "picture without a scale"),
        ({"instrument": "astrolabe"}, "instrument 'astrolabe' is not known"),
        ({"u": 0.1, "spans": 3}, "not measured over gaps"),
        ({"u": 0.1, "spans": "three"}, "whole numbers"),
        ({"u": 0.1, "readings": [6.4]}, "not 6.5 mm|one of them"),
        ({"u": 0.1, "colour": "black"}, "colour"),
    ],
    ids=str,
)
def test_an_invalid_length_is_refused_with_a_clear_message(changes: dict[str, Any], match: str) -> None:
    refused(match, **({"feature": "body_length", "value": 6.5} | changes))


def test_all_errors_of_a_length_are_reported_at_once() -> None:
    with pytest.raises(ValidationError, match=r"unit: .*spans: "):
        value(feature="body_length", value=6.5, u=0.1, unit="ell", spans=0.5)


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"feature": "marking", "value": "SK 7"}, "must name a dimension, a count or a category"),
        ({"feature": "trial_fit", "value": "x"}, "must name a dimension, a count or a category"),
        ({"feature": "length of the body", "value": 3}, "must name a dimension, a count or a category"),
        ({"value": 3}, "must name a dimension, a count or a category"),
        ({"feature": "contact_count", "value": 24.5}, "fractional"),
        ({"feature": "contact_count", "value": -1}, "greater than or equal to 0"),
        ({"feature": "latch_style", "value": "glue"}, "latch is given by name"),
        ({"feature": "latch_style", "value": []}, "latch is given by name"),
        ({"feature": "latch_style", "value": ["screwed", "screwed"]}, "each at most once"),
        ({"feature": "keying", "value": ["none", "offset_rib"]}, "cannot be combined with"),
    ],
    ids=str,
)
def test_a_value_of_the_wrong_type_is_refused(given: dict[str, Any], match: str) -> None:
    refused(match, **given)


def test_common_spellings_of_category_values_are_accepted() -> None:
    assert value(feature="latch_style", value="Click felt").value == ("click_felt",)
    assert value(feature="centre_island", value=True).value == ("yes",)


# Confirmations


def test_a_measured_confirmation_needs_a_length_with_its_uncertainty() -> None:
    assert isinstance(measured(length()).values[0], MeasuredValue)
    for values in ((), ({"feature": "contact_count", "value": 20},)):
        with pytest.raises(ValidationError, match="at least one dimension with its uncertainty"):
            measured(*values)


@pytest.mark.parametrize("missing", ["revision", "page"])
def test_a_document_is_cited_with_revision_and_page(missing: str) -> None:
    assert by_document(half()).citation is not None
    with pytest.raises(ValidationError, match=f"needs the document's {missing}"):
        by_document(half(), citation={name: text for name, text in CITATION.items() if name != missing})
    with pytest.raises(ValidationError, match="say which document"):
        by_document(half(), citation=None)


@pytest.mark.parametrize("missing", ["mate", "result"])
def test_a_trial_fit_names_mate_and_result(missing: str) -> None:
    assert tried(half(), "siskin-works:sk-20p", "mates").result == "mates"
    with pytest.raises(ValidationError, match="a trial fit needs mate"):
        Confirmation.model_validate(dict(tried(half(), "siskin-works:sk-20p", "mates")) | {missing: None})


def test_a_trial_fit_either_mates_or_does_not() -> None:
    with pytest.raises(ValidationError, match="does_not_mate"):
        tried(half(), "siskin-works:sk-20p", "nearly")


@pytest.mark.parametrize(
    ("part", "given"),
    [
        ("citation", CITATION),
        ("stated", {"pitch": {"value": 0.5}}),
        ("mate", "siskin-works:sk-20p"),
        ("result", "mates"),
    ],
)
def test_fields_of_another_basis_are_refused(part: str, given: Any) -> None:
    with pytest.raises(ValidationError, match=f"{part} belongs to basis"):
        measured(length(), **{part: given})


def test_values_of_a_measurement_are_refused_with_a_document() -> None:
    with pytest.raises(ValidationError, match="values belongs to basis 'measured'"):
        by_document(half(), values=[length()])


def test_only_features_of_the_entry_are_accepted() -> None:
    stack = {"feature": "stack_height", "value": 1.5, "u": 0.03}
    assert measured(stack, content=mating()).values[0].feature == "stack_height"
    with pytest.raises(ValidationError, match="a half has no stack height"):
        measured(stack)
    with pytest.raises(ValidationError, match="a mating has no body length; possible: stack_height, mated_width"):
        measured(length(), content=mating())
    with pytest.raises(ValidationError, match="a half has no stack height"):
        by_document(half(), stated={"stack_height": {"value": 1.5}})


def test_a_feature_given_twice_is_refused() -> None:
    with pytest.raises(ValidationError, match="body_length is given twice"):
        measured(length(), length(6.6))


@pytest.mark.parametrize("basis", ["measured", "trial_fit"])
def test_a_series_is_confirmed_by_documents_only(basis: str) -> None:
    given = {"of": "series", "key": series().key, "revision": 1, "basis": basis}
    parts = {"values": [length()]} if basis == "measured" else {"mate": "a:b", "result": "mates"}
    with pytest.raises(ValidationError, match="confirm one of its halves"):
        Confirmation.model_validate(given | parts)
    assert by_document(series()).of == "series"
    with pytest.raises(ValidationError, match="a series has laws"):
        by_document(series(), stated={"pitch": {"value": 0.5}})


@pytest.mark.parametrize(
    "changes", [{"revision": 0}, {"revision": None}, {"of": "specimen"}, {"basis": "vote"}, {"key": ""}, {"seen": 1}]
)
def test_an_invalid_confirmation_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        measured(length(), **changes)


def test_values_of_a_document_may_be_given_in_its_own_unit() -> None:
    given = by_document(half(), stated={"body_length": {"value": 0.256, "unit": "in", "tolerance": 0.004}})
    assert given.stated["body_length"].value == pytest.approx(6.5024)


@pytest.mark.parametrize(
    "statement",
    [
        measured(length(0.256, 0.001, unit="in"), {"feature": "keying", "value": ["none"]}, note="loose part"),
        by_document(half(), stated={"height": {"value": 1.0, "bound": "max"}}),
        tried(mating(), mating().key, "does_not_mate"),
        dispute(half(), feature="pitch"),
        Sighting(half="siskin-works:sk-20", device="Reed 4 recorder", board="main, beside the card slot"),
        Answer(dispute="d-1", text="It is the outline without tabs.\nSee page 4."),
    ],
    ids=lambda statement: f"{statement.record} {getattr(statement, 'basis', '')}",
)
def test_a_stored_statement_equals_the_original(statement: Any) -> None:
    kept = statement.model_dump(mode="json")
    assert type(statement).model_validate(kept) == statement
    assert type(statement).model_validate_json(statement.model_dump_json(exclude_defaults=True)) == statement


# Disputes and the rest


def test_a_dispute_needs_a_reason_and_a_feature_of_the_entry() -> None:
    assert dispute(half(), feature="housing_colour").feature == "housing_colour"
    assert dispute(series(), feature="pitch").of == "series"
    with pytest.raises(ValidationError, match="at least 1 character"):
        dispute(half(), reason=" ")
    with pytest.raises(ValidationError, match="a mating has no pitch"):
        dispute(mating(), feature="pitch")
    with pytest.raises(ValidationError, match="a series has no contacts"):
        dispute(series(), feature="contact_count")


def test_a_resolution_states_who_resolved_the_dispute_and_why() -> None:
    resolution = Resolution(outcome="entry_stands", reason="measured over the tabs", set_aside=("c-4",))
    resolved = dispute(half()).resolved(resolution, "Mia Dunn")
    assert (resolved.resolution, resolved.resolved_by) == (resolution, "Mia Dunn")
    assert Dispute.model_validate(resolved.model_dump(mode="json")) == resolved
    for part in ("resolution", "resolved_by"):
        with pytest.raises(ValidationError, match="belong together"):
            Dispute.model_validate({**dict(resolved), part: None if part == "resolution" else ""})


def test_a_resolution_needs_a_reason() -> None:
    with pytest.raises(ValidationError, match="at least 1 character"):
        Resolution(outcome="entry_changed", reason="")


HOSTILE = ("\u202egnp.exe", "a\u200bb", "bell\x07", "x" * 2001)


@pytest.mark.parametrize("text", HOSTILE, ids=["override", "zero width", "control", "long"])
def test_hostile_text_is_refused_in_every_field(text: str) -> None:
    told = {"half": "siskin-works:sk-20", "device": "Reed 4 recorder"}
    attempts: list[tuple[Any, dict[str, Any]]] = [
        *((Sighting, told | {name: text}) for name in ("half", "device", "board", "note")),
        (Answer, {"dispute": "d-1", "text": text}),
        (Answer, {"dispute": text, "text": "no"}),
        (Resolution, {"outcome": "entry_stands", "reason": text}),
        (Resolution, {"outcome": "entry_stands", "reason": "so", "set_aside": [text]}),
        *((Dispute, dict(dispute(half())) | {name: text}) for name in ("key", "reason", "feature", "resolved_by")),
        *((Confirmation, dict(measured(length())) | {name: text}) for name in ("key", "note")),
        (MeasuredValue, length(instrument=text)),
    ]
    for model, given in attempts:
        with pytest.raises(ValidationError):
            model.model_validate(given)


def test_markup_and_formulas_are_kept_as_plain_text() -> None:
    for text in ("<script>alert(1)</script>", "=HYPERLINK(1)", "@sum", "-1+1"):
        assert Answer(dispute="d-1", text=text).text == text
