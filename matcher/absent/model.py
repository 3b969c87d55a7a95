"""The density of observations under the hypothesis *absent*: the half is not in the catalogue.

Near-clones of an absent series are common. So the density is a kernel mixture around the catalogue's profiles, in a few
bandwidth classes, and around the listed halves themselves (an absent half may measure just like a listed one). Weights
and bandwidths are fitted by expectation–maximisation on the likelihood of each half given all other series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.feature_fields import ProfileRole
from matcher.features import FEATURES, Kind

CLASSES = 3
"""Bandwidth classes: near-clone, cousin, stranger."""

COUNT_SPREAD = np.array([0.3, 0.6, 1.0])
"""Standard deviation, in ln(count), of an absent half's contact count around the profile's listed ones, by class."""

ON_GRID = 0.95
"""Probability that a contact count is a multiple of the rows."""

START_PITCH, START_ALLOWANCE, START_ACROSS = (0.005, 0.05, 0.3), (0.1, 0.6, 3.0), (0.02, 0.10, 0.40)
"""Bandwidths from which the fit starts: ln(pitch), mm of allowance, ln of a dimension across."""

SMALLEST_PITCH, SMALLEST_ALLOWANCE, SMALLEST_ACROSS = 0.002, 0.02, 0.005
"""Smallest fitted bandwidths: the process tolerance already covers smaller deviations."""

START_LISTED, START_OTHER = 0.3, 0.2
TRAINING_HALVES, FEWEST_TRAINING_HALVES = 400, 100
"""Most halves for the leave-series-out likelihood of the fit; more change the fit little."""

TRAINING_PAIRS = 250_000
"""Most halves times profiles in one fit: with many profiles fewer halves are enough, and the fit takes seconds."""

TRAINING_U = 0.03
"""Standard uncertainty, mm, of the readings simulated for the fit: a caliper."""

PROFILE_STEPS = (0.01, 0.05)
"""Rounding, mm, of the pitch and of other dimensions within which halves of one series share a profile."""


def _names(*roles: ProfileRole, of: Kind) -> tuple[str, ...]:
    return tuple(name for name, feature in FEATURES.items() if feature.profile in roles and feature.kind is of)


ACROSS = _names(ProfileRole.FITTED, of=Kind.DIMENSION)
"""Dimensions, besides pitch and body length, that have their own bandwidths."""

KINDS = _names(ProfileRole.FITTED, of=Kind.CATEGORY)
"""Categories that decide in the fit whether an absent half is of its profile's kind."""


@dataclass(frozen=True, kw_only=True)
class Bandwidths:
    """One value for each class: standard deviations in ln(pitch), mm of allowance, ln across (width, land span)."""

    pitch: Floats
    allowance: Floats
    across: dict[str, Floats]


@dataclass(frozen=True, kw_only=True)
class AbsentModel:
    """Density of an absent half's readings.

    ``present_share`` (w) is the weight of halves that measure like listed ones. ``weights`` (π) are those of the
    bandwidth classes and add up to 1. ``listed_count`` is the probability, by class, that the contact count is one that
    the profile lists. ``other_kind`` is the probability, by class, that other values (mounting, rows, …) are drawn from
    the whole catalogue instead of shared with the profile. ``profile`` is each half's profile number (−1: inferred
    halves have none); ``representative`` and ``size`` describe each profile.
    """

    present_share: float
    weights: Floats
    bandwidths: Bandwidths
    listed_count: Floats
    other_kind: Floats
    profile: Ints
    representative: Ints
    size: Ints


def allowances(columns: Columns, feature: str) -> Floats:
    """Dimension along the rows minus pitch × (positions − 1), mm."""
    positions = np.ceil(columns.counts["contact_count"] / np.maximum(columns.counts["rows"], 1))
    return np.asarray(columns.dimensions[feature].centre - columns.dimensions["pitch"].centre * (positions - 1))


def _profiles(columns: Columns) -> tuple[Ints, Ints, Ints]:
    """Profile of each half, and representative and size of each profile."""
    listed = np.flatnonzero(~columns.inferred)
    pitch_step, step = PROFILE_STEPS
    table = [columns.series, columns.counts["rows"], np.round(columns.dimensions["pitch"].centre / pitch_step)]
    table += [np.round(allowances(columns, "body_length") / step)]
    table += [np.round(columns.dimensions[name].centre / step) for name in _names(*ProfileRole, of=Kind.DIMENSION)]
    table += [columns.categories[name].argmax(axis=1) for name in _names(*ProfileRole, of=Kind.CATEGORY)]
    keys = np.nan_to_num(np.stack(table, axis=1)[listed], nan=-1.0)
    _, first, inverse, size = np.unique(keys, axis=0, return_index=True, return_inverse=True, return_counts=True)
    profile = np.full(len(columns), -1, dtype=np.int64)
    profile[listed] = inverse.reshape(-1)
    return profile, listed[first], size


def count_kernel(n: Ints, members: Ints, rows: Ints, spread: float | Floats) -> Floats:
    """Probability of ``n`` contacts near each member's count: log-normal on multiples of the rows."""
    step = np.maximum(rows, 1)
    share = np.where(n % step == 0, ON_GRID * step, (1 - ON_GRID) * step / np.maximum(step - 1, 1))
    z = (np.log(n) - np.log(members)) / spread
    return np.asarray(np.minimum(share * np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * spread * n), 1.0))


def start_model(columns: Columns) -> AbsentModel:
    """The density with its starting values, before the fit."""
    profile, representative, size = _profiles(columns)
    return AbsentModel(
        present_share=START_LISTED / 2,
        weights=np.full(CLASSES, 1 / CLASSES),
        bandwidths=Bandwidths(
            pitch=np.array(START_PITCH),
            allowance=np.array(START_ALLOWANCE),
            across={name: np.array(START_ACROSS) for name in ACROSS},
        ),
        listed_count=np.full(CLASSES, START_LISTED),
        other_kind=np.full(CLASSES, START_OTHER),
        profile=profile,
        representative=representative,
        size=size,
    )
