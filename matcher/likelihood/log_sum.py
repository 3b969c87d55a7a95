"""Sums of probabilities that are given as logarithms."""

from __future__ import annotations

import numpy as np

from matcher.columns.columns import Floats, Ints


def log_sum_by(logs: Floats, groups: Ints, size: int) -> Floats:
    """Log of the sum of exponentials in each of ``size`` groups; −∞ for an empty group."""
    top = np.full(size, -np.inf)
    np.maximum.at(top, groups, logs)
    finite = np.where(np.isfinite(top), top, 0.0)
    total = np.bincount(groups, weights=np.exp(logs - finite[groups]), minlength=size)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(total) + finite)
