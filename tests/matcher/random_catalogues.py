"""Seeded random catalogues and observations: every kind of feature, missing values, and extremes.

Nothing here resembles a real part; the numbers only exercise every branch of the likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from matcher.columns.columns import Columns, DimensionColumn, Floats, Ints, MatingColumns
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS, FEATURES, PAIR_DIMENSIONS, Kind
from matcher.observations import Of, Reduced, SharedError, SharedKind, TrialFit

UNSCALED_SD = 10.0
LEAST_RELATIVE_U = 1e-6
LEAST_RELATIVE_U_UNSCALED = 1e-4
"""For readings that share a scale: any finer, and e^z is not known well enough in doubles for 1e-9 (z reaches 10)."""

EXTREMES = (1e-3, 1e3)
LETTERS = "ABCDEFGHKLMNPRSTUVXZ0123456789"
SEPARATORS = ("", "-", " ", "/", ".")
COUNT_CHOICES = {
    "contact_count": (1, 4, 10, 12, 20, 24, 30, 40, 60, 100, 400),
    "rows": (1, 2, 2, 2, 3, 4, 10),
    "bank_count": (1, 1, 2, 3),
    "power_contact_count": (0, 0, 2, 4),
    "hold_down_count": (0, 2, 2, 4),
}

GAP_UNDER = 0.05
"""What is subtracted from a height on a board, mm."""

BROAD = (0.0, 0.0, 0.05, 0.65, 0.975)
"""Half-widths, mm, of the broad part of a recommended dimension, in turn, or half of the size if that
is smaller; 0 where the entry states a tolerance."""

Draw = np.random.Generator


def _pick(draw: Draw, values: Sequence[float]) -> float:
    return float(values[int(draw.integers(len(values)))])


def _base(draw: Draw, feature: str) -> float:
    row = FEATURES[feature]
    return float(np.exp(draw.uniform(math.log(row.low * 2), math.log(row.high / 4))))


def _column(draw: Draw, feature: str, series: Ints, *, predicted: float) -> DimensionColumn:
    """Return a dimension: siblings alike, some cells predicted, some unknown, a few extreme."""
    bases = [_base(draw, feature) for _ in range(int(series.max()) + 1)]
    cells = [_cell(draw, bases[int(number)], predicted) for number in series]
    stated, centre, half_width, extra_u = (np.array(values, dtype=np.float64) for values in zip(*cells, strict=True))
    recommended = ~np.isnan(stated) & (FEATURES[feature].process.broad > 0.0)
    broad = np.where(recommended, np.minimum(np.resize(BROAD, len(stated)), stated / 2), 0.0)
    return DimensionColumn(stated=stated, centre=centre, half_width=half_width, broad=broad, extra_u=extra_u)


def _cell(draw: Draw, base: float, predicted: float) -> tuple[float, float, float, float]:
    value = base * float(draw.choice([1.0, 1.0, 1.02, 1.1, float(draw.uniform(0.8, 1.3))]))
    if draw.random() < 0.04:
        value *= _pick(draw, EXTREMES)
    fate = draw.random()
    if fate < 0.08:
        return math.nan, math.nan, 0.0, 0.0
    if fate < 0.08 + predicted:
        return math.nan, value, 0.0, _pick(draw, (1e-4, 0.02, 0.1, 0.5, 3.0))
    half_width = _pick(draw, (0.0, 0.0, 1e-7, 1e-4, 0.005, 0.05, 0.1, 0.25))
    return value, value, half_width, _pick(draw, (0.0, 0.0, 0.0, 0.01, 0.2))


ALWAYS_STATED = ("contact_count", "rows")
"""Every half in the catalogue has these."""


def _counts(draw: Draw, feature: str, size: int) -> Ints:
    missing = float(draw.choice([0.0, 0.2, 0.2, 1.0])) if feature not in ALWAYS_STATED else 0.0
    values = [int(_pick(draw, COUNT_CHOICES[feature])) for _ in range(size)]
    return np.array([-1 if draw.random() < missing else value for value in values], dtype=np.int64)


def _category(draw: Draw, feature: str, size: int) -> Floats:
    row = FEATURES[feature]
    width = len(row.values)
    if row.kind is Kind.LABELS:
        known = draw.random((size, width)) < 0.4
        soft = draw.random((size, 1)) < 0.3
        return np.where(soft, draw.random((size, width)), known.astype(np.float64))
    return np.array([_category_row(draw, width) for _ in range(size)])


def _category_row(draw: Draw, width: int) -> Floats:
    members = 1 if draw.random() < 0.6 else int(draw.integers(1, width + 1))
    if draw.random() < 0.2:
        return np.asarray(draw.dirichlet(np.ones(width)), dtype=np.float64)
    row = np.zeros(width)
    row[draw.choice(width, size=members, replace=False)] = 1.0 / members
    return row


def _word(draw: Draw) -> str:
    parts = [
        "".join(draw.choice(list(LETTERS), size=int(draw.integers(1, 6)))) for _ in range(int(draw.integers(1, 4)))
    ]
    return str(draw.choice(SEPARATORS)).join(parts)


def _matings(draw: Draw, size: int) -> MatingColumns:
    """Return random pairs in both directions: some halves mate with themselves, some with none."""
    wanted = int(draw.integers(0, 2 * size))
    found = {(int(draw.integers(size)), int(draw.integers(size))) for _ in range(wanted)}
    pairs = sorted(found | {(other, half) for half, other in found})
    one_series = np.zeros(max(len(pairs), 1), dtype=np.int64)
    columns = {name: _column(draw, name, one_series, predicted=0.2) for name in PAIR_DIMENSIONS}
    return MatingColumns(
        half=np.array([half for half, _ in pairs], dtype=np.int64),
        other=np.array([other for _, other in pairs], dtype=np.int64),
        dimensions={name: _first(column, len(pairs)) for name, column in columns.items()},
    )


def _first(column: DimensionColumn, size: int) -> DimensionColumn:
    return DimensionColumn(
        stated=column.stated[:size],
        centre=column.centre[:size],
        half_width=column.half_width[:size],
        broad=column.broad[:size],
        extra_u=column.extra_u[:size],
    )


def random_columns(draw: Draw, size: int) -> Columns:
    """Return a catalogue of ``size`` halves."""
    series = np.sort(draw.integers(0, max(2, size // 4), size=size)).astype(np.int64)
    inferred = draw.random(size) < 0.2
    unlisted = (*DIMENSIONS, *PAIR_DIMENSIONS)
    return Columns(
        keys=tuple(f"half-{number}" for number in range(size)),
        series=series,
        geometry=np.arange(size, dtype=np.int64),
        inferred=inferred,
        prior_weight=np.where(inferred, 0.1, 1.0),
        dimensions={name: _column(draw, name, series, predicted=0.15) for name in DIMENSIONS},
        counts={name: _counts(draw, name, size) for name in COUNTS},
        categories={name: _category(draw, name, size) for name in CATEGORIES},
        texts=tuple(tuple(_word(draw) for _ in range(int(draw.integers(0, 4)))) for _ in range(size)),
        matings=_matings(draw, size),
        unlisted_mate={name: _column(draw, name, series, predicted=0.9) for name in unlisted},
    )


class Bench:
    """Draws observations of one half of a catalogue, mostly near its truth."""

    def __init__(self, draw: Draw, columns: Columns, half: int) -> None:
        self.draw = draw
        self.columns = columns
        self.half = half
        mates = [int(o) for h, o in zip(columns.matings.half, columns.matings.other, strict=True) if int(h) == half]
        self.mating = next((m for m in range(len(columns.matings.half)) if int(columns.matings.half[m]) == half), None)
        self.mate = mates[0] if mates else half
        self.given = 0

    def _index(self) -> int:
        self.given += 1
        return self.given - 1

    def _body(self, of: Of) -> int:
        return self.mate if of is Of.OTHER else self.half

    def _truth(self, feature: str, of: Of) -> float:
        """Return a true value of the dimension, or any plausible value where the catalogue knows nothing."""
        if feature in PAIR_DIMENSIONS:
            column = self.columns.unlisted_mate[feature]
            position = self.half
            if self.mating is not None:
                column, position = self.columns.matings.dimensions[feature], self.mating
        else:
            column, position = self.columns.dimensions[feature], self._body(of)
        centre = float(column.centre[position])
        if math.isnan(centre):
            return _base(self.draw, feature)
        off = float(self.draw.uniform(-1, 1)) * float(column.half_width[position])
        return centre + off + float(self.draw.normal()) * float(column.extra_u[position])

    def _uncertainty(self) -> float:
        if self.draw.random() < 0.1:
            return _pick(self.draw, (1e-6, 1e-5, 10.0, 100.0))
        return float(np.exp(self.draw.uniform(math.log(1e-3), math.log(0.2))))

    def value(self, feature: str, of: Of = Of.THIS, shared: SharedError | None = None, factor: float = 1.0) -> Reduced:
        """Return a reading: near the truth, sometimes a slip, rarely an extreme; ``factor`` is the picture's scale."""
        draw = self.draw
        spans = int(_pick(draw, (1, 1, 2, 7, 19, 40))) if feature in ("pitch", "tail_pitch") else 1
        u = self._uncertainty()
        x = (self._truth(feature, of) + float(draw.normal()) * u) * factor
        u *= factor
        if draw.random() < 0.15:
            x *= _pick(draw, (1 / 25.4, 25.4, 0.5, 2.0, (spans + 1) / spans, 1.2, *EXTREMES))
        x = abs(x) if abs(x) > 1e-6 else _base(draw, feature)
        if shared is not None and shared.kind is SharedKind.SCALE:
            u = max(u, x * (LEAST_RELATIVE_U_UNSCALED if shared.unscaled else LEAST_RELATIVE_U))
        # A picture is not corrected: what is known of its scale is in the reading's own unit.
        corrected = GAP_UNDER if feature == "height" and (shared is None or shared.kind is SharedKind.ZERO) else 0.0
        return Reduced(
            index=self._index(),
            feature=feature,
            of=of,
            value=x,
            u=u,
            total_u=u,
            spans=spans,
            corrected=corrected,
            shared=shared,
        )

    def bound(self, feature: str, of: Of = Of.THIS) -> Reduced:
        """Return one or two bounds on a dimension."""
        x, u = abs(self._truth(feature, of)), self._uncertainty()
        low, high = x * float(self.draw.uniform(0.7, 1.02)), x * float(self.draw.uniform(1.03, 1.4))
        at_least, at_most = self._one_or_both(low, high)
        return Reduced(index=self._index(), feature=feature, of=of, u=u, total_u=u, at_least=at_least, at_most=at_most)

    def _one_or_both(self, low: float, high: float) -> tuple[float | None, float | None]:
        side = int(self.draw.integers(3))
        return (None if side == 0 else low), (None if side == 1 else high)

    def _number(self, feature: str, of: Of) -> int:
        stated = int(self.columns.counts[feature][self._body(of)])
        number = stated if stated >= 0 else int(_pick(self.draw, COUNT_CHOICES[feature]))
        if self.draw.random() < 0.4:
            number += int(_pick(self.draw, (-10, -2, -1, 1, 2, 3, 4, 6, 500)))
        if self.draw.random() < 0.1:
            number //= 2
        return max(0, number)

    def count(self, feature: str, of: Of = Of.THIS) -> Reduced:
        """Return an exact count, sometimes miscounted."""
        return Reduced(index=self._index(), feature=feature, of=of, count=self._number(feature, of))

    def count_bound(self, feature: str, of: Of = Of.THIS) -> Reduced:
        """Return one or two bounds on a count, not always whole numbers."""
        number = self._number(feature, of)
        low = max(0.0, number - _pick(self.draw, (0.0, 0.5, 2.0)))
        at_least, at_most = self._one_or_both(low, number + _pick(self.draw, (0.0, 0.5, 3.0, 5000.0)))
        return Reduced(index=self._index(), feature=feature, of=of, at_least=at_least, at_most=at_most)

    def category(self, feature: str, of: Of = Of.THIS) -> Reduced:
        """Return one or several values seen; of labels any number, including none."""
        names = list(FEATURES[feature].values)
        row = self.columns.categories[feature][self._body(of)]
        seen = (
            {names[int(np.argmax(row))]} if self.draw.random() < 0.8 else {names[int(self.draw.integers(len(names)))]}
        )
        if self.draw.random() < 0.3:
            seen |= set(self.draw.choice(names, size=2).tolist())
        if FEATURES[feature].kind is Kind.LABELS and len(seen) > 1:
            seen.discard("none")
        return Reduced(index=self._index(), feature=feature, of=of, values=frozenset(str(name) for name in seen))

    def text(self, of: Of = Of.THIS) -> Reduced:
        """Return letters read: part of the half's marking with an error, or anything."""
        texts = self.columns.texts[self._body(of)]
        word = texts[int(self.draw.integers(len(texts)))] if texts and self.draw.random() < 0.8 else _word(self.draw)
        start = int(self.draw.integers(0, 2))
        letters = list(word[start : start + int(self.draw.integers(1, 12))])
        if letters and self.draw.random() < 0.3:
            letters[int(self.draw.integers(len(letters)))] = str(self.draw.choice(list(LETTERS)))
        read = "".join(letters).lower() if self.draw.random() < 0.3 else "".join(letters)
        return Reduced(index=self._index(), feature="marking", of=of, text=read)

    def fit(self, of: Of = Of.THIS) -> Reduced:
        """Return a trial fit with a half of the catalogue."""
        known = self.mate if self.draw.random() < 0.5 else int(self.draw.integers(len(self.columns)))
        tried = TrialFit(half=self.columns.keys[known], mates=bool(self.draw.random() < 0.6))
        return Reduced(index=self._index(), feature="trial_fit", of=of, fit=tried)

    def any_dimension(self) -> str:
        """Return the name of some dimension of a half."""
        return str(self.draw.choice(DIMENSIONS))

    def group(self, kind: SharedKind, *, unscaled: bool = False, size: int | None = None) -> list[Reduced]:
        """Return 1 to 5 readings of one picture or one caliper."""
        draw = self.draw
        count = int(draw.integers(1, 6)) if size is None else size
        sd = UNSCALED_SD if unscaled else _pick(draw, (0.003, 0.02) if kind is SharedKind.SCALE else (0.01, 0.05))
        factor = float(np.exp(draw.uniform(-1, 6))) if unscaled else 1.0
        name = f"group-{self.given}"
        found = []
        for _ in range(count):
            feature = str(draw.choice(["pitch", "body_length", "body_width", "land_span", self.any_dimension()]))
            coefficient = _pick(draw, (1.0, 1.0, 0.1)) if kind is SharedKind.ZERO else 1.0
            shared = SharedError(group=name, kind=kind, sd=sd, coefficient=coefficient, unscaled=unscaled)
            found.append(self.value(feature, shared=shared, factor=factor))
        return found

    def of_mate(self) -> Reduced:
        """Return any observation of the other half or of the pair."""
        makers: tuple[Callable[[], Reduced], ...] = (
            lambda: self.value(str(self.draw.choice(PAIR_DIMENSIONS)), Of.PAIR),
            lambda: self.bound(str(self.draw.choice(PAIR_DIMENSIONS)), Of.PAIR),
            lambda: self.value(
                str(self.draw.choice(["height", "pitch", "tail_pitch", self.any_dimension()])), Of.OTHER
            ),
            lambda: self.bound(self.any_dimension(), Of.OTHER),
            lambda: self.count(str(self.draw.choice(COUNTS)), Of.OTHER),
            lambda: self.count_bound(str(self.draw.choice(COUNTS)), Of.OTHER),
            lambda: self.category(str(self.draw.choice(CATEGORIES)), Of.OTHER),
            lambda: self.text(Of.OTHER),
            lambda: self.fit(Of.OTHER),
        )
        return makers[int(self.draw.integers(len(makers)))]()
