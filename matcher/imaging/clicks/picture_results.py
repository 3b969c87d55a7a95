"""The results from one picture: readings with their budgets, rows, their relations, the scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.observations import BudgetLine, Observation
from matcher.uncertainty.coverage import coverage
from matcher.uncertainty.gum import coverage_factor, effective_dof


@dataclass(frozen=True, kw_only=True)
class Outlier:
    """A point that was left out: its place in the given list, its nearest site, and how far off it is, px."""

    point: int
    site: int
    off: float


@dataclass(frozen=True, kw_only=True)
class Lattice:
    """A row as equal steps, px.

    Attributes
    ----------
    pitch, pitch_u: step, and its standard uncertainty.
    phase, phase_u: position of site 0 (that of the smallest position), and its standard uncertainty.
    covariance: 2 × 2, of (phase, pitch), px²: click_u² (XᵀX)⁻¹.
    indices: site of each point in the given order; for a stray point its nearest site.
    residuals: position minus site, px, in the given order, strays too.
    residual_sd: standard deviation of one click about the lattice, from the residuals (GUM H.3.2), strays left out.
    click_u: standard uncertainty of one click: ``residual_sd``, or the floor where that is larger.
    degrees_of_freedom: of ``click_u``; the more, the farther the residuals are below the floor.
    outliers: points left out.
    missing: sites without a point between the first and the last.
    spans: gaps between the first and the last contact.
    """

    pitch: float
    pitch_u: float
    phase: float
    phase_u: float
    covariance: Floats
    indices: tuple[int, ...]
    residuals: tuple[float, ...]
    residual_sd: float
    click_u: float
    degrees_of_freedom: float
    outliers: tuple[Outlier, ...]
    missing: tuple[int, ...]
    spans: int

    @property
    def pitch_u95(self) -> float:
        """Expanded uncertainty of the pitch at 95 %, px, by Student's t."""
        return coverage_factor(self.degrees_of_freedom) * self.pitch_u


@dataclass(frozen=True, kw_only=True)
class RowFit:
    """A row of contacts in a picture.

    Attributes
    ----------
    lattice: along the row; ``phase`` counts from the foot of the picture's origin (0, 0) on the row's line.
    origin: (x, y) of site 0, px.
    direction: unit vector along the row, towards higher sites; its larger component is positive.
    tilt, tilt_u: angle from the x axis towards the y axis, rad, and its standard uncertainty.
    across: distance of each point from the row's line, px, in the given order, positive to the right of the direction
        as seen in the picture.
    """

    lattice: Lattice
    origin: tuple[float, float]
    direction: tuple[float, float]
    tilt: float
    tilt_u: float
    across: tuple[float, ...]

    @property
    def step(self) -> Floats:
        """Vector from one site to the next, px."""
        return self.lattice.pitch * np.array(self.direction)

    def at(self, site: float) -> Floats:
        """Where a site lies in the picture, px."""
        return np.array(self.origin) + site * self.step


@dataclass(frozen=True, kw_only=True)
class PictureScale:
    """Pixels per millimetre in one plane.

    ``rel`` is the relative standard uncertainty, ``plane`` where it holds, ``source`` where it comes from.
    """

    px_per_mm: float
    rel: float
    plane: str
    source: str
    degrees_of_freedom: float


@dataclass(frozen=True, kw_only=True)
class RowRelation:
    """How two neighbouring rows lie relative to each other.

    Attributes
    ----------
    rows: their places in the picture's list of rows.
    spacing, spacing_u: distance of the rows' lines, px.
    offset, offset_u: how far the second row's contacts stand along the row from the nearest of the first row's, as
        a part of the pitch, −0.5 to 0.5.
    layout: aligned, staggered or unclear.
    probability: of ``layout``; of the likelier of both where it is unclear.
    agree: whether the rows have one direction and pitch within the clicking error.
    """

    rows: tuple[int, int]
    spacing: float
    spacing_u: float
    offset: float
    offset_u: float
    layout: str
    probability: float
    agree: bool


@dataclass(frozen=True, kw_only=True)
class PictureReading:
    """One length of a picture: the observation (unit px, before division by its spans) and its own budget.

    The budget holds what belongs to this reading alone; scale and plane are added by
    `matcher.uncertainty.reduce.reduce`.
    """

    observation: Observation
    value: float
    u: float
    budget: tuple[BudgetLine, ...]

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom of ``u`` (Welch–Satterthwaite)."""
        return effective_dof(
            [line.contribution for line in self.budget], [line.degrees_of_freedom for line in self.budget]
        )

    @property
    def u95(self) -> float:
        """Expanded uncertainty at 95 %, px, scale and plane left out."""
        return coverage(self.budget).expanded


@dataclass(frozen=True, kw_only=True)
class PictureResult:
    """Everything measured in one picture.

    Attributes
    ----------
    name: the picture's.
    readings: lengths with their budgets.
    layouts: observations of contact_layout and tail_layout where they are clear.
    rows: each clicked row by itself, in the given order; coordinates of the picture, or of the picture with the
        perspective taken out where a rectangle was known.
    relations: of neighbouring rows.
    click_u, click_dof: standard uncertainty of one click, px, pooled over all rows, and its degrees of freedom
        (`matcher.imaging.clicks.lattice_fit.click_error`).
    scale: None where the picture has none.
    notes: sentences about what was found or assumed, strays among them.
    """

    name: str
    readings: tuple[PictureReading, ...]
    layouts: tuple[Observation, ...]
    rows: tuple[RowFit, ...]
    relations: tuple[RowRelation, ...]
    click_u: float
    click_dof: float
    scale: PictureScale | None
    notes: tuple[str, ...]

    @property
    def observations(self) -> tuple[Observation, ...]:
        """Ready for `matcher.uncertainty.reduce.reduce`: the readings, then the layouts."""
        return (*(reading.observation for reading in self.readings), *self.layouts)

    @property
    def budgets(self) -> tuple[tuple[BudgetLine, ...], ...]:
        """Of each observation, in their order; layouts have none."""
        return (*(reading.budget for reading in self.readings), *(() for _ in self.layouts))
