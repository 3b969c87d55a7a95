"""With what a feature would be taken, and how well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.features import FEATURES, Feature
from matcher.observations import Observation
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.reduce import reduce

DEFAULT_AT_HAND = ("caliper", "caliper_on_board", "height_over_board")
"""What everybody is taken to have: a caliper, used on a loose part, on a board, and for heights over the board."""


@dataclass(frozen=True, kw_only=True)
class Tool:
    """An instrument for one dimension: standard uncertainty ``own_u`` of a length, mm, and ``scale_rel``, relative."""

    instrument: Instrument
    own_u: float
    scale_rel: float

    def u(self, size: Floats, spans: Floats | Ints) -> Floats:
        """Standard uncertainty, mm, of readings of true sizes ``size``, mm, taken over ``spans`` gaps."""
        return np.asarray(np.hypot(self.own_u / spans, self.scale_rel * size))


def tool_for(feature: Feature, at_hand: Sequence[str], instruments: Mapping[str, Instrument]) -> Tool | None:
    """The best instrument at hand for a dimension; None where none takes it, or only a picture without scale."""
    usable = [instruments[name] for name in at_hand if name in instruments]
    tools = [_tool(feature.name, each) for each in usable if feature.name in each.can and not each.unscaled]
    size = np.array(np.sqrt(feature.low * feature.high))
    return min(tools, key=lambda tool: float(tool.u(size, np.array(1))), default=None)


@lru_cache(maxsize=1024)
def _tool(name: str, instrument: Instrument) -> Tool:
    feature = FEATURES[name]
    size = float(np.sqrt(feature.low * feature.high))
    mapping = {instrument.name: instrument}
    reading = reduce([Observation(feature=feature.name, value=size, instrument=instrument.name)], mapping)[0]
    scale = instrument.scale_rel
    own = np.sqrt(max(reading.total_u**2 - (scale * size) ** 2, 0.0))
    return Tool(instrument=instrument, own_u=float(own), scale_rel=scale)


def whole_row(feature: Feature, columns: Columns, halves: Ints) -> Ints:
    """Gaps over which the feature can be measured at once on each half: a whole row (of one group) for a pitch."""
    if not feature.is_pitch:
        return np.ones(len(halves), dtype=np.int64)
    counts = columns.counts
    rows = np.maximum(counts["rows"][halves], 1) * np.maximum(counts["bank_count"][halves], 1)
    return np.asarray(np.maximum(np.ceil(counts["contact_count"][halves] / rows).astype(np.int64) - 1, 1))
