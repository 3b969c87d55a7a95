"""Possible mistakes in a specimen's observations, each with the corrected observations.

A mistake has a prior and a Jacobian: the density of the reading as given is that of the corrected one times the
derivative of the correction. Mistakes that are part of the likelihood's own mixtures
(`gross_errors` and `miscounts` of `matcher.likelihood.error_model`) take their shares from there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matcher.columns.columns import Bools, Columns, Ints
from matcher.features import FEATURES, Direction, Subject
from matcher.likelihood.categories import naming_table
from matcher.likelihood.causes import Cause, in_other_unit, scaled
from matcher.likelihood.error_model.gross_errors import (
    BOARD_HALF_RANGE,
    BOARD_MIDDLE,
    BOARD_SHARE,
    PITCH_FACTORS,
    PITCH_OFF_BY_A_GAP,
    UNIT_FACTORS,
    UNIT_SHARE,
    slip_share,
)
from matcher.likelihood.error_model.miscounts import (
    FITTINGS,
    OFF_BY_ONE,
    ONE_PER_ROW,
    ONE_ROW_ONLY,
    miscount_probability,
)
from matcher.observations import Of, Reduced


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One way in which observations may be wrong.

    ``corrected`` replaces the observations with the same ``index``. ``log_odds`` is ln of the probability of the
    mistake over that of a right reading, times the Jacobian (the derivative of the corrected value by the one given).
    ``change`` holds the fields that would differ, ``halves`` those under which the mistake can happen (None: all).
    ``modelled`` says whether the likelihood's own mixture already contains the mistake.
    """

    kind: str
    corrected: tuple[Reduced, ...]
    log_odds: float
    change: Mapping[str, float | int | str]
    halves: Bools | None = None
    modelled: bool = True

    @classmethod
    def of(cls, cause: Cause) -> Mistake:
        """A cause that touches several observations; the likelihood sums over it."""
        log_odds = math.log(cause.prior) + cause.log_jacobian
        return cls(kind=cause.kind, corrected=cause.corrected, log_odds=log_odds, change=dict(cause.change))

    @property
    def index(self) -> int:
        """Position of the first observation that would change."""
        return self.corrected[0].index


def shorter(reading: Reduced, low: float, high: float) -> tuple[Reduced, float] | None:
    """The reading as a bound on what it exceeds by ``low`` to ``high``, mm, and ln of its probability per mm.

    None where nothing within the feature's plausible range is left.
    """
    at_least = max(reading.number - high, FEATURES[reading.feature].low)
    at_most = reading.number - low
    if at_most <= at_least:
        return None
    corrected = replace(reading, value=None, shared=None, u=0.0, at_least=at_least, at_most=at_most)
    return corrected, -math.log(high - low)


ROWS_SWAPPED = 0.01
"""Prior of giving the contacts of a row where the rows were asked for. Common practice, no source."""

OPPOSITE = {"plug": "receptacle", "receptacle": "plug"}


def miscounts(reading: Reduced, columns: Columns) -> Iterator[Mistake]:
    """Hold-downs or power contacts included, only one row counted, one off in every row or in total."""
    if reading.count is None:
        return
    counted, counts = reading.count, columns.counts
    for kind, names in ADDED_IN.items():
        known = np.all([counts[name] > 0 for name in names], axis=0)
        added = np.where(known, np.sum([counts[name] for name in names], axis=0), 0)
        for extra in _numbers(added, counts["contact_count"] + added == counted):
            yield from _counted(kind, reading, counted - extra, FITTINGS, np.asarray(added == extra))
    rows = counts["rows"]
    for number in _numbers(rows, (rows > 1) & (counts["contact_count"] == counted * rows)):
        yield from _counted("one_row_only", reading, counted * number, ONE_ROW_ONLY, np.asarray(rows == number))
    for step in (-1, 1):
        yield from _counted("miscounted", reading, counted + step, OFF_BY_ONE / 2, None)
        for number in _numbers(rows, counts["contact_count"] == counted + step * rows):
            yield from _counted(
                "miscounted", reading, counted + step * number, ONE_PER_ROW / 2, np.asarray(rows == number)
            )


