"""Find a row of contacts in a profile of grey levels.

The steps: periods that repeat (`periods`), the sites of each period's lattice (`template_fit`), how many of them hold a
contact (`counts`), which reading of the profile is best (`hypotheses`), and the pitch
(`matcher.imaging.clicks.lattice_fit.fit_lattice`).

Constants marked "Tuned" were set on rendered rows from some families of seeds
(tests/matcher/imaging/row_detection); the tests check the figures on another family.

Known limits. An end contact that dirt covers completely does not show in the profile: the count is one short. Contacts
in glare are counted by what shows of them below white; where nothing does, several counts remain. If anything shows in
its place, the count is called unsure, and so one in six rows that are counted right is unsure; if nothing shows, the
count is called sure. Contacts that show as two lines nearly half a pitch apart can be counted twice; the program
notices when every second line is off or every second gap wider, and otherwise calls the count unsure. Wide contacts
beside the row make the count unsure if they lie about where one more contact would. A noisy row that shows only three
or four contacts is refused or unsure. The blocks of a JPEG repeat, too. Pitches below 4 px are not looked for, and
perspective along the row is not modelled: straighten the picture first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.imaging.clicks.lattice_fit import fit_lattice
from matcher.imaging.clicks.picture_results import Lattice
from matcher.imaging.clicks.site_assignment import straight_line
from matcher.imaging.row_detection.doubts import doubts, empty, is_clear, is_row, row_reasons, traces
from matcher.imaging.row_detection.hypotheses import Choice, Hypothesis, alternates, chosen, hypotheses
from matcher.imaging.row_detection.periods import SMALLEST_PX


@dataclass(frozen=True, kw_only=True)
class FoundContact:
    """One contact: ``position`` of its centre along the line, px from the line's start, with standard uncertainty
    ``u`` (px); ``index`` is its place in the row (0: the first); ``doubtful`` says why it may not be a contact; None
    if it is clear."""

    position: float
    u: float
    index: int
    doubtful: str | None = None


@dataclass(frozen=True, kw_only=True)
class FoundRow:
    """A row of contacts along a line; lengths are px along the line.

    ``count`` is the number of places from the first contact to the last, empty places among them included;
    ``missing`` holds the indices of empty places. ``count_probability`` is how likely that count is;
    ``alternatives`` are other counts with theirs, likeliest first; the rest of the probability is for counts not named.
    ``sure`` is True if the count can be used without a check by eye; otherwise ``reasons`` says in sentences why not.
    ``pitch_u`` is the standard uncertainty of ``pitch_px`` with ``degrees_of_freedom``, ``pitch_u95`` the half-width of
    its 95 % interval by Student's t. ``dark`` says that the contacts are darker than the gaps between them.
    ``contrast`` is how far a typical contact's level is from that of the gaps, as a part of the profile's range of
    levels (0..1).
    """

    pitch_px: float
    pitch_u: float
    pitch_u95: float
    degrees_of_freedom: float
    centres: tuple[FoundContact, ...]
    count: int
    count_probability: float
    alternatives: tuple[tuple[int, float], ...]
    sure: bool
    missing: tuple[int, ...]
    reasons: tuple[str, ...]
    dark: bool
    contrast: float


FEWEST_SAMPLES = 16
"""Fewest samples of a profile: four contacts of the smallest pitch."""

MOST_SAMPLES = 100_000
"""Most samples of a profile: more than the diagonal of any accepted picture has."""

FLATTEST = 1e-4
"""Range of levels below which a profile is constant: a fortieth of one step of 8 bits."""

LARGEST_LEVEL = 1e6
"""Largest accepted level: 16 bits have less, and sums of squares stay far below the largest float."""

HIDDEN = 0.05
"""Probability that a trace beyond an end is one more contact. Tuned: 28 of 618 traces in 3,000 rendered rows were."""

SURE = 0.95
"""Probability from which a count can be used without a check by eye. A choice."""

SURE_POLARITY = 0.985
"""Probability from which it is settled whether contacts are bright or dark. Tuned: one in 170 rendered rows is counted
right with less; of 4,000, one in which gaps were mistaken for contacts had more, and its count was unsure anyway."""

FLOOR = 0.5
"""Floor for the lattice fit, as a part of the scatter: low enough that the residuals decide and strays stand out."""

FINEST = 0.002
"""Smallest standard uncertainty of a centre, px: the step of 8-bit levels alone causes as much. From memory, no
source."""

DRIFT = 0.0013
"""Standard uncertainty, in pitches, of the distance from the first to the last contact that residuals do not show,
since light and JPEG move neighbours alike. Tuned: of 3,000 rendered rows the interval held the pitch in 94.1 % without
it and in 95.0 % with it; of simulated profiles in 94.9 % and 95.8 %."""

FAINTEST = 0.2
"""Least relative strength used for a centre's uncertainty: a weaker contact is doubtful anyway."""


