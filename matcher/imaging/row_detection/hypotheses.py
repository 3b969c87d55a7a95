"""The best reading of a profile: its period, and whether the contacts are bright or dark.

Each period that repeats is tried with bright and with dark contacts. A reading's evidence is the log-likelihood ratio
of its row against no row. Half or a third of a period also fits contacts that show as two lines, with more sites that
each fit worse and alternate: there the multiple whose sites fit better is chosen. The ends of the row tell contacts
from the gaps between them: what is last on either side is a contact.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from operator import attrgetter

import numpy as np
from scipy.special import expit

from matcher.columns.columns import Floats
from matcher.imaging.row_detection.counts import Run, likeliest_run
from matcher.imaging.row_detection.curve import Curve
from matcher.imaging.row_detection.periods import periods
from matcher.imaging.row_detection.template_fit import Sites, sites

DIVIDED = 2
"""Number of periods, strongest first, whose halves and thirds are tried too: an octave's maximum may be a multiple."""

SAME = 0.05
"""Relative difference below which two periods are the same."""

BETTER = 0.9
"""Mean log-likelihood ratio per site by which a multiple's sites must fit better to be chosen. Tuned."""

BRIGHT_ODDS = math.log(3.0)
"""Log of the odds that contacts are brighter than the gaps. A choice: metal on plastic mostly is."""

COVERED = 0.85
"""Least length of a multiple's row, as a part of the row's length. Tuned."""

ALTERNATING, ALTERNATING_WIDTH = 0.03, 0.15
"""Shift of every second site against the others, periods, and difference in width, relative, from which the sites are
the two lines of contacts twice as far apart (shifted), or the two gaps between these lines (one wider). Tuned: of 7,648
rendered rows read with their true period, one in a hundred has the shift and one in a thousand the difference in width,
hardly any with a t value as below."""

ALTERNATING_T, HINT_T = 4.5, 2.0
"""The t value of that from which it is settled, and from which it is a hint. Tuned: 130 of 140 rows read with half
their period have the former."""

TINY = 1e-18
"""Variance added so that a row without any scatter has a t value."""

FEWEST_ALTERNATING = 5
"""Fewest clear sites that can show this: two of each kind, and one to spare for the line through them."""

REGULAR = 2.5
"""Log-likelihood ratio above which a site is clearly regular, as 19 in 20 contacts of rendered rows are."""

EVIDENCE_WEIGHT, ENDS_WEIGHT, REACH_WEIGHT = 0.39, 0.19, 1.84
"""Weights, for bright against dark contacts, of the difference in evidence, of what the last regular sites say, and of
which row reaches further: logistic regression on 7,663 rendered rows. Tuned."""


@dataclass(frozen=True, kw_only=True)
class Hypothesis:
    """A profile read as a row: its sites, and the run of those that hold a contact."""

    sites: Sites
    run: Run

    @property
    def dark(self) -> bool:
        """Whether the contacts are darker than the gaps between them."""
        return self.sites.dark

    @property
    def evidence(self) -> float:
        """Log-likelihood ratio of this row against no row."""
        return self.run.evidence

    @property
    def per_site(self) -> float:
        """Evidence per site of the run."""
        return self.run.evidence / self.run.count


def hypotheses(values: Floats, line: tuple[float, float], smallest: float) -> list[Hypothesis]:
    """All readings of a profile with any evidence, the strongest first."""
    curve = Curve(samples=values)
    found = [reading for period in _tried(values, smallest) for reading in _of_period(curve, line, period, smallest)]
    if found and alternates(best := max(found, key=attrgetter("evidence"))):
        found += _of_period(curve, line, 2.0 * best.sites.period, smallest)
    return sorted(found, key=attrgetter("evidence"), reverse=True)


def _of_period(curve: Curve, line: tuple[float, float], period: float, smallest: float) -> Iterator[Hypothesis]:
    """The readings of about one period that have any evidence, of bright and of dark contacts."""
    for fitted in sites(curve, period, line):
        run = likeliest_run(fitted)
        if run is not None and run.evidence > 0.0 and fitted.period >= smallest:
            yield Hypothesis(sites=fitted, run=run)


def _tried(values: Floats, smallest: float) -> list[float]:
    strongest = [period.length for period in periods(values)]
    tried = list(strongest)
    for length in strongest[:DIVIDED]:
        for parts in (2, 3):
            if length / parts >= smallest and not _near(length / parts, tried):
                tried.append(length / parts)
    return tried