ADDED_IN = {
    "hold_downs_counted": ("hold_down_count",),
    "power_contacts_counted": ("power_contact_count",),
    "all_metal_counted": ("hold_down_count", "power_contact_count"),
}
"""Parts that may be counted with the contacts, by kind."""


def _numbers(values: Ints, where: Bools) -> list[int]:
    """The different numbers above 0 among ``values`` where something holds."""
    chosen = values[where]
    return [int(number) for number in np.unique(chosen[chosen > 0])]


def _counted(kind: str, reading: Reduced, true: int, share: float, halves: Bools | None) -> Iterator[Mistake]:
    if true < 1:
        return
    wrong = float(miscount_probability(np.array(true)))
    corrected = Reduced(index=reading.index, feature=reading.feature, of=reading.of, count=true)
    odds = wrong * share / (1.0 - wrong)
    yield Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds), change={"value": true}, halves=halves)


def swapped_rows(reading: Reduced, contacts: Reduced | None) -> Iterator[Mistake]:
    """The contacts of one row given as rows: the contact count then gives the number of rows."""
    if reading.count is None or contacts is None or not contacts.count or not reading.count:
        return
    rows, left = divmod(contacts.count, reading.count)
    if left or rows == reading.count or not FEATURES["rows"].low <= rows <= FEATURES["rows"].high:
        return
    corrected = Reduced(index=reading.index, feature="rows", of=reading.of, count=rows)
    odds = ROWS_SWAPPED / (1.0 - ROWS_SWAPPED)
    yield Mistake(
        kind="rows_swapped", corrected=(corrected,), log_odds=math.log(odds), change={"value": rows}, modelled=False
    )


def other_kind(reading: Reduced) -> Iterator[Mistake]:
    """A plug taken for a receptacle or the other way round."""
    if reading.values is None or len(reading.values) != 1:
        return
    (seen,) = reading.values
    feature = FEATURES["half_kind"]
    if seen not in OPPOSITE:
        return
    corrected = Reduced(index=reading.index, feature="half_kind", of=reading.of, values=frozenset({OPPOSITE[seen]}))
    named, names = naming_table(feature), list(feature.values)
    true = names.index(OPPOSITE[seen])
    odds = float(named[true, names.index(seen)] / named[true, true])
    kind = f"{OPPOSITE[seen]}_for_{seen}"
    yield Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds), change={"value": OPPOSITE[seen]})


def pitches(reading: Reduced) -> Iterator[Mistake]:
    """A pitch over one gap more or less than given, over every second contact, or half a pitch."""
    gross = FEATURES[reading.feature].gross_share
    odds = gross * slip_share(reading) / (1.0 - gross)
    spans, (contacts, missed) = reading.spans, PITCH_OFF_BY_A_GAP
    if spans > 1:
        yield _gaps("contacts_for_gaps", reading, spans - 1, odds * contacts)
    yield _gaps("gap_missed", reading, spans + 1, odds * missed)
    for kind, factor in (("twice_the_pitch", 2.0), ("half_the_pitch", 0.5)):
        corrected = scaled(reading, 1.0 / factor)
        yield Mistake(
            kind=kind,
            corrected=(corrected,),
            log_odds=math.log(odds * PITCH_FACTORS[factor] / factor),
            change={"value": corrected.number},
        )


def _gaps(kind: str, reading: Reduced, spans: int, odds: float) -> Mistake:
    factor = reading.spans / spans
    corrected = scaled(reading, factor, spans=spans)
    return Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds * factor), change={"spans": spans})


