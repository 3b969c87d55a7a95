"""Specimens with one mistake each, of the kinds that people make at the bench.

Toes of tails end 0.15 to 0.6 mm inside their lands at each end (common practice, no source). So a span over tails, or
a length over hold-downs, is derived from a footprint, which has only lands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from matcher.columns.columns import Bools, Columns, Floats
from matcher.columns.process_tolerance import over_gaps
from matcher.decision.likely_slips import Hint
from matcher.features import FEATURES, Kind
from matcher.observations import UNSCALED_SD, Of, Reduced, SharedError, SharedKind
from tests.real_geometry.simulated.simulation import CALIPER_U, PART, STEP, Bench, Scenario

FULL = (
    *("contact_count", "rows", "pitch", "body_length", "body_width", "land_row_spacing"),
    *("land_span", "mounting", "half_kind", "hold_down_count"),
)
TOE = (0.15, 0.6)

SEEN_FROM = 4.0
"""A mistake can be seen when a length leaves a half's tolerance by this many standard uncertainties."""

MOST_ROWS = int(FEATURES["rows"].high)
INCH, MIL = 25.4, 0.0254
DEMO = (
    *("contact_count", "rows", "pitch", "body_length", "overall_length", "body_width", "land_span", "height"),
    *("stack_height", "mounting", "half_kind", "hold_down_count"),
)
"""Features observed on the demo catalogue's specimens: also heights, the stack height and lengths over the metal."""

FEWEST_GAPS = 2
"""One gap counted as two, or two as one, doubles or halves the pitch and has its own hint."""

OPPOSITE = {"plug": "receptacle", "receptacle": "plug"}


PICTURE = SharedError(group="picture", kind=SharedKind.SCALE, sd=UNSCALED_SD, unscaled=True)


class FullBench(Bench):
    """Draws specimens with every feature of the catalogue; ``zero`` is a caliper's error that all readings share."""

    def __init__(self, columns: Columns, seed: int, zero: SharedError | None = None) -> None:
        super().__init__(columns, seed)
        self.zero = zero

    def specimen(self, half: int, scenario: Scenario) -> list[Reduced]:
        """Observations of one specimen of the half."""
        drawn = super().specimen(half, scenario)
        if self.zero is None:
            return drawn
        error = float(self.draw.normal()) * self.zero.sd
        return [o if o.value is None else self._with_zero(o, self.zero, error) for o in drawn]

    def _with_zero(self, reading: Reduced, zero: SharedError, error: float) -> Reduced:
        shared = replace(zero, coefficient=1.0 / reading.spans)
        return replace(reading, value=reading.number + error / reading.spans, shared=shared)

    def _observe(self, half: int, name: str, scenario: Scenario, scale: float) -> Reduced | None:
        if name == "hold_down_count":
            return Reduced(index=0, feature=name, count=int(self.columns.counts[name][half]))
        if name == "half_kind":
            known = np.flatnonzero(self.columns.categories[name][half] > 0.999)
            values = list(FEATURES[name].values)
            return Reduced(index=0, feature=name, values=frozenset({values[known[0]]})) if len(known) else None
        if name == "stack_height":
            return self._stack(half)
        return super()._observe(half, name, scenario, scale)

    def _dimension(self, half: int, name: str, scenario: Scenario, scale: float) -> Reduced | None:
        """A size within the process: anywhere within the entry's own tolerance."""
        column, spans = self.columns.dimensions[name], self.gaps(half) if name == "pitch" else 1
        if np.isnan(column.stated[half]) or spans < 1:
            return None
        size = column.centre[half] * spans + self.draw.uniform(-1.0, 1.0) * column.half_width[half]
        size = float(np.round(max(size + self.draw.normal() * CALIPER_U, STEP) / STEP) * STEP)
        u = CALIPER_U / spans * scale
        shared = PICTURE if scenario.unscaled else None
        return Reduced(index=0, feature=name, value=size / spans * scale, u=u, total_u=u, spans=spans, shared=shared)

    def _stack(self, half: int) -> Reduced | None:
        """The stack height with one of the listed mates."""
        blank = Reduced(index=0, feature="stack_height", of=Of.PAIR, value=0.0, u=CALIPER_U, total_u=CALIPER_U)
        return with_stack(blank, half, self)


def with_stack(reading: Reduced, half: int, bench: FullBench) -> Reduced | None:
    """The reading if it had been the stack height of one of the half's matings; None where none is stated."""
    matings = bench.columns.matings
    column = matings.dimensions["stack_height"]
    stated = np.flatnonzero((matings.half == half) & ~np.isnan(column.stated))
    if not len(stated):
        return None
    mating = int(bench.draw.choice(stated))
    return measured(reading, float(column.centre[mating]), bench, float(column.half_width[mating]))


