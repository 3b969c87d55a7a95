"""Whether stated probabilities are frequencies: the calibration error with its floor, and shares of an event."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Bools, Floats, Ints

BINS = 15
"""Bins by rising probability; each holds as many answers as the next."""

RESAMPLES = 200
"""Draws of right and wrong for the floor; its own standard error is about a fourteenth of its spread."""


def calibration_error(stated: Floats, happened: Bools, weight: Floats | None = None, bins: int = BINS) -> float:
    """Mean distance between the mean stated probability of a bin and the share that happened, over equal-count bins.

    ``weight`` counts each answer so many times; without it all count alike.
    """
    number, weight = _bins(stated, weight, bins)
    return _mean_gap(number, weight, happened - stated)


def calibration_floor(
    stated: Floats, weight: Floats | None = None, bins: int = BINS, resamples: int = RESAMPLES
) -> float:
    """The calibration error that these probabilities show on average where each is exactly right.

    Right and wrong are drawn with the stated probabilities, ``resamples`` times.
    """
    draw = np.random.default_rng(1)
    number, weight = _bins(stated, weight, bins)
    return float(
        np.mean([_mean_gap(number, weight, (draw.random(len(stated)) < stated) - stated) for _ in range(resamples)])
    )


def _bins(stated: Floats, weight: Floats | None, bins: int) -> tuple[Ints, Floats]:
    """The bin of each answer, and its share of the whole weight. Equal probabilities are in one bin."""
    share = np.ones(len(stated)) if weight is None else np.asarray(weight, dtype=np.float64)
    share = share / share.sum()
    _, value = np.unique(stated, return_inverse=True)
    of_value = np.bincount(value, weights=share)
    middle = np.cumsum(of_value) - of_value / 2
    return np.minimum((middle * bins).astype(np.int64), bins - 1)[value], share


def _mean_gap(number: Ints, share: Floats, gap: Floats) -> float:
    return float(np.abs(np.bincount(number, weights=share * gap)).sum())


@dataclass(frozen=True, kw_only=True)
class Share:
    """How often an event happened, and how often it should have by the probabilities stated.

    ``two_errors`` are two standard errors of ``happened`` where the probabilities are right.
    """

    happened: float
    stated: float
    two_errors: float

    @classmethod
    def of(cls, happened: Bools, stated: Floats, out_of: int | None = None) -> Share:
        """The event over answers that stated its probability, as a share of ``out_of`` (the answers themselves)."""
        number = max(len(stated) if out_of is None else out_of, 1)
        return cls(
            happened=float(happened.sum() / number),
            stated=float(stated.sum() / number),
            two_errors=float(2 * np.sqrt((stated * (1 - stated)).sum()) / number),
        )

    @property
    def holds(self) -> bool:
        """Whether it happened no more often than stated, but for two standard errors."""
        return self.happened <= self.stated + self.two_errors
