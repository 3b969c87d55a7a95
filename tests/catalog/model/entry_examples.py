"""Invented entries for the catalogue's tests: makers and parts of the bird-song recorders' workshop."""

from __future__ import annotations

from typing import Any

from catalog.model.entries import Half, Mating, Series


def series(**changes: Any) -> Series:
    """A low series with plugs in two heights, one receptacle and three sizes, and every field of a series."""
    plug = {
        "half_kind": "plug",
        "part_number": "DN40P{class}-{contacts:3}",
        "rows": 2,
        "contact_counts": [10, 20, 40],
        "numbering": {"scheme": "around", "first": "lower_left", "seen_from": "mating_face", "hold_downs": "apart"},
        "classes": [
            {"code": "A", "stack_share": 0.3, "dimensions": {"height": {"intercept": 0.65}}},
            {"code": "B", "stack_share": 0.8, "dimensions": {"height": {"intercept": 1.15, "tolerance": 0.05}}},
        ],
        "dimensions": {
            "pitch": {"intercept": 0.4, "tolerance": 0.02},
            "body_length": {"intercept": 1.8, "slope": 0.4, "tolerance": 0.1},
            "body_width": {"intercept": 1.9, "bound": "max"},
        },
        "counts": {"hold_down_count": 4},
        "categories": {"mounting": ["surface_mount"], "keying": ["corner_chamfer", "offset_rib"]},
        "markings": ["DN"],
        "aliases": ["header; low"],
        "order_codes": ["{part}-TR", "{part}-{positions}"],
    }
    receptacle = plug | {
        "half_kind": "receptacle",
        "part_number": "DN40R-{contacts:3}",
        "classes": [{"code": "-", "stack_share": 0.5}],
        "dimensions": {"pitch": {"intercept": 0.4}, "body_length": {"intercept": 2.6, "slope": 0.4}},
    }
    described = {
        "maker": "Dunnock & Sons",
        "name": "DN40",
        "aliases": ["low forty"],
        "kinds": [plug, receptacle],
        "stack": [
            {"plug": "A", "receptacle": "-"},
            {"plug": "B", "receptacle": "-", "mated_width": {"value": 3.1, "bound": "reference"}},
        ],
        "stack_tolerance": 0.1,
        "lifecycle": "active",
        "mating_cycles": 30,
        "ratings": {
            "contact_current_a": 0.3,
            "loaded_contacts": 20,
            "contact_resistance_mohm": 40,
            "temperature_rise_k": 30,
            "upper_temperature_c": 85,
        },
        "datasheet": {"title": "DN40 drawing", "revision": "C", "page": "2"},
        "note": "the recorder's own series",
    }
    return Series.model_validate(described | changes)


def half(**changes: Any) -> Half:
    """A half listed by itself, with every field of a half."""
    described = {
        "maker": "Siskin Works",
        "series": "SK",
        "part_number": "SK-7/13",
        "half_kind": "receptacle",
        "rows": 2,
        "contact_count": 13,
        "positions": 8,
        "row_contacts": [7, 6],
        "blocked": [{"row": 2, "position": 3}, {"row": 1, "position": 8}],
        "numbering": {"scheme": "row_by_row", "first": "upper_right", "seen_from": "board_side", "blocked": "counted"},
        "dimensions": {
            "pitch": {"value": 0.635},
            "body_length": {"value": 7.4, "tolerance": 0.15, "extra_u": 0.04, "doubt": "outline may include tabs"},
            "height": {"value": 1.0, "bound": "max"},
        },
        "counts": {"hold_down_count": 2, "power_contact_count": 0},
        "categories": {"latch_style": ["none_visible", "click_felt"]},
        "markings": ["SK 7"],
        "aliases": ["female; bent", "=seven"],
        "order_codes": ["SK-7/13-T\\R"],
        "lifecycle": "discontinued",
        "ratings": {"voltage_v": 50},
        "datasheet": {"title": "SK leaflet"},
        "note": '-first\nand "second" line',
    }
    return Half.model_validate(described | changes)


def mating(**changes: Any) -> Mating:
    """A mating across makers: the half above with one of the series, with a contact list."""
    described = {
        "half": "siskin-works:sk-7-13",
        "other": "dunnock-sons:dn40pa-010",
        "stack_height": {"value": 1.2, "tolerance": 0.1},
        "mated_width": {"value": 3.0},
        "correspondence": "listed",
        "contact_map": [["1", "10"], ["2", "9"]],
        "basis": "trial_fit",
        "citation": {"title": "workshop book", "page": "12"},
        "note": "@bench",
    }
    return Mating.model_validate(described | changes)