def measured(reading: Reduced, size: float, bench: FullBench, half_width: float = PART) -> Reduced:
    """The caliper reading of ``size`` ± ``half_width``, mm."""
    value = size + bench.draw.uniform(-half_width, half_width) + bench.draw.normal() * CALIPER_U
    return replace(reading, value=float(np.round(value, 2)))


Made = list[Reduced] | None
Injection = Callable[[list[Reduced], int, FullBench], Made]
"""Puts a mistake into a specimen of a half; None where the half does not allow it."""


def find(specimen: Sequence[Reduced], name: str) -> Reduced | None:
    """The observation of a feature, if there is one."""
    return next((o for o in specimen if o.feature == name), None)


def swapped_in(specimen: Sequence[Reduced], *changed: Reduced) -> list[Reduced]:
    """The specimen with observations of the same index replaced."""
    by_index = {o.index: o for o in changed}
    return [by_index.get(o.index, o) for o in specimen]


def in_unit(mm: float) -> Injection:
    """One length read in units of ``mm`` but typed as mm; read to a thousandth of an inch in either case."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        lengths = [o for o in specimen if o.value is not None]
        return swapped_in(specimen, _typed(lengths[int(bench.draw.integers(len(lengths)))], mm)) if lengths else None

    return inject


def everything_in(mm: float) -> Injection:
    """Every length read in units of ``mm`` but typed as mm."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        lengths = [o for o in specimen if o.value is not None]
        return swapped_in(specimen, *(_typed(o, mm) for o in lengths)) if len(lengths) > 1 else None

    return inject


def _typed(reading: Reduced, mm: float) -> Reduced:
    step = MIL / mm / reading.spans
    return replace(reading, value=max(round(reading.number / mm / step), 1) * step)


def gaps_off(more: int) -> Injection:
    """A pitch divided by ``more`` gaps too many."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        pitch = find(specimen, "pitch")
        if pitch is None or pitch.spans + more < FEWEST_GAPS:
            return None
        return swapped_in(specimen, _times(pitch, pitch.spans / (pitch.spans + more), pitch.spans + more))

    return inject


def pitch_times(factor: float) -> Injection:
    """The pitch of every second contact, or over the contacts of two rows."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        pitch = find(specimen, "pitch")
        return None if pitch is None else swapped_in(specimen, _times(pitch, factor, pitch.spans))

    return inject


def _times(pitch: Reduced, factor: float, spans: int) -> Reduced:
    u = pitch.u * pitch.spans / spans
    shared = pitch.shared
    if shared is not None and shared.kind is SharedKind.ZERO:
        shared = replace(shared, coefficient=1.0 / spans)
    return replace(pitch, value=pitch.number * factor, u=u, total_u=u, spans=spans, shared=shared)


