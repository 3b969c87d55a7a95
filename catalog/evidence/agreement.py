"""Compares one person's values with an entry, feature by feature.

A dimension agrees where |E_n| = |x − m| / √(t² + U² + S²) is at most 1: t is the drawing's half-width, or else the
process default for the feature and size; U = 2u of the measurement, S = 2·extra_u of the entry (definition of ISO 13528
and ISO/IEC 17043, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from catalog.evidence.values import CountedValue, MeasuredValue, NamedValue
from catalog.model.entries import Half, Mating
from matcher.columns.columns import Dim
from matcher.columns.process_tolerance import over_gaps, process_interval
from matcher.features import FEATURES, Kind
from matcher.uncertainty.interlaboratory import COVERAGE, normalised_error

AGREES = 1.0
"""Largest |E_n| that counts as agreement (ISO 13528, from memory)."""

CONTRADICTS = 1.5
"""|E_n| above which one measurement contradicts. U is two standard uncertainties, so this is three: one correct
measurement in 20 exceeds two by chance, one in 370 exceeds three. In between, a measurement neither confirms nor
contradicts."""

COARSEST = 1.0
"""A measurement confirms only with u up to this many process half-widths: a steel rule agrees with everything."""

SURE_CATEGORY = 0.95
"""A category contradicts only if people name it correctly at least this often, and if what was seen is nothing that the
stated value may be taken for; otherwise the difference may be one of wording."""


class Verdict(StrEnum):
    """How one value compares with an entry."""

    FITS = "fits"
    WITHIN = "within"
    """On the allowed side of a maximum or minimum, but too far from it to confirm the figure."""
    COARSE = "coarse"
    """It would agree, but is too coarse to tell."""
    OFF = "off"
    """It does not agree, and is not far enough off to contradict."""
    CONTRADICTS = "contradicts"
    NOT_STATED = "not_stated"

    @property
    def against(self) -> bool:
        """Whether it prevents agreement."""
        return self in (Verdict.OFF, Verdict.CONTRADICTS)


@dataclass(frozen=True, kw_only=True)
class FeatureAgreement:
    """How one value compares with the entry, also in words. ``e_n``, ``difference`` and ``allowed`` (mm) belong to
    dimensions."""

    feature: str
    verdict: Verdict
    words: str
    e_n: float | None = None
    difference: float | None = None
    allowed: float | None = None


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What an entry states: dimensions as the matcher reads them, counts, and categories by the names they may have."""

    dimensions: Mapping[str, Dim]
    counts: Mapping[str, int]
    categories: Mapping[str, frozenset[str]]

    @property
    def pitch(self) -> float | None:
        """The pitch, mm; some default tolerances depend on it."""
        return self.dimensions["pitch"].value if "pitch" in self.dimensions else None

    def process(self, feature: str, spans: int = 1) -> tuple[float, float]:
        """Centre and half-width, mm, of the interval in which its parts lie; a pitch over ``spans`` gaps has a narrower
        one."""
        centre, half_width = process_interval(feature, self.dimensions[feature], self.pitch)
        return centre, spanned(feature, half_width, spans)


def spanned(feature: str, half_width: float, spans: int) -> float:
    """Half-width of a dimension measured over ``spans`` gaps, mm: a drawing's pitch tolerance does not accumulate."""
    return float(over_gaps(feature, np.asarray(half_width), spans))


def stated(content: Half | Mating) -> Stated:
    """What a half or a mating states."""
    dimensions = {name: dimension.dim for name, dimension in content.dimensions.items()}
    if isinstance(content, Mating):
        return Stated(dimensions=dimensions, counts={}, categories={})
    return Stated(dimensions=dimensions, counts=content.all_counts, categories=content.all_categories)


def agreement(value: MeasuredValue | CountedValue | NamedValue, entry: Stated) -> FeatureAgreement:
    """How one value compares with the entry."""
    known = (*entry.dimensions, *entry.counts, *entry.categories)
    if value.feature not in known:
        label = FEATURES[value.feature].label
        return FeatureAgreement(feature=value.feature, verdict=Verdict.NOT_STATED, words=f"the entry states no {label}")
    if isinstance(value, MeasuredValue):
        return _of_dimension(value, entry)
    return _of_count(value, entry) if isinstance(value, CountedValue) else _of_category(value, entry)