def other_lengths(reading: Reduced) -> Iterator[Mistake]:
    """Another edge of the half than intended, as listed in the feature table, and heights over something else."""
    feature = FEATURES[reading.feature]
    odds = feature.gross_share * slip_share(reading) / (1.0 - feature.gross_share)
    upwards = feature.direction is Direction.UPWARDS
    share = 1.0 - BOARD_SHARE if upwards else 1.0
    for slip in feature.slips:
        if not FEATURES[slip.instead].is_pitch:
            yield _taken_for(reading, slip.instead, odds * share * slip.share)
    if upwards:
        yield from _board(reading, odds * BOARD_SHARE)


def _taken_for(reading: Reduced, instead: str, odds: float) -> Mistake:
    of = Of.PAIR if FEATURES[instead].subject is Subject.PAIR else Of.THIS
    shared = reading.shared if of is Of.THIS else None
    corrected = Reduced(
        index=reading.index,
        feature=instead,
        of=of,
        value=reading.number,
        u=reading.u if shared is not None or reading.shared is None else reading.total_u,
        total_u=reading.total_u,
        shared=shared,
    )
    change = {"feature": instead} if of is reading.of else {"feature": instead, "of": str(of)}
    kind = kind_of(instead, reading.feature)
    return Mistake(kind=kind, corrected=(corrected,), log_odds=math.log(odds), change=change)


def kind_of(instead: str, feature: str) -> str:
    """Slug of one dimension taken for another."""
    return f"{instead}_for_{feature}"


def _board(reading: Reduced, odds: float) -> Iterator[Mistake]:
    """The board's thickness is anything within a range."""
    found = shorter(reading, BOARD_MIDDLE - BOARD_HALF_RANGE, BOARD_MIDDLE + BOARD_HALF_RANGE)
    if found is not None:
        corrected, log_density = found
        yield Mistake(
            kind="board_thickness",
            corrected=(corrected,),
            log_odds=math.log(odds) + log_density,
            change={"min": corrected.at_least or 0.0, "max": corrected.at_most or 0.0},
        )


UNITS = {1 / 25.4: "in", 25.4: "mm", 1 / 0.0254: "mil", 0.0254: "mm", 1000.0: "um", 0.001: "mm"}
"""The unit that should have been named, by reading over true size."""

UNIT_KINDS = {1 / 25.4: "inches", 1 / 0.0254: "mils"}
"""Kinds of the two commonest; the others are `unit_mixed_up`."""


def mistakes_of(reading: Reduced, observations: Sequence[Reduced], columns: Columns) -> Iterator[Mistake]:
    """Every possible mistake in one observation alone."""
    if reading.value is not None:
        yield from _length_mistakes(reading)
    elif reading.of is not Of.THIS:
        return
    elif reading.feature == "contact_count":
        yield from miscounts(reading, columns)
    elif reading.feature == "rows":
        contacts = next((o for o in observations if o.feature == "contact_count" and o.of is Of.THIS), None)
        yield from swapped_rows(reading, contacts)
    elif reading.feature == "half_kind":
        yield from other_kind(reading)


def _length_mistakes(reading: Reduced) -> Iterator[Mistake]:
    if reading.of is Of.THIS and FEATURES[reading.feature].is_pitch:
        yield from pitches(reading)
    elif reading.of is Of.THIS or reading.feature == "stack_height":
        yield from other_lengths(reading)
    if not reading.unscaled:
        yield from _units(reading)


def _units(reading: Reduced) -> Iterator[Mistake]:
    gross = FEATURES[reading.feature].gross_share
    for factor, share in UNIT_FACTORS.items():
        odds = gross * UNIT_SHARE * share / (1.0 - gross)
        kind = UNIT_KINDS.get(factor, "unit_mixed_up")
        corrected = in_other_unit(reading, factor)
        if corrected.number > 0.0:
            yield Mistake(
                kind=kind, corrected=(corrected,), log_odds=math.log(odds / factor), change={"unit": UNITS[factor]}
            )
