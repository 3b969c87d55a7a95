"""The short form of observations: the meaning of each piece, and the position of each error."""

from __future__ import annotations

from typing import Any

import pytest

from api.observations.short_form import ShortFormError, parse_pieces
from api.observations.short_form_writing import piece_of
from api.schemas.requests import IdentifyRequest
from matcher.features import FEATURES

READ = [
    ("contact_count=24", {"feature": "contact_count", "value": 24}),
    ("pins=24", {"feature": "contact_count", "value": 24}),
    ("pin-count=24", {"feature": "contact_count", "value": 24}),
    ("contact_count=20..24", {"feature": "contact_count", "min": 20, "max": 24}),
    ("contact_count>=20", {"feature": "contact_count", "min": 20}),
    ("pitch=4.41/11", {"feature": "pitch", "value": 4.41, "spans": 11}),
    ("pitch=4.41,4.40,4.42/11", {"feature": "pitch", "readings": [4.41, 4.40, 4.42], "spans": 11}),
    ("pitch=612,613px/14", {"feature": "pitch", "readings": [612.0, 613.0], "unit": "px", "spans": 14}),
    ("pitch=4.0,5.0", {"feature": "pitch", "readings": [4.0, 5.0]}),
    ("pitch=4.41mm/11", {"feature": "pitch", "value": 4.41, "unit": "mm", "spans": 11}),
    ("pitch=4.41/11mm", {"feature": "pitch", "value": 4.41, "unit": "mm", "spans": 11}),
    ("centre_island=Y", {"feature": "centre_island", "value": ["yes"]}),
    ("body_length=6.52±0.03", {"feature": "body_length", "value": 6.52, "plus_minus": 0.03}),
    ("body_length=6.52+-0.03", {"feature": "body_length", "value": 6.52, "plus_minus": 0.03}),
    ("body_length=6.52+/-0.03", {"feature": "body_length", "value": 6.52, "plus_minus": 0.03}),
    ("body_length=6.52±0.03mm", {"feature": "body_length", "value": 6.52, "plus_minus": 0.03, "unit": "mm"}),
    (
        "body_length=0.2565in@caliper",
        {"feature": "body_length", "value": 0.2565, "unit": "in", "instrument": "caliper"},
    ),
    ('length=0.2565"', {"feature": "body_length", "value": 0.2565, "unit": "in"}),
    ("body_length=6520µm", {"feature": "body_length", "value": 6520.0, "unit": "um"}),
    (
        "pitch=612px/14@unscaled_photo:front",
        {
            "feature": "pitch",
            "value": 612.0,
            "unit": "px",
            "spans": 14,
            "instrument": "unscaled_photo",
            "image": "front",
        },
    ),
    (
        "pitch=561.2px/11@photo:front+px_per_mm=127.4+scale_rel=0.006+plane_rel=0.01+plane=lands",
        {
            "feature": "pitch",
            "value": 561.2,
            "unit": "px",
            "spans": 11,
            "instrument": "photo",
            "image": "front",
            "px_per_mm": 127.4,
            "scale_rel": 0.006,
            "plane_rel": 0.01,
            "plane": "lands",
        },
    ),
    (
        "pitch=4.62/11+less=0.21+less_u=0.01",
        {"feature": "pitch", "value": 4.62, "spans": 11, "less": 0.21, "less_u": 0.01},
    ),
    ("body_length=6.52+u=0.03", {"feature": "body_length", "value": 6.52, "u": 0.03}),
    ("height<=0.9", {"feature": "height", "max": 0.9}),
    ("height≥0.8", {"feature": "height", "min": 0.8}),
    ("height=..0.9", {"feature": "height", "max": 0.9}),
    ("contact_count=20..", {"feature": "contact_count", "min": 20}),
    ("height=0.8..0.9mm", {"feature": "height", "min": 0.8, "max": 0.9, "unit": "mm"}),
    ("stack_height>=0.8", {"feature": "stack_height", "min": 0.8}),
    ("pair.stack_height=0.8mm", {"feature": "stack_height", "value": 0.8, "unit": "mm", "of": "pair"}),
    ("other.body_width=2.5", {"feature": "body_width", "value": 2.5, "of": "other"}),
    ("latch_style=none_visible,click_felt", {"feature": "latch_style", "value": ["none_visible", "click_felt"]}),
    ("latch=moulded hooks", {"feature": "latch_style", "value": ["housing_snap"]}),
    ("half_kind=Plug", {"feature": "half_kind", "value": ["plug"]}),
    ("marking=T2=x", {"feature": "marking", "value": "T2=x"}),
    ("trial_fit=mates:maker:part-7", {"feature": "trial_fit", "value": {"half": "maker:part-7", "mates": True}}),
    ("trial_fit=not:maker:part-7", {"feature": "trial_fit", "value": {"half": "maker:part-7", "mates": False}}),
]