def find_contacts(profile: Floats, *, step: float = 1.0, ahead: ArrayLike = (), behind: ArrayLike = ()) -> FoundRow:
    """The row of contacts in ``profile``: grey levels every ``step`` px along a line.

    ``ahead`` and ``behind`` are the levels just before and after the profile where they are known
    (`matcher.imaging.row_detection.profile.Profile` has them): a contact whose centre lies there is not counted, but
    they show the whole of a contact that the profile's end cuts.

    Raises `ObservationError`: field ``profile`` (or ``ahead``, ``behind``) for a profile that is too short or too long,
    constant, not finite or without contacts; ``step`` for a step that is no positive number.
    """
    _check_step(step)
    parts = [_checked(part, name) for part, name in ((ahead, "ahead"), (profile, "profile"), (behind, "behind"))]
    _check_length(parts[1])
    values = np.concatenate(parts)
    start = len(parts[0])
    found = hypotheses(values, (float(start), float(start + len(parts[1]) - 1)), SMALLEST_PX / step)
    clear = [reading for reading in found if is_row(reading)]
    if not clear:
        raise _no_contacts("no row of contacts was found: nothing in the profile repeats clearly", len(parts[1]))
    return _row(chosen(clear), values, float(start), step)


def _row(choice: Choice, values: Floats, start: float, step: float) -> FoundRow:
    reading = choice.taken
    why, free = doubts(reading), empty(reading)
    places = [site for site in range(reading.run.first, reading.run.last + 1) if not free[site]]
    lattice = _lattice(reading, places, why, step, len(values))
    counts = _counts(choice)
    count, probability = reading.run.count, dict(counts)[reading.run.count]
    clear = is_clear(reading, len(places))
    sure = probability >= SURE and clear and _undoubted(choice)
    reasons = () if sure else _reasons(choice, counts, why, clear)
    strength = float(np.median(reading.sites.amplitudes[places]))
    drift = DRIFT * lattice.pitch / lattice.spans
    return FoundRow(
        pitch_px=lattice.pitch,
        pitch_u=math.hypot(lattice.pitch_u, drift),
        pitch_u95=lattice.pitch_u95 * math.hypot(1.0, drift / lattice.pitch_u),
        degrees_of_freedom=lattice.degrees_of_freedom,
        centres=tuple(_contact(reading, site, why[site], lattice, start, step) for site in places),
        count=count,
        count_probability=probability,
        alternatives=tuple((other, chance) for other, chance in counts if other != count),
        sure=sure,
        missing=tuple(site - reading.run.first for site in range(reading.run.first, reading.run.last) if free[site]),
        reasons=reasons,
        dark=reading.dark,
        contrast=min(1.0, strength / float(np.ptp(values))),
    )


def _contact(
    reading: Hypothesis, site: int, why: str | None, lattice: Lattice, start: float, step: float
) -> FoundContact:
    """The contact at a site. The place of a fainter one is less certain: noise moves it more."""
    strength = float(reading.sites.strengths[site])
    return FoundContact(
        position=float(reading.sites.positions[site] - start) * step,
        u=lattice.click_u / min(1.0, max(strength, FAINTEST)),
        index=site - reading.run.first,
        doubtful=why,
    )


def _lattice(reading: Hypothesis, places: list[int], why: list[str | None], step: float, length: int) -> Lattice:
    """The lattice through the clear contacts, or through all where fewer than three are clear."""
    clear = [site for site in places if why[site] is None]
    used = clear if len(clear) >= max(3, len(places) / 2) else places
    if len(used) < 3:
        raise _no_contacts("fewer than three contacts were found in the profile", length)
    positions = reading.sites.positions[used] * step
    sites = np.array(used, dtype=np.float64)
    scatter = float(np.std(positions - straight_line(sites, positions)[0] * sites))
    try:
        return fit_lattice(positions, floor_u=max(FINEST, FLOOR * scatter))
    except ObservationError as error:
        raise _no_contacts(f"what repeats in the profile is not a row of contacts: {error.message}", length) from error


