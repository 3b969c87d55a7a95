"""Hostile text that tries to be markup, in every field that people can fill."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from tests.browser.world import HOSTILE_NAME, World

HOSTILE = "<script>ran(1)</script><img src=nest onerror=ran(2)>\"'><b>{{7*7}}</b> =1+1 🐦 ציפור"
"""Elements, a handler, quotes that would end an attribute, a template, a formula, an emoji, and letters that run from
right to left (Hebrew: bird)."""

SHORT = "<script>ran(3)</script>"
"""For fields that name the entry and become part of its address."""

SOURCE = ("title", "revision", "page", "address")


def text(field: str) -> str:
    """The hostile text after the field's name, which shows the field that a page displays."""
    return f"{field} {HOSTILE}"


def _citation(field: str) -> dict[str, str]:
    return {name: text(f"{field}.{name}") for name in SOURCE}


def add_hostile(world: World, ida: str, per: str, mia: str) -> dict[str, str]:
    """Add entries, evidence, a case and a pending change, all with hostile text; returns their keys."""
    series = _added(world, "/v1/series", ida, _series())
    half = _added(world, "/v1/halves", ida, _half())
    mate = _added(world, "/v1/halves", ida, _half(half_kind="plug", part_number=f"plug{SHORT}"))
    mating = {"half": half, "other": mate, "stack_height": {"value": 1.5}, "basis": "maker", "correspondence": "listed"}
    mating |= {"contact_map": [[str(n), f"{n}<i>"] for n in range(1, 11)], "note": text("mating.note")}
    _added(world, "/v1/matings", ida, mating | {"citation": _citation("mating")})
    dispute = _evidence(world, half, ida, per)
    case = _case(world, half, ida, per)
    world.ask("POST", f"/v1/series/{series}/withdraw", ida, json={"reason": text("withdrawal")})
    world.ask(
        "POST", f"/v1/contributors/{quote(HOSTILE_NAME, safe='')}/suspend", mia, json={"reason": text("suspended")}
    )
    world.ask("POST", f"/v1/disputes/{dispute}/answers", mia, json={"reason": text("answer")})
    return {"hostile_half": half, "hostile_mate": mate, "hostile_series": series, "dispute": dispute, "case": case}


def _added(world: World, path: str, who: str, entry: dict[str, Any]) -> str:
    name = entry.get("part_number") or entry.get("name") or "mating"
    made = world.ask("POST", path, who, json={"entry": entry, "reason": text(f"reason of {name[:4]}")})
    return str(made.json()["key"])


def _half(**changes: str) -> dict[str, Any]:
    pitch = {"value": 0.83, "tolerance": 0.02, "extra_u": 0.01, "doubt": text("doubt")}
    given = {
        "maker": f"Maker{SHORT}",
        "series": f"Series{SHORT}",
        "part_number": f"part{SHORT}",
        "half_kind": "receptacle",
        "rows": 2,
        "contact_count": 10,
        "dimensions": {"pitch": pitch, "body_length": {"value": 6.1, "tolerance": 0.1}, "body_width": {"value": 4.1}},
        "note": text("half.note"),
        "markings": [text("marking")],
        "aliases": [text("alias")],
        "order_codes": [text("code")],
        "datasheet": _citation("half"),
    }
    return given | changes


def _series() -> dict[str, Any]:
    return {
        "maker": f"Maker{SHORT}",
        "name": f"laws{SHORT}",
        "aliases": [text("series.alias")],
        "note": text("series.note"),
        "datasheet": _citation("series"),
        "kinds": [
            {
                "half_kind": "plug",
                "part_number": f"law{SHORT}{{contacts:2}}",
                "rows": 2,
                "contact_counts": [12, 16, 20],
                "dimensions": {
                    "pitch": {"intercept": 0.87},
                    "body_length": {"intercept": 2.1, "slope": 0.87, "tolerance": 0.1},
                },
            }
        ],
    }


def _evidence(world: World, half: str, ida: str, per: str) -> str:
    given = {"of": "half", "key": half, "revision": 1}
    measured = {"basis": "measured", "values": [{"feature": "body_length", "value": 6.12, "u": 0.02}]}
    stated = {"basis": "document", "citation": _citation("document"), "stated": {"body_length": {"value": 6.2}}}
    for said in (measured, stated):
        confirmation = given | said | {"note": text(f"{said['basis']}.note")}
        world.ask("POST", "/v1/confirmations", per, json={"confirmation": confirmation})
    sighting = {"half": half, "device": text("device"), "board": text("board"), "note": text("sighting.note")}
    world.ask("POST", "/v1/sightings", ida, json=sighting | {"citation": _citation("sighting")})
    opened = world.ask("POST", "/v1/disputes", per, json=given | {"feature": "height", "reason": text("dispute")})
    return str(opened.json()["key"])


def _case(world: World, half: str, ida: str, per: str) -> str:
    observed = [
        {"feature": "contact_count", "value": 10},
        {"feature": "pitch", "value": 0.83, "u": 0.01},
        {"feature": "marking", "value": text("seen")},
    ]
    specimen = {"title": text("title"), "note": text("case.note"), "observations": observed, "visibility": "public"}
    case = str(world.ask("POST", "/v1/specimens", ida, json=specimen).json()["key"])
    world.ask("POST", f"/v1/specimens/{case}/comments", per, json={"text": text("comment"), "half": half})
    return case
