"""Invented connectors for the simulation of many contributors: figures of their drawings, and sizes of their parts.

Nothing here copies a real part: lengths follow random laws with round figures; names are birds with a number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from catalog.evidence.agreement import spanned, stated
from catalog.model.entries import Half, Series
from catalog.model.entry_parts import Dimension
from catalog.model.series_laws import expand
from matcher.columns.process_tolerance import process_interval

BIRDS = (
    *("Accentor", "Bittern", "Chiffchaff", "Dotterel", "Eider", "Fulmar", "Garganey", "Hoopoe", "Ibis", "Jacana"),
    *("Knot", "Lapwing", "Merganser", "Nightjar", "Oriole", "Pochard"),
)
"""One maker for each series."""

SERIES_WITH_LAWS = 10
"""Number of series described by laws; the halves of the others are added one by one."""

PITCHES = (0.4, 0.5, 0.65, 0.8, 1.0, 1.25)
SIZES = (10, 16, 20, 24, 30, 40, 50, 60)
SIZES_OF_A_SERIES = 5
LENGTHS = ("pitch", "body_length", "body_width", "height", "tail_span")
"""The dimensions on each drawing."""

GENEROUS = (None, 1.0, 1.0, 1.5, 2.0)
"""Ratios of the drawing's tolerance to the process's default, equally likely; None: the drawing states no tolerance."""


@dataclass(frozen=True, kw_only=True)
class Type:
    """A real half: ``drawing`` has its maker's figures, ``centres`` the true centres of its parts, mm."""

    drawing: Half
    centres: Mapping[str, float]

    def part(self, feature: str, spans: int, rng: np.random.Generator) -> float:
        """One part's length over one gap, mm: anywhere within the process, as in the matcher's model."""
        half_width = spanned(feature, stated(self.drawing).process(feature)[1], spans)
        return self.centres[feature] + rng.uniform(-half_width, half_width)


@dataclass(frozen=True, kw_only=True)
class Parts:
    """All parts that exist: series described by laws, halves listed by themselves, and the type of every half."""

    series: tuple[Series, ...]
    singles: tuple[Half, ...]
    types: Mapping[str, Type]


def make_parts(rng: np.random.Generator) -> Parts:
    """Sixteen series of fifteen halves each."""
    every = [_series(bird, rng) for bird in BIRDS]
    halves = [half for series in every for half in expand(series).halves]
    single = {half.key for series in every[SERIES_WITH_LAWS:] for half in expand(series).halves}
    return Parts(
        series=tuple(every[:SERIES_WITH_LAWS]),
        singles=tuple(half for half in halves if half.key in single),
        types={half.key: Type(drawing=half, centres=dict(_centres(half, rng))) for half in halves},
    )


def _series(bird: str, rng: np.random.Generator) -> Series:
    pitch = float(rng.choice(PITCHES))
    width, low = round(float(rng.uniform(2.0, 5.0)), 1), round(float(rng.uniform(0.8, 2.5)), 2)
    code = f"{bird[:3].upper()}{rng.integers(10, 99)}"
    counts = sorted(int(count) for count in rng.choice(SIZES, SIZES_OF_A_SERIES, replace=False))
    ends = round(float(rng.uniform(1.2, 3.0)), 2)

    def kind(name: str, pattern: str, grown: float, classes: list[dict[str, Any]]) -> dict[str, Any]:
        dimensions = {
            "pitch": {"intercept": pitch},
            "body_length": {"intercept": round(ends + grown, 2), "slope": pitch} | _tolerance(0.15, rng),
            "body_width": {"intercept": round(width + grown, 2)} | _tolerance(0.1 if pitch <= 0.5 else 0.15, rng),
            "tail_span": {"intercept": round(width + grown + 0.8, 2)} | _tolerance(0.15, rng),
        }
        return {
            "half_kind": name,
            "part_number": pattern,
            "rows": 2,
            "contact_counts": counts,
            "classes": classes,
            "dimensions": dimensions,
        }

    tall = round(low + float(rng.uniform(0.6, 2.0)), 2)
    heights = [
        {"code": code, "stack_share": height, "dimensions": {"height": {"intercept": height} | _tolerance(0.1, rng)}}
        for code, height in (("A", low), ("B", tall))
    ]
    deep = [{"stack_share": 0.4, "dimensions": {"height": {"intercept": round(low + 0.3, 2)} | _tolerance(0.1, rng)}}]
    described = {
        "maker": f"{bird} Moulders",
        "name": f"{bird} {code[3:]}",
        "kinds": [
            kind("plug", f"{code}P{{class}}-{{contacts:3}}", 0.0, heights),
            kind("receptacle", f"{code}R-{{contacts:3}}", 0.9, deep),
        ],
        "stack": [{"plug": "A", "receptacle": "-"}, {"plug": "B", "receptacle": "-"}],
        "stack_tolerance": 0.15,
        "datasheet": {"title": f"{bird} leaflet"} | ({"revision": "B", "page": "3"} if rng.random() < 0.5 else {}),
    }
    return Series.model_validate(described)


def _tolerance(default: float, rng: np.random.Generator) -> dict[str, float]:
    factor = GENEROUS[int(rng.integers(len(GENEROUS)))]
    return {} if factor is None else {"tolerance": round(factor * default, 3)}


def _centres(half: Half, rng: np.random.Generator) -> Iterator[tuple[str, float]]:
    """The process may lie anywhere in a wide tolerance, as long as its parts conform."""
    figures = stated(half)
    for name, dimension in half.dimensions.items():
        centre, half_width = process_interval(name, figures.dimensions[name], figures.pitch)
        room = max((dimension.tolerance or 0.0) - half_width, 0.0)
        yield name, centre + float(rng.uniform(-room, room))


def with_length(half: Half, feature: str, value: float, **more: Any) -> Half:
    """The half with another value of one dimension, mm."""
    old = half.dimensions[feature]
    new = Dimension.model_validate({"value": round(value, 4), "tolerance": old.tolerance, "bound": old.bound} | more)
    return half.model_copy(update={"dimensions": {**half.dimensions, feature: new}})
