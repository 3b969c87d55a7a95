"""How neighbouring rows lie relative to each other: distance, offset along the row, aligned or staggered."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.clicked_rows import Rows
from matcher.imaging.clicks.picture_results import RowRelation
from matcher.imaging.clicks.rectification import lengths

PLAY = 0.03
"""Standard deviation of a contact row's offset from its place in the drawing, in pitches, the effect of an oblique view
included. Common practice, no source."""

NEITHER = 0.05
"""Prior probability of an offset that is neither 0 nor half a pitch; these two share the rest equally. A choice."""

SURE = 0.95
"""Probability from which the layout is called clear."""

ONE_LINE = 0.25
"""Two rows nearer to each other than this, in pitches, are one row clicked twice."""


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Two neighbouring rows by their positions in the list, and how sites of one lie opposite those of the other.

    ``first_site`` is near the first row's middle; ``opposite`` is where the second row's line passes it, in the second
    row's sites.
    """

    first: int
    second: int
    first_site: int
    opposite: float


def related(rows: Rows) -> tuple[tuple[Neighbours, RowRelation], ...]:
    """Every two neighbouring rows of one plane, feature and body, in the order in which they lie across.

    Raises
    ------
    ObservationError
        At ``rows[i].points`` for a row that lies on another one.
    """
    keys = dict.fromkeys(row.key for row in rows.rows)
    found = []
    for key in keys:
        members = sorted((i for i, row in enumerate(rows.rows) if row.key == key), key=lambda i: _across(rows, i))
        found += [_relation(rows, first, second) for first, second in itertools.pairwise(members)]
    return tuple(found)


def _across(rows: Rows, i: int) -> float:
    along = np.array(rows.fits[0].direction)
    middle = rows.fits[i].at(rows.fits[i].lattice.spans / 2)
    return float(along[0] * middle[1] - along[1] * middle[0])


def _relation(rows: Rows, first: int, second: int) -> tuple[Neighbours, RowRelation]:
    pair = _opposite(rows, first, second)
    spacing, spacing_u = rows.propagated(distance(rows, pair))
    pitch = rows.fits[first].lattice.pitch
    if spacing < ONE_LINE * pitch:
        later = max(first, second)
        raise ObservationError(
            f"this row lies on rows[{min(first, second)}]",
            field=f"rows[{later}].points",
            value=spacing,
            remedy="click each row once",
        )
    offset, offset_u = rows.propagated(_offset(rows, pair))
    layout, probability = layout_of(offset, offset_u)
    relation = RowRelation(
        rows=(first, second),
        spacing=spacing,
        spacing_u=spacing_u,
        offset=offset,
        offset_u=offset_u,
        layout=layout,
        probability=probability,
        agree=rows.fit.groups[first] == rows.fit.groups[second],
    )
    return pair, relation


def _opposite(rows: Rows, first: int, second: int) -> Neighbours:
    fit, theta = rows.fit, rows.fit.theta
    middle = round(float(np.mean(rows.rows[first].sites[rows.rows[first].used])))
    place = fit.origin(theta, first) + middle * fit.step(theta, first)
    step = fit.step(theta, second)
    opposite = float((place - fit.origin(theta, second)) @ step / (step @ step))
    return Neighbours(first=first, second=second, first_site=middle, opposite=opposite)


def distance(rows: Rows, pair: Neighbours) -> Callable[[Floats], Floats]:
    """Distance of two rows' lines in the first one's middle, across their mean direction, as a function of θ."""

    def function(theta: Floats) -> Floats:
        apart, along = _apart(rows, pair, pair.opposite, theta)
        cross = along[..., 0] * apart[..., 1] - along[..., 1] * apart[..., 0]
        return np.asarray(np.abs(cross) / lengths(along))

    return function


def _offset(rows: Rows, pair: Neighbours) -> Callable[[Floats], Floats]:
    """Offset along the row of the second row's nearest contact, in pitches, as a function of θ."""

    def function(theta: Floats) -> Floats:
        apart, along = _apart(rows, pair, round(pair.opposite), theta)
        return np.asarray(np.sum(apart * along, axis=-1) / np.sum(along * along, axis=-1))

    return function


def _apart(rows: Rows, pair: Neighbours, site: float, theta: Floats) -> tuple[Floats, Floats]:
    """From the first row's middle to ``site`` of the second row, and the mean step of both rows, px."""
    fit = rows.fit
    first, second = fit.step(theta, pair.first), fit.step(theta, pair.second)
    start = fit.origin(theta, pair.first) + pair.first_site * first
    return fit.origin(theta, pair.second) + site * second - start, (first + second) / 2


def layout_of(offset: float, offset_u: float) -> tuple[str, float]:
    """Aligned, staggered or unclear, and the probability of it (of the likelier one where it is unclear).

    Three explanations by Bayes: an offset near 0, one near half a pitch, both with the click's uncertainty and `PLAY`,
    or any offset at all.
    """
    sd = math.hypot(offset_u, PLAY)
    near = {"aligned": _wrapped(offset, sd), "staggered": _wrapped(offset - 0.5, sd)}
    weights = {name: (1.0 - NEITHER) / 2 * density for name, density in near.items()}
    best = max(weights, key=lambda name: weights[name])
    probability = weights[best] / (sum(weights.values()) + NEITHER)
    return (best if probability >= SURE else "unclear"), probability


def _wrapped(deviation: float, sd: float) -> float:
    """Density of a normal on a circle of circumference 1 at a deviation from −1 to 0.5."""
    turns = deviation + np.arange(-3, 5)
    return float(np.sum(np.exp(-0.5 * (turns / sd) ** 2))) / (sd * math.sqrt(2 * math.pi))


def end_change(rows: Rows, pair: Neighbours) -> float:
    """Difference of the rows' distance between both ends of the first row, px: 0 for rows with one step."""
    fit, theta = rows.fit, rows.fit.theta
    first, second = fit.step(theta, pair.first), fit.step(theta, pair.second)
    turn = math.asin(
        float(first[0] * second[1] - first[1] * second[0]) / float(np.linalg.norm(first) * np.linalg.norm(second))
    )
    return abs(turn) * rows.fits[pair.first].lattice.spans * rows.fits[pair.first].lattice.pitch