def deviation(feature: str, value: float, entry: Stated, spans: int = 1) -> tuple[float, float]:
    """The distance of a value (mm, over one gap) from the stated one, and the half-width that the drawing, or else the
    process, allows.

    Only exceeding a maximum or falling below a minimum counts as distance, and nothing beyond it is allowed.
    """
    stated = entry.dimensions[feature]
    if stated.bound in ("max", "min"):
        beyond = value - stated.value if stated.bound == "max" else stated.value - value
        return max(beyond, 0.0), 0.0
    centre, default = process_interval(feature, stated, entry.pitch)
    middle, half_width = (centre, default) if stated.tolerance is None else (stated.value, stated.tolerance)
    return abs(value - middle), spanned(feature, half_width, spans)


def _of_dimension(value: MeasuredValue, entry: Stated) -> FeatureAgreement:
    stated = entry.dimensions[value.feature]
    difference, half_width = deviation(value.feature, value.value, entry, value.spans)
    parts = (half_width, COVERAGE * value.u, COVERAGE * stated.extra_u)
    e_n = normalised_error(difference, *parts)
    verdict = _verdict(e_n)
    if verdict is Verdict.FITS:
        verdict = _how_well_it_fits(value, entry)
    return FeatureAgreement(
        feature=value.feature,
        verdict=verdict,
        words=_words(verdict, difference, e_n, stated),
        e_n=e_n,
        difference=difference,
        allowed=math.hypot(*parts),
    )


def _how_well_it_fits(value: MeasuredValue, entry: Stated) -> Verdict:
    """Whether a value that agrees can confirm the figure."""
    centre, default = entry.process(value.feature, value.spans)
    if value.u > COARSEST * default:
        return Verdict.COARSE
    bounded = entry.dimensions[value.feature].bound in ("max", "min")
    far = abs(value.value - centre) > default + COVERAGE * value.u
    return Verdict.WITHIN if bounded and far else Verdict.FITS


def _verdict(e_n: float) -> Verdict:
    if e_n <= AGREES:
        return Verdict.FITS
    return Verdict.OFF if e_n <= CONTRADICTS else Verdict.CONTRADICTS


def _words(verdict: Verdict, difference: float, e_n: float, stated: Dim) -> str:
    if verdict is Verdict.COARSE:
        return "would fit, but the measurement is too coarse to confirm it"
    if verdict is Verdict.WITHIN:
        limit = "maximum" if stated.bound == "max" else "minimum"
        return f"within the {limit} of {stated.value:g} mm, but too far from it to confirm it"
    if verdict is Verdict.FITS:
        return "fits"
    return f"off by {difference:.2g} mm, {e_n:.2g} times what the tolerance and the measurement allow"


def _of_count(value: CountedValue, entry: Stated) -> FeatureAgreement:
    expected = entry.counts[value.feature]
    equal = value.value == expected
    return FeatureAgreement(
        feature=value.feature,
        verdict=Verdict.FITS if equal else Verdict.CONTRADICTS,
        words="fits" if equal else f"{value.value} counted, the entry states {expected}",
    )


def _of_category(value: NamedValue, entry: Stated) -> FeatureAgreement:
    """One name in common is enough; of keys, all must be the same."""
    feature, may_be, seen = FEATURES[value.feature], entry.categories[value.feature], frozenset(value.value)
    if seen == may_be if feature.kind is Kind.LABELS else seen & may_be:
        return FeatureAgreement(feature=value.feature, verdict=Verdict.FITS, words="fits")
    sure = feature.right_share >= SURE_CATEGORY and not seen & feature.taken_for(may_be)
    names = {name: feature.values[name] for name in feature.values}
    return FeatureAgreement(
        feature=value.feature,
        verdict=Verdict.CONTRADICTS if sure else Verdict.OFF,
        words=f"{_named(names, seen)} seen, the entry states {_named(names, may_be)}",
    )


def _named(names: Mapping[str, str], values: frozenset[str]) -> str:
    return " or ".join(f"“{words}”" for name, words in names.items() if name in values)
