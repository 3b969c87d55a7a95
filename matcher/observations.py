"""Observations of a specimen: as a person gives them (`Observation`), and reduced to numbers (`Reduced`)."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

LARGEST_COUNT = 2000
"""Largest count: the likelihood of a bound on a count is summed up to it."""

MAX_OBSERVATIONS = 200
"""Most observations of one specimen: ten times the number of features of a half, its mate and the pair."""

MAX_READINGS = 1000
"""Most repeats of one reading, also in evidence: their scatter is known to 2 % by then (GUM E.4.3)."""

MAX_UNSCALED = 16
"""Most readings of one picture without a scale; 14 dimensions can be measured there. Any of the readings may belong
together, so the time grows with the cube of their number: where all contradict each other in a picture taken by hand,
16 take 2 s over 120 halves and half a minute over 2,400."""

UNSCALED_SD = 10.0
"""Standard deviation of ln(scale) of a picture without any scale: so wide that no answer depends on its size."""


RECTANGULAR = "rectangular"
"""A budget line's ``distribution``: a limit or a display's step, within which all values are equally likely."""

TYPE_A = "normal, type A"
"""A budget line's ``distribution``: the scatter of repeats."""


class Of(StrEnum):
    """Which body an observation belongs to."""

    THIS = "this"
    OTHER = "other"
    PAIR = "pair"


@dataclass(frozen=True, kw_only=True)
class TrialFit:
    """A trial fit: the known half (its key), and whether it mated."""

    half: str
    mates: bool


@dataclass(frozen=True, kw_only=True)
class Observation:
    """One feature as a person gives it; its fields are those of the JSON interface.

    Exactly one of ``value``, ``readings`` or a bound (``min`` and/or ``max``) is given. ``value`` is a number for
    dimensions and counts, one or several names for categories, text for markings, `TrialFit` for a fit. ``unit`` is
    mm, in, mil, um or px (``px_per_mm`` gives a picture's scale). ``u`` is a standard uncertainty and ``plus_minus`` a
    limit (± a, rectangular), both in ``unit``; both replace the instrument's. ``spans`` is the number of gaps that were
    measured over (the value is divided by it). ``image`` names the picture that a reading comes from; readings of one
    image (or, without a name, of one optical instrument) share its scale. ``plane`` (lands, mating_face, housing_top)
    is the plane of the reading in the picture where it is not the feature's usual one. ``scale_rel`` is the relative
    standard uncertainty of ``px_per_mm`` (for all readings that share the scale) and ``plane_rel`` that of the scale in
    this reading's plane (0: the scale's own plane); both replace the instrument's. ``less`` is a length that is
    subtracted from each number before the division ("outer edge to outer edge minus one contact width"), measured with
    the same tool, and ``less_u`` is its standard uncertainty, both in ``unit``.
    """

    feature: str
    value: float | str | tuple[str, ...] | TrialFit | None = None
    readings: tuple[float, ...] = ()
    min: float | None = None
    max: float | None = None
    unit: str = "mm"
    u: float | None = None
    plus_minus: float | None = None
    spans: int = 1
    instrument: str | None = None
    image: str | None = None
    plane: str | None = None
    px_per_mm: float | None = None
    scale_rel: float | None = None
    plane_rel: float | None = None
    less: float | None = None
    less_u: float | None = None
    of: Of = Of.THIS


class SharedKind(StrEnum):
    """How a shared error acts: a scale multiplies (ln), a zero error adds (mm)."""

    SCALE = "scale"
    ZERO = "zero"


@dataclass(frozen=True, kw_only=True)
class SharedError:
    """An error common to all readings of one ``group``.

    ``sd`` is its standard deviation: of ln(scale), or of the zero error in mm. ``coefficient`` is the reading's
    sensitivity to it (1 for a scale; 1/spans for a zero error). ``unscaled`` marks a picture without any scale: its
    readings are in pixels (or any unit) and ``sd`` is `UNSCALED_SD`.
    """

    group: str
    kind: SharedKind
    sd: float
    coefficient: float = 1.0
    unscaled: bool = False


@dataclass(frozen=True, kw_only=True)
class BudgetLine:
    """One line of an uncertainty budget; ``contribution`` = ``sensitivity`` × ``u``, mm."""

    source: str
    distribution: str
    u: float
    sensitivity: float
    contribution: float
    degrees_of_freedom: float = float("inf")


@dataclass(frozen=True, kw_only=True)
class Reduced:
    """An observation as the likelihood uses it.

    Exactly one of these is set: ``value`` (dimension, mm or px), ``count``, ``values`` (category or labels),
    ``text``, ``fit``, or ``at_least`` and/or ``at_most`` (bounds on a dimension or a count). ``u`` is the standard
    uncertainty that belongs to this reading alone; ``total_u`` includes the shared part. ``index`` is the position in
    the list the person gave; ``also`` those of further readings of the same feature that are combined into this one.
    ``counted`` is for a pitch over all gaps of a row: the contacts of a row and the rows, as counted on the same half.
    ``corrected`` is what was subtracted from ``value`` for known effects, mm: a wrong unit does not scale it.
    """

    index: int
    feature: str
    of: Of = Of.THIS
    value: float | None = None
    u: float = 0.0
    total_u: float = 0.0
    spans: int = 1
    corrected: float = 0.0
    at_least: float | None = None
    at_most: float | None = None
    count: int | None = None
    values: frozenset[str] | None = None
    text: str | None = None
    fit: TrialFit | None = None
    shared: SharedError | None = None
    budget: tuple[BudgetLine, ...] = field(default=())
    also: tuple[int, ...] = ()
    counted: tuple[int, int] | None = None

    @property
    def number(self) -> float:
        """The reading of a dimension, mm or px. Raises TypeError for any other kind of observation."""
        if self.value is None:
            raise TypeError(f"{self.feature} was not given as a number")
        return self.value

    @property
    def unscaled(self) -> bool:
        """Whether it was read in a picture without a scale, so that only its ratio to other readings counts."""
        return self.shared is not None and self.shared.unscaled

    @property
    def bound(self) -> bool:
        """Whether it is a bound: at least or at most some value."""
        return self.at_least is not None or self.at_most is not None

    @property
    def count_range(self) -> tuple[int, int]:
        """Smallest and largest count that was observed: equal for an exact one, 0 and 2000 where a side is open."""
        if self.count is not None:
            return self.count, self.count
        low = 0 if self.at_least is None else math.ceil(self.at_least)
        high = LARGEST_COUNT if self.at_most is None else min(math.floor(self.at_most), LARGEST_COUNT)
        return low, high
