"""Likelihood of observations of the other half and of the mated pair: a mixture over the matings of each half.

They all concern one mate, so they are weighed together: for each listed mating, the product of their probabilities; for
an unlisted mate, the probabilities predicted for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.evidence import UNLISTED_MATE, Evidence, log_sum, log_sum_by


@dataclass(frozen=True, kw_only=True)
class MatesGroup:
    """All observations of the other half and the pair.

    ``listed`` (observations × matings) and ``unlisted`` (observations × halves) are log-probabilities.
    """

    evidence: tuple[Evidence, ...]
    columns: Columns
    listed: Floats
    unlisted: Floats

    @classmethod
    def of(cls, evidence: tuple[Evidence, ...], columns: Columns) -> MatesGroup:
        """Log-probabilities of the observations for every listed mating and for an unlisted mate of every half."""
        return cls(
            evidence=evidence,
            columns=columns,
            listed=np.log(np.stack([each.of_listed_mates() for each in evidence])),
            unlisted=np.log(np.stack([each.of_unlisted_mates() for each in evidence])),
        )

    def log_likelihood(self, chosen: Sequence[int]) -> Floats:
        """Log-probability of the chosen observations together, for each half."""
        columns = self.columns
        matings = np.bincount(columns.matings.half, minlength=len(columns))
        listed = log_sum_by(self.listed[chosen].sum(axis=0), columns.matings.half, len(columns))
        has = matings > 0
        mean = np.where(has, listed - np.log(np.maximum(matings, 1)) + np.log(1 - UNLISTED_MATE), -np.inf)
        unlisted = self.unlisted[chosen].sum(axis=0) + np.where(has, np.log(UNLISTED_MATE), 0.0)
        return np.asarray(np.logaddexp(mean, unlisted))

    def of_some(self, chosen: Sequence[int]) -> MatesGroup:
        """The group with only the chosen observations."""
        evidence = tuple(self.evidence[j] for j in chosen)
        return replace(self, evidence=evidence, listed=self.listed[chosen], unlisted=self.unlisted[chosen])

    def mate_probabilities(self, half: int) -> tuple[Ints, Floats]:
        """Matings of a half and their probabilities given all observations; the rest up to 1 is an unlisted mate."""
        matings = np.flatnonzero(self.columns.matings.half == half)
        logs = self.listed[:, matings].sum(axis=0) + np.log((1 - UNLISTED_MATE) / max(len(matings), 1))
        unlisted = self.unlisted[:, half].sum() + (np.log(UNLISTED_MATE) if len(matings) else 0.0)
        return matings, np.exp(logs - log_sum(np.append(logs, unlisted)))
