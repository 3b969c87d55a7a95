"""How many observations it takes until one geometry has 95 %: `python -m tests.real_geometry.next_measurement_study`.

Specimens of real geometry are observed one feature after the other: in the customary order, in the best of all fixed
orders (every permutation is tried on the same specimens that are scored), and by the program's advice. An observation
counts where the specimen's entry states the feature; a specimen that never reaches 95 % counts all of them. For small
catalogues, where all strategies can be searched, see `tests.real_geometry.exhaustive`.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from catalog.footprints import import_folders
from catalog.model.entries import Half
from matcher.absent.em_fit import fit_absent
from matcher.absent.model import AbsentModel
from matcher.columns.build import build_columns
from matcher.columns.columns import Columns, Floats, HalfRow
from matcher.decision.next_measurement.recommend import advise
from matcher.decision.posterior import posterior
from matcher.features import FEATURES
from matcher.likelihood.likelihood import likelihood
from matcher.observations import Reduced
from matcher.uncertainty.instruments import Instrument
from tests.real_geometry.conftest import FOOTPRINTS
from tests.real_geometry.simulated.outlines import rows_of
from tests.real_geometry.simulated.simulation import CALIPER_U, Bench, Scenario, same, with_process_tolerance

ASKED = (
    "pitch",
    "contact_count",
    "body_length",
    "body_width",
    "land_row_spacing",
    "land_span",
    "rows",
    "mounting",
    "orientation",
)
"""Features of the study, in the customary order (common practice, no source)."""

REACHED = 0.95

TOOL = Instrument(name="study", label="the study's caliper", feel_mm=CALIPER_U, can=frozenset(FEATURES))
"""The instrument for the specimens; see `tests.real_geometry.simulated.simulation`."""


@dataclass(frozen=True, kw_only=True)
class Specimen:
    """Observations of one half, and the log-likelihood of each under all halves (features × halves)."""

    half: int
    observed: tuple[Reduced, ...]
    logs: Floats

    @property
    def names(self) -> tuple[str, ...]:
        """The features that were observed."""
        return tuple(o.feature for o in self.observed)


class Groups:
    """Halves that count as one geometry: within the study's limits of each other."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self._members: dict[int, np.ndarray] = {}

    def probability_of_leader(self, log_posterior: Floats) -> float:
        """Probability of the likeliest half's geometry."""
        leader = int(np.argmax(log_posterior))
        if leader not in self._members:
            everyone = np.arange(len(self._columns))
            self._members[leader] = np.flatnonzero(same(self._columns, leader, everyone, ASKED))
        relative = np.exp(log_posterior - log_posterior[leader])
        return float(relative[self._members[leader]].sum() / relative.sum())


def specimens(columns: Columns, number: int, seed: int) -> list[Specimen]:
    """Simulated specimens of halves drawn at random."""
    draw, bench = np.random.default_rng(seed), Bench(columns, seed)
    found = []
    for half in draw.integers(0, len(columns), number):
        observed = tuple(bench.specimen(int(half), Scenario(features=ASKED)))
        logs = np.stack([likelihood(columns, [reading]).total for reading in observed])
        found.append(Specimen(half=int(half), observed=observed, logs=logs))
    return found


def reached_by_set(columns: Columns, groups: Groups, specimen: Specimen) -> np.ndarray:
    """For every set of the specimen's observations (bit i: the i-th), whether one geometry has 95 %."""
    number = len(specimen.observed)
    log_prior = np.log(columns.prior_weight)
    reached = np.zeros(2**number, dtype=bool)
    for mask in range(1, 2**number):
        chosen = [i for i in range(number) if mask >> i & 1]
        total = log_prior + specimen.logs[chosen].sum(axis=0)
        reached[mask] = groups.probability_of_leader(total) >= REACHED
    return reached


def steps_in_order(specimen: Specimen, reached: np.ndarray, order: Sequence[str]) -> int:
    """Observations until 95 % in a fixed order."""
    mask, steps = 0, 0
    for name in order:
        if name in specimen.names:
            mask |= 1 << specimen.names.index(name)
            steps += 1
            if reached[mask]:
                return steps
    return steps