REFUSED = [
    ("24", "24", "no '='"),
    ("contact_count=", "contact_count=", "nothing follows"),
    ("contact_count=24.5", "24.5", "whole number"),
    ("contact_count=many", "many", "whole number"),
    ("pich=4.41", "pich", "not known"),
    ("mate.pitch=0.4", "mate", "not a body"),
    ("pitch=4.41/eleven", "/eleven", "number of gaps"),
    ("height=..", "..", "neither bound"),
    ("pitch=4.41/0", "/0", "number of gaps"),
    ("pitch=4,41", "4,41", "not repeated readings"),
    ("pitch=0,4", "0,4", "not repeated readings"),
    ("body_length=6,6", "6,6", "one number or two"),
    ("pitch=5,6mm/11", "5,6", "one number or two"),
    ("pitch=inf", "inf", "not a number"),
    ("height<=0,9", "0,9", "one number"),
    ("body_length=6.52cm", "cm", "not known"),
    ("body_length=6.52mm±0.001in", "in mm", "two units"),
    ("body_length=nan", "nan", "not a number"),
    ("body_length=1e3", "", ""),
    ("body_length=6.52±", "", "not a number"),
    ("pitch=4.62/11+les=0.21", "les", "not a field of a length"),
    ("pitch=4.62/11+less=much", "much", "not a number"),
    ("pitch=4.62/11+less=", "", "not a number"),
    ("pitch=4.62/11+plane=ceiling+less=x", "x", "not a number"),
    ("latch_style=clicky", "clicky", "not a value"),
    ("latch_style>=click_felt", ">=", "cannot have a bound"),
    ("trial_fit=maker:part", "maker:part", "whether it mated"),
]


@pytest.mark.parametrize(("piece", "meant"), READ)
def test_a_piece_has_the_documented_meaning(piece: str, meant: dict[str, Any]) -> None:
    assert parse_pieces([piece]) == [meant]


@pytest.mark.parametrize("piece", [piece for piece, _ in READ])
def test_a_piece_gives_a_valid_observation_of_the_interface(piece: str) -> None:
    IdentifyRequest.model_validate({"observations": parse_pieces([piece])})


@pytest.mark.parametrize("piece", [piece for piece, _ in READ])
def test_writing_an_observation_as_a_piece_and_reading_it_gives_the_same_observation(piece: str) -> None:
    (meant,) = parse_pieces([piece])
    (again,) = parse_pieces([piece_of(meant)])
    assert {"unit": "mm", **again} == {"unit": "mm", **meant}


@pytest.mark.parametrize("number", [561.2, 1e-7, 12345678.125, 3, 4.0, 0.1 + 0.2])
def test_a_number_is_written_with_all_its_digits_and_without_exponent(number: float) -> None:
    piece = piece_of({"feature": "body_length", "value": number})
    assert parse_pieces([piece])[0]["value"] == number
    assert "e" not in piece.partition("=")[2]


@pytest.mark.parametrize(("piece", "part", "message"), REFUSED)
def test_an_invalid_piece_is_refused_and_the_invalid_part_is_named(piece: str, part: str, message: str) -> None:
    with pytest.raises(ShortFormError) as caught:
        parse_pieces([piece])
    (error,) = caught.value.errors
    assert error.piece == piece
    assert part in error.part
    assert error.part in piece or error.message == "two units in one piece"
    assert message in error.message
    assert error.remedy


def test_all_invalid_pieces_are_reported_at_once() -> None:
    with pytest.raises(ShortFormError) as caught:
        parse_pieces(["pich=1", "contact_count=24", "height=tall"])
    assert [error.piece for error in caught.value.errors] == ["pich=1", "height=tall"]


@pytest.mark.parametrize("name", FEATURES)
def test_a_feature_is_found_by_its_name_and_label(name: str) -> None:
    feature = FEATURES[name]
    what = {"category": "x", "labels": "x", "fit": "mates:a:b"}.get(feature.kind, "1")
    if feature.values:
        what = next(iter(feature.values))
    for word in (name, feature.label, name.replace("_", "-").upper()):
        assert parse_pieces([f"{word}={what}"])[0]["feature"] == name


def test_a_misspelt_feature_is_refused_with_a_suggestion() -> None:
    with pytest.raises(ShortFormError) as caught:
        parse_pieces(["bodylenght=6.5"])
    assert "'body_length'" in caught.value.errors[0].remedy
