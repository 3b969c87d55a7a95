"""How honest "not in this catalogue" is: whole series and every half of the same geometry are left out in turn.

Parameters are fitted on half of the series and tried on specimens of the other half.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.absent.density import UnderAbsent
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Columns, Floats, Ints
from matcher.likelihood.likelihood import likelihood
from tests.real_geometry.simulated.simulation import Bench, Scenario, same

GONE = 1e-290
"""Prior weight of a half that is left out."""


@dataclass(frozen=True, kw_only=True)
class Ratios:
    """Log-likelihood ratios present : absent of specimens whose series was left out, and of specimens that are listed.

    ``series`` numbers the left-out specimens' series, for a bootstrap over series.
    """

    absent: Floats
    present: Floats
    series: Ints

    def auroc(self) -> float:
        """Probability that a listed specimen has the larger ratio."""
        order = np.argsort(np.concatenate([self.absent, self.present]), kind="stable")
        ranks = np.empty(len(order))
        ranks[order] = np.arange(1, len(order) + 1)
        n = len(self.present)
        return float((ranks[len(self.absent) :].sum() - n * (n + 1) / 2) / (n * len(self.absent)))

    def mean_ratio(self, draws: int = 500) -> tuple[float, float, float]:
        """E[L | absent] with its 95 % bootstrap interval over series."""
        draw = np.random.default_rng(3)
        _, number = np.unique(self.series, return_inverse=True)
        total, count = np.bincount(number, weights=np.exp(self.absent)), np.bincount(number)
        means = []
        for _ in range(draws):
            picked = draw.integers(0, len(total), len(total))
            means.append(total[picked].sum() / count[picked].sum())
        low, high = np.quantile(means, [0.025, 0.975])
        return float(np.exp(self.absent).mean()), float(low), float(high)

    def share_from(self, threshold: float) -> float:
        """Share of absent specimens with L ≥ threshold."""
        return float(np.mean(np.exp(self.absent) >= threshold))

    def mean_probability_absent(self, prior: float) -> float:
        """Mean stated P(absent) where a share ``prior`` of specimens is absent: equals it when calibrated."""
        odds = (1 - prior) / prior

        def stated(log_ratios: Floats) -> float:
            return float(np.mean(1 / (1 + odds * np.exp(log_ratios))))

        return prior * stated(self.absent) + (1 - prior) * stated(self.present)

    def calibration_error(self, prior: float, bins: int = 10) -> float:
        """Expected calibration error of P(absent) where a share ``prior`` of specimens is absent, equal-width bins."""
        ratios = np.concatenate([self.absent, self.present])
        truth = np.arange(len(ratios)) < len(self.absent)
        weight = np.where(truth, prior / len(self.absent), (1 - prior) / len(self.present))
        stated = 1 / (1 + (1 - prior) / prior * np.exp(ratios))
        number = np.minimum((stated * bins).astype(int), bins - 1)
        return float(np.abs(np.bincount(number, weights=weight * (truth - stated), minlength=bins)).sum())


def fitted_on_half(columns: Columns, seed: int = 0) -> tuple[AbsentModel, Ints]:
    """Parameters fitted on a random half of the series, put on the whole catalogue's profiles, and the other series."""
    draw = np.random.default_rng(seed)
    order = draw.permutation(int(columns.series.max()) + 1)
    fitting, trying = order[::2], order[1::2]
    of_fitting = np.flatnonzero(np.isin(columns.series, fitting))
    parameters = fit_absent(taken(columns, of_fitting))
    whole = fit_absent(columns)
    model = replace(parameters, profile=whole.profile, representative=whole.representative, size=whole.size)
    return model, trying


def taken(columns: Columns, halves: Ints) -> Columns:
    """The catalogue with the given halves only, without matings."""
    return replace(
        columns,
        keys=tuple(columns.keys[half] for half in halves),
        series=columns.series[halves],
        geometry=columns.geometry[halves],
        inferred=columns.inferred[halves],
        prior_weight=columns.prior_weight[halves],
        dimensions={
            name: replace(
                column,
                stated=column.stated[halves],
                centre=column.centre[halves],
                half_width=column.half_width[halves],
                extra_u=column.extra_u[halves],
            )
            for name, column in columns.dimensions.items()
        },
        counts={name: values[halves] for name, values in columns.counts.items()},
        categories={name: values[halves] for name, values in columns.categories.items()},
        texts=tuple(columns.texts[half] for half in halves),
    )


def without(columns: Columns, model: AbsentModel, half: int, features: Sequence[str]) -> tuple[Columns, AbsentModel]:
    """Catalogue and density without the half's series and all halves of its geometry, as far as ``features`` tell."""
    gone = (columns.series == columns.series[half]) | same(columns, half, np.arange(len(columns)), features)
    profile = np.where(gone, -1, model.profile)
    size = np.bincount(profile[profile >= 0], minlength=len(model.size))
    kept = np.flatnonzero(size)
    renumbered = np.full(len(size) + 1, -1)
    renumbered[kept] = np.arange(len(kept))
    smaller = replace(model, profile=renumbered[profile], representative=model.representative[kept], size=size[kept])
    return replace(columns, prior_weight=np.where(gone, GONE, columns.prior_weight)), smaller


def log_ratio(columns: Columns, model: AbsentModel, observations: list) -> float:  # type: ignore[type-arg]
    """ln p(y | present) − ln q(y | absent)."""
    weighed = likelihood(columns, observations)
    weight = columns.prior_weight / columns.prior_weight.sum()
    top = weighed.total.max()
    present = np.log(np.sum(weight * np.exp(weighed.total - top))) + top
    return float(present - UnderAbsent(model=model, weighed=weighed).log_density)


def ratios(columns: Columns, scenario: Scenario, specimens: int, seed: int = 0) -> Ratios:
    """Ratios of ``specimens`` left-out and as many listed specimens of the series that were not fitted on."""
    model, trying = fitted_on_half(columns, seed)
    bench = Bench(columns, seed)
    draw = np.random.default_rng(seed + 1)
    usable = np.flatnonzero(np.isin(columns.series, trying))
    chosen = draw.choice(usable, size=specimens)
    absent = [
        log_ratio(*without(columns, model, int(half), scenario.features), bench.specimen(int(half), scenario))
        for half in chosen
    ]
    present = [log_ratio(columns, model, bench.specimen(int(half), scenario)) for half in chosen]
    return Ratios(absent=np.array(absent), present=np.array(present), series=columns.series[chosen])