def _counts(choice: Choice) -> list[tuple[int, float]]:
    """All counts with their probabilities, likeliest first: those of the chosen reading, and those with bright and dark
    exchanged; each end with a trace of something beyond it may have one more contact."""
    total: dict[int, float] = {}
    other = () if choice.other is None else choice.other.run.counts
    for weight, counts in ((choice.probability, choice.taken.run.counts), (1.0 - choice.probability, other)):
        for count, probability in counts:
            total[count] = total.get(count, 0.0) + weight * probability
    for _ in traces(choice.taken):
        total = _one_more(total)
    return sorted(total.items(), key=lambda item: -item[1])


def _undoubted(choice: Choice) -> bool:
    """Whether no further doubt about the chosen reading exists beyond the probabilities of the counts."""
    same = choice.other is None or choice.other.run.count == choice.taken.run.count
    settled = same or choice.probability >= SURE_POLARITY
    return settled and not alternates(choice.taken) and not traces(choice.taken)


def _one_more(counts: dict[int, float]) -> dict[int, float]:
    more = {count: (1.0 - HIDDEN) * probability for count, probability in counts.items()}
    for count, probability in counts.items():
        more[count + 1] = more.get(count + 1, 0.0) + HIDDEN * probability
    return more


def _reasons(choice: Choice, counts: list[tuple[int, float]], why: list[str | None], clear: bool) -> tuple[str, ...]:
    """Why the count is unsure, in sentences: at least one."""
    reasons = row_reasons(choice.taken, why)
    if not clear:
        reasons.append("A row this faint or short may be chance: noise or texture that happens to repeat.")
    if choice.probability < SURE_POLARITY:
        shown, gaps = ("dark", "bright") if choice.taken.dark else ("bright", "dark")
        reasons.append(f"The contacts may be the {gaps} parts, not the {shown} ones as assumed.")
    named = ", ".join(f"{count} ({100.0 * probability:.0f} %)" for count, probability in counts[:3])
    return (*reasons, f"Counts that fit: {named}.")


def _check_step(step: float) -> None:
    if not (isinstance(step, int | float) and math.isfinite(step) and step > 0.0):
        raise ObservationError(
            "the step between levels is not a length",
            field="step",
            value=step,
            remedy="give the distance in pixels between neighbouring levels, a number above 0",
        )


def _checked(levels: ArrayLike, name: str) -> Floats:
    try:
        values = np.asarray(levels, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise _profile_error("the profile is not a list of numbers", name, type(levels).__name__) from error
    if values.ndim != 1:
        raise _profile_error("the profile is not one row of levels", name, values.shape)
    bad = np.flatnonzero(~np.isfinite(values) | (np.abs(values) > LARGEST_LEVEL))
    if len(bad):
        where = f"level {bad[0]} of the profile"
        raise _profile_error(f"{where} is not a finite number of a usual size", f"{name}[{bad[0]}]", values[bad[0]])
    return values


def _check_length(values: Floats) -> None:
    if not FEWEST_SAMPLES <= len(values) <= MOST_SAMPLES:
        message = f"the profile has {len(values)} levels; {FEWEST_SAMPLES} to {MOST_SAMPLES} are accepted"
        raise _profile_error(message, "profile", len(values))
    if float(np.ptp(values)) <= FLATTEST * max(1.0, float(np.abs(values).max())):
        raise _no_contacts("the profile is constant", len(values))


def _profile_error(message: str, field: str, value: object) -> ObservationError:
    remedy = "give grey levels from 0 (black) to 1 (white), at equal steps along a line over the row of contacts"
    return ObservationError(message, field=field, value=value, remedy=remedy)


def _no_contacts(message: str, length: int) -> ObservationError:
    remedy = "draw the line along the middle of the contacts from end to end, or click the contacts' centres instead"
    return ObservationError(message, field="profile", value=f"{length} levels", remedy=remedy)
