"""A catalogue at revision 0002, which stored entries in part tables: its rows in plain SQL, and the entries they hold.

The rows are written by hand, so they depend on no code that reads or writes them.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, MetaData, insert

from catalog.model.entries import Half, Mating, Series
from matcher.features import DIMENSIONS, ENTRY_CATEGORIES, ENTRY_COUNTS, FEATURES

Row = dict[str, Any]

AT = "2026-03-01T08:00:00.000000Z"
LATER = "2026-04-02T09:30:00.000000Z"
FIRST = {"revision": 1, "substance_revision": 1, "author": "operator", "changed_at": AT, "clean": False}
LISTED: Row = FIRST | {"state": "listed", "successor": None}
CHANGED: Row = LISTED | {
    "revision": 7,
    "substance_revision": 3,
    "author": "Ida Finch",
    "changed_at": LATER,
    "clean": True,
}
WITHDRAWN: Row = CHANGED | {"state": "withdrawn"}
MERGED: Row = CHANGED | {"state": "merged", "successor": "siskin-works:sk-7-13"}

UNRATED: Row = {
    "lifecycle": "unknown",
    "mating_cycles": None,
    "contact_current_a": None,
    "power_contact_current_a": None,
    "loaded_contacts": None,
    "voltage_v": None,
    "citation_id": None,
    "note": "",
}
RATED: Row = {
    "lifecycle": "discontinued",
    "mating_cycles": 30,
    "contact_current_a": 0.3,
    "power_contact_current_a": 2.5,
    "loaded_contacts": 20,
    "voltage_v": 50.0,
    "citation_id": 1,
    "note": "first line\n“second” line",
}
SAID_RATED: Row = {
    "lifecycle": "discontinued",
    "mating_cycles": 30,
    "ratings": {"contact_current_a": 0.3, "power_contact_current_a": 2.5, "loaded_contacts": 20, "voltage_v": 50},
    "datasheet": {"title": "SK leaflet", "revision": "C", "page": "2", "address": "shelf 3"},
    "note": "first line\n“second” line",
}

LAWS: Row = {
    "kinds": [
        {
            "half_kind": "plug",
            "part_number": "DN40P{class}-{contacts:3}",
            "rows": 2,
            "contact_counts": [10],
            "classes": [{"code": "A", "stack_share": 0.3, "dimensions": {}}],
            "blocked": [],
            "dimensions": {"pitch": {"intercept": 0.4, "slope": 0.0, "bound": "nominal", "tolerance": 0.02}},
            "counts": {},
            "categories": {},
            "markings": [],
            "aliases": [],
            "order_codes": ["{part}-TR"],
        }
    ],
    "stack": [{"plug": "A", "receptacle": "-", "stack_height": None, "mated_width": None}],
    "stack_tolerance": 0.1,
    "correspondence": "reversed",
}
NO_LAWS: Row = {"kinds": [], "stack": [], "stack_tolerance": None, "correspondence": "identity"}

MM: Row = {"bound": "nominal", "tolerance": None, "extra_u": 0.0, "doubt": "", "unit": "mm", "given": None}
INCHES: Row = {"bound": "max", "tolerance": 0.0254, "extra_u": 0.04, "doubt": "may include tabs", "unit": "in"}
SIZES = {name: 1.0 + place / 8 for place, name in enumerate(DIMENSIONS)}
"""Every dimension that a half may have, mm; the body length is in inches in its source."""

INCH = {"given": 0.3, "given_tolerance": 0.001}
SIZES["body_length"] = 7.62


def _sizes() -> list[Row]:
    plain = [
        {"half_id": 11, "feature": name, "value": value, "given_tolerance": None, **MM} for name, value in SIZES.items()
    ]
    return [row | INCHES | INCH if row["feature"] == "body_length" else row for row in plain]


ROWS: dict[str, list[Row]] = {
    "makers": [
        {"id": 5, "key": "siskin-works", "name": "Siskin Works"},
        {"id": 6, "key": "dunnock-sons", "name": "Dunnock & Sons"},
    ],
    "citations": [
        {"id": 1, "title": "SK leaflet", "revision": "C", "page": "2", "address": "shelf 3"},
        {"id": 2, "title": "workshop book", "revision": "", "page": "12", "address": ""},
    ],
    "series": [
        {"id": 7, "key": "siskin-works:sk", "maker_id": 5, "name": "SK", "stated": False, "laws": NO_LAWS}
        | UNRATED
        | LISTED,
        {"id": 8, "key": "dunnock-sons:dn40", "maker_id": 6, "name": "DN40", "stated": True, "laws": LAWS}
        | RATED
        | CHANGED,
        {"id": 9, "key": "dunnock-sons:dn50", "maker_id": 6, "name": "DN50", "stated": True, "laws": NO_LAWS}
        | UNRATED
        | WITHDRAWN,
    ],
    "series_aliases": [
        {"series_id": 8, "ordinal": 1, "text": "recorder's own"},
        {"series_id": 8, "ordinal": 0, "text": "low forty"},
    ],
    "halves": [
        {"id": 11, "key": "siskin-works:sk-7-13", "series_id": 7, "part_number": "SK-7/13", "half_kind": "receptacle"}
        | {"rows": 2, "contact_count": 13, "positions": 8, "from_law": False}
        | RATED
        | CHANGED,
        {"id": 12, "key": "siskin-works:sk-1", "series_id": 7, "part_number": "SK-1", "half_kind": None}
        | {"rows": 1, "contact_count": 4, "positions": None, "from_law": False}
        | UNRATED
        | LISTED,
        {"id": 13, "key": "siskin-works:sk-old", "series_id": 7, "part_number": "SK-OLD", "half_kind": "plug"}
        | {"rows": 2, "contact_count": 10, "positions": None, "from_law": False}
        | UNRATED
        | MERGED,
        {"id": 14, "key": "dunnock-sons:dn40pa-010", "series_id": 8, "part_number": "DN40PA-010", "half_kind": "plug"}
        | {"rows": 2, "contact_count": 10, "positions": 5, "from_law": True}
        | UNRATED
        | LISTED,
    ],
    "half_dimensions": _sizes(),
    "half_counts": [{"half_id": 11, "feature": name, "value": int(FEATURES[name].low) + 1} for name in ENTRY_COUNTS],
    "half_categories": [
        {"half_id": 11, "feature": name, "ordinal": ordinal, "value": value}
        for name in ENTRY_CATEGORIES
        for ordinal, value in reversed(list(enumerate(FEATURES[name].values)))
    ],
    "half_texts": [
        {"half_id": 11, "role": "markings", "ordinal": 0, "text": "SK 7"},
        {"half_id": 11, "role": "order_codes", "ordinal": 1, "text": "SK-7/13-TR"},
        {"half_id": 11, "role": "order_codes", "ordinal": 0, "text": "SK-7/13-T\\R"},
        {"half_id": 11, "role": "aliases", "ordinal": 0, "text": "female; bent"},
    ],
    "half_sites": [
        {"half_id": 11, "ordinal": 0, "site_row": 2, "position": 3, "contacts": None},
        {"half_id": 11, "ordinal": 1, "site_row": 1, "position": 8, "contacts": None},
        {"half_id": 11, "ordinal": 2, "site_row": 1, "position": None, "contacts": 7},
        {"half_id": 11, "ordinal": 3, "site_row": 2, "position": None, "contacts": 6},
    ],
    "matings": [
        {"id": 21, "key": "dunnock-sons:dn40pa-010~siskin-works:sk-7-13~trial_fit~1.27", "half_id": 11, "other_id": 14}
        | {"basis": "trial_fit", "correspondence": "listed", "citation_id": 2, "note": "@bench", "from_law": False}
        | CHANGED,
        {"id": 22, "key": "siskin-works:sk-1~siskin-works:sk-1~maker~-", "half_id": 12, "other_id": 12}
        | {"basis": "maker", "correspondence": "unknown", "citation_id": None, "note": "", "from_law": True}
        | LISTED,
        {"id": 23, "key": "siskin-works:sk-1~siskin-works:sk-old~inferred~-", "half_id": 13, "other_id": 12}
        | {"basis": "inferred", "correspondence": "identity", "citation_id": None, "note": "", "from_law": False}
        | WITHDRAWN,
    ],
    "mating_dimensions": [
        {"mating_id": 21, "feature": "stack_height", "value": 1.27, "tolerance": None, "extra_u": 0.0, "doubt": ""}
        | {"bound": "nominal", "unit": "mil", "given": 50.0, "given_tolerance": None},
        {"mating_id": 21, "feature": "mated_width", "value": 3.0, "given_tolerance": None, **MM},
    ],
    "mating_contacts": [
        {"mating_id": 21, "ordinal": 1, "contact": "2", "other_contact": "9"},
        {"mating_id": 21, "ordinal": 0, "contact": "1", "other_contact": "10"},
    ],
}
"""Rows of the old tables in order of dependence; parts are not in the order of their ordinals."""

JOURNAL: list[Row] = [
    {"at": AT, "actor": "operator", "action": "add", "record": "half", "key": "siskin-works:sk-1", "of": None}
    | {"about": None, "revision": 1, "old": None, "reason": "", "batch": "", "private": False}
    | {
        "new": {
            "content": {"record": "half", "maker": "Siskin Works", "series": "SK", "part_number": "SK-1"}
            | {"rows": 3, "contact_count": 99, "note": "the journal says something else"}
        }
    }
]
"""A journal row that differs from the tables, which decide; the other entries have no row."""

ENTRIES: dict[str, tuple[Series | Half | Mating, Row, Row]] = {
    "siskin-works:sk": (Series(maker="Siskin Works", name="SK"), LISTED, {"stated": False}),
    "dunnock-sons:dn40": (
        Series.model_validate(
            {"maker": "Dunnock & Sons", "name": "DN40", "aliases": ["low forty", "recorder's own"]} | SAID_RATED | LAWS
        ),
        CHANGED,
        {"stated": True},
    ),
    "dunnock-sons:dn50": (Series(maker="Dunnock & Sons", name="DN50"), WITHDRAWN, {"stated": True}),
    "siskin-works:sk-7-13": (
        Half.model_validate(
            {
                "maker": "Siskin Works",
                "series": "SK",
                "part_number": "SK-7/13",
                "half_kind": "receptacle",
                "rows": 2,
                "contact_count": 13,
                "positions": 8,
                "row_contacts": [7, 6],
                "blocked": [{"row": 2, "position": 3}, {"row": 1, "position": 8}],
                "dimensions": {name: {"value": value} for name, value in SIZES.items()}
                | {"body_length": {"value": 7.62, **INCHES, **INCH}},
                "counts": {name: int(FEATURES[name].low) + 1 for name in ENTRY_COUNTS},
                "categories": {name: list(FEATURES[name].values) for name in ENTRY_CATEGORIES},
                "markings": ["SK 7"],
                "order_codes": ["SK-7/13-T\\R", "SK-7/13-TR"],
                "aliases": ["female; bent"],
            }
            | SAID_RATED
        ),
        CHANGED,
        {"from_law": False},
    ),
    "siskin-works:sk-1": (
        Half(maker="Siskin Works", series="SK", part_number="SK-1", rows=1, contact_count=4),
        LISTED,
        {"from_law": False},
    ),
    "siskin-works:sk-old": (
        Half(maker="Siskin Works", series="SK", part_number="SK-OLD", half_kind="plug", rows=2, contact_count=10),
        MERGED,
        {"from_law": False},
    ),
    "dunnock-sons:dn40pa-010": (
        Half(
            maker="Dunnock & Sons",
            series="DN40",
            part_number="DN40PA-010",
            half_kind="plug",
            rows=2,
            contact_count=10,
            positions=5,
        ),
        LISTED,
        {"from_law": True},
    ),
    "dunnock-sons:dn40pa-010~siskin-works:sk-7-13~trial_fit~1.27": (
        Mating.model_validate(
            {
                "half": "siskin-works:sk-7-13",
                "other": "dunnock-sons:dn40pa-010",
                "stack_height": {"value": 1.27, "unit": "mil", "given": 50.0},
                "mated_width": {"value": 3.0},
                "correspondence": "listed",
                "contact_map": [["1", "10"], ["2", "9"]],
                "basis": "trial_fit",
                "citation": {"title": "workshop book", "page": "12"},
                "note": "@bench",
            }
        ),
        CHANGED,
        {"from_law": False},
    ),
    "siskin-works:sk-1~siskin-works:sk-1~maker~-": (
        Mating(half="siskin-works:sk-1", other="siskin-works:sk-1", basis="maker"),
        LISTED,
        {"from_law": True},
    ),
    "siskin-works:sk-1~siskin-works:sk-old~inferred~-": (
        Mating(half="siskin-works:sk-old", other="siskin-works:sk-1", basis="inferred", correspondence="identity"),
        WITHDRAWN,
        {"from_law": False},
    ),
}
"""The entries that the rows hold: by key, with author, state and the fields of their kind."""


def fill(connection: Connection) -> None:
    """Write the rows into the tables of revision 0002."""
    tables = MetaData()
    tables.reflect(connection)
    for name, rows in (ROWS | {"journal": JOURNAL}).items():
        connection.execute(insert(tables.tables[name]), rows)