def _near(length: float, others: Iterable[float]) -> bool:
    return any(abs(length - other) < SAME * length for other in others)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The chosen reading. ``other`` is the reading of the same period with bright and dark exchanged, if that is a row
    too, and ``probability`` that of the chosen one against it."""

    taken: Hypothesis
    other: Hypothesis | None
    probability: float


def chosen(found: list[Hypothesis]) -> Choice:
    """The reading to use among ``found``: one or more, the strongest first."""
    period = _multiple(found)
    near = [reading for reading in found if _near(reading.sites.period, [period.sites.period])]
    bright = next((reading for reading in near if not reading.dark), None)
    dark = next((reading for reading in near if reading.dark), None)
    if bright is None or dark is None:
        return Choice(taken=period, other=None, probability=1.0)
    odds = BRIGHT_ODDS + _polarity(bright, dark)
    taken, other = (bright, dark) if odds > 0.0 else (dark, bright)
    return Choice(taken=taken, other=other, probability=float(expit(abs(odds))))


def _multiple(found: list[Hypothesis]) -> Hypothesis:
    """The strongest reading, or one with two or three times its period whose sites fit clearly better."""
    best = found[0]
    while True:
        period, length = best.sites.period, best.run.count * best.sites.period
        better = [
            reading
            for reading in found
            if _near(reading.sites.period, (2.0 * period, 3.0 * period))
            and _is_multiple(best, reading)
            and reading.run.count * reading.sites.period > COVERED * length
        ]
        if not better:
            return best
        best = better[0]


def _is_multiple(best: Hypothesis, reading: Hypothesis) -> bool:
    """Whether the sites of the reading fit clearly better than the strongest one's, at two or three times its period;
    at twice the period, the strongest one's must alternate at least a little, and need nothing else if they do
    clearly."""
    better = reading.per_site > best.per_site + BETTER
    if not _near(reading.sites.period, (2.0 * best.sites.period,)):
        return better
    return alternates(best) or (better and _alternation(best) > HINT_T)


def alternates(reading: Hypothesis) -> bool:
    """Whether every second site is clearly off the lattice, or wider, by the same amount: pairs of lines, not
    contacts."""
    return _alternation(reading) > ALTERNATING_T


def _alternation(reading: Hypothesis) -> float:
    """The greater t value of what is different at every second site: the shift, or the width; 0 if neither is much.

    Both are compared with a straight line through them, since the lattice itself may be a little off.
    """
    index = np.flatnonzero(reading.run.ratios > 0.0)
    index = index[(index >= reading.run.first) & (index <= reading.run.last)]
    parity = np.where(index % 2 == 0, 0.5, -0.5)
    if len(index) < FEWEST_ALTERNATING or abs(parity.sum()) > len(index) / 2 - 2:
        return 0.0
    basis = np.stack([np.ones_like(parity), index - index.mean(), parity], axis=1)
    inverse = np.linalg.pinv(basis.T @ basis)
    values = np.stack([reading.sites.shifts[index], reading.sites.widenings[index]], axis=1)
    found = inverse @ basis.T @ values
    scatter = np.sum((values - basis @ found) ** 2, axis=0) / (len(index) - basis.shape[1])
    apart = np.abs(found[2])
    much = apart > (ALTERNATING, ALTERNATING_WIDTH)
    return float(np.max(np.where(much, apart / np.sqrt(scatter * inverse[2, 2] + TINY), 0.0)))


def _polarity(bright: Hypothesis, dark: Hypothesis) -> float:
    """Log of the odds for bright contacts, by the evidence and by both ends."""
    evidence = float(np.clip(bright.evidence - dark.evidence, -10.0, 10.0))
    ends = sum(_last_regular(bright, dark, side) for side in (-1, 1))
    reach = sum(_further(bright, dark, side) for side in (-1, 1))
    return EVIDENCE_WEIGHT * evidence + ENDS_WEIGHT * float(np.clip(ends, -12.0, 12.0)) + REACH_WEIGHT * reach


def _further(bright: Hypothesis, dark: Hypothesis, side: int) -> float:
    """How much further the row of bright contacts reaches at one end, half periods, at most one: the gaps between
    contacts end before the contacts do."""
    ends = [reading.sites.positions[reading.run.first if side < 0 else reading.run.last] for reading in (bright, dark)]
    return float(np.clip(2.0 * side * (ends[0] - ends[1]) / bright.sites.period, -1.0, 1.0))


def _last_regular(bright: Hypothesis, dark: Hypothesis, side: int) -> float:
    """What the last regular site at one end (-1: start, 1: end) says: positive for bright contacts, negative for dark.

    The other kind has a site half a period further out: the less it looks like a contact, the more this says.
    """
    last = [_last_clear(reading, side) for reading in (bright, dark)]
    if last[0] is None or last[1] is None:
        return 0.0
    bright_last = (last[0] - last[1]) * side > 0.0
    place, other = (last[0], dark) if bright_last else (last[1], bright)
    period = other.sites.period
    lattice = other.sites.positions - other.sites.shifts * period
    beyond = place + side * period / 2.0
    nearest = int(np.argmin(np.abs(lattice - beyond)))
    if abs(lattice[nearest] - beyond) > 0.3 * period:
        return 0.0
    says = REGULAR - float(other.run.ratios[nearest])
    return says if bright_last else -says


def _last_clear(reading: Hypothesis, side: int) -> float | None:
    """Position of the last site on one side that is clearly regular."""
    regular = np.flatnonzero(reading.run.ratios > REGULAR)
    return float(reading.sites.positions[regular[0 if side < 0 else -1]]) if len(regular) else None