def best_fixed_order(found: Sequence[Specimen], reached: Sequence[np.ndarray]) -> tuple[tuple[str, ...], float]:
    """The order with the fewest observations on average, and their mean: a search that tries all permutations,
    abandoning those that are already worse than the best."""
    best: tuple[float, tuple[str, ...]] = (np.inf, ())
    bits = np.array([[1 << s.names.index(n) if n in s.names else 0 for n in ASKED] for s in found])
    tables = np.stack([np.resize(np.append(r, np.zeros(512 - len(r), dtype=bool)), 512) for r in reached])
    everyone = np.arange(len(found))

    def extend(order: tuple[int, ...], masks: np.ndarray, alive: np.ndarray, spent: float) -> None:
        nonlocal best
        if spent >= best[0]:
            return
        if len(order) == len(ASKED) or not alive.any():
            rest = tuple(i for i in range(len(ASKED)) if i not in order)
            best = (spent, tuple(ASKED[i] for i in (*order, *rest)))
            return
        for i in range(len(ASKED)):
            if i not in order:
                next_masks = masks | bits[:, i]
                cost = spent + float((alive & (bits[:, i] > 0)).sum())
                extend((*order, i), next_masks, alive & ~tables[everyone, next_masks], cost)

    extend((), np.zeros(len(found), dtype=np.int64), np.ones(len(found), dtype=bool), 0.0)
    return best[1], best[0] / len(found)


Choice = Callable[[Sequence[Reduced], Sequence[str]], str]
"""Names the feature to measure next, given the readings so far and the remaining features."""


def by_advice(columns: Columns, absent: AbsentModel, prior_absent: float = 0.1) -> Choice:
    """The program's advice."""

    def choose(readings: Sequence[Reduced], left: Sequence[str]) -> str:
        result = posterior(columns, absent, readings, prior_absent)
        advice = advise(result, at_hand=("study",), instruments={"study": TOOL}, features=left, limit=1)
        return advice.measurements[0].feature if advice.measurements else left[0]

    return choose


def steps_by(specimen: Specimen, reached: np.ndarray, choose: Choice) -> int:
    """Observations until 95 % where each choice depends on the earlier readings."""
    mask, taken = 0, []
    while mask + 1 < len(reached):
        left = [name for i, name in enumerate(specimen.names) if not mask >> i & 1]
        name = choose(taken, left)
        place = specimen.names.index(name)
        mask |= 1 << place
        taken.append(replace(specimen.observed[place], index=len(taken)))
        if reached[mask]:
            break
    return len(taken)


@dataclass(frozen=True, kw_only=True)
class Means:
    """Mean observations until 95 %: customary order, best fixed order, the program's advice (and its standard error),
    and the fewest that would have been enough, known only in hindsight; and the share that never reaches it."""

    customary: float
    best_fixed: float
    best_order: tuple[str, ...]
    advice: float
    advice_error: float
    hindsight: float
    never: float


def means(columns: Columns, number: int, seed: int) -> Means:
    """Measure ``number`` specimens with all strategies."""
    absent, groups = fit_absent(columns), Groups(columns)
    found = specimens(columns, number, seed)
    reached = [reached_by_set(columns, groups, specimen) for specimen in found]
    both = list(zip(found, reached, strict=True))
    order, best = best_fixed_order(found, reached)
    advice = by_advice(columns, absent)
    advised = np.array([steps_by(s, r, advice) for s, r in both])
    return Means(
        customary=float(np.mean([steps_in_order(s, r, ASKED) for s, r in both])),
        best_fixed=best,
        best_order=order,
        advice=float(advised.mean()),
        advice_error=float(advised.std() / np.sqrt(number)),
        hindsight=float(np.mean([_fewest_in_hindsight(s, r) for s, r in both])),
        never=float(np.mean([not table[-1] for table in reached])),
    )


def _fewest_in_hindsight(specimen: Specimen, reached: np.ndarray) -> int:
    enough = np.flatnonzero(reached)
    return min((int(mask).bit_count() for mask in enough), default=len(specimen.observed))


def real_rows() -> list[HalfRow]:
    """All halves of pitch 0.2 to 2.54 mm in the installed package, with the simulated process as tolerance."""
    halves = [e for e in import_folders(sorted(FOOTPRINTS.glob("Connector*.pretty"))).entries if isinstance(e, Half)]
    return [with_process_tolerance(row) for row in rows_of(halves)]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and print its means."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--specimens", type=int, default=500)
    parser.add_argument("--seed", type=int, default=2)
    options = parser.parse_args(arguments)
    columns = build_columns(real_rows(), [])
    found = means(columns, options.specimens, options.seed)
    print(f"{len(columns)} halves, {options.specimens} specimens; {found.never:.1%} never reach {REACHED:.0%}")
    print(f"customary order {found.customary:.3f}; best fixed {found.best_fixed:.3f} ({', '.join(found.best_order)})")
    print(f"advice {found.advice:.3f} ± {found.advice_error:.3f}; in hindsight {found.hindsight:.3f}")
    print(f"advice against customary {found.advice / found.customary - 1:+.1%}, ", end="")
    print(f"against best fixed {found.advice / found.best_fixed - 1:+.1%}")


if __name__ == "__main__":
    main()
