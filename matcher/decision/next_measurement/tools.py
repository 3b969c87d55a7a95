"""The instrument for a feature, and its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import Feature
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reading_budget import length_u

DEFAULT_AT_HAND = ("caliper", "caliper_on_board", "height_over_board")
"""Instruments assumed to be at hand: a caliper, used on a loose part, on a board, and for heights over the board."""


@dataclass(frozen=True, kw_only=True)
class Tool:
    """An instrument for one dimension: standard uncertainty ``own_u`` of a length, mm, and ``scale_rel``, relative."""

    instrument: Instrument
    own_u: float
    scale_rel: float

    def u(self, size: Floats, spans: Floats | Ints) -> Floats:
        """Standard uncertainty, mm, of readings of true sizes ``size``, mm, measured over ``spans`` gaps."""
        return np.asarray(np.hypot(self.own_u / spans, self.scale_rel * size))


def tool_for(feature: Feature, at_hand: Sequence[str], instruments: Mapping[str, Instrument]) -> Tool | None:
    """The best instrument at hand for a dimension; None where there is none, or only a picture without scale."""
    usable = [instruments[name].taking(feature) for name in at_hand if name in instruments]
    tools = [
        Tool(instrument=each, own_u=length_u(feature, each), scale_rel=each.scale_rel)
        for each in usable
        if feature.name in each.can and not each.unscaled
    ]
    size = np.array(np.sqrt(feature.low * feature.high))
    return min(tools, key=lambda tool: float(tool.u(size, np.array(1))), default=None)


def whole_row(feature: Feature, columns: Columns, halves: Ints) -> Ints:
    """Gaps over which the feature can be measured at once on each half: a whole row (of one group) for a pitch."""
    if not feature.is_pitch:
        return np.ones(len(halves), dtype=np.int64)
    counts = columns.counts
    rows = np.maximum(counts["rows"][halves], 1) * np.maximum(counts["bank_count"][halves], 1)
    return np.asarray(np.maximum(np.ceil(counts["contact_count"][halves] / rows).astype(np.int64) - 1, 1))
