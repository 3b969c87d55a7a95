"""The model of *absent*: a half that the catalogue lacks is made in part like one that it has.

An absent half copies each feature of some listed half or not, as a distant or a close relative of it. What it does not
copy lies around the catalogue's profiles, in two classes of bandwidth. How often features are copied is fitted to the
catalogue (`em_fit`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from matcher.columns.columns import Bools, Columns, Floats, Ints
from matcher.features import FEATURES, Kind

CLASSES = 2
"""Classes of bandwidth: cousin, stranger. Closer relatives copy features."""

WEIGHTS = np.array([0.75, 0.25])
"""Shares of the classes. This and the next four were fitted once to open footprints, rounded; no published source."""

PITCH, ALLOWANCE, ACROSS = np.array([0.005, 0.2]), np.array([0.4, 2.0]), np.array([0.2, 0.4])
"""Bandwidths: ln(pitch), mm of a length without its contacts' span, ln of any other dimension."""

COUNT_SPREAD = np.array([0.6, 1.0])
"""Standard deviation, in ln(count), of an absent half's contact count around the profile's listed ones."""

LISTED_COUNT = np.array([0.8, 0.4])
"""Probability that the contact count is one that the profile lists."""

OTHER_KIND = np.array([0.2, 0.05])
"""Probability that other values (mounting, rows, …) are drawn from the whole catalogue, not shared with the profile."""

ON_GRID = 0.95
"""Probability that a contact count is a multiple of the rows."""

NOT_COPIED = np.array([1.0, 0.3, 0.02])
"""How often a distant relative, a close one and a twin do not copy a feature, before the fit, as parts of how often a
distant one does not. Common practice, no source."""

RELATIVES = len(NOT_COPIED)
"""Kinds of halves that copy."""

LEAST_NEW, CLOSE = 0.05, 0.37
"""Smallest share of absent halves, before the fit, that copy nothing, and the share of close relatives among distant
and close ones. Common practice, no source."""

COPIED = {each.name: 1.0 - NOT_COPIED * (1.0 - each.copied) for each in FEATURES.values()}
"""Probabilities, by feature, that each kind of relative copies it, before the fit."""

PROFILE_STEPS = (0.01, 0.05)
"""Rounding, mm, of the pitch and of other dimensions within which halves of one series share a profile."""


@dataclass(frozen=True, kw_only=True)
class AbsentModel:
    """What is fitted to the catalogue, and its profiles.

    ``shares`` are those of absent halves that copy nothing, of distant and close relatives and of twins. ``copied``
    has, by feature, the probability that each kind of relative copies it. ``profile`` is each half's profile number
    (−1: inferred halves have none); ``representative`` and ``size`` describe each profile.
    """

    shares: Floats
    copied: Mapping[str, Floats] = field(default_factory=lambda: COPIED)
    profile: Ints
    representative: Ints
    size: Ints

    def without(self, gone: Bools) -> AbsentModel:
        """The model as if some halves were not listed; a profile that loses its representative keeps its sizes."""
        profile = np.where(gone, -1, self.profile)
        size = np.bincount(profile[profile >= 0], minlength=len(self.size))
        kept = np.flatnonzero(size)
        number = np.full(len(size) + 1, -1)
        number[kept] = np.arange(len(kept))
        return replace(self, profile=number[profile], representative=self.representative[kept], size=size[kept])


def unfitted_model(columns: Columns) -> AbsentModel:
    """The model with its starting values, before the fit."""
    listed = np.flatnonzero(~columns.inferred)
    pitch_step, step = PROFILE_STEPS
    table = [columns.series, columns.counts["rows"], np.round(columns.dimensions["pitch"].centre / pitch_step)]
    positions = np.ceil(columns.counts["contact_count"] / np.maximum(columns.counts["rows"], 1))
    allowance = columns.dimensions["body_length"].centre - columns.dimensions["pitch"].centre * (positions - 1)
    table += [np.round(allowance / step)]
    of_profile = [feature for feature in FEATURES.values() if feature.of_profile]
    for feature in of_profile:
        if feature.kind is Kind.DIMENSION:
            table.append(np.round(columns.dimensions[feature.name].centre / step))
        else:
            table.append(columns.categories[feature.name].argmax(axis=1))
    keys = np.nan_to_num(np.stack(table, axis=1)[listed], nan=-1.0)
    _, first, inverse, size = np.unique(keys, axis=0, return_index=True, return_inverse=True, return_counts=True)
    profile = np.full(len(columns), -1, dtype=np.int64)
    profile[listed] = inverse.reshape(-1)
    shares = _shares(len(np.unique(columns.series[listed])))
    return AbsentModel(shares=shares, profile=profile, representative=listed[first], size=size)


def _shares(series: int) -> Floats:
    """Shares before the fit. What was not met in n series is met in the next with probability 1/(n + 2), by Laplace's
    rule of succession: a series of a new kind, and one that differs in hardly anything from a listed one."""
    unmet = 1.0 / (series + 2.0)
    new = max(LEAST_NEW, unmet)
    rest = 1.0 - new - unmet
    return np.array([new, rest * (1.0 - CLOSE), rest * CLOSE, unmet])


def count_kernel(n: Ints, members: Ints, rows: Ints, spread: float | Floats) -> Floats:
    """Probability of ``n`` contacts near each member's count: log-normal on multiples of the rows."""
    step = np.maximum(rows, 1)
    share = np.where(n % step == 0, ON_GRID * step, (1 - ON_GRID) * step / np.maximum(step - 1, 1))
    z = (np.log(n) - np.log(members)) / spread
    return np.asarray(np.minimum(share * np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * spread * n), 1.0))
