"""What comes out of one picture: readings with their budgets, rows and how they stand to each other, the scale."""

from __future__ import annotations

from dataclasses import dataclass

from matcher.imaging.clicks.lattice import RowFit
from matcher.observations import BudgetLine, Observation
from matcher.uncertainty.coverage import coverage
from matcher.uncertainty.gum import effective_dof


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
    """How two neighbouring rows stand to each other.

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
class Reading:
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
    layouts: observations of contact_layout where it is clear.
    rows: each clicked row by itself, in the given order; coordinates of the picture, or of the picture with the
        perspective taken out where a rectangle was known.
    relations: of neighbouring rows.
    click_u, click_dof: standard uncertainty of one click, px, pooled over all rows, and its degrees of freedom
        (`matcher.imaging.clicks.sites.click_error`).
    scale: None where the picture has none.
    notes: sentences about what was found or assumed, strays among them.
    """

    name: str
    readings: tuple[Reading, ...]
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
