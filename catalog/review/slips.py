"""Mistakes of unit, decimal point and typing, recognised from a half's own proportions if there is no law."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, log
from types import MappingProxyType

from catalog.model.entries import Half
from catalog.review.dimensions import label, pitch_of
from catalog.review.findings import Code, Finding, mm
from matcher.feature_fields import CONTACT_ROW
from matcher.features import FEATURES
from matcher.vocabulary import MM_PER_UNIT

_INCH, _MIL, _MICROMETRE = MM_PER_UNIT["in"], MM_PER_UNIT["mil"], MM_PER_UNIT["um"]

INCH_FACTORS: Mapping[float, str] = MappingProxyType({_INCH: "in", 1.0 / _INCH: "in", _MIL: "mil", 1.0 / _MIL: "mil"})
"""Factor that corrects a value where millimetres and inches or mils were mixed up, and the other unit."""

UNIT_FACTORS: Mapping[float, str] = MappingProxyType(
    {
        _INCH: "inches entered as millimetres",
        1.0 / _INCH: "millimetres taken for inches and converted",
        _MIL: "mils entered as millimetres",
        1.0 / _MIL: "millimetres taken for mils and converted",
        _MICROMETRE: "micrometres entered as millimetres",
        10.0: "the decimal point one place off",
        0.1: "the decimal point one place off",
    }
)
"""Factor that corrects a value with a wrong unit or decimal point, and how the slip happened."""

FACTORS: Mapping[float, str] = MappingProxyType(
    {
        **UNIT_FACTORS,
        2.0: "half of the real value, or one side only",
        0.5: "twice the real value, or both sides together",
    }
)
"""All factors, units first."""

PITCHES = "pitches"
"""Stands for `TYPICAL_PITCHES` as the quantity a pitch was compared with."""

PROPORTIONS = {name: feature.proportion for name, feature in FEATURES.items() if feature.proportion is not None}
"""Widest ratios between lengths of one half, with room for smaller mistakes, which are not mistakes of unit. Where real
geometry knows both lengths they hold what 5,642 real connectors span; the others are common practice, no source."""

TYPICAL_PITCHES = (
    *(0.3, 0.35, 0.4, 0.5, 0.6, 0.635, 0.65, 0.7, 0.75, 0.8, 1.0, 1.2, 1.25, 1.27, 1.5, 1.8, 2.0, 2.2, 2.29, 2.5),
    *(2.54, 2.77, 3.0, 3.5, 3.81, 3.96, 4.0, 4.2, 5.0, 5.08, 7.5, 7.62, 10.0, 10.16),
)
"""Pitches that makers offer, mm. Common practice, no source."""

TYPICAL_WITHIN = 0.02
"""Share of a pitch by which thousandths of an inch round it: 0.4 mm becomes 0.016 in."""

FINEST_PITCH = 0.29
"""A finer pitch is taken for inches if that gives a usual pitch, mm: 0.3 is the finest in use. Common practice, no
source."""

HUGE_PITCH = 2.0
"""Only a pitch this many times above the plausible range is taken for mils or micrometres: terminal blocks reach 15 mm.
"""


def swapped_figures(value: float) -> Iterator[float]:
    """All values obtained by swapping two neighbouring figures of the decimal number."""
    text = f"{value:.6f}".rstrip("0")
    places = [place for place, character in enumerate(text) if character != "."]
    for first, second in pairwise(places):
        if text[first] != text[second]:
            figures = list(text)
            figures[first], figures[second] = figures[second], figures[first]
            yield float("".join(figures))


def out_of_proportion(half: Half, judged: frozenset[str]) -> Iterator[Finding]:
    """Dimensions that a unit factor would bring into proportion; ``judged`` ones are left to their law, which is more
    precise."""
    lengths = {name: dimension.value for name, dimension in half.dimensions.items()}
    pitch = _typical_pitch(half)
    if pitch is not None:
        lengths["pitch"] *= pitch.factor
        if "pitch" not in judged:
            yield _finding(half, pitch)
    wrong = {name for name in PROPORTIONS if not _holds(name, _ratio(name, lengths, half))}
    while wrong:
        found = max(_cures(lengths, wrong, half), key=lambda cure: len(cure.cured), default=None)
        if found is None:
            return
        wrong -= found.cured
        if found.feature not in judged:
            yield _finding(half, found)
        lengths[found.feature] *= found.factor


@dataclass(frozen=True, kw_only=True)
class _Cure:
    """A factor for one dimension, and the dimensions whose proportions it corrects."""

    feature: str
    factor: float
    cured: frozenset[str] = frozenset()
    against: str


def _typical_pitch(half: Half) -> _Cure | None:
    """A pitch far outside the range of real parts that is a usual pitch in another unit."""
    pitch = pitch_of(half)
    if pitch is None or FINEST_PITCH <= pitch <= HUGE_PITCH * FEATURES["pitch"].high:
        return None
    for factor in (_INCH, _MIL, _MICROMETRE):
        if any(abs(pitch * factor - typical) <= TYPICAL_WITHIN * typical for typical in TYPICAL_PITCHES):
            return _Cure(feature="pitch", factor=factor, against=PITCHES)
    return None


def _ratio(name: str, lengths: Mapping[str, float], half: Half) -> float | None:
    """The ratio of a dimension to the quantity it is compared with; None where one of them is not known."""
    known = {**lengths, CONTACT_ROW: lengths["pitch"] * half.contacts_per_row} if "pitch" in lengths else lengths
    to = PROPORTIONS[name].to
    return known[name] / known[to] if name in known and to in known else None


def _holds(name: str, ratio: float | None) -> bool:
    return ratio is None or PROPORTIONS[name].low <= ratio <= PROPORTIONS[name].high


def _held_against(name: str) -> str:
    to = PROPORTIONS[name].to
    return "pitch" if to == CONTACT_ROW else to


def _cures(lengths: Mapping[str, float], wrong: set[str], half: Half) -> Iterator[_Cure]:
    """For each dimension in a wrong proportion, the factor that corrects all its proportions best."""
    for feature in lengths:
        own = [name for name in PROPORTIONS if feature in (name, _held_against(name))]
        cured = frozenset(own) & wrong
        oddness = {
            factor: _oddness(own, {**lengths, feature: lengths[feature] * factor}, half) for factor in UNIT_FACTORS
        }
        best = min(UNIT_FACTORS, key=oddness.__getitem__)
        if cured and oddness[best] < inf:
            first = next(name for name in own if name in cured)
            against = PROPORTIONS[first].to if feature == first else first
            yield _Cure(feature=feature, factor=best, cured=cured, against=against)


def _oddness(names: Sequence[str], lengths: Mapping[str, float], half: Half) -> float:
    """Distance of the proportions from the usual ones: sum of squared logarithms, infinite where one is impossible."""
    ratios = [(name, _ratio(name, lengths, half)) for name in names]
    if not all(_holds(name, ratio) for name, ratio in ratios):
        return inf
    return sum(log(ratio / PROPORTIONS[name].usual) ** 2 for name, ratio in ratios if ratio is not None)


def _finding(half: Half, cure: _Cure) -> Finding:
    value = half.dimensions[cure.feature].value
    words = {CONTACT_ROW: "the row of contacts", PITCHES: "the pitches that are made"}
    against = words.get(cure.against) or f"the {label(cure.against)}"
    return Finding(
        code=Code.UNITS_SLIP,
        severity="severe",
        field=f"dimensions.{cure.feature}",
        value=value,
        expected=round(value * cure.factor, 4),
        message=f"the {label(cure.feature)} {mm(value)} is far out of proportion to {against}; "
        f"{UNIT_FACTORS[cure.factor]}?",
        remedy=f"Probably {mm(value * cure.factor)}: check unit and decimal point against the source",
    )