def over_hold_downs(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """Body length over the metal: a catalogue's overall length, or the hold-downs' lands less their toes."""
    length, columns = find(specimen, "body_length"), bench.columns
    if length is None or columns.counts["hold_down_count"][half] <= 0:
        return None
    over = _size(columns, "hold_down_land_span", half) - bench.draw.uniform(*TOE, 2).sum()
    stated = _size(columns, "overall_length", half)
    moulding = _size(columns, "body_length", half)
    over = stated if np.isnan(over) or stated > moulding else over
    return swapped_in(specimen, measured(length, over, bench)) if over > moulding else None


def over_tails(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """Body width over the tails: a catalogue's tail span, or the lands less their toes; surface mount only."""
    width, columns = find(specimen, "body_width"), bench.columns
    if width is None or columns.categories["mounting"][half, 0] < 0.5:
        return None
    stated = _size(columns, "tail_span", half)
    lands = _size(columns, "land_span", half) - bench.draw.uniform(*TOE, 2).sum()
    over = lands if np.isnan(stated) else stated
    return swapped_in(specimen, measured(width, over, bench)) if over > _size(columns, "body_width", half) else None


def measured_instead(feature: str, instead: str) -> Injection:
    """``instead`` measured on the same half in place of ``feature``."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        reading, column = find(specimen, feature), bench.columns.dimensions[instead]
        if reading is None or np.isnan(column.stated[half]):
            return None
        size, half_width = float(column.centre[half]), float(column.half_width[half])
        return swapped_in(specimen, measured(reading, size, bench, half_width))

    return inject


def with_board(feature: str) -> Injection:
    """A board's thickness, 0.6 to 1.6 mm, not subtracted from a height."""

    def inject(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
        reading = find(specimen, feature)
        if reading is None:
            return None
        board = float(bench.draw.choice([0.6, 0.8, 1.0, 1.6]))
        return swapped_in(specimen, replace(reading, value=reading.number + board))

    return inject


def stack_as_height(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """The stack height of one of the half's matings given as its height."""
    height = find(specimen, "height")
    mistaken = None if height is None else with_stack(height, half, bench)
    return None if mistaken is None else swapped_in(specimen, mistaken)


def _size(columns: Columns, name: str, half: int) -> float:
    return float(columns.dimensions[name].stated[half])


def hold_downs_counted(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """Hold-downs counted as contacts."""
    more = int(bench.columns.counts["hold_down_count"][half])
    return _recounted(specimen, "contact_count", int(bench.columns.counts["contact_count"][half]) + more, more > 0)


def one_row_only(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """The contacts of one row given as all."""
    contacts, rows = (int(bench.columns.counts[name][half]) for name in ("contact_count", "rows"))
    return _recounted(specimen, "contact_count", contacts // rows, rows > 1 and contacts % rows == 0)


def rows_swapped(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """The contacts of one row given as rows."""
    contacts, rows = (int(bench.columns.counts[name][half]) for name in ("contact_count", "rows"))
    positions = contacts // rows
    possible = contacts % rows == 0 and positions != rows and positions <= MOST_ROWS
    return _recounted(specimen, "rows", positions, possible)


def sides_swapped(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """The body's length and width given in each other's place."""
    length, width = find(specimen, "body_length"), find(specimen, "body_width")
    if length is None or width is None or length.number <= width.number:
        return None
    return swapped_in(specimen, replace(length, value=width.number), replace(width, value=length.number))


def counts_swapped(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """The contacts and the rows given in each other's place."""
    contacts, rows = find(specimen, "contact_count"), find(specimen, "rows")
    if contacts is None or rows is None or not contacts.count or not rows.count or contacts.count > MOST_ROWS:
        return None
    return swapped_in(specimen, replace(contacts, count=rows.count), replace(rows, count=contacts.count))


def one_row_seen(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """One row seen of two, its contacts and itself counted."""
    contacts, rows = find(specimen, "contact_count"), find(specimen, "rows")
    if contacts is None or rows is None or not contacts.count or rows.count != 2 or contacts.count % 2:
        return None
    return swapped_in(specimen, replace(contacts, count=contacts.count // 2), replace(rows, count=1))


def gaps_not_given(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """A whole row measured and given as the pitch."""
    pitch = find(specimen, "pitch")
    if pitch is None or pitch.spans < FEWEST_GAPS or pitch.number * pitch.spans > FEATURES["pitch"].high:
        return None
    return swapped_in(specimen, _times(pitch, float(pitch.spans), 1))


def other_kind(specimen: list[Reduced], half: int, bench: FullBench) -> Made:
    """A plug called a receptacle, or the reverse."""
    seen = find(specimen, "half_kind")
    if seen is None or not seen.values or not seen.values <= OPPOSITE.keys():
        return None
    return swapped_in(specimen, replace(seen, values=frozenset(OPPOSITE[value] for value in seen.values)))


def _recounted(specimen: list[Reduced], name: str, number: int, possible: bool) -> Made:
    counted = find(specimen, name)
    return swapped_in(specimen, replace(counted, count=number)) if counted is not None and possible else None


INJECTIONS: Mapping[str, Injection] = {
    "inches": in_unit(INCH),
    "mils": in_unit(MIL),
    "everything_in_inches": everything_in(INCH),
    "everything_in_mils": everything_in(MIL),
    "contacts_for_gaps": gaps_off(1),
    "gap_missed": gaps_off(-1),
    "twice_the_pitch": pitch_times(2.0),
    "half_the_pitch": pitch_times(0.5),
    "overall_length_for_body_length": over_hold_downs,
    "tail_span_for_body_width": over_tails,
    "other_kind": other_kind,
    "hold_downs_counted": hold_downs_counted,
    "one_row_only": one_row_only,
    "rows_swapped": rows_swapped,
    "body_length_and_width_swapped": sides_swapped,
    "contacts_and_rows_swapped": counts_swapped,
    "one_row_seen": one_row_seen,
    "gaps_not_given": gaps_not_given,
}
"""Mistakes that footprints can show, by the kind of the expected hint."""

WITH_HEIGHTS: Mapping[str, Injection] = {
    "body_length_for_overall_length": measured_instead("overall_length", "body_length"),
    "overall_length_for_body_length": over_hold_downs,
    "tail_span_for_body_width": over_tails,
    "board_thickness": with_board("height"),
    "stack_height_for_height": stack_as_height,
    "height_for_stack_height": measured_instead("stack_height", "height"),
}
"""Mistakes that a catalogue with heights, tails and overall lengths can show."""


def explained(specimen: Sequence[Reduced], columns: Columns) -> bool:
    """Whether some half's entry explains every observation unchanged: then no mistake can be seen."""
    picture = [o for o in specimen if o.shared is not None and o.shared.unscaled]
    fits = _ratios_fit(picture, columns) if picture else np.ones(len(columns), dtype=np.bool_)
    for reading in specimen:
        if reading not in picture:
            fits &= _fits(reading, columns)
    return bool(fits.any())


def _ratios_fit(picture: Sequence[Reduced], columns: Columns) -> Bools:
    """Whether some scale brings every reading of the picture within a half's tolerances."""
    low, high = np.full(len(columns), -np.inf), np.full(len(columns), np.inf)
    for reading in picture:
        column, reach = columns.dimensions[reading.feature], SEEN_FROM * reading.u
        t = _tolerance(reading, column.half_width)
        with np.errstate(invalid="ignore"):
            low = np.fmax(low, np.log(reading.number - reach) - np.log(column.centre + t))
            high = np.fmin(high, np.log(reading.number + reach) - np.log(np.maximum(column.centre - t, STEP)))
    return np.asarray(low <= high)


def _fits(reading: Reduced, columns: Columns) -> Bools:
    kind = FEATURES[reading.feature].kind
    if kind is Kind.COUNT:
        true = columns.counts[reading.feature]
        return np.asarray((true < 0) | (true == reading.count))
    if kind is Kind.CATEGORY:
        values = [list(FEATURES[reading.feature].values).index(value) for value in reading.values or ()]
        return np.asarray(columns.categories[reading.feature][:, values].sum(axis=1) > 0.0)
    if reading.feature not in columns.dimensions:
        return _some_mating_fits(reading, columns)
    column = columns.dimensions[reading.feature]
    return _within(reading, column.centre, column.half_width, column.extra_u)


def _within(reading: Reduced, centre: Floats, half_width: Floats, extra_u: Floats) -> Bools:
    limit = _tolerance(reading, half_width) + SEEN_FROM * np.sqrt(reading.total_u**2 + extra_u**2)
    return np.asarray(np.isnan(centre) | (np.abs(reading.number - centre) <= limit))


def _tolerance(reading: Reduced, half_width: Floats) -> Floats:
    return over_gaps(reading.feature, half_width, reading.spans)


def _some_mating_fits(reading: Reduced, columns: Columns) -> Bools:
    pair = columns.matings.dimensions[reading.feature]
    fitting = _within(reading, pair.centre, pair.half_width, pair.extra_u)
    return np.bincount(columns.matings.half[fitting], minlength=len(columns)) > 0


def without(specimen: Sequence[Reduced], feature: str) -> list[Reduced]:
    """The specimen without one feature."""
    return [replace(o, index=i) for i, o in enumerate(o for o in specimen if o.feature != feature)]


def without_miscount(specimen: Sequence[Reduced], columns: Columns, half: int) -> list[Reduced]:
    """The specimen with the right count of contacts."""
    true = int(columns.counts["contact_count"][half])
    return [replace(o, count=true) if o.feature == "contact_count" else o for o in specimen]


def is_right(hint: Hint, kind: str, specimen: Sequence[Reduced], mistaken: Sequence[Reduced]) -> bool:
    """Whether a hint names the injected mistake: its kind and observations, and the number of a single count."""
    changed = [o for o, wrong in zip(specimen, mistaken, strict=True) if o != wrong]
    wanted = hint.kind in OTHER_KINDS if kind == "other_kind" else hint.kind == kind
    if not wanted or set(hint.indices) != {o.index for o in changed}:
        return False
    return len(changed) > 1 or all(hint.corrected.get("value") == o.count for o in changed if o.count is not None)


OTHER_KINDS = ("plug_for_receptacle", "receptacle_for_plug")
WITHOUT_PAIR = ("stack_height_for_height",)
"""Mistakes of people who measured one height only: the stack height is left out of their specimens."""

COUNTED = ("hold_downs_counted", "one_row_only", "rows_swapped")
"""Mistakes of counts: otherwise the contacts are counted right."""


def names_the_miscount(hint: Hint, specimen: Sequence[Reduced], true: int) -> bool:
    """Whether a hint on a specimen without an injected mistake names exactly the miscount of its contacts."""
    counted = find(specimen, "contact_count")
    wrong = counted is not None and counted.count != true
    return wrong and hint.feature == "contact_count" and hint.corrected.get("value") == true
