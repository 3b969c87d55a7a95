"""Readings of one part that share hidden deviations: a profile's true pitch, a feature's own, an instrument's error.

Given these, the readings are independent normals; the estimate of the deviations is updated reading by reading.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.absent.model import CLASSES
from matcher.columns.columns import Floats


@dataclass(frozen=True, kw_only=True)
class Line:
    """One reading in logarithms: deviation and own variance by kernel.

    ``loadings`` (classes × kernels) are its sensitivities to hidden deviations of unit variance: the profile's true
    pitch, the feature's own deviation, an instrument's shared error.
    """

    log_number: float
    deviation: Floats
    variance: Floats
    loadings: Mapping[str, Floats]


@dataclass(frozen=True, kw_only=True)
class Filtered:
    """Readings filtered one after the other, with the resulting estimate of the hidden deviations.

    ``terms`` are conditional log-densities (classes × kernels) of each reading given those before it, per mm; ``alone``
    is the variance of each reading alone, ``loading`` its sensitivity to the hidden deviations.
    """

    lines: tuple[Line, ...]
    terms: tuple[Floats, ...]
    alone: tuple[Floats, ...]
    loading: tuple[Floats, ...]
    mean: Floats
    root: Floats

    @classmethod
    def of(cls, lines: Sequence[Line]) -> Filtered:
        """Update the mean of the hidden deviations and a root of their covariance reading by reading.

        This is Potter's form of the Kalman filter (from memory); the square root keeps twice the precision. A deviation
        of one reading alone counts as its own variance. So the cost grows with the number of readings, not its cube.
        """
        used = Counter(name for line in lines for name in line.loadings)
        hidden = [name for name, number in used.items() if number > 1]
        shape = (CLASSES, *lines[0].deviation.shape) if lines else (CLASSES, 0)
        mean, nothing = np.zeros((len(hidden), *shape)), np.zeros(shape)
        root = np.eye(len(hidden))[:, :, None, None] * np.ones(shape)
        terms, alone_of, loading_of = [], [], []
        for line in lines:
            alone = sum((loading**2 for name, loading in line.loadings.items() if used[name] == 1), line.variance)
            loading = np.array([line.loadings.get(name, nothing) for name in hidden]).reshape(mean.shape)
            moved = np.einsum("abck,ack->bck", root, loading)
            gain = np.einsum("abck,bck->ack", root, moved)
            variance = alone + (moved * moved).sum(axis=0)
            off = line.deviation - (loading * mean).sum(axis=0)
            terms.append(_log_normal(off * off / variance, variance) - line.log_number)
            mean = mean + gain * (off / variance)
            root = root - gain[:, None] * (moved / (variance + np.sqrt(alone * variance)))
            alone_of.append(alone)
            loading_of.append(loading)
        return cls(
            lines=tuple(lines),
            terms=tuple(terms),
            alone=tuple(alone_of),
            loading=tuple(loading_of),
            mean=mean,
            root=root,
        )

    def given_others(self) -> Iterator[Floats]:
        """Log-density (classes × kernels) of each reading given all others, per mm."""
        for line, alone, loading in zip(self.lines, self.alone, self.loading, strict=True):
            moved = np.einsum("abck,ack->bck", self.root, loading)
            share = 1.0 - (moved * moved).sum(axis=0) / alone
            off = line.deviation - (loading * self.mean).sum(axis=0)
            yield _log_normal(off * off / (share * alone), alone / share) - line.log_number


def _log_normal(square: Floats, variance: Floats) -> Floats:
    """Log-density of a normal; ``square`` is the deviation's, in standard deviations."""
    return np.asarray(-0.5 * (square + np.log(2 * np.pi * variance)))
