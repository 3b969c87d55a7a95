"""How many contacts: which sites hold one, and how likely each count is.

The look of each site gives the log of a likelihood ratio, contact against none. Every run of sites from a first to a
last contact has the product of its sites' ratios as its weight; a site within may be empty with a probability of its
own. The probability of a count is a sum over runs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.imaging.row_detection.template_fit import Sites

NEGLIGIBLE = 0.005
"""Probability below which an alternative count is not named."""

EMPTY = 0.07
"""Probability that a place within a row is empty. A choice: most rows have no empty place, some have one on purpose."""

STRONGEST = 9.0
"""Largest log-likelihood ratio of one site: pictures show things that the tuning pictures did not have."""

ALIKE = 0.03
"""Difference from the template that sampling alone causes, and that says nothing. Tuned."""

FEWEST = 3
"""Fewest contacts of a row: two have one distance, and one distance cannot repeat."""

WEIGHTS = {"bias": 6.1, "low": -7.2, "unlike": -3.0, "unlike_here": -1.45, "shift": -14.0, "slope": -5.4}
"""Weights of the features of a site in its log-likelihood ratio: logistic regression on 1,000 rendered rows, with
contacts and other sites of equal weight. Tuned."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """The likeliest run of sites, first and last included, and the probabilities of all counts, likeliest first."""

    first: int
    last: int
    counts: tuple[tuple[int, float], ...]
    evidence: float
    ratios: Floats

    @property
    def count(self) -> int:
        """Sites from first to last."""
        return self.last - self.first + 1


def features(found: Sites) -> tuple[Floats, ...]:
    """Quantities that distinguish a contact from none at each site, in the order of `WEIGHTS` without the bias.

    Each is 0 for a contact just like the template: how much weaker it is than those nearby, how different from the
    template (also as a logarithm, compared with the usual difference in this row), how far off the lattice (periods),
    and how much its base line slopes.
    """
    unlike = np.sqrt(1.0 - found.correlations * np.abs(found.correlations))
    usual = float(np.median(unlike[found.typical])) if found.typical.any() else 0.0
    return (
        (1.0 - found.strengths).clip(0.0, 1.5),
        unlike,
        np.log((unlike + ALIKE) / (usual + ALIKE)).clip(0.0, 3.0),
        np.abs(found.shifts),
        (_bends(found.slopes) / found.usual_amplitudes).clip(0.0, 1.0),
    )


def _bends(slopes: Floats) -> Floats:
    """Difference of each slope from level or from its neighbours', the least of these: large for half a contact, not
    for glare."""
    padded = np.concatenate([slopes[:1], slopes, slopes[-1:]])
    before, after = np.abs(slopes - padded[:-2]), np.abs(slopes - padded[2:])
    before[0], after[-1] = np.inf, np.inf
    return np.asarray(np.minimum(np.abs(slopes), np.minimum(before, after)))


def ratios(found: Sites) -> Floats:
    """Log of the likelihood ratio, contact against none, of each site."""
    bias, *weights = WEIGHTS.values()
    total = bias + sum(weight * feature for weight, feature in zip(weights, features(found), strict=True))
    return np.asarray(np.clip(total, -STRONGEST, STRONGEST) * found.visible)


def likeliest_run(found: Sites) -> Run | None:
    """The likeliest first and last site, and all counts' probabilities; None for fewer than three sites."""
    weights = ratios(found)
    n = len(weights)
    first, last = np.triu_indices(n, FEWEST - 1)
    if len(first) == 0:
        return None
    inner = np.logaddexp(np.log(1.0 - EMPTY) + weights, np.log(EMPTY))
    upto = np.concatenate([[0.0], np.cumsum(inner)])
    total = (weights - upto[1:])[first] + (weights + upto[:-1])[last]
    largest = float(total.max())
    shares = np.exp(total - largest)
    shares_in_all = float(shares.sum())
    probabilities = shares / shares_in_all
    lengths = last - first + 1
    counts = np.bincount(lengths, weights=probabilities)
    order = np.argsort(-counts, kind="stable")
    best = int(np.argmax(np.where(lengths == order[0], probabilities, -1.0)))
    return Run(
        first=int(first[best]),
        last=int(last[best]),
        counts=tuple((int(count), float(counts[count])) for count in order if counts[count] > NEGLIGIBLE),
        evidence=largest + math.log(shares_in_all),
        ratios=weights,
    )
