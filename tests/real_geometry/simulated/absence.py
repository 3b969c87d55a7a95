"""How honest "not in this catalogue" is: series, or series and every half of the same geometry, are left out in turn.

Parameters are fitted on some of the series and tried on specimens of the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matcher.absent.density import UnderAbsent
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.columns import Bools, Columns, Floats, HalfRow, Ints
from matcher.likelihood.likelihood import likelihood
from matcher.uncertainty.reduce import reduce
from tests.real_geometry.simulated.calibration import calibration_error, calibration_floor
from tests.real_geometry.simulated.noises import FEATURE_SETS, Noise
from tests.real_geometry.simulated.simulation import Bench, Scenario, same

GONE = 1e-290
"""Prior weight of a half that is left out."""


@dataclass(frozen=True, kw_only=True)
class Ratios:
    """Log-likelihood ratios present : absent of specimens whose series was left out, and of specimens that are listed.

    ``series`` are numbers or names of the left-out specimens' series, for a bootstrap over series.
    """

    absent: Floats
    present: Floats
    series: Ints | NDArray[np.str_]

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
        absent, present = probability_absent(self.absent, prior), probability_absent(self.present, prior)
        return float(prior * np.mean(absent) + (1 - prior) * np.mean(present))

    def calibration_error(self, prior: float, bins: int = 10) -> float:
        """Expected calibration error of P(absent) where a share ``prior`` of specimens is absent, equal-width bins."""
        stated, truth, weight = self._weighed(prior)
        number = np.minimum((stated * bins).astype(int), bins - 1)
        return float(np.abs(np.bincount(number, weights=weight * (truth - stated), minlength=bins)).sum())

    def calibration(self, prior: float) -> tuple[float, float]:
        """The same error over equal-count bins, and its floor."""
        stated, truth, weight = self._weighed(prior)
        return calibration_error(stated, truth, weight), calibration_floor(stated, weight)

    def _weighed(self, prior: float) -> tuple[Floats, Bools, Floats]:
        """Stated P(absent), whether the specimen is absent, and its weight where a share ``prior`` is."""
        stated = probability_absent(np.concatenate([self.absent, self.present]), prior)
        truth = np.arange(len(stated)) < len(self.absent)
        return stated, truth, np.where(truth, prior / len(self.absent), (1 - prior) / len(self.present))

    def doubt(self, prior: float) -> float:
        """Median P(absent) of listed specimens."""
        return float(np.median(probability_absent(self.present, prior)))


def probability_absent(log_ratios: Floats, prior: float) -> Floats:
    """P(absent) stated for these log-ratios present : absent."""
    return np.asarray(1 / (1 + (1 - prior) / prior * np.exp(log_ratios)))


def fitted_on_half(columns: Columns, seed: int = 0) -> tuple[AbsentModel, Ints]:
    """Parameters fitted on a random half of the series, put on the whole catalogue's profiles, and the other series."""
    draw = np.random.default_rng(seed)
    order = draw.permutation(int(columns.series.max()) + 1)
    fitting, trying = order[::2], order[1::2]
    return fitted_on(columns, fitting, fit_absent(columns)), trying


def fitted_on(columns: Columns, series: Ints, whole: AbsentModel) -> AbsentModel:
    """Parameters fitted on these series, put on the profiles of ``whole``, the whole catalogue's."""
    parameters = fit_absent(taken(columns, np.flatnonzero(np.isin(columns.series, series))))
    return replace(parameters, profile=whole.profile, representative=whole.representative, size=whole.size)


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


def without(
    columns: Columns, model: AbsentModel, half: int, features: Sequence[str] | None
) -> tuple[Columns, AbsentModel]:
    """Catalogue and density without the half's series and all halves of its geometry, as far as ``features`` tell.

    With None only the series is left out.
    """
    gone = columns.series == columns.series[half]
    if features is not None:
        gone = gone | same(columns, half, np.arange(len(columns)), features)
    return replace(columns, prior_weight=np.where(gone, GONE, columns.prior_weight)), model.without(gone)


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


RULES: Mapping[str, tuple[str, ...] | None] = {"series": None, "and twins": FEATURE_SETS["all"]}
"""What is left out for a specimen: its series; also all halves that are the same in everything that can be observed."""

BATCHES = 38
"""Parts into which the series are divided: each is left out of the fit once, and specimens of it are tried."""


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Series that the parameters were not fitted on; ``rows`` are the true halves of the columns."""

    rows: Sequence[HalfRow]
    columns: Columns
    model: AbsentModel
    series: Ints
    specimens: int
    seed: int

    def ratios(self, noise: Noise) -> dict[tuple[str, str], Ratios]:
        """Ratios by feature set and rule of leaving out; listed specimens are of series that were fitted on."""
        draw = np.random.default_rng(self.seed)
        held_out = np.isin(self.columns.series, self.series)
        absent = draw.choice(np.flatnonzero(held_out), size=self.specimens)
        present = draw.choice(np.flatnonzero(~held_out), size=self.specimens)
        numbers = self.seed * 2 * self.specimens + np.arange(2 * self.specimens)
        listed = self._log_ratios(noise, present, numbers[: self.specimens], dict.fromkeys(present, self._whole))
        found = {}
        for rule, features in RULES.items():
            left = {half: without(self.columns, self.model, int(half), features) for half in absent}
            for name, values in self._log_ratios(noise, absent, numbers[self.specimens :], left).items():
                series = np.array([self.rows[half].series for half in absent])
                found[name, rule] = Ratios(absent=values, present=listed[name], series=series)
        return found

    @property
    def _whole(self) -> tuple[Columns, AbsentModel]:
        return self.columns, self.model

    def _log_ratios(
        self, noise: Noise, halves: Ints, numbers: Ints, left: Mapping[int, tuple[Columns, AbsentModel]]
    ) -> dict[str, Floats]:
        """Log-ratios of the halves' specimens by feature set, weighed against the catalogue that is left for each."""
        seen = [noise.specimen(self.rows[half], int(number)) for half, number in zip(halves, numbers, strict=True)]
        return {
            name: np.array(
                [
                    log_ratio(*left[half], list(reduce([o for o in specimen if o.feature in features])))
                    for half, specimen in zip(halves, seen, strict=True)
                ]
            )
            for name, features in FEATURE_SETS.items()
            if name != "well measured"
        }


def batches(rows: Sequence[HalfRow], columns: Columns, specimens: int, seed: int = 0) -> list[Batch]:
    """All series in batches, with about ``specimens`` specimens in all; in small catalogues each series by itself."""
    whole, number = fit_absent(columns), int(columns.series.max()) + 1
    order = np.random.default_rng(seed).permutation(number)
    parts = np.array_split(order, min(BATCHES, number))
    return [
        Batch(
            rows=rows,
            columns=columns,
            model=fitted_on(columns, np.setdiff1d(order, part), whole),
            series=part,
            specimens=-(-specimens // len(parts)),
            seed=seed * BATCHES + place,
        )
        for place, part in enumerate(parts)
    ]


def put_together(found: Iterable[Mapping[tuple[str, str], Ratios]]) -> dict[tuple[str, str], Ratios]:
    """The ratios of several batches as one."""
    each = list(found)
    return {
        key: Ratios(
            absent=np.concatenate([one[key].absent for one in each]),
            present=np.concatenate([one[key].present for one in each]),
            series=np.concatenate([one[key].series for one in each]),
        )
        for key in each[0]
    }
